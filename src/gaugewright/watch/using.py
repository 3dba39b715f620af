"""What the engine used, minute by minute: from its own counter, or from this vehicle's habit."""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
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
    gone = np.cumsum(taken)
    for part in _runs(running & still, inside):
        partner = np.searchsorted(bins.time_s[part], bins.time_s[part] + _SLOPE_S)
        fits = partner < part.size
        a, b = part[fits], part[partner[fits]]
        calm = (gone[a] == gone[b]) & ~taken[a]
        a, b = a[calm], b[calm]
        if a.size < 8:
            continue
        slope = (bins.level_l[a] - bins.level_l[b]) / (bins.time_s[b] - bins.time_s[a]) * _HOUR_S
        own = float(np.clip(np.median(slope), 0.5 * manner.idle_l_h, 1.7 * manner.idle_l_h))
        rate[part] = own
        unsure[part] = manner.wander_l2_h + (0.08 * own) ** 2
    return rate, unsure


def _runs(wanted: Mask, inside: Places) -> list[Places]:
    """Return the runs of wanted bins of one spell that are long enough for a rate of their own."""
    if not wanted.any():
        return []
    cut = np.flatnonzero((np.diff(wanted) != 0) | (np.diff(inside) != 0)) + 1
    pieces = np.split(np.arange(wanted.size), cut)
    return [piece for piece in pieces if wanted[piece[0]] and piece.size >= _SHORTEST_RUN]


def _odd_hole_h(hours: Floats, parked: Mask) -> float:
    """Return from which length a hole in a stop is odd for this vehicle: it may hide a drive.

    A unit that sleeps or loses its supply when parked leaves holes in most stops. [h]
    """
    holes = hours[parked & (hours > HOLE_S / _HOUR_S)]
    nights = max(float(hours.sum()) / 24.0, 1.0)
    return 1e9 if holes.size > 0.5 * nights else 1.5 * HOLE_S / _HOUR_S
