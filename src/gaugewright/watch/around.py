"""What goes on around a change of the level: work, creeping, a probe that repeats itself."""

from math import log

import numpy as np
import numpy.typing as npt

from gaugewright.watch.change import Change
from gaugewright.watch.compiled import compiled
from gaugewright.watch.look import Seen
from gaugewright.watch.middles import quantile
from gaugewright.watch.plateaus import narrowed
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

FROZEN_BINS = 5
FROZEN_ODDS = 9.0
"""From which surprise on a probe that often repeats itself froze: log of one in so many. [1]"""
BLUR_BINS = 6
CREPT_KMH, _PARKED_PART = 1.0, 0.9995
"""Slower is no motion; nor is what this part of the records of a parked engine stays below."""
USED_UP_H = 5.0
"""No engine empties a full tank sooner (common practice, no source). [h]"""
SLOPE_PART = 0.03
"""Of the tank, what a slope or a load may move at the probe (common practice, no source). [1]"""


def repeats(seen: Seen) -> tuple[float, float]:
    """Return the share of bins at rest that repeat the one before, engine off and running."""
    still = seen.spells.at_rest[1:]
    on = seen.bins.running[1:] > 0.5
    same = np.diff(seen.raw_l) == 0
    off, on = still & ~on, still & on
    return (
        float(same[off].mean()) if off.any() else 1.0,
        float(same[on].mean()) if on.any() else 1.0,
    )


def frozen_since(seen: Seen, at: int, repeating: tuple[float, float]) -> int:
    """Return from where on the probe repeated itself up to a bin, the bin itself if it did not.

    A probe that froze shows at once what happened since, so the moment is not known.
    """
    repeat = repeating[int(seen.bins.running[at] > 0.5)]
    fewest = FROZEN_BINS if repeat < 0.5 else FROZEN_ODDS / -log(min(repeat, 0.999))
    first = _alike_since(seen.raw_l, at)
    return first if at - first >= fewest else at


@compiled
def _alike_since(values: Floats, at: int) -> int:
    """Return from where on the values are the same as at a place."""
    first = at
    while first > 0 and values[first - 1] == values[at]:
        first -= 1
    return first


def creep_kmh(seen: Seen) -> float:
    """Return the speed above which this vehicle creeps: more than its unit tells of one parked."""
    bins = seen.bins
    speed = _parked_kmh(seen.speed_kmh, bins.first, bins.moving, bins.running)
    return max(CREPT_KMH, quantile(speed, _PARKED_PART)) if speed.size else CREPT_KMH


@compiled
def _parked_kmh(speed_kmh: Floats, first: Places, moving: Mask, running: Floats) -> Floats:
    """Return the known speeds of bins that do not move, with the engine off."""
    out = np.empty(first.size)
    held = 0
    for k in range(first.size):
        out[held] = speed_kmh[first[k]]
        held += not moving[k] and not running[k] > 0.0 and np.isfinite(out[held])
    return out[:held].copy()


def crept(seen: Seen, a: int, b: int, creep: float) -> bool:
    """Return whether the vehicle crept during a change, too slowly to be seen to move."""
    if not seen.bins.moves:
        return False
    return _any_above(seen.speed_kmh, seen.bins.first[a], seen.bins.last[b] + 1, creep)


@compiled
def _any_above(values: Floats, first: int, end: int, least: float) -> bool:
    some = False
    for i in range(first, end):
        some |= values[i] > least
    return some


def busy(seen: Seen, a: int, b: int, fewest: int) -> bool:
    """Return whether a change is at a stop's end, or a machine that moves has its engine on."""
    running = seen.bins.running[a] > 0.5 or seen.bins.running[b] > 0.5
    return fewest <= 2 or (running and seen.bins.moves)


@compiled
def between(level: Floats, a: int, b: int) -> int:
    """Return how many bins inside a change are plainly on the way, as fuel that flows is. [L]"""
    whole, count = level[b] - level[a], 0
    for i in range(a + 1, b):
        if abs(level[i] - level[a] - 0.5 * whole) < 0.35 * abs(whole):
            count += 1
    return count


def blurred(seen: Seen, stop: int, a: int, b: int) -> bool:
    """Return whether the engine runs and work without moving is within `BLUR_BINS`."""
    if not seen.bins.running[a] > 0.5:
        return False
    spells, moving = seen.spells, seen.bins.moving
    for beside, apart in ((stop - 1, a - spells.low[stop]), (stop + 1, spells.high[stop] - 1 - b)):
        if apart < BLUR_BINS and 0 <= beside < spells.low.size and not spells.still[beside]:
            share = moving[spells.low[beside] : spells.high[beside]].mean()
            if share < 0.5:
                return True
    return False


def is_untold(seen: Seen, change: Change) -> bool:
    """Return whether no record during a change tells if the engine ran."""
    if not seen.is_engine_told:
        return True
    return not _any_known(seen.bins.running, change.before, change.after + 1)


@compiled
def _any_known(values: Floats, first: int, end: int) -> bool:
    known = False
    for i in range(first, end):
        known |= values[i] == values[i]
    return known


def may_have_moved(seen: Seen, change: Change) -> bool:
    """Return whether the tank may have tilted meanwhile, because no record says that it stood."""
    a, b = change.before, change.after
    if _any_known(seen.speed_kmh, int(seen.bins.first[a]), int(seen.bins.last[b]) + 1):
        return not seen.is_engine_told and seen.may_tilt
    if seen.is_speed_told and seen.is_engine_told:
        return is_untold(seen, change)
    is_off = seen.is_engine_told and bool((seen.bins.running[a : b + 1] == 0).all())
    return seen.may_tilt and not is_off


def hidden_use_l(seen: Seen, change: Change) -> float:
    """Return the most that this engine may have used in odd holes of the record. [L]"""
    time_s = seen.bins.time_s
    if time_s[change.after] - time_s[change.before] <= 3600 * seen.odd_h:
        return 0.0
    hours = np.diff(time_s[change.before : change.after + 1]) / 3600
    most_l_h = max(seen.manner.burn_l_h, seen.manner.idle_l_h)
    return most_l_h * float(hours[hours > seen.odd_h].sum())


def may_be_otherwise(seen: Seen, change: Change, capacity_l: float) -> bool:
    """Return whether a fall may be use, slope or load, because no record tells of them.

    It may be slope or load if it is small, and use if it is as slow as that, or if the engine
    could have used as much in a hole that is longer than this vehicle's holes usually are.
    """
    if change.litres >= 0:
        return False
    if -change.litres < SLOPE_PART * capacity_l and may_have_moved(seen, change):
        return True
    if -change.litres < hidden_use_l(seen, change):
        return True
    if not is_untold(seen, change):
        return False
    a, b = narrowed(
        change.before, change.after, seen.level_l, float(seen.weight_l2[change.before] ** 0.5)
    )
    hours = float(seen.bins.time_s[b] - seen.bins.time_s[a]) / 3600
    return -change.litres < capacity_l * hours / USED_UP_H
