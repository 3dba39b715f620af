"""A refuel's litres from its records at rest: what stood before the pump ran, what stood after.

Minutes are too coarse where the pump starts soon after the vehicle has stopped or where it leaves
soon after; records tell to within one of them when the pump ran.
"""

from bisect import bisect_left

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.averaging import unaveraged, without_far
from gaugewright.watch.bins import BIN_S
from gaugewright.watch.change import Change
from gaugewright.watch.compiled import compiled
from gaugewright.watch.look import Seen
from gaugewright.watch.middles import middle
from gaugewright.watch.values import Floats, Track

Places = npt.NDArray[np.int64]

_STAYS_S = 240.0
"""So long before and after the pump readings are taken together. [s]"""
_HOLE_S = 1200.0
"""Longer without a record, a refuel is not seen as it goes on. [s]"""
_BINS = 30
"""No farther from the change is looked for the pump, and for how readings scatter."""
_FEWEST = 3
_SINGLE_S = 90.0
"""Longer without a record while the pump ran, a single one after it tells too little. [s]"""
_SEEN_PART = 0.25
"""So much of what flows between two records the one after the pump may not show yet. [1]"""
_RUNS_PART = 0.2
"""Of the pump's flow: a step from record to record that is part of the refuel. [1]"""
_FAR_PART = 0.05
_SIGMAS = 3.0
_ALIKE_PART = 0.1
"""Farther from what the minutes say than this part of the refuel, something else is going on."""
_CALM_PART = 0.02
"""Readings on either side that scatter by more than this part of the refuel are not at rest."""
_KNOWN = 4.0
"""The scatter of single records is taken as if so many had shown what is usual."""


def poured(track: Track, table: Table, seen: Seen, change: Change) -> tuple[float, float] | None:
    """Return the litres of a refuel by the records at rest about it, and their variance. [L, L²]

    ``None`` where there are too few on one of its sides, or the pump does not stand out.
    """
    if change.frozen or change.litres <= 0 or seen.flows:
        return None
    low, high = _until_others(seen, change)
    if high - low < 2:
        return None
    time_s, litres = _read(track, table, seen, change, low, high)
    if litres.size < _FEWEST:
        return None
    begin_s = seen.bins.time_s[max(change.before - 1, low)] - BIN_S
    until_s = seen.bins.time_s[min(change.after + 1, high - 1)] + BIN_S
    lagged = seen.lag_s == seen.lag_s
    is_new = low > 0 and low == int(seen.spells.low[change.stop])
    first, last, flow = _pumped(
        time_s, litres, float(begin_s), float(until_s), seen.quantum_l, lagged and is_new
    )
    if first < 0:
        return None
    # The first record at rest looks back at the move, the first after the pump at its run.
    low_at = int(is_new and first > 0)
    high_at = last + 1 + int(lagged and last + 2 < litres.size)
    before = litres[low_at : first + 1][time_s[low_at : first + 1] > time_s[first] - _STAYS_S]
    after = litres[high_at:][time_s[high_at:] < time_s[high_at] + _STAYS_S]
    got = middle(after.copy(), after.size) - middle(before.copy(), before.size)
    if abs(got - change.litres) > _ALIKE_PART * change.litres:
        return None
    own = _squares(before) + _squares(after)
    scatter_l2 = (own + _KNOWN * seen.manner.single_l2) / (before.size + after.size - 2 + _KNOWN)
    if scatter_l2 > (_CALM_PART * got) ** 2:
        return None
    var = scatter_l2 * (1 / before.size + 1 / after.size)
    if before.size == 1:
        var += float(seen.weight_l2[max(change.before, low)])
    if after.size == 1:
        run_s = float(time_s[last + 1] - time_s[last])
        if run_s > _SINGLE_S:
            return None
        var += float(seen.weight_l2[min(change.after, high - 1)])
        if high_at == last + 1:
            var += (_SEEN_PART * flow * run_s) ** 2
    return got, var


@compiled
def _squares(values: Floats) -> float:
    """Return the squares of what the values differ from their mean, summed up."""
    mean = total = 0.0
    for value in values:
        mean += value / values.size
    for value in values:
        total += (value - mean) ** 2
    return total


@compiled
def _pumped(
    time_s: Floats,
    litres: Floats,
    begin_s: float,
    until_s: float,
    quantum_l: float,
    looks_back: bool,
) -> tuple[int, int, float]:
    """Return the last record before the pump ran and the last while it ran, and its flow. [L/s]

    It ran between ``begin_s`` and ``until_s``, -1 if it did not; the other records tell how
    readings scatter. ``looks_back``: turned round, the first record looks back at the move.
    """
    n = time_s.size - 1
    steps, rate, quiet = np.empty(n), np.zeros(n), np.zeros(n)
    near = (time_s[1:] > begin_s) & (time_s[:-1] < until_s)
    still = 0
    for i in range(n):
        steps[i] = litres[i + 1] - litres[i]
        if near[i]:
            rate[i] = steps[i] / (time_s[i + 1] - time_s[i])
        else:
            quiet[still] = abs(steps[i])
            still += 1
    if not rate.max() > 0:
        return -1, -1, 0.0
    flows = rate[rate > 0.25 * rate.max()]
    flow = middle(flows, flows.size)
    if looks_back and rate[1] < _RUNS_PART * flow:
        near[0], rate[0] = False, 0.0
    noise = _SIGMAS * max(middle(quiet, max(still, 1)) / 0.6745, quantum_l)
    first = last = -1
    for i in range(n):
        if rate[i] > _RUNS_PART * flow and steps[i] > noise:
            first, last = i if first < 0 else first, i
    if first < 0:
        return -1, -1, 0.0
    while first > 0 and near[first - 1] and steps[first - 1] > noise:
        first -= 1
    while last + 1 < n and near[last + 1] and steps[last + 1] > noise:
        last += 1
    for i in range(first, last + 1):
        if time_s[i + 1] - time_s[i] > _HOLE_S:
            return -1, -1, 0.0
    return first, last, flow


def _read(
    track: Track, table: Table, seen: Seen, change: Change, low: int, high: int
) -> tuple[Floats, Floats]:
    """Return the times and litres of the sound records of some bins, use added back. [s, L]"""
    bins = seen.bins
    first, end = int(bins.first[low]), int(bins.last[high - 1]) + 1
    counts = unaveraged(track, table, first, end, seen.lag_s)
    time_s, counts = _sound(
        bins.first[low:high], bins.last[low:high], track.time_s[first:end],
        track.counts[first:end], counts, float(table.counts[0]),
    )  # fmt: skip
    litres = np.interp(counts, table.counts, table.litres)
    litres = without_far(litres, _FAR_PART * change.litres)
    carried = seen.level_l[low:high] - seen.raw_l[low:high]
    return time_s, litres + np.interp(time_s, bins.time_s[low:high], carried)


@compiled
def _sound(
    first: Places, last: Places, time_s: Floats, counts: Floats, turned: Floats, lowest: float
) -> tuple[Floats, Floats]:
    """Return the times and turned counts of records that lie in a bin and read above nothing.

    ``first`` and ``last`` are the bins' records in the track, the others' first is the first
    bin's first.
    """
    times, kept = np.empty(time_s.size), np.empty(time_s.size)
    held = 0
    for k in range(first.size):
        for i in range(first[k] - first[0], last[k] + 1 - first[0]):
            if turned[i] > lowest and counts[i] > lowest:
                times[held], kept[held] = time_s[i], turned[i]
                held += 1
    return times[:held], kept[:held]


def _until_others(seen: Seen, change: Change) -> tuple[int, int]:
    """Return the bins of the stop around a change up to the changes beside it."""
    low = max(int(seen.spells.low[change.stop]), change.before - _BINS)
    high = min(int(seen.spells.high[change.stop]), change.after + 1 + _BINS)
    at = bisect_left(seen.groups, (change.stop,))
    while at < len(seen.groups) and seen.groups[at][0] == change.stop:
        _, a, b = seen.groups[at]
        if b <= change.before:
            low = max(low, b)
        if a >= change.after:
            high = min(high, a + 1)
        at += 1
    return low, high
