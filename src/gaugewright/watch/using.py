"""What the engine used, minute by minute: from its own counter, or from this vehicle's habit."""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.manner import Manner
from gaugewright.watch.spells import HOLE_S, Spells
from gaugewright.watch.values import Floats, Track

_HOUR_S = 3600.0
_COUNTER_PART = 0.04
"""How far an engine's counter may be off over an hour, common practice, no source. [1]"""
_SLOPE_S = 900.0
_SHORTEST_RUN = 25
Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]


def used(
    track: Track, bins: Bins, spells: Spells, manner: Manner, inside: Places, taken: Mask
) -> tuple[Floats, Floats]:
    """Return the litres used since the first bin, and the variance crept in since then. [L, L²]

    ``taken`` marks bins in which fuel came or went otherwise; no rate is learnt from them.
    """
    hours = np.diff(bins.time_s, prepend=bins.time_s[:1]) / _HOUR_S
    if track.engine_fuel_l is not None:
        counted = _counted(track.engine_fuel_l, bins, hours)
        if counted is not None:
            step = np.diff(counted, prepend=counted[:1])
            unsure = manner.wander_l2_h * hours + _COUNTER_PART * step * np.maximum(step, 0.0)
            return counted, np.cumsum(unsure)
    rate, unsure = _rates(bins, spells, manner, inside, taken)
    same = np.diff(inside, prepend=inside[:1]) == 0
    rate = np.where(same, rate, np.minimum(rate, np.roll(rate, 1)))
    hole = hours > HOLE_S / _HOUR_S
    dead = np.mean(bins.running < 0.5) < 0.03
    parked = same & spells.still[inside]
    rate = np.where(hole & dead, 0.0, rate)
    odd = parked & (hours > _odd_hole_h(hours, parked))
    unsure = np.where(odd, unsure + (0.6 * manner.burn_l_h) ** 2 * hours, unsure)
    if dead:
        rested = max(manner.burn_l_h, manner.idle_l_h) * np.minimum(hours, 1.0)
        unsure = np.where(hole, unsure + (0.5 * rested) ** 2 / np.maximum(hours, 1e-9), unsure)
    worked = hole & (rate > 0)
    rate = np.where(worked & parked, 0.5 * (rate + manner.burn_l_h), rate)
    unsure = np.where(worked, unsure + (0.5 * rate) ** 2 * hours, unsure)
    return np.cumsum(rate * hours), np.cumsum(unsure * hours)


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
    bins: Bins, spells: Spells, manner: Manner, inside: Places, taken: Mask
) -> tuple[Floats, Floats]:
    """Return the consumption in each bin [L/h] and how unsure it is [L²/h]."""
    running = bins.running > 0.5
    still = spells.still[inside]
    rate = np.where(still, np.where(running, manner.idle_l_h, 0.0), manner.burn_l_h)
    unsure = np.where(
        still, np.where(running, manner.idle_l2_h, manner.wander_l2_h), manner.burn_l2_h
    )
    _own_rates(
        running & still, inside, taken, bins.time_s, bins.level_l, manner.idle_l_h,
        manner.wander_l2_h, rate, unsure,
    )  # fmt: skip
    return rate, unsure


@compiled
def _own_rates(
    wanted: Mask,
    inside: Places,
    taken: Mask,
    time_s: Floats,
    level: Floats,
    idle_l_h: float,
    wander_l2_h: float,
    rate: Floats,
    unsure: Floats,
) -> None:
    """Give the runs of wanted bins of one spell that are long enough a rate of their own.

    The median over bins `_SLOPE_S` apart between which nothing was taken. [L/h, L²/h]
    """
    n = wanted.size
    gone = np.cumsum(taken)
    slopes = np.empty(n)
    i = 0
    while i < n:
        if not wanted[i]:
            i += 1
            continue
        end = i + 1
        while end < n and wanted[end] and inside[end] == inside[i]:
            end += 1
        held = 0
        b = i
        for a in range(i, end if end - i >= _SHORTEST_RUN else i):
            while b < end and time_s[b] < time_s[a] + _SLOPE_S:
                b += 1
            if b == end:
                break
            if gone[a] == gone[b] and not taken[a]:
                slopes[held] = (level[a] - level[b]) / (time_s[b] - time_s[a]) * _HOUR_S
                held += 1
        if held >= 8:
            own = min(max(np.median(slopes[:held]), 0.5 * idle_l_h), 1.7 * idle_l_h)
            rate[i:end] = own
            unsure[i:end] = wander_l2_h + (0.08 * own) ** 2
        i = end


def _odd_hole_h(hours: Floats, parked: Mask) -> float:
    """Return from which length a hole in a stop is odd for this vehicle: it may hide a drive.

    A unit that sleeps or loses its supply when parked leaves holes in most stops. [h]
    """
    holes = hours[parked & (hours > HOLE_S / _HOUR_S)]
    nights = max(float(hours.sum()) / 24.0, 1.0)
    return 1e9 if holes.size > 0.5 * nights else 1.5 * HOLE_S / _HOUR_S
