"""The level as it would be with the fuel at one temperature, as far as habit tells it.

Fuel that the engine sends back warms the tank while it works and cools for hours afterwards,
and every day warms it as well; warm fuel stands higher. By how much, is learnt from this
vehicle's own long stops with the engine off, where nothing else moves the level for hours: a
part of the level for each of three known courses, the work done, kept with one time constant,
and the hour of the day as a sine and a cosine.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median
from gaugewright.watch.spells import Spells
from gaugewright.watch.values import Floats

TIMES_S = (3600.0, 7200.0, 14400.0)
"""Time constants tried for a tank that cools, common practice, no source. [s]"""
APART_S = 2700.0
FEWEST = 40
LEAST_GAIN = 20.0
"""The part of the squared drift that the courses must explain, times the number of drifts."""
MOST_PART = 0.012
"""Fuel hardly warms by more than 15 K, which is this part of its volume. [1]"""
_DAY_S = 86400.0
_TRIES = 6
_FAR = 4.4
_COUNTS = 1.6


def warmed(bins: Bins, spells: Spells, quantum_l: float) -> Bins:
    """Return the bins with what warmth adds to the level taken off; the same where it hides. [L]"""
    still = spells.at_rest
    on = bins.running > 0.5
    first, second = _pairs(bins.time_s, still & ~on, spells.inside, APART_S)
    if first.size < FEWEST:
        return bins
    turns = _turns(~still if bins.moves else ~still | on)
    level = np.maximum(bins.level_l, 0.0)
    middle = 0.5 * (level[first] + level[second])
    steps = bins.level_l[second] - bins.level_l[first]
    days = [_of_day(bins.time_s[second]), _of_day(bins.time_s[first])]
    best, found, found_s = LEAST_GAIN / first.size, None, 0.0
    for time_s in TIMES_S:
        kept = [_kept(bins.time_s, turns, places, time_s) for places in (second, first)]
        rows = np.column_stack([kept[0] - kept[1], days[0] - days[1]]) * middle[:, None]
        parts, gain = _robust(rows, steps, _COUNTS * quantum_l)
        if gain > best and abs(parts[0]) < MOST_PART and np.hypot(*parts[1:]) < MOST_PART:
            best, found, found_s = gain, parts, time_s
    if found is None:
        return bins
    course = _kept(bins.time_s, turns, np.arange(level.size), found_s)
    added = found[0] * course + _of_day(bins.time_s) @ found[1:]
    return replace(bins, level_l=bins.level_l - level * (added - added.mean()))


def _of_day(time_s: Floats) -> Floats:
    """Return sine and cosine of the hour of the day."""
    minutes = 2 * np.pi * np.arange(1440) / 1440
    return _turned(time_s, np.sin(minutes), np.cos(minutes))


@compiled
def _turned(time_s: Floats, sines: Floats, cosines: Floats) -> Floats:
    """Return sine and cosine of the hour of the day, from those of its minutes.

    Within a minute by their sums of angles and first powers, exact to the last figures: several
    times as fast as a sine and a cosine for each bin.
    """
    out = np.empty((time_s.size, 2))
    for i in range(time_s.size):
        since_s = time_s[i] - np.floor(time_s[i] / _DAY_S) * _DAY_S
        minute = min(int(since_s * (1 / 60.0)), 1439)
        angle = (since_s - 60.0 * minute) * (2 * np.pi / _DAY_S)
        squared = angle * angle
        sine = angle * (1 - squared * (1 / 6) * (1 - squared * (1 / 20)))
        cosine = 1 - squared * 0.5 * (1 - squared * (1 / 12) * (1 - squared * (1 / 30)))
        out[i, 0] = sines[minute] * cosine + cosines[minute] * sine
        out[i, 1] = cosines[minute] * cosine - sines[minute] * sine
    return out


@compiled
def _pairs(
    time_s: Floats, wanted: npt.NDArray[np.bool_], inside: npt.NDArray[np.int64], apart_s: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Return wanted bins of one spell that follow one another at least so far apart."""
    first, second = np.empty(time_s.size, np.int64), np.empty(time_s.size, np.int64)
    held, last = 0, -1
    for i in range(time_s.size):
        if not wanted[i]:
            continue
        if last < 0 or inside[last] != inside[i] or time_s[i] - time_s[last] > 3 * apart_s:
            last = i
        elif time_s[i] - time_s[last] >= apart_s:
            first[held], second[held] = last, i
            held += 1
            last = i
    return first[:held].copy(), second[:held].copy()


def _turns(at_work: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Return the bins after which work, of two bins together, begins or has ended, by turns."""
    return np.flatnonzero(np.diff(at_work[1:] & at_work[:-1], prepend=False))


@compiled
def _kept(
    time_s: Floats,
    turns: npt.NDArray[np.int64],
    places: npt.NDArray[np.int64],
    time_constant_s: float,
) -> Floats:
    """Return how warm the work has made the tank at some bins, 1 after work without end. [1]

    The places are in order. Between turns from work to rest and back the course is one
    exponential.
    """
    out = np.empty(places.size)
    warm, goal, since_s, turned = 0.0, 0.0, time_s[0], 0
    for k in range(places.size):
        while turned < turns.size and turns[turned] < places[k]:
            turn_s = time_s[turns[turned]]
            warm = goal + (warm - goal) * np.exp((since_s - turn_s) / time_constant_s)
            goal, since_s = 1.0 - goal, turn_s
            turned += 1
        out[k] = goal + (warm - goal) * np.exp((since_s - time_s[places[k]]) / time_constant_s)
    return out


def _robust(rows: Floats, steps: Floats, near_l: float) -> tuple[Floats, float]:
    """Return least-squares parts and how much of the squares they explain.

    Far steps are left out, but none nearer than ``near_l``. [L]
    """
    sizes = np.abs(steps)
    kept = sizes <= max(5 * median(sizes), near_l)
    parts: Floats = np.zeros(rows.shape[1])
    for _ in range(_TRIES):
        near = rows * kept[:, None]
        # Three unknowns: their own few sums are solved several times as fast as all rows.
        found, *_ = np.linalg.lstsq(near.T @ near, near.T @ steps, rcond=None)
        parts = found.astype(np.float64, copy=False)
        left = np.abs(steps - rows @ parts)
        before, kept = kept, left <= max(_FAR * median(left), near_l)
        if (kept == before).all():
            break  # the same steps give the same parts
    over: Floats = (steps - rows @ parts)[kept]
    free = max(int(kept.sum()) - rows.shape[1], 1)
    spread = float(over @ over) / free
    plain = float(steps[kept] @ steps[kept]) / max(int(kept.sum()), 1)
    return parts, 1.0 - spread / plain if plain > 0 else 0.0
