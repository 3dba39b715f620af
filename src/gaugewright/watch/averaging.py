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
from gaugewright.watch.middles import median
from gaugewright.watch.values import Floats, Track

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
_MOST_LEARNT = 24
_FEWEST = 4
_STAYS_S, _SETTLES_S = 600.0, 400.0
_TIMES_AFTER = 5.0
_CHANGES_PART, _MOST_BINS = 0.003, 90
"""What is being poured or drained still; so far back and on at most. [of the span, bins]"""
_FAR_PART = 0.05
_AROUND = 2


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
    inside, turned = np.zeros(track.time_s.size, np.bool_), []
    apart_s = np.zeros(track.time_s.size)
    edges = np.flatnonzero(np.diff(near.astype(np.int8), prepend=0, append=0))
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        first, end = bins.first[low], bins.last[high - 1] + 1
        for k in range(low, high):
            inside[bins.first[k] : bins.last[k] + 1] = True
            apart_s[bins.first[k] : bins.last[k] + 1] = 2 * BIN_S * k
        counts = unaveraged(track, table, first, end, lag_s)
        turned.append(counts[inside[first:end]])
    # Each bin in a minute of its own: bins of one minute are not to become one.
    read = bins_of(
        Track(
            track.vehicle,
            apart_s[inside] + track.time_s[inside] % BIN_S,
            np.concatenate(turned),
            track.speed_kmh[inside],
            track.ignition[inside],
        ),
        table,
    )
    level = bins.level_l.copy()
    level[near] = read.level_l
    return replace(bins, level_l=level), lag_s


def _rises(bins: Bins, span_l: float) -> list[tuple[int, int]]:
    """Return the first and the last bin of every long rise at rest."""
    up = np.diff(bins.level_l) > _PART * span_l
    up &= ~(bins.moving[1:] | bins.moving[:-1])
    edges = np.flatnonzero(np.diff(up.astype(np.int8), prepend=0, append=0))
    runs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(a, b) for a, b in runs if bins.level_l[b] - bins.level_l[a] > _RISE_PART * span_l]


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
        told = _unlike(track.time_s[place][heard], counts[heard])
        if told is not None:
            worse += np.minimum(told - told.min(), _MOST_SAID)
    best = int(np.argmin(worse))
    plain = worse[0] - worse[best] > _PLAIN and best < _TIMES_S.size - 1
    return float(_TIMES_S[best]) if plain else float("nan")


def _unlike(time_s: Floats, counts: Floats) -> Floats | None:
    """Return for each time constant how badly one refuel settles by it, as -log likelihood.

    From the first record that shows the pump no longer: what is left decays to where it stays.
    """
    if counts.size < _FEWEST + 2:
        return None
    counts = without_far(counts, _FAR_PART * float(np.ptp(counts)))
    steps = np.diff(counts)
    if not 0 < steps.max() <= _STEP_PART * np.ptp(counts):
        return None
    rate = steps / np.diff(time_s)
    pumps = rate > 0.5 * median(rate[rate > 0.25 * rate.max()])
    begin = int(np.flatnonzero(pumps)[-1]) + 2
    if time_s.size - begin < _FEWEST:
        return None
    end = int(np.searchsorted(time_s, time_s[begin] + _SETTLES_S))
    if end - begin < _FEWEST:
        return None
    left = _left(time_s[begin:end], counts[begin:end], _TIMES_S) + _WHOLE * (end - begin)
    return 0.5 * (end - begin - 2) * np.log(left)


@compiled
def _left(time_s: Floats, counts: Floats, times_s: Floats) -> Floats:
    """Return for each time constant the squares that decaying by it leaves unexplained.

    What a pump leaves to come is below where it stays: a fall tells of something else.
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
        out[i] = total - along * along / squares if along < 0 else total
    return out


@compiled
def without_far(counts: Floats, far: float) -> Floats:
    """Return the counts, one or two that stand far off replaced by the middle of five."""
    out = counts.copy()
    five = np.empty(5)
    n = counts.size
    for k in range(n):
        for j in range(5):
            five[j] = counts[min(max(k + j - 2, 0), n - 1)]
        five.sort()
        if abs(counts[k] - five[2]) > far:
            out[k] = five[2]
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
        low = a
        while low > 0 and a - low < _MOST_BINS and flows[max(low - _AROUND, 0) : low + 1].any():
            low -= 1
        end = int(np.searchsorted(bins.time_s, bins.time_s[b] + after_s)) + 1
        while end < out.size and end - b < _MOST_BINS and flows[end - _AROUND : end + 1].any():
            end += 1
        out[low:end] = True
    return out


def unaveraged(track: Track, table: Table, first: int, end: int, lag_s: float) -> Floats:
    """Return the counts of some records without the averaging; as they are if it is not plain."""
    if lag_s != lag_s:
        return track.counts[first:end]
    begin, until = max(first - _AROUND - 1, 0), end + _AROUND
    turned = _turned(
        track.time_s[begin:until], track.counts[begin:until],
        float(table.counts[0]), float(table.counts[-1]), lag_s,
    )  # fmt: skip
    return turned[first - begin : end - begin]


@compiled
def _turned(time_s: Floats, counts: Floats, lowest: float, highest: float, lag_s: float) -> Floats:
    """Return the counts without the averaging; wrong ones, and those after them, as they are."""
    out = counts.copy()
    heard = np.where(counts == counts, counts, lowest)
    heard = np.minimum(np.maximum(heard, lowest), highest)
    clean = without_far(heard, _FAR_PART * (highest - lowest))
    for k in range(1, counts.size):
        if clean[k] == heard[k] and clean[k - 1] == heard[k - 1]:
            keep = np.exp((time_s[k - 1] - time_s[k]) / lag_s)
            turned = (clean[k] - keep * clean[k - 1]) / (1.0 - keep)
            out[k] = min(max(turned, lowest), highest)
    return out
