"""Two drains in a row: one long change with a rest in the middle is two."""

import numpy as np

from gaugewright.watch.values import Floats

SHORTEST = 5
LEAST_PART = 0.25
"""A rest is at least this part of the whole change, and at least `SHORTEST` bins."""
STEEPNESS = 0.25
"""In the rest the level moves at most this part as fast as over the whole."""
_NEAR = 3.5
_CLEAR = 6.0
_CALM = 2.0


def parted(
    groups: list[tuple[int, int, int]], level: Floats, sd: Floats
) -> list[tuple[int, int, int]]:
    """Return the changes, those with a rest inside as two: stop, last before, first after.

    ``level`` is free of consumption and ``sd`` its standard deviation, bin by bin. [L]
    """
    out: list[tuple[int, int, int]] = []
    for stop, a, b in groups:
        rest = _rest(level[a : b + 1], float(np.median(sd[a : b + 1])))
        if rest is None:
            out.append((stop, a, b))
        else:
            out += [(stop, a, a + rest[0]), (stop, a + rest[1], b)]
    return out


def tightened(
    groups: list[tuple[int, int, int]], level: Floats, sd: Floats
) -> list[tuple[int, int, int]]:
    """Return the changes without the bins at either end in which nothing changes yet. [L]"""
    out = []
    for stop, a, b in groups:
        before = float(np.mean(level[max(a - 4, 0) : a + 1]))
        after = float(np.mean(level[b : b + 5]))
        while a + 1 < b and abs(level[a + 1] - before) < _CALM * sd[a + 1]:
            a += 1
        while b - 1 > a and abs(level[b - 1] - after) < _CALM * sd[b - 1]:
            b -= 1
        out.append((stop, a, b))
    return out


def _rest(level: Floats, sd: float) -> tuple[int, int] | None:
    """Return the first and last bin of the longest rest inside a change, if there is one."""
    n = level.size
    least = max(SHORTEST, int(LEAST_PART * n))
    if n < least + 4:
        return None
    best: tuple[int, int] | None = None
    p = 1
    while p + least <= n - 1:
        low = high = level[p]
        q = p
        while q + 1 < n - 1:
            low, high = min(low, level[q + 1]), max(high, level[q + 1])
            if high - low > 2 * _NEAR * sd:
                break
            q += 1
        if q - p + 1 >= least and (best is None or q - p > best[1] - best[0]):
            best = (p, q)
        p += 1
    if best is None:
        return None
    first, last = best
    whole = (level[-1] - level[0]) / (n - 1)
    drift = (np.mean(level[last - 2 : last + 1]) - np.mean(level[first : first + 3])) / max(
        last - first - 2, 1
    )
    before, after = level[first] - level[0], level[-1] - level[last]
    clear = min(abs(before), abs(after)) > max(_CLEAR * sd, 0.1 * abs(level[-1] - level[0]))
    same = before * after > 0 and before * whole > 0
    return best if clear and same and abs(drift) < STEEPNESS * abs(whole) else None
