"""A refuel's litres from its records at rest: what stood before the pump ran, what stood after.

Minutes are too coarse where the pump starts soon after the vehicle has stopped or where it leaves
soon after; records tell to within one of them when the pump ran.
"""

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.averaging import unaveraged, without_far
from gaugewright.watch.bins import BIN_S
from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen
from gaugewright.watch.middles import median
from gaugewright.watch.values import Floats, Track

_STAYS_S = 240.0
"""So long before and after the pump readings are taken together. [s]"""
_HOLE_S = 1200.0
"""Longer without a record, a refuel is not seen as it goes on. [s]"""
_BINS = 30
"""No farther from the change is looked for the pump, and for how readings scatter."""
_FEWEST = 2
_RUNS_PART = 0.2
"""Of the pump's flow: a step from record to record that is part of the refuel. [1]"""
_FAR_PART = 0.05
_SIGMAS = 3.0
_ALIKE_PART = 0.1
"""Farther from what the minutes say than this part of the refuel, something else is going on."""
_KNOWN = 4.0
"""The scatter of single records is taken as if so many had shown what is usual."""


def poured(track: Track, table: Table, seen: Seen, change: Change) -> tuple[float, float] | None:
    """Return the litres of a refuel by the records at rest about it, and their variance. [L, L²]

    ``None`` where there are too few on one of its sides, or the pump does not stand out.
    """
    if change.frozen or change.litres <= 0 or seen.flowing_l.any():
        return None
    low, high = _until_others(seen, change)
    if high - low < 2:
        return None
    time_s, litres = _read(track, table, seen, change, low, high)
    if litres.size < 2 * _FEWEST:
        return None
    begin_s = seen.bins.time_s[max(change.before - 1, low)] - BIN_S
    until_s = seen.bins.time_s[min(change.after + 1, high - 1)] + BIN_S
    near = (time_s[1:] > begin_s) & (time_s[:-1] < until_s)
    steps = np.diff(litres)
    rate = np.where(near, steps / np.diff(time_s), 0.0)
    if not rate.max() > 0:
        return None
    flow = median(rate[rate > 0.25 * rate.max()])
    quiet = np.abs(steps[~near]) if (~near).any() else np.zeros(1)
    noise = _SIGMAS * max(median(quiet) / 0.6745, seen.quantum_l)
    runs = np.flatnonzero((rate > _RUNS_PART * flow) & (steps > noise))
    if not runs.size:
        return None
    first, last = int(runs[0]), int(runs[-1])
    while first > 0 and near[first - 1] and steps[first - 1] > noise:
        first -= 1
    while last + 1 < steps.size and near[last + 1] and steps[last + 1] > noise:
        last += 1
    if np.diff(time_s[first : last + 2]).max() > _HOLE_S:
        return None
    before = litres[: first + 1][time_s[: first + 1] > time_s[first] - _STAYS_S]
    after = litres[last + 1 :][time_s[last + 1 :] < time_s[last + 1] + _STAYS_S]
    if min(before.size, after.size) < _FEWEST:
        return None
    got = median(after) - median(before)
    if abs(got - change.litres) > _ALIKE_PART * change.litres:
        return None
    own = float(before.var() * before.size + after.var() * after.size)
    scatter_l2 = (own + _KNOWN * seen.manner.single_l2) / (before.size + after.size - 2 + _KNOWN)
    return got, scatter_l2 * (1 / before.size + 1 / after.size)


def _read(
    track: Track, table: Table, seen: Seen, change: Change, low: int, high: int
) -> tuple[Floats, Floats]:
    """Return the times and litres of the sound records of some bins, use added back. [s, L]"""
    bins = seen.bins
    first, end = int(bins.first[low]), int(bins.last[high - 1]) + 1
    counts = unaveraged(track, table, first, end, seen.lag_s)
    sound = np.zeros(end - first, np.bool_)
    for k in range(low, high):
        sound[bins.first[k] - first : bins.last[k] + 1 - first] = True
    sound &= (counts > table.counts[0]) & (track.counts[first:end] > table.counts[0])
    if low == int(seen.spells.low[change.stop]) and low > 0:
        sound[0] = False  # turned round, it looks back at the move before
    time_s = track.time_s[first:end][sound]
    litres = np.interp(counts[sound], table.counts, table.litres)
    litres = without_far(litres, _FAR_PART * change.litres)
    carried = seen.level_l[low:high] - seen.raw_l[low:high]
    return time_s, litres + np.interp(time_s, bins.time_s[low:high], carried)


def _until_others(seen: Seen, change: Change) -> tuple[int, int]:
    """Return the bins of the stop around a change up to the changes beside it."""
    low = max(int(seen.spells.low[change.stop]), change.before - _BINS)
    high = min(int(seen.spells.high[change.stop]), change.after + 1 + _BINS)
    for stop, a, b in seen.groups:
        if stop == change.stop and b <= change.before:
            low = max(low, b)
        if stop == change.stop and a >= change.after:
            high = min(high, a + 1)
    return low, high
