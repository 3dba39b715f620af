"""Changes of level inside one stop: level before against level after, over every scale.

A stop is cut where the contrast between the bins before and the bins after stands highest
above what its own noise would give; then each side is searched again. What lies between
before and after may be a minute or hours, a ramp, a jump or a hole in the record.

A coarse look over few scales finds the stretches worth searching, which are few.
"""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import ZERO, compiled
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]

WINDOWS = np.array([1, 2, 3, 5, 8, 13, 21, 34])
APART = np.array([1, 2, 3, 4, 6, 9, 13, 19, 28, 42, 63, 95, 140])
COARSE_WINDOWS = np.array([1, 3, 10, 30])
COARSE_APART = np.array([1, 3, 10, 35, 110])
_AT_ONCE = 32
"""Places that are tested together."""
REACH = 30
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
def _sides(sums: Floats, low: int, high: int, window: int, sides: Floats) -> None:
    """Write level, variance and creep of the bins in each window, by the last place in it.

    Row by row, from ``low`` on. The bins before a place are those of the window that ends
    with it, those after a place of the window that ends ``window - 1`` later; at the edges
    there is less of a window.
    """
    inner = max(high - low - window + 1, 0)
    # Where the whole window fits, several places at once.
    _mean_of(sums, low, window, inner, sides, low + window - 1)
    for last in range(low, min(low + window - 1, high)):
        _mean_of_one(sums, low, last + 1, sides, last)
    for first in range(max(high - window + 1, low), high):
        _mean_of_one(sums, first, high, sides, first + window - 1)


@compiled
def _mean_of_one(sums: Floats, first: int, end: int, into: Floats, at: int) -> None:
    """Write mean, variance and creep of one window."""
    weight = sums[0, end] - sums[0, first]
    into[0, at] = (sums[1, end] - sums[1, first]) / weight
    into[1, at] = 1.0 / weight
    into[2, at] = (sums[2, end] - sums[2, first]) / weight


@compiled
def _mean_of(sums: Floats, first: int, window: int, size: int, into: Floats, at: int) -> None:
    """Write mean, variance and creep of windows that begin at ``first`` and each place after.

    One short loop each, so that the processor takes several places at once.
    """
    last = first + window
    weight = into[1, at : at + size]
    since, until = sums[0, first : first + size], sums[0, last : last + size]
    for i in range(size):
        weight[i] = until[i] - since[i]
    for k in (1, 2):
        mean = into[2 * k - 2, at : at + size]
        since, until = sums[k, first : first + size], sums[k, last : last + size]
        for i in range(size):
            mean[i] = (until[i] - since[i]) / weight[i]
    for i in range(size):
        weight[i] = 1.0 / weight[i]


@compiled
def _any_above(sides: Floats, low: int, high: int, to_after: int, z2: float) -> bool:
    """Return whether a change from ``low`` up to ``high`` may have a z² of ``z2`` and more.

    Without a way out of the loop, so that the processor takes several places at once.
    """
    if high <= low:
        return False
    before, before_l2, before_crept = sides[0, low:high], sides[1, low:high], sides[2, low:high]
    low, high = low + to_after, high + to_after
    after, after_l2, after_crept = sides[0, low:high], sides[1, low:high], sides[2, low:high]
    some = False
    for i in range(before.size):
        change = after[i] - before[i]
        v = before_l2[i] + after_l2[i] + (after_crept[i] - before_crept[i])
        some |= change * change >= z2 * v
    return some


@compiled
def _best(
    sums: Floats,
    low: int,
    high: int,
    least_z: float,
    windows: Places,
    apart: Places,
    sides: Floats,
) -> tuple[float, int, int, float, float]:
    """Return the strongest change from ``least_z``: z, last bin before, first after, L, L².

    Of equals the first place, then the nearest. The widest windows come first, for where they
    show a change the narrow ones mostly cannot show a stronger one.
    """
    best_z, best_a, best_b, best_d, best_v = 0.0, low, low, 0.0, 1.0
    enough = least_z * least_z * (1.0 - 1e-12)
    for k in range(windows.size - 1, -1, -1):
        w = windows[k]
        if k and windows[k - 1] >= high - low:
            continue  # narrower ones are the same
        _sides(sums, low, high, w, sides)
        for d in apart:
            later = d + w - 1
            if not _any_above(sides, low, high - d, later, enough):
                continue
            for near in range(low, high - d, _AT_ONCE):
                far = min(near + _AT_ONCE, high - d)
                if not _any_above(sides, near, far, later, enough):
                    continue
                for a in range(near, far):
                    b, at = a + d, a + later
                    change = sides[0, at] - sides[0, a]
                    v = sides[1, a] + sides[1, at] + (sides[2, at] - sides[2, a])
                    if change * change < enough * v:
                        continue
                    z = change / np.sqrt(v)
                    same = abs(z) == abs(best_z) and (a < best_a or (a == best_a and b < best_b))
                    if abs(z) > abs(best_z) or (same and z != 0.0):
                        best_z, best_a, best_b, best_d, best_v = z, a, b, change, v
                        enough = z * z * (1.0 - 1e-12)
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
    sides: Floats,
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
        z, a, b, change, v = _best(sums, left, right, least_z, windows, apart, sides)
        if abs(z) < least_z or held >= found.shape[0]:
            continue
        a, b = _turns(sums, a, b, 1.0 if change > 0 else -1.0)
        before, after = max(left, a - 9), min(right, b + 10)
        wider, wider_v = _contrast(sums, before, a, b, after)
        if wider * z > 0 and wider * wider > 0.25 * z * z * wider_v:
            change, v = wider, wider_v
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
    sums: Floats,
    n: int,
    least_z: float,
    windows: Places,
    apart: Places,
    sides: Floats,
    hot: npt.NDArray[np.bool_],
) -> bool:
    """Mark the bins near a contrast above ``least_z``; return whether there are any."""
    some = False
    least = least_z * least_z
    for w in windows:
        hop = max(1, w // 2)
        _sides(sums, ZERO, n, w, sides)
        for d in apart:
            marked, later = 0, d + w - 1
            for near in range(0, n - d, _AT_ONCE * hop):
                far = min(near + _AT_ONCE * hop, n - d)
                if hop == 1 and not _any_above(sides, near, far, later, least):
                    continue
                for a in range(near, far, hop):
                    at = a + later
                    change = sides[0, at] - sides[0, a]
                    v = sides[1, a] + sides[1, at] + (sides[2, at] - sides[2, a])
                    if change * change > least * v:
                        some = True
                        end = min(a + d + w + 5, n)
                        for i in range(max(a - w - 5, marked), end):
                            hot[i] = True
                        marked = end
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
    held = longest = total = ZERO
    for k in range(lows.size):
        longest = max(longest, highs[k] - lows[k])
        total += highs[k] - lows[k]
    # One stop may be as long as the log: of a machine that never moves.
    found = np.empty((20 * lows.size + 500 + total // 4, 5))
    sums = np.zeros((3, longest + 1))
    sides = np.empty((3, longest + max(WINDOWS[-1], COARSE_WINDOWS[-1])))
    hot = np.zeros(longest, np.bool_)
    for k in range(lows.size):
        low, n = lows[k], highs[k] - lows[k]
        _sums(low, highs[k], level, weight_l2, wander, sums)
        hot[:n] = False
        if not _suspicious(sums, n, 0.8 * least_z, COARSE_WINDOWS, COARSE_APART, sides, hot):
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
                sums, max(i - REACH, 0), min(j + REACH, n), low, least_z, WINDOWS, APART, found,
                held, sides,
            )  # fmt: skip
            i = j
    return found[:held].copy()
