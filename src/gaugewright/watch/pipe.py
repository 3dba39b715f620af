"""A second tank behind a balance pipe: what a probe in one of two linked tanks really tells.

What is poured or drained stands in the probe's own tank at first and levels out through the
pipe by and by. With the flow through the pipe in proportion to the difference of the levels,
the excess read at any moment is a share of the level's changes, each fading with one time
constant: a linear filter of the readings themselves, so that it can be taken off again. Share
and time constant are learnt from how this vehicle's level relaxes after its own large changes.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

TIMES_S = np.geomspace(90.0, 2400.0, 15)
"""Time constants tried. [s]"""
BIG_PART = 0.06
"""A change of this part of the tank within `WITHIN_S` sets the level relaxing. [1]"""
WITHIN_S = 900.0
FOLLOWED = 4.0
"""Relaxing is looked at over this many time constants."""
LEAST_SHARE, MOST_SHARE = 0.12, 0.85
FEWEST_TIMES = 3
SETTLED_PART = 0.05
TOP_PART = 0.02
"""Nearer to the highest level ever read than this the level may have stood higher. [1]"""
CUT_PART = 0.005
"""So near to it a reading may be cut off at the top; set on logs that are not scored. [1]"""
HOLE_S, SHORT_HOLE_S = 400.0, 200.0
"""After a change the record goes on so soon; sooner where that shows none. [s]"""
SETTLING = 2
"""Bins in which fuel still swings after a drive."""
BACK_S, BACK_PART = 1800.0, 0.08
"""A pipe takes back more than this part of most large changes by then. [s, 1]"""
ALIKE = 0.35
PLAIN_PART = 0.06
CLEAR = 0.6
"""The part of the squared bend after large changes that relaxing must explain. [1]"""


@dataclass(frozen=True)
class Pipe:
    """A second tank: the part of a change that flows on, and how fast it does. [1, s]"""

    share: float
    time_s: float


def without_pipe(bins: Bins, span_l: float) -> tuple[Bins, Floats]:
    """Return the bins with both tanks' mean level, and what may still flow at each. [L]

    Readings that stood at the top tell nothing of what flows until it has faded: infinite
    there. Without a pipe the same bins, and nothing flows. ``span_l`` is what the table spans.
    """
    pipe = pipe_of(bins, span_l)
    if pipe is None:
        return bins, np.zeros(bins.time_s.size)
    excess = pipe.share * _fading(bins.time_s, bins.level_l, pipe.time_s)
    top = bins.level_l > bins.level_l.max() - CUT_PART * span_l
    since = np.maximum.accumulate(np.where(top, bins.time_s, -np.inf))
    unseen = bins.time_s - since < FOLLOWED * pipe.time_s
    return replace(bins, level_l=bins.level_l - excess), np.where(unseen, np.inf, np.abs(excess))


def pipe_of(bins: Bins, span_l: float) -> Pipe | None:
    """Return the pipe that this vehicle's readings betray, ``None`` where they betray none.

    After most large changes the level must run back by one share with one time constant, and
    so it must have done at least `FEWEST_TIMES`.
    """
    starts = _large(bins, BIG_PART * span_l)
    seen = bins.level_l[starts] < bins.level_l.max() - TOP_PART * span_l
    starts = starts[seen & (starts + 1 < bins.time_s.size)]
    hole_s = bins.time_s[starts + 1] - bins.time_s[starts]
    return _shown(bins, starts[hole_s < HOLE_S], span_l) or _shown(
        bins, starts[hole_s < SHORT_HOLE_S], span_l
    )


def _shown(bins: Bins, starts: Places, span_l: float) -> Pipe | None:
    """Return the pipe that the level betrays after these large changes."""
    if starts.size < FEWEST_TIMES or not _run_back(bins, starts):
        return None
    best, found = CLEAR, None
    for time_s in TIMES_S:
        fading = _fading(bins.time_s, bins.level_l, time_s)
        plain = starts[np.abs(fading[starts]) > PLAIN_PART * span_l]
        fits = [_fit(bins, float(fading[start]), int(start), time_s) for start in plain]
        known = np.array([fit for fit in fits if fit is not None]).reshape(-1, 3)
        if len(known) < FEWEST_TIMES:
            continue
        shares, without, left = known.T
        share = float(np.median(shares))
        alike = float(np.mean(np.abs(shares - share) < ALIKE * share))
        explained = 1.0 - float(left.sum() / without.sum())
        if LEAST_SHARE < share < MOST_SHARE and alike > 0.6 and explained > best:
            best, found = explained, _sharpened(bins, plain, Pipe(share, float(time_s)))
    return found


def _run_back(bins: Bins, starts: Places) -> bool:
    """Return whether the level usually runs back at all after its large changes."""
    later = np.searchsorted(bins.time_s, bins.time_s[starts] + BACK_S)
    early = np.maximum(np.searchsorted(bins.time_s, bins.time_s[starts] - WITHIN_S) - 1, 0)
    later = np.minimum(later, bins.time_s.size - 1)
    change = bins.level_l[starts] - bins.level_l[early]
    back = (bins.level_l[starts] - bins.level_l[later])[change != 0] / change[change != 0]
    return bool(back.size and np.median(back) > BACK_PART)


def _sharpened(bins: Bins, starts: Places, rough: Pipe) -> Pipe:
    """Return the pipe that leaves the levels after large changes as straight as can be."""
    ends = np.searchsorted(bins.time_s, bins.time_s[starts] + FOLLOWED * rough.time_s)
    windows = [slice(a + 2, b) for a, b in zip(starts, ends, strict=True) if b - a >= 8]
    if not windows:
        return rough
    tried = []
    for time_s in rough.time_s * np.geomspace(0.6, 1.7, 15):
        fading = _fading(bins.time_s, bins.level_l, float(time_s))
        pairs = [
            (
                _without_line(bins.time_s[w], bins.level_l[w]),
                _without_line(bins.time_s[w], fading[w]),
            )
            for w in windows
        ]
        share = float(
            np.median([level @ excess / (excess @ excess + 1e-9) for level, excess in pairs])
        )
        left = [
            np.sum((level - share * excess) ** 2) / (np.sum(level**2) + 1e-9)
            for level, excess in pairs
        ]
        tried.append((float(np.median(left)), share, float(time_s)))
    _, share, time_s = min(tried)
    return Pipe(min(share, MOST_SHARE), time_s)


def _without_line(time_s: Floats, values: Floats) -> Floats:
    line = np.polynomial.Polynomial.fit(time_s, values, 1)
    left: Floats = values - line(time_s)
    return left


def _fit(
    bins: Bins, excess_l: float, start: int, time_s: float
) -> tuple[float, float, float] | None:
    """Return the share that fades after one change, and what is unexplained without and with it.

    ``excess_l`` is the part of the change that has not faded at ``start``. A steady use of
    fuel runs beside it. ``None`` with too few bins. [1, L², L²]
    """
    end = int(np.searchsorted(bins.time_s, bins.time_s[start] + FOLLOWED * time_s))
    if end - start < 6:
        return None
    since, level = bins.time_s[start:end] - bins.time_s[start], bins.level_l[start:end]
    steady = np.column_stack([np.ones(level.size), since])
    left, share = [], 0.0
    for rows in (steady, np.column_stack([steady, excess_l * np.exp(-since / time_s)])):
        factors, *_ = np.linalg.lstsq(rows, level, rcond=None)
        left.append(float(np.sum((level - rows @ factors) ** 2)))
        share = float(factors[-1])
    return share, left[0] + 1e-9, left[1]


def _large(bins: Bins, least_l: float) -> Places:
    """Return the bins at which the level has just risen or fallen by at least ``least_l``.

    While the vehicle stood and the fuel had settled: in traffic it sloshes as far.
    """
    swinging = bins.moving.copy()
    for late in range(1, SETTLING + 1):
        swinging[late:] |= bins.moving[:-late]
    changed = _changed_within(bins.time_s, bins.level_l, swinging, WITHIN_S)
    return _last_of_each(bins.time_s, bins.level_l, changed, bins.moving, least_l)


@compiled
def _last_of_each(
    time_s: Floats, level: Floats, changed: Floats, moving: Mask, least_l: float
) -> Places:
    """Return the last bin of each large change in which the level still went its way."""
    out = np.empty(level.size, np.int64)
    held, last, before = 0, -1, -1
    for i in range(level.size):
        if moving[i] or not abs(changed[i]) > least_l:
            continue
        if before >= 0 and time_s[i] - time_s[before] > WITHIN_S and last >= 0:
            out[held], last = last, -1
            held += 1
        before = i
        step = level[i] - level[i - 1] if i else 0.0
        if step * np.sign(changed[i]) > 0.2 * least_l:
            last = i
    if last >= 0:
        out[held] = last
        held += 1
    return out[:held].copy()


@compiled
def _changed_within(time_s: Floats, level: Floats, swinging: Mask, within_s: float) -> Floats:
    """Return the level less that of the first settled bin within a time before.

    After a hole of the record, less that of the bin before.
    """
    out = np.zeros(level.size)
    back = 0
    for i in range(1, level.size):
        while back < i and (time_s[back] < time_s[i] - within_s or swinging[back]):
            back += 1
        if back < i:
            out[i] = level[i] - level[back]
        elif not swinging[i - 1] or time_s[i] - time_s[i - 1] > HOLE_S:
            out[i] = level[i] - level[i - 1]
    return out


def till_settled(
    groups: list[tuple[int, int, int]], high: Places, level: Floats, flowing: Floats
) -> list[tuple[int, int, int]]:
    """Return the changes, each up to where little flows any more, what is in between dropped.

    A change is a stop, the last bin before it and the first after it; ``high`` ends each stop.
    Where the stop ends first, the change stays as it is.
    """
    out: list[tuple[int, int, int]] = []
    for stop, a, b in groups:
        if out and out[-1][0] == stop and a < out[-1][2]:
            continue
        little = SETTLED_PART * abs(level[b] - level[a])
        settled = np.flatnonzero(flowing[b : high[stop]] <= little)
        out.append((stop, a, b + int(settled[0]) if settled.size >= 3 else b))
    return out


@compiled
def _fading(time_s: Floats, level: Floats, fade_s: float) -> Floats:
    """Return the changes of the level up to each bin, each faded since; even within a step."""
    out = np.zeros(level.size)
    for i in range(1, level.size):
        part = (time_s[i] - time_s[i - 1]) / fade_s
        kept = np.exp(-part)
        new = (1.0 - kept) / part if part > 1e-9 else 1.0
        out[i] = out[i - 1] * kept + (level[i] - level[i - 1]) * new
    return out
