"""What the engine used, minute by minute: from its own counter, or from this vehicle's habit."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.manner import Manner
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.spells import HOLE_S, Spells
from gaugewright.watch.values import Floats, Track

_HOUR_S = 3600.0
_COUNTER_PART = 0.04
"""How far an engine's counter may be off over an hour, common practice, no source. [1]"""
_SLOPE_S, _SLOPE_TIMES = 900.0, 10.0
"""A rate is read between bins so far apart, and farther, up to a quarter of the run, where the
engine uses less meanwhile than so many times what the readings scatter. [s, 1]"""
_STUCK = 0.05
"""Readings that differ by less than this part of their scatter repeat themselves. [1]"""
_OWN_PART = 0.08
"""How unsure the rate of one run is by itself. [1/h½]"""
_MAD = 1.4826
_SHORTEST_RUN = 25
_FEWEST_RUNS = 5
_FAR = 3.0
"""How many times as far as its runs scatter the rate of one may be off; beyond, fuel went."""
_NEAR = 3.0
"""Levels on both sides of a hole are alike within so many times what they scatter. [1]"""
_HOLES_PART = 0.2
"""Part of the time that holes fill where records come with the engine only. [1]"""
_USUAL_PART, _ODD_TIMES = 0.9, 3.0
"""A hole is odd that lasts so many times as long as this part of them does at most. [1]"""
Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Habit:
    """What one vehicle uses by its manner alone, bin by bin.

    ``counted_l`` is its engine's counter, if that says something. ``rate`` is the consumption by
    what the bin is, ``unsure`` how doubtful that is; ``wanted`` are the bins from which a rate of
    their own may be learnt, more than ``clear_s`` apart, none of them where the level
    ``repeats`` itself. [L, h, L/h, L²/h, s]
    """

    hours: Floats
    counted_l: Floats | None
    rate: Floats
    unsure: Floats
    wanted: Mask
    repeats: Mask
    clear_s: float
    dead: bool
    odd_h: float


def habit_of(track: Track, bins: Bins, spells: Spells, manner: Manner) -> Habit:
    """Return what this vehicle uses by its manner and its engine's counter."""
    hours = np.diff(bins.time_s, prepend=bins.time_s[:1]) / _HOUR_S
    counter_l = track.engine_fuel_l
    rate, unsure, wanted = _by_state(
        spells.still, spells.inside, bins.running,
        np.array([manner.burn_l_h, 0.0, manner.idle_l_h]),
        np.array([manner.burn_l2_h, manner.wander_l2_h, manner.idle_l2_h]),
    )  # fmt: skip
    clear_s = _SLOPE_TIMES * manner.running_l2**0.5 / max(manner.idle_l_h, 1e-9) * _HOUR_S
    return Habit(
        hours,
        None if counter_l is None else _counted(counter_l, bins, hours),
        rate,
        unsure,
        wanted,
        _repeating(bins.level_l, bins.time_s, _STUCK * manner.running_l2**0.5, clear_s),
        clear_s,
        dead=_is_dead(bins, hours),
        odd_h=_odd_hole_h(hours, spells.at_rest, spells.inside),
    )


def _is_dead(bins: Bins, hours: Floats) -> bool:
    """Whether there are no records without the engine: it never rests, and holes are many."""
    never_rests = np.count_nonzero(bins.running < 0.5) < 0.03 * bins.running.size
    in_holes_h = float(hours[hours > HOLE_S / _HOUR_S].sum())
    return bool(never_rests and in_holes_h > _HOLES_PART * hours.sum())


def used(
    habit: Habit, bins: Bins, spells: Spells, manner: Manner, taken: Mask
) -> tuple[Floats, Floats]:
    """Return the litres used since the first bin, and the variance crept in since then. [L, L²]

    ``taken`` marks bins in which fuel came or went otherwise; no rate is learnt from them.
    """
    counted = habit.counted_l
    if counted is not None:
        step = np.diff(counted, prepend=counted[:1])
        unsure = manner.wander_l2_h * habit.hours + _COUNTER_PART * step * np.maximum(step, 0.0)
        return counted, np.cumsum(unsure)
    rate, unsure = _rates(habit, bins, spells, manner, taken)
    return _summed(
        bins.level_l, _NEAR * max(manner.running_l2, manner.slope_l2) ** 0.5,
        rate, unsure, habit.hours, spells.at_rest, spells.inside, habit.dead, habit.odd_h,
        manner.burn_l_h, (0.6 * manner.burn_l_h) ** 2, max(manner.burn_l_h, manner.idle_l_h),
    )  # fmt: skip


@compiled
def _summed(
    level: Floats,
    near_l: float,
    rate: Floats,
    unsure: Floats,
    hours: Floats,
    still: Mask,
    inside: Places,
    dead: bool,
    odd_h: float,
    burn_l_h: float,
    odd_l2_h: float,
    most_l_h: float,
) -> tuple[Floats, Floats]:
    """Return the litres used and the variance crept in, both running up, holes considered.

    ``dead``: without the engine there are no records, so that none was used in a hole.
    """
    n = rate.size
    used_l, crept_l2 = np.empty(n), np.empty(n)
    total_l = total_l2 = 0.0
    for i in range(n):
        step_h, flow, doubt = hours[i], rate[i], unsure[i]
        same = i == 0 or inside[i] == inside[i - 1]
        if not same:
            flow = min(flow, rate[i - 1])
        parked = same and still[i]
        hole = step_h > HOLE_S / _HOUR_S
        if hole and dead:
            flow = 0.0
        elif hole and parked:
            flow = 0.5 * (rate[i] + rate[i - 1])
        if parked and step_h > odd_h:
            doubt += odd_l2_h * step_h
        if hole and dead:
            rested = 0.5 * (most_l_h * min(step_h, 1.0))
            doubt += rested * rested / max(step_h, 1e-9)
        if hole and flow > 0:
            if parked:
                flow = 0.5 * (flow + burn_l_h)
            half = 0.5 * flow
            doubt += half * half * step_h
        if hole and flow > 0:
            fell_l = level[i - 1] - level[i]
            if -near_l < fell_l < flow * step_h:  # it was not used: nothing shows a refuel
                flow = max(fell_l, 0.0) / step_h
        total_l += flow * step_h
        total_l2 += doubt * step_h
        used_l[i], crept_l2[i] = total_l, total_l2
    return used_l, crept_l2


def _counted(counter_l: Floats, bins: Bins, hours: Floats) -> Floats | None:
    """Return the counter at each bin, its coarse steps spread over the time the engine ran.

    ``None`` where the counter says nothing: too few values, or it runs back.
    """
    value = counter_l[bins.last]
    good = np.isfinite(value)
    if good.sum() < 0.8 * value.size or value[good][-1] <= value[good][0]:
        return None
    if (np.diff(value[good]) < 0).any():
        return None
    ran = np.cumsum(hours * np.where(bins.running > 0.5, 1.0, 1e-3))
    ticks = np.flatnonzero(good)
    ticks = ticks[np.diff(value[ticks], prepend=-np.inf) > 0]
    if ticks.size < 10:
        return None
    counted: Floats = np.interp(ran, ran[ticks], value[ticks] - value[ticks[0]])
    return counted


def _rates(
    habit: Habit, bins: Bins, spells: Spells, manner: Manner, taken: Mask
) -> tuple[Floats, Floats]:
    """Return the consumption in each bin [L/h] and how unsure it is [L²/h]."""
    rate, unsure = habit.rate.copy(), habit.unsure.copy()
    first, end, slopes = _slopes(
        habit.wanted, spells.inside, taken | habit.repeats, bins.time_s, bins.level_l,
        habit.clear_s,
    )  # fmt: skip
    if slopes.size:
        idle = manner.idle_l_h
        runs = slopes[np.diff(slopes, prepend=np.nan) != 0]
        least, most = 0.5 * idle, 1.7 * idle
        if runs.size >= _FEWEST_RUNS:
            middle = median(runs)
            far = _FAR * max(_MAD * median(np.abs(runs - middle)), _OWN_PART * middle)
            least, most = max(least, middle - far), max(min(most, middle + far), least)
        own = np.clip(slopes, least, most)
        _fill(first, end, own, rate)
        _fill(first, end, manner.wander_l2_h + (_OWN_PART * own) ** 2, unsure)
    return rate, unsure


@compiled
def _fill(first: Places, end: Places, values: Floats, out: Floats) -> None:
    """Write one value into the bins of each run."""
    for k in range(first.size):
        for i in range(first[k], end[k]):
            out[i] = values[k]


@compiled
def _by_state(
    still: Mask, inside: Places, running: Floats, rates: Floats, doubts: Floats
) -> tuple[Floats, Floats, Mask]:
    """Return each bin's rate and its doubt, and whether it rests with the engine on.

    By what the bin is: under way, at rest, at rest with the engine on.
    """
    n = inside.size
    rate, unsure, wanted = np.empty(n), np.empty(n), np.empty(n, np.bool_)
    for i in range(n):
        state = still[inside[i]] * (1 + (running[i] > 0.5))
        rate[i], unsure[i], wanted[i] = rates[state], doubts[state], state == 2
    return rate, unsure, wanted


@compiled
def _repeating(level: Floats, time_s: Floats, near_l: float, long_s: float) -> Mask:
    """Return in which bins the readings repeat themselves for longer than use would let them."""
    out = np.zeros(level.size, np.bool_)
    since = 0
    for i in range(1, level.size + 1):
        if i < level.size and abs(level[i] - level[i - 1]) < near_l:
            continue
        if time_s[i - 1] - time_s[since] > max(long_s, _SLOPE_S):
            out[since:i] = True
        since = i
    return out


@compiled
def _slopes(
    wanted: Mask, inside: Places, taken: Mask, time_s: Floats, level: Floats, clear_s: float
) -> tuple[Places, Places, Floats]:
    """Return where the runs of wanted bins of one spell are that are long enough, and their rates.

    The mean of the middle half, which whole counts do not pull to one of them as they do the
    median, over bins so far apart between which nothing was taken. [L/h]
    """
    n = wanted.size
    gone = np.cumsum(taken)
    first, last, out = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n)
    slopes = np.empty(n)
    i = runs = 0
    while i < n:
        if not wanted[i]:
            i += 1
            continue
        end = i + 1
        while (
            end < n
            and wanted[end]
            and inside[end] == inside[i]
            and time_s[end] - time_s[end - 1] < HOLE_S
        ):
            end += 1
        held = 0
        b = i
        apart_s = max(_SLOPE_S, min(clear_s, 0.25 * (time_s[end - 1] - time_s[i])))
        for a in range(i, end if end - i >= _SHORTEST_RUN else i):
            while b < end and time_s[b] < time_s[a] + apart_s:
                b += 1
            if b == end:
                break
            if gone[a] == gone[b] and not taken[a]:
                slopes[held] = (level[a] - level[b]) / (time_s[b] - time_s[a]) * _HOUR_S
                held += 1
        if held >= 8:
            cut = held // 4
            first[runs], last[runs] = i, end
            out[runs] = np.mean(np.sort(slopes[:held])[cut : held - cut])
            runs += 1
        i = end
    return first[:runs].copy(), last[:runs].copy(), out[:runs].copy()


def _odd_hole_h(hours: Floats, still: Mask, inside: Places) -> float:
    """Return from which length a hole in a stop is odd for this vehicle: it may hide a drive.

    A unit that sleeps or loses its supply when parked leaves holes in most stops, which are no
    longer than usual. [h]
    """
    nights = max(float(hours.sum()) / 24.0, 1.0)
    least = HOLE_S / _HOUR_S
    holes = _holes(hours, still, inside, 0.4 * least)
    if np.count_nonzero(holes > least) <= 0.5 * nights:
        return 1.5 * least
    return max(1.5 * least, _ODD_TIMES * quantile(holes, _USUAL_PART))


@compiled
def _holes(hours: Floats, still: Mask, inside: Places, least_h: float) -> Floats:
    """Return how long the holes in stops are. [h]"""
    out = np.empty(hours.size)
    held = 0
    for i in range(hours.size):
        out[held] = hours[i]
        held += hours[i] > least_h and still[i] and (i == 0 or inside[i] == inside[i - 1])
    return out[:held].copy()
