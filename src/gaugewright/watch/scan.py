"""Changes of level inside one stop: level before against level after, over every scale.

A stop is cut where the contrast between the bins before and the bins after stands highest
above what its own noise would give; then each side is searched again. What lies between
before and after may be a minute or hours, a ramp, a jump or a hole in the record.

A coarse look over few scales finds the stretches worth searching, which are few.
"""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]

WINDOWS = np.array([1, 2, 3, 5, 8, 13, 21, 34])
APART = np.array([1, 2, 3, 4, 6, 9, 13, 19, 28, 42, 63, 95, 140])
_COARSE_WINDOWS = np.array([1, 3, 10, 30])
_COARSE_APART = np.array([1, 4, 13, 42, 120])
REACH = 60
"""Bins on either side of a suspicious place that are searched with it."""


@compiled
def _sums(
    low: int, high: int, level: Floats, weight_l2: Floats, wander: Floats, out: Floats
) -> None:
    """Write the running sums of weight, weight times level and weight times wander."""
    for i in range(high - low):
        w = 1.0 / weight_l2[low + i]
        out[0, i + 1] = out[0, i] + w
        out[1, i + 1] = out[1, i] + w * level[low + i]
        out[2, i + 1] = out[2, i] + w * wander[low + i]


@compiled
def _contrast(sums: Floats, first: int, a: int, b: int, end: int) -> tuple[float, float]:
    """Return the change from bins up to ``a`` to bins from ``b``, and its variance. [L, L²]"""
    wb = sums[0, a + 1] - sums[0, first]
    wa = sums[0, end] - sums[0, b]
    change = (sums[1, end] - sums[1, b]) / wa - (sums[1, a + 1] - sums[1, first]) / wb
    crept = (sums[2, end] - sums[2, b]) / wa - (sums[2, a + 1] - sums[2, first]) / wb
    return change, 1.0 / wb + 1.0 / wa + crept


@compiled
def _best(
    sums: Floats, low: int, high: int, windows: Places, apart: Places
) -> tuple[float, int, int, float, float]:
    """Return the strongest change: z, last bin before, first after, litres, variance."""
    best_z, best_a, best_b, best_d, best_v = 0.0, low, low, 0.0, 1.0
    for a in range(low, high - 1):
        for d in apart:
            b = a + d
            if b >= high:
                break
            narrow = False
            for w in windows:
                if narrow:
                    break
                first, end = a + 1 - w, b + w
                narrow = first <= low and end >= high
                change, v = _contrast(sums, max(first, low), a, b, min(end, high))
                z = change / np.sqrt(v)
                if abs(z) > abs(best_z):
                    best_z, best_a, best_b, best_d, best_v = z, a, b, change, v
    return best_z, best_a, best_b, best_d, best_v


@compiled
def _turns(sums: Floats, a: int, b: int, sign: float) -> tuple[int, int]:
    """Return the change without what ran the other way at its start or end.

    Fuel drained just before a refuel, or just after it, is a change of its own.
    """
    top, low = b, a
    best = sign * _level(sums, b) + 4.0 * _sd(sums, b)
    for i in range(a, b):
        if sign * _level(sums, i) - 3.0 * _sd(sums, i) > best:
            best, top = sign * _level(sums, i) - 3.0 * _sd(sums, i), i
    least = sign * _level(sums, a) - 4.0 * _sd(sums, a)
    for i in range(a + 1, top):
        if sign * _level(sums, i) + 3.0 * _sd(sums, i) < least:
            least, low = sign * _level(sums, i) + 3.0 * _sd(sums, i), i
    return low, max(top, low + 1)


@compiled
def _level(sums: Floats, i: int) -> float:
    level: float = (sums[1, i + 1] - sums[1, i]) / (sums[0, i + 1] - sums[0, i])
    return level


@compiled
def _sd(sums: Floats, i: int) -> float:
    sd: float = 1.0 / np.sqrt(sums[0, i + 1] - sums[0, i])
    return sd


@compiled
def _search(
    sums: Floats,
    low: int,
    high: int,
    offset: int,
    least_z: float,
    windows: Places,
    apart: Places,
    found: Floats,
    held: int,
) -> int:
    """Write the changes between ``low`` and ``high`` into ``found``, return how many it holds."""
    stack = np.empty((64, 2), np.int64)
    stack[0, 0], stack[0, 1] = low, high
    depth = 1
    while depth > 0:
        depth -= 1
        left, right = stack[depth, 0], stack[depth, 1]
        if right - left < 2:
            continue
        z, a, b, change, v = _best(sums, left, right, windows, apart)
        if abs(z) < least_z or held >= found.shape[0]:
            continue
        a, b = _turns(sums, a, b, 1.0 if change > 0 else -1.0)
        before, after = max(left, a - 9), min(right, b + 10)
        change, v = _contrast(sums, before, a, b, after)
        found[held, 0], found[held, 1], found[held, 2] = z, a + offset, b + offset
        found[held, 3], found[held, 4] = change, v
        held += 1
        if depth + 2 <= 64:
            stack[depth, 0], stack[depth, 1] = left, a + 1
            stack[depth + 1, 0], stack[depth + 1, 1] = b, right
            depth += 2
    return held


@compiled
def _suspicious(
    sums: Floats, n: int, least_z: float, windows: Places, apart: Places, hot: npt.NDArray[np.bool_]
) -> bool:
    """Mark the bins near a contrast above ``least_z``; return whether there are any."""
    some = False
    least = least_z * least_z
    for d in apart:
        for w in windows:
            hop = max(1, w // 2)
            for a in range(0, n - d, hop):
                b = a + d
                change, v = _contrast(sums, max(a + 1 - w, 0), a, b, min(b + w, n))
                if change * change > least * v:
                    some = True
                    for i in range(max(a - w - 5, 0), min(b + w + 5, n)):
                        hot[i] = True
    return some


@compiled
def all_changes(
    lows: Places,
    highs: Places,
    least_z: float,
    level: Floats,
    weight_l2: Floats,
    wander: Floats,
) -> Floats:
    """Return the changes of every stop, a row each: z, last before, first after, L, L².

    ``level`` is free of the known consumption, ``weight_l2`` the variance of each bin,
    ``wander`` the variance that has crept in since the first bin, running up.
    """
    windows = np.array([1, 2, 3, 5, 8, 13, 21, 34])
    apart = np.array([1, 2, 3, 4, 6, 9, 13, 19, 28, 42, 63, 95, 140])
    coarse_windows = np.array([1, 3, 10, 30])
    coarse_apart = np.array([1, 3, 10, 35, 110])
    found = np.empty((20 * lows.size + 500, 5))
    held = 0
    longest = 0
    for k in range(lows.size):
        longest = max(longest, highs[k] - lows[k])
    sums = np.zeros((3, longest + 1))
    hot = np.zeros(longest, np.bool_)
    for k in range(lows.size):
        low, n = lows[k], highs[k] - lows[k]
        _sums(low, highs[k], level, weight_l2, wander, sums)
        hot[:n] = False
        if not _suspicious(sums, n, 0.8 * least_z, coarse_windows, coarse_apart, hot):
            continue
        i = 0
        while i < n:
            if not hot[i]:
                i += 1
                continue
            j = i
            while j < n and hot[j]:
                j += 1
            held = _search(
                sums, max(i - 30, 0), min(j + 30, n), low, least_z, windows, apart, found, held
            )
            i = j
    return found[:held].copy()
