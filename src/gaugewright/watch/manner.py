"""How this vehicle's own readings behave when nothing happens to the fuel.

Everything is learnt from the log itself by medians, so that refuels and drains, rare among
thousands of minutes, do not count.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.spells import HOLE_S, Spells
from gaugewright.watch.values import Floats

LEAVING = 2
SETTLING = 6
"""Bins after a stop begins in which the level may still swing or the probe still average."""
POURED_PART = 0.05
"""A stop whose first bins are off by this part of the tank began with fuel, no swing. [1]"""
_MAD = 1.4826
_HOUR_S = 3600.0
_BLOCK = 5
_IDLE_APART_S = (600.0, 1800.0, 5400.0)
_IDLE_COUNTS = 3.0


@dataclass(frozen=True, eq=False)
class Manner:
    """Variances and rates of one vehicle. [L², L²/h, L/h]

    ``still_l2`` of a bin at rest with several records, ``single_l2`` with one; ``wander_l2_h``
    what warmth and drift add in an hour at rest; ``idle_l2_h`` the same with the engine
    running; ``settling_l2`` more for the first bins of a stop; ``rough_l2`` of a bin under
    way, its neighbours' likeness counted in; ``burn_l2_h`` the unevenness of consumption;
    ``slope_l2`` of the level from one place to the next.
    """

    still_l2: float
    single_l2: float
    wander_l2_h: float
    running_l2: float
    idle_l_h: float
    idle_l2_h: float
    settling_l2: Floats
    leaving_l2: Floats
    rough_l2: float
    burn_l_h: float
    burn_l2_h: float
    slope_l2: float


def manner_of(bins: Bins, spells: Spells, quantum_l: float) -> Manner:
    """Learn how one vehicle's readings behave."""
    inside, at_rest = spells.inside, spells.at_rest
    since = np.arange(bins.time_s.size) - spells.low[inside]
    settled = at_rest & (since >= SETTLING)
    off = settled & ~(bins.running > 0.5)
    on = settled & (bins.running > 0.5)
    floor = (0.35 * quantum_l) ** 2
    many, single = bins.records > 1, bins.records == 1
    still = _pair_l2(bins, inside, off & many, 3, floor)
    lone = _pair_l2(bins, inside, off & single, 1, floor)
    lone = still if np.isnan(lone) else lone
    still = lone if np.isnan(still) else min(still, lone)
    running = _pair_l2(bins, inside, on, 3, floor)
    running = still if np.isnan(running) else running
    still = running if np.isnan(still) else still
    still = floor if np.isnan(still) else still
    lone = still if np.isnan(lone) else lone
    running = still if np.isnan(running) else running
    wander = _wander_l2_h(bins, inside, off, max(still, lone), quantum_l)
    idle, idle_sd = _idle(bins, inside, on, running, quantum_l)
    burn, slope_l2 = _burn(bins, spells, inside)
    rough_l2 = _rough_l2(bins, spells, burn)
    return Manner(
        still_l2=still,
        single_l2=max(lone, still),
        wander_l2_h=wander,
        running_l2=max(running, still),
        idle_l_h=idle,
        idle_l2_h=wander + idle_sd**2,
        settling_l2=_settling(bins, spells, still),
        leaving_l2=_leaving(bins, spells, still),
        rough_l2=max(rough_l2, still),
        burn_l_h=burn,
        burn_l2_h=0.04 * burn**2 + wander,
        slope_l2=max(slope_l2, floor),
    )


def _pair_l2(
    bins: Bins,
    inside: npt.NDArray[np.int64],
    wanted: npt.NDArray[np.bool_],
    lag: int,
    floor: float,
) -> float:
    """Return the variance of one bin, from pairs ``lag`` apart in one spell; NaN without any."""
    step = _steps_of(bins.level_l, inside, wanted, lag)
    if step.size < 60:
        return float("nan")
    middle = (_MAD * median(step)) ** 2 / 2
    return max(middle if middle > 0 else _tail_l2(step), floor)


@compiled
def _steps_of(
    level: Floats, inside: npt.NDArray[np.int64], wanted: npt.NDArray[np.bool_], lag: int
) -> Floats:
    """Return how far the level moved between wanted bins of one spell ``lag`` apart. [L]"""
    steps = np.empty(level.size)
    held = 0
    for i in range(lag, level.size):
        steps[held] = abs(level[i] - level[i - lag])
        held += wanted[i] and wanted[i - lag] and inside[i] == inside[i - lag]
    return steps[:held]


def _tail_l2(step: Floats) -> float:
    """Return the variance by the wider steps, for readings that mostly repeat themselves."""
    return (quantile(step, 0.8) / 1.2816) ** 2 / 2


def _wander_l2_h(
    bins: Bins,
    inside: npt.NDArray[np.int64],
    off: npt.NDArray[np.bool_],
    still_l2: float,
    quantum_l: float,
) -> float:
    """Return what an hour at rest adds to the variance of the level. [L²/h]"""
    least = (0.1 * quantum_l + 0.02) ** 2
    seen = [least]
    for hours in (0.5, 1.0, 2.0):
        step = _steps_apart(bins.time_s, inside, off, bins.level_l, hours)
        if step.size < 50:
            continue
        l2 = (_MAD * median(step)) ** 2 - 2 * still_l2
        seen.append(l2 / hours)
    return max(seen)


@compiled
def _steps_apart(
    time_s: Floats,
    inside: npt.NDArray[np.int64],
    wanted: npt.NDArray[np.bool_],
    level: Floats,
    hours: float,
) -> Floats:
    """Return how far the level moved from each wanted bin to the first one ``hours`` after it.

    Pairs as of `pairs_apart`, those further apart than one and a half times it left out. [L]
    """
    n = time_s.size
    steps = np.empty(n)
    held = j = 0
    for i in range(n):
        if not wanted[i]:
            continue
        due = time_s[i] + hours * _HOUR_S
        while j < n and time_s[j] < due:
            j += 1
        if j == n:
            break
        near = (time_s[j] - time_s[i]) / _HOUR_S < 1.5 * hours
        if near and wanted[j] and inside[j] == inside[i]:
            steps[held] = abs(level[j] - level[i])
            held += 1
    return steps[:held]


@compiled
def pairs_apart(
    time_s: Floats, inside: npt.NDArray[np.int64], wanted: npt.NDArray[np.bool_], apart_s: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Return each wanted bin and the first one ``apart_s`` after it, wanted and of its spell."""
    n = time_s.size
    first, second = np.empty(n, np.int64), np.empty(n, np.int64)
    held = j = 0
    for i in range(n):
        if not wanted[i]:
            continue
        due = time_s[i] + apart_s
        while j < n and time_s[j] < due:
            j += 1
        if j == n:
            break
        if wanted[j] and inside[j] == inside[i]:
            first[held], second[held] = i, j
            held += 1
    return first[:held].copy(), second[:held].copy()


def _idle(
    bins: Bins,
    inside: npt.NDArray[np.int64],
    on: npt.NDArray[np.bool_],
    running_l2: float,
    quantum_l: float,
) -> tuple[float, float]:
    """Return the consumption at rest with the engine on, and its scatter. [L/h]

    Over as long a time as it takes for the level to fall by several counts: over less, most
    pairs of a coarse probe read no fall at all, and their median would be nothing.
    """
    found = 0.0, 1.0
    for apart_s in _IDLE_APART_S:
        a, b = pairs_apart(bins.time_s, inside, on, apart_s)
        if a.size < 10:
            break
        drop = bins.level_l[a] - bins.level_l[b]
        rate = drop / (bins.time_s[b] - bins.time_s[a]) * _HOUR_S
        middle = median(rate)
        hours = median(bins.time_s[b] - bins.time_s[a]) / _HOUR_S
        seen_l2 = (_MAD * median(np.abs(rate - middle))) ** 2
        own = max(seen_l2 - 2 * running_l2 / hours**2, 0.0) ** 0.5
        found = max(middle, 0.0), max(0.3 * abs(middle), own, 0.3)
        if abs(median(drop)) >= _IDLE_COUNTS * quantum_l or quantum_l < 0.2:
            break
    return found


def _settling(bins: Bins, spells: Spells, still_l2: float) -> Floats:
    """Return the extra variance of the first bins of a stop against the bins after. [L²]"""
    long = spells.still & (spells.high - spells.low >= SETTLING + 4)
    low = spells.low[long]
    if low.size < 8:
        return np.array([16.0, 4.0, 1.0, 0.25, 0.1, 0.0]) * still_l2
    later = _middle_of_four(bins.level_l[low[:, None] + np.arange(SETTLING, SETTLING + 4)])
    off = np.abs(bins.level_l[low[:, None] + np.arange(SETTLING)] - later[:, None]).max(axis=1)
    calm = off < POURED_PART * quantile(bins.level_l, 0.98)
    if np.count_nonzero(calm) < 8:
        return np.array([16.0, 4.0, 1.0, 0.25, 0.1, 0.0]) * still_l2
    low, later = low[calm], later[calm]
    extra = np.array([_wide_l2(bins.level_l[low + k] - later) for k in range(SETTLING)])
    extra = np.maximum(extra - 1.5 * still_l2, 0.0)
    return np.maximum.accumulate(extra[::-1])[::-1].copy()


def _leaving(bins: Bins, spells: Spells, still_l2: float) -> Floats:
    """Return the extra variance of the last bins of a stop against the bins before. [L²]"""
    long = spells.still & (spells.high - spells.low >= SETTLING + 4)
    high = spells.high[long]
    if high.size < 8:
        return np.array([4.0, 0.5]) * still_l2
    before = _middle_of_four(bins.level_l[high[:, None] - np.arange(4, 8)])
    extra = np.array([_wide_l2(bins.level_l[high - 1 - k] - before) for k in range(LEAVING)])
    return np.maximum(extra - 1.5 * still_l2, 0.0)


def _middle_of_four(levels: Floats) -> Floats:
    """Return the median of each row of four."""
    levels.sort(axis=1)
    middle: Floats = (levels[:, 1] + levels[:, 2]) / 2
    return middle


def _wide_l2(off: Floats) -> float:
    """Return a variance from the middle and the wider part of what is off. [L²]"""
    size = np.abs(off)
    return max((_MAD * median(size)) ** 2, (quantile(size, 0.8) / 1.2816) ** 2)


def _burn(bins: Bins, spells: Spells, inside: npt.NDArray[np.int64]) -> tuple[float, float]:
    """Return the consumption under way [L/h], and the variance of a place's slope [L²]."""
    stops = np.flatnonzero(spells.still & (spells.high - spells.low >= 2))
    if stops.size < 6:
        return _burn_within(bins, spells), 1.0
    ends = spells.high[stops[:-1]] - 1
    starts = np.minimum(spells.low[stops[1:]] + 2, spells.high[stops[1:]] - 1)
    under_way = _hours_under_way(bins, spells, inside)
    hours = under_way[spells.low[stops[1:]]] - under_way[ends]
    drop = bins.level_l[ends] - bins.level_l[starts]
    usable = hours > 0.02
    if usable.sum() < 6:
        return _burn_within(bins, spells), 1.0
    hours, drop = hours[usable], drop[usable]
    rate = _slope_through_zero(hours, drop)
    left = drop - rate * hours
    quick = hours <= quantile(hours, 0.5)
    return max(rate, 0.0), (_MAD * median(np.abs(left[quick]))) ** 2 / 2


def _hours_under_way(bins: Bins, spells: Spells, inside: npt.NDArray[np.int64]) -> Floats:
    """Return the hours spent under way up to each bin, holes left out. [h]"""
    return _summed_under_way(bins.time_s, spells.still, inside, HOLE_S / _HOUR_S)


@compiled
def _summed_under_way(
    time_s: Floats,
    still: npt.NDArray[np.bool_],
    inside: npt.NDArray[np.int64],
    hole_h: float,
) -> Floats:
    out = np.zeros(time_s.size)
    for i in range(1, time_s.size):
        step = (time_s[i] - time_s[i - 1]) / _HOUR_S
        under_way = not still[inside[i]] or not still[inside[i - 1]]
        out[i] = out[i - 1] + (step if under_way and step < hole_h else 0.0)
    return out


def _slope_through_zero(hours: Floats, drop: Floats) -> float:
    """Return the robust rate of drop per hour: repeated weighted means, far ones left out."""
    order = np.argsort(drop / hours)
    weight = np.cumsum(hours[order])
    rate = float((drop / hours)[order][np.searchsorted(weight, weight[-1] / 2)])
    for _ in range(5):
        left = np.abs(drop - rate * hours)
        near = left <= 3.0 * _MAD * median(left) + 1e-9
        rate = float(drop[near].sum() / hours[near].sum())
    return rate


def _burn_within(bins: Bins, spells: Spells) -> float:
    """Return the consumption seen inside long active spells, where stops are few. [L/h]"""
    rates, weights = [], []
    for low, high in zip(spells.low[~spells.still], spells.high[~spells.still], strict=True):
        if high - low >= 20:
            third = (high - low) // 3
            first, last = slice(low, low + third), slice(high - third, high)
            hours = (bins.time_s[last].mean() - bins.time_s[first].mean()) / _HOUR_S
            drop = median(bins.level_l[first]) - median(bins.level_l[last])
            rates.append(drop / hours)
            weights.append(hours)
    return max(median(np.array(rates)), 0.0) if rates else 0.0


def _rough_l2(bins: Bins, spells: Spells, burn_l_h: float) -> float:
    """Return the variance of a bin under way as it counts in a mean of many. [L²]"""
    low, high = spells.low[~spells.still], spells.high[~spells.still]
    steps = _block_steps(low, high, bins.level_l, bins.time_s, burn_l_h / _HOUR_S)
    if not steps.size:
        moving = np.diff(bins.level_l)
        return (_MAD * median(np.abs(moving))) ** 2 if moving.size else 1.0
    return (_MAD * median(np.abs(steps))) ** 2 / 2 * _BLOCK


@compiled
def _block_steps(
    lows: npt.NDArray[np.int64],
    highs: npt.NDArray[np.int64],
    level: Floats,
    time_s: Floats,
    burn_l_s: float,
) -> Floats:
    """Return the steps between means of `_BLOCK` bins that follow one another, use added back."""
    out = np.empty(level.size // _BLOCK + 1)
    held = 0
    for k in range(lows.size):
        before = np.nan
        for first in range(lows[k], highs[k] - _BLOCK + 1, _BLOCK):
            total = 0.0
            for i in range(first, first + _BLOCK):
                total += level[i] + burn_l_s * (time_s[i] - time_s[lows[k]])
            if before == before:
                out[held] = total / _BLOCK - before
                held += 1
            before = total / _BLOCK
    return out[:held].copy()
