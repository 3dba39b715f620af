"""Minutes that read plainly wrong: up or down and back again, or frozen under way."""

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Floats, Track

LONGEST = 3
"""Bins a spike may last: a probe that starts anew reads nothing for a minute or two."""
FROZEN_BINS = 10
FAR_PART = 0.05
"""Farther above nothing than this part of the tank a probe that starts anew is told from an empty
tank. [1]"""
FLOW_S = 200.0
"""Within so long the bins before a spike tell how fast fuel flows. [s]"""
BRIEF_S = 200.0
"""A spike of several bins is over so soon; of a unit that sleeps, one bin is minutes. [s]"""
_MOST_NOTHING = 4
"""One reading of nothing in more than so many does not touch the middle ones."""


def sound(bins: Bins, quantum_l: float) -> npt.NDArray[np.bool_]:
    """Return which bins can be believed."""
    keep = np.ones(bins.time_s.size, np.bool_)
    step = np.abs(np.diff(bins.level_l, prepend=bins.level_l[:1]))
    least = np.empty(step.size)
    on = bins.running > 0.5
    for kind in (bins.moving, ~bins.moving & on, ~bins.moving & ~on):
        if kind.any():
            own = step[kind]
            least[kind] = max(10.0 * median(own), 4.0 * quantile(own, 0.9), 4.0 * quantum_l)
    _mark_spikes(bins.level_l, bins.time_s, least, keep)
    _mark_restarts(bins.level_l, float(np.min(bins.level_l)) + 2 * quantum_l, keep)
    at_work = bins.moving | on if _repeats_seldom(bins, on) else bins.moving
    _mark_frozen(bins.level_l, at_work, least, keep)
    return keep


def mixed(track: Track, table: Table, bins: Bins) -> npt.NDArray[np.bool_]:
    """Return which bins mix readings of nothing with others: a probe that starts anew within one.

    Their level lies anywhere between.
    """
    out = np.zeros(bins.time_s.size, np.bool_)
    nothing = _at_most(track.counts, float(table.counts[0]))
    if not nothing.size:
        return out
    place = np.minimum(np.searchsorted(bins.last, nothing), out.size - 1)
    place = place[bins.first[place] <= nothing]
    held = np.bincount(place, minlength=out.size)
    floor = float(table.litres[0]) + FAR_PART * float(np.ptp(table.litres))
    mixes: npt.NDArray[np.bool_] = (_MOST_NOTHING * held >= bins.records) & (bins.level_l > floor)
    return mixes & (held > 0)


@compiled
def _at_most(values: Floats, most: float) -> npt.NDArray[np.int64]:
    """Return the places of the values up to ``most``, which are few."""
    places = np.empty(values.size, np.int64)  # only the pages written to are ever taken
    held = 0
    for i in range(values.size):
        if values[i] <= most:
            places[held] = i
            held += 1
    return places[:held].copy()


def _repeats_seldom(bins: Bins, on: npt.NDArray[np.bool_]) -> bool:
    """Return whether a probe that repeats itself with the engine running is out of the usual."""
    same = np.diff(bins.level_l) == 0
    return bool(on.sum() > 50 and same[on[1:]].mean() < 0.3)


@compiled
def _mark_spikes(level: Floats, time_s: Floats, least: Floats, keep: npt.NDArray[np.bool_]) -> None:
    """Mark runs of up to `LONGEST` bins that leave the level and come back to it.

    Or against the flow of fuel and back to where it has gone on to meanwhile.
    """
    n = level.size
    i = 1
    while i < n - 1:
        jump = level[i] - level[i - 1]
        if abs(jump) <= max(least[i], least[i - 1]):
            i += 1
            continue
        back = 0
        flow = 0.0
        if i > 1 and time_s[i] - time_s[i - 2] < FLOW_S:
            flow = (level[i - 1] - level[i - 2]) / (time_s[i - 1] - time_s[i - 2])
        if flow * jump > 0:
            flow = 0.0
        if i > 1 and keep[i - 2] and jump * (level[i - 1] - level[i - 2]) >= jump * jump:
            i += 1  # on the way that the level went already, and no faster
            continue
        for length in range(1, LONGEST + 1):
            j = i + length
            if j >= n or time_s[j - 1] - time_s[i] > BRIEF_S:
                break
            on = flow * (time_s[j] - time_s[i - 1])
            if min(abs(level[j] - level[i - 1]), abs(level[j] - level[i - 1] - on)) < 0.25 * abs(
                jump
            ):
                back = length
                break
        if back:
            for j in range(i, i + back):
                keep[j] = False
            i += back
        i += 1


@compiled
def _mark_restarts(level: Floats, floor: float, keep: npt.NDArray[np.bool_]) -> None:
    """Mark up to `LONGEST` bins of nothing between bins far above: a probe that starts anew."""
    n = level.size
    far = floor + FAR_PART * (np.max(level) - floor)
    i = 0
    while i < n:
        if level[i] > floor:
            i += 1
            continue
        j = i
        while j < n and level[j] <= floor:
            j += 1
        alone = (i == 0 or level[i - 1] > far) and (j == n or level[j] > far)
        if alone and j - i <= LONGEST:
            for k in range(i, j):
                keep[k] = False
        i = j


@compiled
def _mark_frozen(
    level: Floats, alive: npt.NDArray[np.bool_], least: Floats, keep: npt.NDArray[np.bool_]
) -> None:
    """Mark runs in which the vehicle is at work and the level does not change at all.

    And the bin after each where the next is far off it: it still holds some of what was frozen.
    """
    n = level.size
    i = 0
    while i < n:
        j = i + 1
        busy = 1 if alive[i] else 0
        while j < n and level[j] == level[i]:
            busy += 1 if alive[j] else 0
            j += 1
        if busy >= FROZEN_BINS:
            for k in range(i, j):
                keep[k] = False
            if j + 1 < n and abs(level[j + 1] - level[j]) > least[j + 1]:
                keep[j] = False
        i = j
