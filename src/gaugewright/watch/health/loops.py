"""The loops of the health checks that go through every record or many pairs, compiled."""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@compiled
def work_in(
    time_s: Floats, speed: Floats, ignition: Floats, hole_s: float, stop_s: float
) -> tuple[int, Places, Places, Places]:
    """Return how many records are at work, the holes in work, and the stops between work.

    At work is with the ignition on or on the move.  A hole is told by the record before it, a
    stop by the last record of work before it and the first after it.
    """
    n = time_s.size
    holes, lasts, firsts = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64)
    records = holes_n = stops_n = 0
    before = -1
    for i in range(n):
        if not (ignition[i] > 0.5 or speed[i] > 3.0):
            continue
        records += 1
        if before >= 0:
            apart = time_s[i] - time_s[before]
            if before == i - 1 and apart > hole_s:
                holes[holes_n] = before
                holes_n += 1
            if apart >= stop_s:
                lasts[stops_n], firsts[stops_n] = before, i
                stops_n += 1
        before = i
    return records, holes[:holes_n].copy(), lasts[:stops_n].copy(), firsts[:stops_n].copy()


@compiled
def doubled_in(
    time_s: Floats, period_s: float, asleep_s: float, apart_s: float, hole_s: float
) -> tuple[Places, Places, Places, Places]:
    """Return stretches in which records of two times lie among each other, and the holes.

    Three records in a row in the time of one step say so, of the usual one or of the one in
    sleep; on falling asleep the first step is a usual one, which is no sign.  A stretch goes on
    until no sign comes for ``apart_s``: its first and last record and its signs.  A hole is a
    step above ``hole_s``, told by the record before it.
    """
    n = time_s.size
    lows, highs, signs = np.empty(n, np.int64), np.empty(n, np.int64), np.empty(n, np.int64)
    holes = np.empty(n, np.int64)
    found = holes_n = 0
    for i in range(1, n):
        step = time_s[i] - time_s[i - 1]
        if step > hole_s:
            holes[holes_n] = i - 1
            holes_n += 1
        if i + 1 == n:
            break
        both = time_s[i + 1] - time_s[i - 1]
        sign = both <= 1.2 * period_s
        if not sign and asleep_s > period_s and 0.8 * asleep_s <= both <= 1.2 * asleep_s:
            short = min(step, both - step)
            sign = short < 0.5 * period_s or short > 1.5 * period_s
        if not sign:
            continue
        if not found or time_s[i - 1] - time_s[highs[found - 1]] > apart_s:
            lows[found], signs[found] = i - 1, 0
            found += 1
        highs[found - 1] = i + 1
        signs[found - 1] += 1
    return lows[:found].copy(), highs[:found].copy(), signs[:found].copy(), holes[:holes_n].copy()


@compiled
def sleeping_steps(
    time_s: Floats, ignition: Floats, least_s: float, most_s: float, most: int
) -> Floats:
    """Return the first steps of such a length between two records with the ignition off. [s]"""
    out = np.empty(most)
    held = 0
    for i in range(1, time_s.size):
        step = time_s[i] - time_s[i - 1]
        if least_s < step < most_s and ignition[i] <= 0.5 and ignition[i - 1] <= 0.5:
            out[held] = step
            held += 1
            if held == most:
                break
    return out[:held].copy()


@compiled
def dead_in(counts: Floats, ignition: Floats, floor: float) -> tuple[int, int, int, int, int, int]:
    """Return how many records are parked and running, and how many of each read nothing.

    Beside them the first and the last parked record that reads nothing, -1 without one.  No
    counts at all (NaN) are nothing too.
    """
    parked = running = dead_parked = dead_running = 0
    first = last = -1
    for i in range(counts.size):
        dead = not counts[i] > floor
        if ignition[i] <= 0.5:
            parked += 1
            if dead:
                dead_parked += 1
                first = i if first < 0 else first
                last = i
        elif ignition[i] > 0.5:
            running += 1
            dead_running += dead
    return parked, running, dead_parked, dead_running, first, last


@compiled
def count_beyond(values: Floats, low: float, high: float) -> int:
    """Return how many values are below ``low`` or above ``high``; NaN is neither."""
    found = 0
    for i in range(values.size):
        found += (values[i] > high) | (values[i] < low)
    return found


@compiled
def drives_on(
    time_s: Floats,
    counts: Floats,
    firsts: Places,
    lasts: Places,
    period_s: float,
    rows: Floats,
    litres: Floats,
    spike_l: float,
    most: int,
) -> tuple[Floats, Places]:
    """Return the litres of each drive at even times, and the drive of each; NaN between drives.

    Drives are the records from ``firsts`` up to ``lasts``; until there are ``most`` values.
    Lone values far from both neighbours, where these agree, are NaN. [L]
    """
    size = 1
    for k in range(firsts.size):
        span = time_s[lasts[k] - 1] - time_s[firsts[k]]
        size += min(int(np.rint(span / period_s)), 3 * (lasts[k] - firsts[k])) + 2
    out, drive = np.empty(size), np.zeros(size, np.int64)
    out[0] = np.nan
    held, number, total, row = 1, 0, 0, 0
    for k in range(firsts.size):
        first, last = firsts[k], lasts[k]
        room = int(np.rint((time_s[last - 1] - time_s[first]) / period_s)) + 1
        if room - 1 > 3 * (last - first):
            continue
        even = np.full(room, np.nan)
        for i in range(first, last):
            if counts[i] >= rows[0] and counts[i] <= rows[-1]:
                place = int(np.rint((time_s[i] - time_s[first]) / period_s))
                while row + 2 < rows.size and counts[i] >= rows[row + 1]:
                    row += 1
                while row > 0 and counts[i] < rows[row]:
                    row -= 1
                slope = (litres[row + 1] - litres[row]) / (rows[row + 1] - rows[row])
                even[place] = slope * (counts[i] - rows[row]) + litres[row]
        number += 1
        for i in range(room):
            out[held + i] = even[i]
            if 0 < i < room - 1:
                middle = 0.5 * (even[i - 1] + even[i + 1])
                agree = abs(even[i - 1] - even[i + 1]) < spike_l
                if agree and abs(even[i] - middle) > 4 * spike_l:
                    out[held + i] = np.nan
        out[held + room] = np.nan
        drive[held : held + room + 1] = number
        held += room + 1
        total += room
        if total > most:
            break
    return out[:held].copy(), drive[:held].copy()


@compiled
def turns_in(
    moving: Mask,
    edges: Places,
    start_s: Floats,
    end_s: Floats,
    mean: Floats,
    longest_s: float,
    event_start_s: Floats,
    event_end_s: Floats,
) -> Floats:
    """Return time, end (0 before a drive, 1 after it) and counts at rest less on the move.

    ``edges`` are the blocks before a drive begins or ends.  Left out are turns that take
    longer than ``longest_s`` and those near an event.  Shape (n, 3).
    """
    out = np.empty((edges.size, 3))
    held = 0
    for edge in edges:
        leaving = moving[edge + 1]
        rest = move = 0.0
        rests = moves = 0
        low, high = moving.size, -1
        for k in range(6):
            # Three blocks on each side, the nearest beyond the turn left out.
            i = edge - k if k < 3 else edge + k - 1
            at_rest = leaving == (k < 3)
            if i < 0 or i >= moving.size or moving[i] == at_rest:
                continue
            if at_rest:
                rest += mean[i]
                rests += 1
            else:
                move += mean[i]
                moves += 1
            low, high = min(low, i), max(high, i)
        if not rests or not moves or end_s[high] - start_s[low] > longest_s:
            continue
        near = False
        for e in range(event_start_s.size):
            near |= event_start_s[e] < end_s[high] + 300 and event_end_s[e] > start_s[low] - 300
        difference = rest / rests - move / moves
        if not near and np.isfinite(difference):
            out[held, 0], out[held, 1], out[held, 2] = (
                start_s[low],
                0.0 if leaving else 1.0,
                difference,
            )
            held += 1
    return out[:held].copy()


@compiled
def brim_likelihood(
    share: Floats, rough: Floats, brims: Floats, scatter: float, full_chance: float
) -> float:
    """Return the log likelihood of the best of some brims, for fills to it or anywhere below.

    ``rough`` is the scatter of each fill by itself, beside the one of all.  The logarithm of a
    product of a few densities at a time; a density of less than 1e-17 of the least that stands
    beside it is left out.
    """
    own = np.sqrt(scatter * scatter + rough * rough)
    peak = 1.0 / (own * np.sqrt(2 * np.pi))
    best = -np.inf
    for brim in brims:
        below = 1.0 / max(brim, 0.3)
        total, product = 0.0, 1.0
        for k in range(share.size):
            away = (share[k] - brim) / own[k]
            density = (1.0 - full_chance) * (below if away < 2.5 else 1e-2)
            if away * away < 100.0:
                density += full_chance * peak[k] * np.exp(-0.5 * away * away)
            product *= density
            if k % 8 == 7:
                total += np.log(product)
                product = 1.0
        best = max(best, total + np.log(product))
    return best


@compiled
def shifted_likelihood(
    share: Floats,
    rough: Floats,
    shape: Floats,
    shifts: Floats,
    brims: int,
    scatters: Floats,
    full_chance: float,
) -> tuple[float, float]:
    """Return the log likelihood of the best brim that shifts, and by how much.

    ``shape`` says what part of a shift is in each fill: 0 to 1 by time for a drift, 0 and then
    1 for a step.  Brims are tried from the middle of the fills, their shift taken off, to just
    above the highest.
    """
    n = share.size
    level, ordered, tried = np.empty(n), np.empty(n), np.empty(brims)
    best, size = -np.inf, 0.0
    for shift in shifts:
        for k in range(n):
            level[k] = share[k] - shift * shape[k]
            at = k
            while at > 0 and ordered[at - 1] > level[k]:
                ordered[at] = ordered[at - 1]
                at -= 1
            ordered[at] = level[k]
        low = 0.5 * (ordered[(n - 1) // 2] + ordered[n // 2])
        high = ordered[n - 1] + 0.01
        for k in range(brims):
            tried[k] = low + k * ((high - low) / (brims - 1))
        tried[brims - 1] = high
        for scatter in scatters:
            value = brim_likelihood(level, rough, tried, scatter, full_chance)
            if value > best:
                best, size = value, shift
    return best, size
