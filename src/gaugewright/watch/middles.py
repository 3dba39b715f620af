"""Medians and quantiles of many values, as NumPy gives them and in a fraction of its time.

NumPy puts three and more places of the sorted order right at once, one of them only to find a
NaN; one place is enough, and the next higher is the least of those that stand behind it.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled

_MANY, _SAMPLED, _NEAR = 4000, 256, 20
"""Of more than so many values so many are looked at first; the place wanted lies within so many of
these, or all values are parted after all."""
Numbers = npt.NDArray[np.number[Any]]


def median(values: Numbers) -> float:
    """Return the median of some values; NaN if one is NaN, or without any.

    >>> median(np.array([3.0, 1.0, 2.0, 9.0]))
    2.5
    """
    if not values.size:
        return float("nan")
    below, above = _neighbours(values, (values.size - 1) // 2)
    if values.size % 2:
        return below if above == above else above
    return (below + above) / 2


def quantile(values: Numbers, share: float) -> float:
    """Return the value below which a share of the values lies, between two of them by line.

    The 7th of the definitions of Hyndman and Fan (The American Statistician 50(4), 1996), which
    is NumPy's usual one.  NaN if one is NaN; there must be at least one value.

    >>> quantile(np.array([3.0, 1.0, 2.0, 9.0]), 0.25)
    1.75
    """
    at = (values.size - 1) * share
    below, above = _neighbours(values, int(at))
    part = at - int(at)
    if part >= 0.5:
        return above - (above - below) * (1 - part)
    return below + (above - below) * part


def _neighbours(values: Numbers, place: int) -> tuple[float, float]:
    """Return the values at a place of the sorted order and at the next, where there is one."""
    if values.size > _MANY:
        sample = np.sort(values[:: values.size // _SAMPLED])
        near = place * sample.size // values.size
        low = sample[near - _NEAR] if near >= _NEAR else -np.inf
        high = sample[near + _NEAR] if near + _NEAR < sample.size else np.inf
        below, within = _within(values, float(low), float(high))
        if below <= place and place + 1 < below + within.size:
            if low == high:
                return float(low), float(low)
            values, place = within, place - below
        # Where one value comes again and again, to part by place is slow.
        around = sample[max(near - 2, 0) : near + 3]
        if (around[1:] == around[:-1]).any():
            return _next(np.sort(values), place)
    return _next(np.partition(values, place), place)


@compiled
def _within(values: Numbers, low: float, high: float) -> tuple[int, npt.NDArray[np.float64]]:
    """Return how many values are below a range, and those in it; none if one is NaN."""
    within = np.empty(values.size)
    below = above = held = 0
    for i in range(values.size):
        value = values[i]
        below += value < low
        above += value > high
        within[held] = value
        held += low <= value <= high
    whole = below + held + above == values.size
    return below, within[: held if whole else 0].copy()


def _next(parted: Numbers, place: int) -> tuple[float, float]:
    behind = parted[place + 1 :]
    least = float(parted[place])
    return least, float(behind.min()) if behind.size else least


@compiled
def middle(values: npt.NDArray[np.float64], size: int) -> float:
    """Return the median of the first ``size`` values, at least one, which change their order.

    For compiled loops, which NumPy's own would keep waiting for the compiler.

    >>> float(middle(np.array([3.0, 1.0, 2.0, 9.0]), 4))
    2.5
    """
    low, high, place = 0, size - 1, size // 2
    while low < high:
        parting = values[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while values[i] < parting:
                i += 1
            while values[j] > parting:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if place <= j:
            high = j
        elif place >= i:
            low = i
        else:
            break
    upper: float = values[place]
    if size % 2:
        return upper
    lower: float = values[0]
    for k in range(1, place):
        lower = max(lower, values[k])
    return (lower + upper) / 2
