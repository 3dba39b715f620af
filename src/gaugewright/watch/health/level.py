"""Health of the level: water under the tip; and the levels at rest that other checks go by.

Water shows in what the reading does between rest and motion.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gaugewright.watch.health.blocks import MOVING, OFF
from gaugewright.watch.health.case import (
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    day_of,
)
from gaugewright.watch.health.loops import turns_in
from gaugewright.watch.middles import quantile
from gaugewright.watch.values import Floats

MOST_TURNS = 800
WATER_Z, WATER_SHARE = 6.0, 0.008


def water(case: Case) -> Iterator[HealthNote]:
    """Readings that are higher at rest than on the move, before a drive and after it alike."""
    found = _rest_less_motion(case)
    if found.shape[0] < 20:
        return
    time_s, kind, difference = found.T
    share = difference / case.span
    best, start = 0.0, 0.0
    mean = 0.0
    for cut in np.linspace(0.0, 0.8, 17):
        later = time_s >= time_s[0] + cut * (time_s[-1] - time_s[0])
        value, z = _both_ends(share, kind, later)
        if z > best + 0.5:
            best, start, mean = z, float(time_s[later][0]), value
    if best < WATER_Z or mean < WATER_SHARE:
        return
    before, _ = _both_ends(share, kind, time_s < start)
    counts = mean * case.span
    litres = counts * case.litres_per_count(case.low + 0.4 * case.span)
    earlier = "" if np.isnan(before) else f"; before that {100 * before:.1f} %"
    yield case.note(
        HealthKind.WATER,
        start,
        time_s[-1],
        f"Since {day_of(start)} the probe reads {counts:.0f} counts ({100 * mean:.1f} % of the "
        f"scale, about {litres:.0f} L) more at rest than on the move, before and after drives "
        f"alike, {best:.1f} times its standard uncertainty{earlier}.",
        "Water gathers under the tip at rest and is shaken away on the move: draw a sample from "
        "the lowest point and drain it. If there is none, see whether it always parks on a slope.",
    )


def _both_ends(share: Floats, kind: Floats, chosen: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Mean of starts and stops, and against its standard uncertainty; consumption cancels."""
    means, variances = [], []
    for end in (0.0, 1.0):
        values = share[chosen & (kind == end)]
        if values.size < 5:
            return float("nan"), 0.0
        low, high = quantile(values, 0.1), quantile(values, 0.9)
        kept = values[(values >= low) & (values <= high)]
        means.append(float(kept.sum()) / kept.size)
        # A trimmed mean's own uncertainty (Tukey and McLaughlin 1963): winsorised variance.
        wins = np.minimum(np.maximum(values, low), high)
        off = wins - wins.sum() / wins.size
        variances.append(float((off * off).sum()) / (wins.size - 1) / (0.8**2 * values.size))
    mean = 0.5 * (means[0] + means[1])
    return mean, mean / (0.5 * float(np.sqrt(variances[0] + variances[1])) + 1e-6)


def _rest_less_motion(case: Case) -> Floats:
    """Time, end (0 before a drive, 1 after it) and counts at rest less on the move; (n, 3)."""
    blocks = case.blocks
    moving = blocks.state == MOVING
    edges = np.flatnonzero(np.diff(moving.astype(np.int8)))
    # Pairs of a start and a stop, no more than are needed for a firm mean.
    edges = edges[(np.arange(edges.size) // 2) % max(1, edges.size // MOST_TURNS) == 0]
    events = case.events()
    return turns_in(
        moving, edges, blocks.start_s, blocks.end_s, blocks.mean, 0.75 * HOUR_S,
        np.array([e.start_s for e in events]), np.array([e.end_s for e in events]),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Stand:
    """Levels at rest in one stretch without events, and what was used up to each."""

    counts: Floats
    moved_h: Floats
    ran_h: Floats
    engine_l: Floats
    """By the engine's counter, NaN where there is none. [L]"""
    time_s: Floats
    litres: Floats
    """By the table. [L]"""


def stands(case: Case) -> list[Stand]:
    """Return the levels at rest between events, one for the start and end of each stop."""
    if "stands" not in case.kept:
        case.kept["stands"] = _stands(case)
    found: list[Stand] = case.kept["stands"]
    return found


def _stands(case: Case) -> list[Stand]:
    blocks = case.blocks
    usable = np.isfinite(blocks.mean)
    off = (blocks.state == OFF) & usable
    # A hole belongs to the block before it, as long as it may be work.
    until = np.append(blocks.start_s[1:], blocks.end_s[-1])
    length = np.minimum(until - blocks.start_s, 2 * HOUR_S) / HOUR_S
    moved = np.cumsum(np.where(blocks.state == MOVING, length, 0.0))
    ran = np.cumsum(np.where((blocks.state != MOVING) & (blocks.state != OFF), length, 0.0))
    counter = case.track.engine_fuel_l
    engine = np.full(usable.size, np.nan) if counter is None else counter[blocks.first]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.view(np.int8), [0]])))
    lows, highs = edges[::2], edges[1::2]
    # The first block still settles; of a long stop both ends count.
    lows, highs = lows[highs - lows >= 2] + 1, highs[highs - lows >= 2] - 1
    long = blocks.start_s[highs] - blocks.start_s[lows] > 2 * HOUR_S
    at = np.sort(np.concatenate([lows, highs[long]]))
    if at.size < 4:
        return []
    times = blocks.start_s[at]
    top = min(float(blocks.mean[usable].max()), case.high + 0.02 * case.span) - 0.01 * case.span
    bottom = float(blocks.mean[usable].min()) + 0.01 * case.span
    events = case.watched.events
    cuts = np.unique(np.concatenate([
        [0, at.size],
        np.searchsorted(times, np.array([e.start_s for e in events]) - 300.0),
        np.searchsorted(times, np.array([e.end_s for e in events]) + 300.0),
    ]).astype(np.int64))  # fmt: skip
    # At its ends the probe does not follow the fuel.
    follows = (blocks.mean[at] < top) & (blocks.mean[at] > bottom)
    cuts = np.concatenate([[0], np.cumsum(follows)])[cuts]
    at = at[follows]
    mean, times = blocks.mean[at], blocks.start_s[at]
    columns = mean, moved[at], ran[at], engine[at], times, case.litres(mean)
    return [
        Stand(*(column[low:high] for column in columns))
        for low, high in pairwise(cuts.tolist())
        if high - low >= 3
    ]
