"""The level without the probe's own averaging, near refuels, where it matters most.

A probe that averages follows the fuel late: after a pump of a litre a second has stopped, a time
constant of a minute leaves a reading 60 L short, and five minutes pass until it is whole.  Who
drives off before reads too little, and a drain just before is not yet seen in full.  A first-order
average y of what stands in the tank, x, is turned round exactly from one record to the next where
x does not change between them:

    y(k) = keep y(k-1) + (1 - keep) x(k),  keep = exp(-Δt / T)

The time constant T is learnt from how this vehicle's own refuels settle, all of them together.
Where it is not plain, nothing is changed.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.bins import BIN_S, Bins, bins_of
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import middle
from gaugewright.watch.values import Floats, Track

Places = npt.NDArray[np.int64]

_TIMES_S = np.concatenate([[0.5], np.geomspace(2.0, 120.0, 60)])
"""Time constants tried; the first stands for none, the last is no answer. [s]"""
_PLAIN = 4.0
"""By so much the logarithm of the likelihood must gain over no averaging; logs not scored."""
_MOST_SAID = 6.0
"""No refuel speaks louder than this, for one that went otherwise must not settle it."""
_WHOLE = 0.3
"""Variance of whole counts, and something beside it. [counts²]"""
_PART, _RISE_PART, _LEARNT_PART = 0.008, 0.08, 0.12
"""Of the table's span: what a bin rises at least, what a refuel does, what one to learn from."""
_STEP_PART = 0.5
"""A rise of which one record shows more than this has no course to learn from."""
_LEFT_PART = 0.5
"""Of what a time constant must leave to come, how much is seen to come at least. [1]"""
_MOST_LEARNT = 24
_FEWEST = 4
_STAYS_S, _SETTLES_S = 600.0, 400.0
_TIMES_AFTER = 5.0
_CHANGES_PART, _MOST_BINS = 0.003, 90
"""What is being poured or drained still; so far back and on at most. [of the span, bins]"""
_FAR_PART = 0.05
_AROUND = 2
_FROZEN = 10
"""So many records alike in a row are a probe that is frozen, or a level that stands."""


def without_averaging(track: Track, table: Table, bins: Bins) -> tuple[Bins, float]:
    """Return the bins with the averaging taken off near refuels, and its time constant. [s]

    The same bins and NaN where the refuels do not show it plainly.
    """
    span = float(np.ptp(table.litres))
    rises = _rises(bins, span)
    lag_s = _lag(track, bins, rises, _LEARNT_PART * span)
    if lag_s != lag_s:
        return bins, lag_s
    near = _near(bins, rises, _TIMES_AFTER * lag_s, _CHANGES_PART * span)
    places, counts, of = _turned_near(
        near, bins.first, bins.last, track.time_s, track.counts,
        float(table.counts[0]), float(table.counts[-1]), lag_s,
    )  # fmt: skip
    # Each bin in a minute of its own: bins of one minute are not to become one.
    apart_s = 2 * BIN_S * of + track.time_s[places] % BIN_S
    columns = (column[places] for column in (track.speed_kmh, track.ignition))
    read = bins_of(Track(track.vehicle, apart_s, counts, *columns), table)
    level = bins.level_l.copy()
    level[near] = read.level_l
    return replace(bins, level_l=level), lag_s


def _rises(bins: Bins, span_l: float) -> list[tuple[int, int]]:
    """Return the first and the last bin of every long rise at rest."""
    up = np.diff(bins.level_l) > _PART * span_l
    up &= ~(bins.moving[1:] | bins.moving[:-1])
    edges = np.flatnonzero(np.diff(up.astype(np.int8), prepend=0, append=0))
    first, last = edges[::2], edges[1::2]
    long = bins.level_l[last] - bins.level_l[first] > _RISE_PART * span_l
    return list(zip(first[long].tolist(), last[long].tolist(), strict=True))


def _lag(track: Track, bins: Bins, rises: list[tuple[int, int]], least_l: float) -> float:
    """Return the time constant that all refuels together make likeliest, NaN without one. [s]"""
    worse = np.zeros(_TIMES_S.size)
    large = [(a, b) for a, b in rises if bins.level_l[b] - bins.level_l[a] > least_l]
    for a, b in large[:: len(large) // _MOST_LEARNT + 1]:
        until = b
        while (
            until + 1 < bins.time_s.size
            and not bins.moving[until + 1]
            and bins.time_s[until + 1] - bins.time_s[b] < _STAYS_S
        ):
            until += 1
        place = slice(bins.last[a], bins.last[until] + 1)
        counts = track.counts[place]
        heard = counts == counts
        told = _unlike(track.time_s[place][heard], counts[heard], _TIMES_S)
        if told.size:
            worse += np.minimum(told - told.min(), _MOST_SAID)
    best = int(np.argmin(worse))
    plain = worse[0] - worse[best] > _PLAIN and best < _TIMES_S.size - 1
    return float(_TIMES_S[best]) if plain else float("nan")


@compiled
def _unlike(time_s: Floats, counts: Floats, times_s: Floats) -> Floats:
    """Return for each time constant how badly one refuel settles by it, as -log likelihood.

    From the first record that shows the pump no longer: what is left decays to where it stays.
    Nothing where there is too little to learn from.
    """
    n = counts.size
    if n < _FEWEST + 2:
        return np.empty(0)
    counts = without_far(counts, _FAR_PART * (counts.max() - counts.min()))
    steps = counts[1:] - counts[:-1]
    if not 0 < steps.max() <= _STEP_PART * (counts.max() - counts.min()):
        return np.empty(0)
    rate = steps / (time_s[1:] - time_s[:-1])
    pumps = rate[rate > 0.25 * rate.max()]
    least = 0.5 * middle(pumps, pumps.size)
    begin = n
    while begin > 1 and not rate[begin - 2] > least:
        begin -= 1
    end = begin
    while end < n and time_s[end] < time_s[begin] + _SETTLES_S:
        end += 1
    if end - begin < _FEWEST:
        return np.empty(0)
    pumped, since_s = rate[begin - 2], time_s[begin] - time_s[begin - 2]
    left = _left(time_s[begin:end], counts[begin:end], times_s, pumped, since_s)
    left += _WHOLE * (end - begin)
    return 0.5 * (end - begin - 2) * np.log(left)


@compiled
def _left(time_s: Floats, counts: Floats, times_s: Floats, pumped: float, since_s: float) -> Floats:
    """Return for each time constant the squares that decaying by it leaves unexplained.

    What a pump leaves to come is below where it stays: a fall tells of something else. So does a
    rise too small: an average that still rose by ``pumped`` counts a second, ``since_s`` before
    the first record here or later, lagged by that times the time constant.
    """
    n = counts.size
    mean = counts.mean()
    total = 0.0
    for k in range(n):
        total += (counts[k] - mean) ** 2
    decay, out = np.empty(n), np.empty(times_s.size)
    for i in range(times_s.size):
        middle = along = squares = 0.0
        for k in range(n):
            decay[k] = np.exp((time_s[0] - time_s[k]) / times_s[i])
            middle += decay[k] / n
        for k in range(n):
            along += (decay[k] - middle) * (counts[k] - mean)
            squares += (decay[k] - middle) ** 2
        least = _LEFT_PART * pumped * times_s[i] * np.exp(-since_s / times_s[i])
        out[i] = total - along * along / squares if -along > least * squares else total
    return out


@compiled
def without_far(counts: Floats, far: float) -> Floats:
    """Return the counts, one or two that stand far off replaced by the middle of five."""
    out = counts.copy()
    last = counts.size - 1
    for k in range(last + 1):
        a, b = counts[max(k - 2, 0)], counts[max(k - 1, 0)]
        d, e = counts[min(k + 1, last)], counts[min(k + 2, last)]
        # The middle is neither the least nor the most of four, whichever way the fifth turns it.
        low = max(min(a, b), min(d, e))
        high = min(max(a, b), max(d, e))
        low, high = min(low, high), max(low, high)
        five = min(max(counts[k], low), high)
        if abs(counts[k] - five) > far:
            out[k] = five
    return out


def _near(
    bins: Bins, rises: list[tuple[int, int]], after_s: float, change_l: float
) -> npt.NDArray[np.bool_]:
    """Return which bins lie about a refuel: as long as something flows, and until it settled.

    Where nothing flows the level is the same with and without the averaging, so that there is no
    seam.
    """
    out = np.zeros(bins.time_s.size, np.bool_)
    flows = np.abs(np.diff(bins.level_l, prepend=bins.level_l[:1])) > change_l
    flows &= ~bins.moving
    for a, b in rises:
        settled = int(np.searchsorted(bins.time_s, bins.time_s[b] + after_s)) + 1
        low, high = _flowing(flows, a, b, settled)
        out[low:high] = True
    return out


@compiled
def _flowing(flows: npt.NDArray[np.bool_], a: int, b: int, settled: int) -> tuple[int, int]:
    """Return from where on and up to where something flows about a refuel from ``a`` to ``b``."""
    low, high = a, settled
    while low > 0 and a - low < _MOST_BINS and flows[max(low - _AROUND, 0) : low + 1].any():
        low -= 1
    while high < flows.size and high - b < _MOST_BINS and flows[high - _AROUND : high + 1].any():
        high += 1
    return low, high


@compiled
def _turned_near(
    near: npt.NDArray[np.bool_],
    first: Places,
    last: Places,
    time_s: Floats,
    counts: Floats,
    lowest: float,
    highest: float,
    lag_s: float,
) -> tuple[Places, Floats, Places]:
    """Return the records of the bins near refuels, their counts without averaging, their bins."""
    size = 0
    for k in range(near.size):
        size += last[k] - first[k] + 1 if near[k] else 0
    places, turned, of = np.empty(size, np.int64), np.empty(size), np.empty(size, np.int64)
    held = low = 0
    while low < near.size:
        high = low
        while high < near.size and near[high]:
            high += 1
        if high > low:
            begin = max(first[low] - _FROZEN - 1, 0)
            until = min(last[high - 1] + 1 + _AROUND, time_s.size)
            part = _turned(time_s[begin:until], counts[begin:until], lowest, highest, lag_s)
            for k in range(low, high):
                for i in range(first[k], last[k] + 1):
                    places[held], turned[held], of[held] = i, part[i - begin], k
                    held += 1
        low = high + 1
    return places, turned, of


def unaveraged(track: Track, table: Table, first: int, end: int, lag_s: float) -> Floats:
    """Return the counts of some records without the averaging; as they are if it is not plain."""
    if lag_s != lag_s:
        return track.counts[first:end]
    begin, until = max(first - _FROZEN - 1, 0), end + _AROUND
    turned = _turned(
        track.time_s[begin:until], track.counts[begin:until],
        float(table.counts[0]), float(table.counts[-1]), lag_s,
    )  # fmt: skip
    return turned[first - begin : end - begin]


@compiled
def _turned(time_s: Floats, counts: Floats, lowest: float, highest: float, lag_s: float) -> Floats:
    """Return the counts without the averaging; wrong ones, and those after them, as they are.

    So is the first one after a probe that was frozen: what it read before is nothing it averaged.
    """
    out = counts.copy()
    heard = np.where(counts == counts, counts, lowest)
    heard = np.minimum(np.maximum(heard, lowest), highest)
    clean = without_far(heard, _FAR_PART * (highest - lowest))
    alike = 1
    for k in range(1, counts.size):
        frozen = alike >= _FROZEN
        alike = alike + 1 if heard[k] == heard[k - 1] else 1
        if clean[k] == heard[k] and clean[k - 1] == heard[k - 1] and not (frozen and alike == 1):
            keep = np.exp((time_s[k - 1] - time_s[k]) / lag_s)
            turned = (clean[k] - keep * clean[k - 1]) / (1.0 - keep)
            out[k] = min(max(turned, lowest), highest)
    return out
