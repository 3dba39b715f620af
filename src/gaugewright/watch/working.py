"""Work without moving: which minutes with the engine on slosh, and which rest.

An excavator that digs and one that idles both stand with the engine running; only the readings
tell them apart. How much they change from minute to minute, and from record to record within
one, has one scale at rest and another, several times as large, at work. Both scales are learnt
from the vehicle's own log, and each minute is weighed with its neighbours: two states by turns,
each kept for minutes on end (a hidden Markov model, solved forward and backward: Rabiner, A
tutorial on hidden Markov models, Proceedings of the IEEE 77, 1989, from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Floats

Mask = npt.NDArray[np.bool_]

TURN_CHANCE = 0.02
"""That work or rest ends with a minute, common practice, no source. [1]"""
MOST_ODDS = 2.5
"""What one minute may say at most, so that fuel that starts or stops to flow is no work."""
LEAST_TIMES, LEAST_TIMES_FIXED = 1.8, 8.0
"""How much more the readings change at work than at rest; of a machine that never moves."""
ALL_WORK_TIMES, TILT_TIMES = 4.0, 3.0
"""Where no speed is told: from so many times as much as with the engine off on, it is at work
whenever it runs, and from so large a jump as it starts or stops (logs not scored: generators reach
2.3 times, vehicles from 3.8)."""
SLOSH_PART = 0.002
"""Where it is never seen with the engine off: so much of the highest level from minute to minute
is work (logs not scored: generators reach 0.0013, vehicles from 0.0029). [1]"""
LEAST_OF_MOTION = 0.25
"""Work sloshes at least this part as much as a drive does, or it is as good as rest. [1]"""
LEAST_PART, LEAST_RUN = 0.05, 12
"""Both take a part of all minutes with the engine on, and work lasts minutes on end (median)."""
ONE_WAY, FLOW_TIMES, PLAIN_TIMES = 0.7, 3.0, 8.0
"""Fuel may flow where the level goes this part of its way one way, so many steps of work far;
from so many on it does. [1]"""
REACH = 3
_HOLE_S, _PARKED_HOLE_S = 600.0, 3900.0
_ROUNDS, STEADY_PART = 6, 0.002
_FEWEST, _FEW = 30, 10
_NORMAL, _MEAN, _WIDE, _WIDEST = 0.6745, 0.798, 1.28, 1.6
_START_TIMES = 1.2, 6.0
_NEAR = 7


@dataclass(frozen=True, eq=False)
class _View:
    """One way to see slosh. [L]

    The values, where they tell something, what flows one way near by, the values with the
    engine off, the least scale.
    """

    values: Floats
    told: Mask
    flow_l: Floats
    calm: Floats
    floor: float


def working(bins: Bins, quantum_l: float, *, is_speed_told: bool = True) -> Mask | None:
    """Return which bins slosh though the vehicle stands; ``None`` where the log shows no two kinds.

    Only bins with the engine on, at which the vehicle does not move, are told apart: all of
    those where no record tells of the engine. Where none tells the speed, all may be work.
    """
    on = ~bins.moving
    if np.isfinite(bins.running).any():
        on &= bins.running > 0.5
    step_s, step_l = np.diff(bins.time_s), np.abs(np.diff(bins.level_l))
    near = step_s < _HOLE_S
    drive = step_l[bins.moving[1:] & bins.moving[:-1] & near]
    fixed = drive.size < _FEW
    least_l = 0.0 if fixed else LEAST_OF_MOTION * _scale(drive, 0.0)
    off = ~bins.moving & ~on
    calm = step_l[off[1:] & off[:-1]], bins.scatter_l[off & np.isfinite(bins.scatter_l)]
    places = np.flatnonzero(on)
    beside = np.append(np.diff(places) == 1, False)
    joined = beside & np.append(near, False)[places]
    if joined.sum() < _FEWEST:
        return None
    level, scatter = bins.level_l[places], bins.scatter_l[places]
    views = _views(level, scatter, joined, beside, calm, quantum_l)
    found = _found(views, joined, fixed, least_l)
    if found is None and not is_speed_told:
        parked = step_l[off[1:] & off[:-1] & (step_s < _PARKED_HOLE_S)]
        found = _only_works(
            views[0],
            parked,
            step_l[(np.abs(np.diff(bins.running)) == 1.0) & near],
            float(level.max()),
        )
    if found is None:
        return None
    out = np.zeros(on.size, np.bool_)
    out[places] = found
    return out


def _found(views: list[_View], joined: Mask, fixed: bool, least_l: float) -> Mask | None:
    """Return which of the bins with the engine on are at work, ``None`` without two kinds."""
    on = np.ones(joined.size, np.bool_)
    if _as_one(views[0], fixed, least_l):
        return None
    for start in range(len(_START_TIMES)):
        work, (low, high) = _parted(views, on, joined, start)
        edges = work & np.append(joined[:-1], False)
        runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], edges, [0]]))))[::2] + 1
        lasting = runs.size > 0 and float(np.median(runs)) >= LEAST_RUN
        times = LEAST_TIMES_FIXED if fixed else LEAST_TIMES
        both = LEAST_PART < work.sum() / on.sum() < 1.0 - LEAST_PART
        if lasting and both and high > max(times * low, least_l):
            return work
    return None


def _only_works(view: _View, parked_l: Floats, turns_l: Floats, highest_l: float) -> Mask | None:
    """Return all bins with the engine on if they slosh far more than those with it off.

    Or if the level jumps as much where the engine starts or stops, as the tank then tilts. But
    where fuel plainly flows, the machine rests.
    """
    busy_l = view.values[view.told]
    scale = _scale(busy_l, view.floor)
    if parked_l.size < _FEWEST:
        lively, tilts = scale > SLOSH_PART * highest_l, False
    else:
        calm = {part: max(quantile(parked_l, part), view.floor) for part in (0.5, 0.8)}
        lively = any(quantile(busy_l, part) > ALL_WORK_TIMES * calm[part] for part in calm)
        tilts = turns_l.size >= _FEW and median(turns_l) > TILT_TIMES * calm[0.5]
    if not (lively or tilts):
        return None
    work: Mask = view.flow_l <= PLAIN_TIMES * scale
    return work


def _views(
    level: Floats,
    scatter: Floats,
    joined: Mask,
    beside: Mask,
    calm: tuple[Floats, Floats],
    quantum_l: float,
) -> list[_View]:
    """Return the steps from minute to minute, and the scatter within one where it is known.

    Fuel may flow across a hole of the record as well, between bins ``beside`` each other.
    """
    flow = _one_way(level, beside)
    step = _steps(level, joined, flow > 0)
    between = np.maximum(flow, np.append(flow[1:], 0.0))
    views = [_View(step, joined, between, calm[0], 0.4 * quantum_l)]
    within = np.isfinite(scatter)
    if within.sum() >= _FEWEST:
        views.append(_View(scatter, within, flow, calm[1], 0.3 * quantum_l))
    return views


def _as_one(view: _View, fixed: bool, least_l: float) -> bool:
    """Return whether the widest steps are no more than those of rest: not worth a closer look."""
    wide = quantile(view.values[view.told], 1.0 - LEAST_PART) / _WIDEST
    if fixed:
        return wide < LEAST_TIMES_FIXED * max(_quietest(view), view.floor)
    return wide < least_l


def _quietest(view: _View) -> float:
    """Return the scale of the quietest stretches of a few bins. [L]"""
    sums = np.concatenate([[0.0], np.cumsum(view.values[view.told])])
    near = min(_NEAR, sums.size - 1)
    return quantile(sums[near:] - sums[:-near], 0.04) / near / _MEAN


def _parted(
    views: list[_View], on: Mask, joined: Mask, start: int
) -> tuple[Mask, tuple[float, float]]:
    """Return which bins are at work, and the scales of the steps at rest and at work. [L]"""
    scales = [_first_scales(view, start) for view in views]
    work = np.zeros(on.size, np.bool_)
    for _ in range(_ROUNDS):
        odds = [
            np.exp(_odds(view.values, view.told, view.flow_l, *scale, scales[0][1]))
            for view, scale in zip(views, scales, strict=True)
        ]
        alone = odds[1] if len(odds) > 1 else np.ones(on.size)
        found = on & (chances(on, joined, odds[0], alone, TURN_CHANCE) > 0.5)
        if (found != work).sum() <= STEADY_PART * on.sum():
            work = found
            break
        work = found
        scales = [_scales(view, work, scale) for view, scale in zip(views, scales, strict=True)]
    return work, scales[0]


def _first_scales(view: _View, start: int) -> tuple[float, float]:
    """Return a first guess of the scale at rest and at work. [L]"""
    values = view.values[view.told]
    high = max(quantile(values, 0.8) / _WIDE, 2 * view.floor)
    times = _START_TIMES[start]
    if start > 0:
        low = high / times
    elif view.calm.size >= _FEWEST:
        low = times * _scale(view.calm, view.floor)
    else:
        low = times * _quietest(view)
    low = max(low, view.floor)
    return low, max(high, 2.0 * low)


def _scale(values: Floats, floor: float) -> float:
    """Return the scale by the middle, or by the wider part where readings repeat themselves."""
    return max(median(values) / _NORMAL, 0.8 * quantile(values, 0.8) / _WIDE, floor)


def _scales(view: _View, work: Mask, before: tuple[float, float]) -> tuple[float, float]:
    """Return the scales by the bins taken for rest and for work. [L]"""
    beside = work.copy()
    beside[:-1] |= work[1:]
    rest, busy = view.values[view.told & ~beside], view.values[view.told & work]
    low = _scale(rest, view.floor) if rest.size >= _FEW else before[0]
    high = _scale(busy, view.floor) if busy.size >= _FEW else before[1]
    return low, max(high, 1.2 * low)


@compiled
def _odds(
    values: Floats, told: Mask, flow_l: Floats, low: float, high: float, work_l: float
) -> Floats:
    """Return the log odds of work against rest of each value, for rest where fuel flows.

    ``work_l`` is the scale of the steps at work; no work takes the level far one way. [L]
    """
    out = np.zeros(values.size)
    least, steep = np.log(low / high), 0.5 * (1 / low**2 - 1 / high**2)
    for i in range(values.size):
        if not told[i]:
            continue
        most = MOST_ODDS
        if flow_l[i] > PLAIN_TIMES * work_l:
            most = -MOST_ODDS
        elif flow_l[i] > FLOW_TIMES * work_l:
            most = 0.0
        part = min(values[i], 6.0 * high)
        out[i] = min(max(least + steep * part**2, -MOST_ODDS), most)
    return out


@compiled
def _steps(level: Floats, joined: Mask, one_way: Mask) -> Floats:
    """Return how far the level steps to the next bin; where it flows, off its own flow. [L]"""
    n = level.size
    out = np.zeros(n)
    for i in range(n - 1):
        if not joined[i]:
            continue
        step = level[i + 1] - level[i]
        out[i] = abs(step)
        if one_way[i] or one_way[i + 1]:
            if i > 0 and joined[i - 1]:
                out[i] = min(out[i], abs(step - (level[i] - level[i - 1])) / 3**0.5)
            if joined[i + 1]:
                out[i] = min(out[i], abs(step - (level[i + 2] - level[i + 1])) / 3**0.5)
    return out


@compiled
def _one_way(level: Floats, beside: Mask) -> Floats:
    """Return how far the level flows near each bin, 0 where it does not go one way. [L]"""
    n = level.size
    out = np.zeros(n)
    for k in range(n):
        low, high = k, k
        while low > 0 and beside[low - 1] and k - low < REACH:
            low -= 1
        while high < n - 1 and beside[high] and high - k < REACH:
            high += 1
        path = 0.0
        for m in range(low + 1, high + 1):
            path += abs(level[m] - level[m - 1])
        whole = abs(level[high] - level[low])
        out[k] = whole if whole > ONE_WAY * path else 0.0
    return out


@compiled
def chances(on: Mask, joined: Mask, pair: Floats, alone: Floats, turn: float) -> Floats:
    """Return the chance of work in each bin, from the odds of it and of its pairs (no logs).

    A pair reads as rest only where both of its bins rest.
    """
    n = on.size
    out = np.zeros(n)
    ahead = np.zeros(n)
    i = 0
    while i < n:
        if not on[i]:
            i += 1
            continue
        j = i
        while j + 1 < n and joined[j]:
            j += 1
        ahead[i] = alone[i] / (1.0 + alone[i])
        for k in range(i + 1, j + 1):
            both, one = pair[k - 1], pair[k - 1] * alone[k]
            w = ahead[k - 1]
            rest = (1 - w) * (1 - turn) + w * turn * both
            work = ((1 - w) * turn + w * (1 - turn)) * one
            ahead[k] = work / (rest + work)
        rest, work = 0.5, 0.5
        out[j] = ahead[j]
        for k in range(j - 1, i - 1, -1):
            both, one = pair[k], pair[k] * alone[k + 1]
            from_rest = (1 - turn) * rest + turn * one * work
            from_work = turn * both * rest + (1 - turn) * one * work
            rest, work = from_rest / (from_rest + from_work), from_work / (from_rest + from_work)
            out[k] = ahead[k] * work / (ahead[k] * work + (1 - ahead[k]) * rest)
        i = j + 1
    return out
