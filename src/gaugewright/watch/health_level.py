"""Health of the level: a zero that drifts, a probe that was moved, water, a wrong table.

None of these shows in one reading. A drift or a move shows in where the full tank reads; water
in what the reading does between rest and motion; a wrong table in a consumption that seems to
change with the level.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from gaugewright.watch.health_blocks import MOVING, OFF
from gaugewright.watch.health_case import (
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    day_of,
    evenly,
    moment_of,
)
from gaugewright.watch.health_loops import brim_likelihood, sliding_likelihood, turns_in
from gaugewright.watch.health_noise import lag_of
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import EventKind, Floats

LEAST_FILLS, MOST_FILLS = 5, 100
MOST_TURNS = 800
LEAST_SIDE = 2
BRIMS = 60
"""Places of the brim that are tried."""
FULL_CHANCE = 0.5
"""How many refuels go to the brim (common practice, no source)."""
BRIM_SCATTERS = (0.003, 0.006, 0.011)
"""Scatter of the brim's reading from fill to fill: slope, warmth, the pump's cut-off. Share."""
DRIFTS = np.linspace(-0.16, 0.16, 49)
"""Drifts over the log that are tried. Share of the span."""
LEAST_FOR_DRIFT, LEAST_FOR_STEP = 7.0, 11.0
"""Logarithm of the likelihood ratio that is asked of a drift and of a step at any refuel."""
LEAST_SHIFT, MOST_SHIFT = 0.015, 0.16
WATER_Z, WATER_SHARE = 6.0, 0.008


def brim(case: Case) -> Iterator[HealthNote]:
    """Where the full tank reads, over time: level (well), sliding (drift) or stepped (moved)."""
    fills = _fills(case, lag_of(case) or 0.0)
    if fills.shape[0] < LEAST_FILLS:
        return
    time_s, counts = fills.T
    share = (counts - case.low) / case.span
    level = _brim_steady(share)
    drift, slope = _brim_sliding(time_s, share)
    step, at, size = _brim_stepped(share)
    jump = _jump(case, time_s, at, size)
    stepped = step - level >= LEAST_FOR_STEP and abs(size) >= LEAST_SHIFT
    if stepped and step > drift + (-3.0 if jump else 1.0):
        yield _moved(case, time_s, at, size, step - level, jump)
    elif drift - level >= LEAST_FOR_DRIFT and abs(slope) >= LEAST_SHIFT:
        yield _drifted(case, time_s, slope, drift - level)


def _moved(case: Case, time_s: Floats, at: int, size: float, ratio: float, jump: str) -> HealthNote:
    counts = size * case.span
    litres = abs(counts) * case.litres_per_count(case.low + 0.6 * case.span)
    way = "higher" if size > 0 else "lower"
    return case.note(
        HealthKind.PROBE_MOVED,
        time_s[at - 1],
        time_s[at],
        f"Since the refuel of {day_of(float(time_s[at]))} the full tank reads {abs(counts):.0f} "
        f"counts {way} than before it ({at} refuels before, {time_s.size - at} after; about "
        f"{litres:.0f} L; log of the likelihood ratio {ratio:.1f}).{jump}",
        "The probe or its tip was moved, or its scale set anew. Look at its seal and flange, check "
        "zero and span, and make a new table if it was moved.",
    )


def _drifted(case: Case, time_s: Floats, slope: float, ratio: float) -> HealthNote:
    counts = slope * case.span
    litres = abs(counts) * case.litres_per_count(case.low + 0.6 * case.span)
    days = (time_s[-1] - time_s[0]) / 86400
    way = "up" if slope > 0 else "down"
    return case.note(
        HealthKind.ZERO_DRIFT,
        time_s[0],
        time_s[-1],
        f"The full tank's reading drifts {way}: {abs(counts):.0f} counts in {days:.0f} days, about "
        f"{litres:.0f} L, over {time_s.size} refuels (log of the likelihood ratio {ratio:.1f}).",
        "Check the probe's zero and span in the empty tank or in air; clean the tubes; if the fuel "
        "changed, its permittivity may have.",
    )


def _fills(case: Case, lag_s: float) -> Floats:
    """Time and counts after each refuel, read at rest, shape (n, 2)."""
    blocks = case.blocks
    found = []
    events = case.events()
    wait_s = max(120.0, 2.5 * lag_s)
    refuels = [
        k
        for k, event in enumerate(events)
        if event.kind == EventKind.REFUEL and event.litres >= 0.08 * case.capacity_l
    ]
    for number in evenly(refuels, MOST_FILLS):  # so many say enough
        event = events[number]
        until = events[number + 1].start_s if number + 1 < len(events) else np.inf
        low, high = np.searchsorted(
            blocks.start_s,
            [event.end_s + wait_s, min(event.end_s + wait_s + 1680.0, until)],
        )
        near = slice(int(low), int(high))
        means, rest = blocks.mean[near], blocks.state[near] != MOVING
        # At rest where there is rest; else the first quarter of an hour on the move.
        chosen = means[rest][:4] if rest[:1].any() else means[:4]
        chosen = chosen[np.isfinite(chosen)]
        if chosen.size:
            found.append((event.end_s, median(chosen)))
    return np.array(found).reshape(-1, 2)


def _densities(share: Floats, brims: Floats, scatter: float) -> Floats:
    """Log density of each fill for each brim: to the brim, or anywhere below it."""
    away = share[:, None] - brims
    full = np.exp(-0.5 * (away / scatter) ** 2) / (scatter * np.sqrt(2 * np.pi))
    below = np.where(away < 2.5 * scatter, 1.0 / np.maximum(brims, 0.3), 1e-4)
    result: Floats = np.log(FULL_CHANCE * full + (1 - FULL_CHANCE) * below)
    return result


def _brims(share: Floats) -> Floats:
    return np.linspace(median(share), float(share.max()) + 0.01, BRIMS)


def _brim_steady(share: Floats) -> float:
    brims = _brims(share)
    return max(brim_likelihood(share, brims, s, FULL_CHANCE) for s in BRIM_SCATTERS)


def _brim_sliding(time_s: Floats, share: Floats) -> tuple[float, float]:
    """Best log likelihood of a brim that slides, and by how much over the log."""
    when = (time_s - time_s[0]) / max(time_s[-1] - time_s[0], 1.0)
    return sliding_likelihood(share, when, DRIFTS, BRIMS, np.array(BRIM_SCATTERS), FULL_CHANCE)


def _brim_stepped(share: Floats) -> tuple[float, int, float]:
    """Best log likelihood of a brim that steps, before which fill, and by how much."""
    best, place, size = -np.inf, 0, 0.0
    brims = np.linspace(quantile(share, 0.2), float(share.max()) + 0.01, 120)
    reach = max(1, int(MOST_SHIFT / (brims[1] - brims[0])))
    for scatter in BRIM_SCATTERS:
        sums = np.cumsum(_densities(share, brims, scatter), axis=0)
        afters = sums[-1] - sums
        most = (sums.max(axis=1) + afters.max(axis=1)).tolist()
        for at in range(LEAST_SIDE, share.size - LEAST_SIDE + 1):
            if most[at - 1] <= best:
                continue
            before, after = sums[at - 1], afters[at - 1]
            both = before + _highest_near(after, reach)
            first = int(np.argmax(both))
            if both[first] > best:
                best, place = float(both[first]), at
                near = slice(max(first - reach, 0), first + reach + 1)
                size = float(brims[near][np.argmax(after[near])] - brims[first])
    return best, place, size


def _highest_near(values: Floats, reach: int) -> Floats:
    """Return the highest of the values up to ``reach`` places away from each."""
    wide = np.pad(values, reach, constant_values=-np.inf)
    highest: Floats = sliding_window_view(wide, 2 * reach + 1).max(axis=1)
    return highest


def _jump(case: Case, time_s: Floats, at: int, size: float) -> str:
    """Say which supposed event between the two fills is of the step's size; empty if none is."""
    for event in case.events():
        if not time_s[at - 1] < event.start_s < time_s[at]:
            continue
        sign = 1.0 if event.kind == EventKind.REFUEL else -1.0
        here = float(np.interp(event.before_l, case.table.litres, case.table.counts))
        litres = abs(size) * case.span * case.litres_per_count(here)
        if sign * size > 0 and abs(event.litres - litres) < 0.25 * litres + 0.005 * case.capacity_l:
            return (
                f" The {event.kind.value} of {event.litres:.0f} L at {moment_of(event.start_s)} is "
                "of just that size and may have been no fuel."
            )
    return ""


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
    top = float(blocks.mean[usable].max()) - 0.01 * case.span
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
