"""Two drains in a row: one long change with a rest in the middle is two."""

import numpy as np

from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import middle
from gaugewright.watch.values import Floats

SHORTEST = 5
LEAST_PART = 0.25
"""A rest is at least this part of the whole change, and at least `SHORTEST` bins."""
STEEPNESS = 0.25
"""In the rest the level moves at most this part as fast as over the whole."""
NEAR = 3.5
BRIEF = 3
QUICK = 4
"""A reading that leaves the level and comes back does so within so many bins; fuel takes time."""
SOON_S = 900.0
BACK = 0.4
CLEAR = 6.0
_CALM = 2.0
_CALM_PART = 0.04


def parted(
    groups: list[tuple[int, int, int]], level: Floats, sd: Floats
) -> list[tuple[int, int, int]]:
    """Return the changes, those with a rest inside as two: stop, last before, first after.

    ``level`` is free of consumption and ``sd`` its standard deviation, bin by bin. [L]
    """
    out: list[tuple[int, int, int]] = []
    for stop, a, b in groups:
        if b - a <= SHORTEST:
            out.append((stop, a, b))
            continue
        rest = _rest(level[a : b + 1], sd[a : b + 1])
        if rest[0] < 0:
            out.append((stop, a, b))
        else:
            out += [(stop, a, a + rest[0]), (stop, a + rest[1], b)]
    return out


def tightened(
    groups: list[tuple[int, int, int]], level: Floats, sd: Floats
) -> list[tuple[int, int, int]]:
    """Return the changes without the bins at either end in which nothing changes yet. [L]"""
    return [(stop, *_tightened(a, b, level, sd)) for stop, a, b in groups]


@compiled
def _tightened(a: int, b: int, level: Floats, sd: Floats) -> tuple[int, int]:
    """Return the last bin before a change and the first after it, nearer where nothing changes."""
    before = _mean(level, max(a - 4, 0), a + 1)
    after = _mean(level, b, min(b + 5, level.size))
    while a + 1 < b and abs(level[a + 1] - before) < _CALM * sd[a + 1]:
        a += 1
    while b - 1 > a and abs(level[b - 1] - after) < _CALM * sd[b - 1]:
        b -= 1
    return a, b


@compiled
def _mean(level: Floats, first: int, end: int) -> float:
    total = 0.0
    for i in range(first, end):
        total += level[i]
    return total / (end - first)


def without_excursions(
    groups: list[tuple[int, int, int]], time_s: Floats, level: Floats, most_l: float
) -> list[tuple[int, int, int]]:
    """Return the changes, those that go out and come back within minutes taken as one. [s, L]

    A reading that leaves the level for `BRIEF` bins at most and comes back to it, both within
    `QUICK`, is no fuel; more than one bin long, only if it goes out by less than ``most_l``.
    Of a unit that sleeps the bins are many minutes apart: there it is over within `SOON_S`.
    """
    out: list[tuple[int, int, int]] = []
    for stop, a, b in groups:
        if out and out[-1][0] == stop and a - out[-1][2] < BRIEF:
            first, low = out[-1][1], out[-1][2]
            before = float(np.median(level[max(first - 2, 0) : first + 1]))
            after = float(np.median(level[b : b + 3]))
            peak = float(np.mean(level[low : max(a, low) + 1]))
            way = min(abs(peak - before), abs(peak - after))
            quick = low - first <= QUICK and b - a <= QUICK
            lone = a <= low and b - first == 2
            soon = lone or time_s[b] - time_s[first] < SOON_S
            brief = quick and soon and (a <= low or way < most_l)
            if brief and abs(after - before) < BACK * way:
                out[-1] = (stop, first, b)
                continue
        out.append((stop, a, b))
    return out


@compiled
def _mean_near(level: Floats, first: int, end: int, at: int, far_l: float) -> float:
    """Return the mean of the bins whose level is near that of one of them: no other change's."""
    total, held = 0.0, 0
    for i in range(first, end):
        if abs(level[i] - level[at]) <= far_l:
            total += level[i]
            held += 1
    return total / held


def narrowed(a: int, b: int, level: Floats, sd_l: float) -> tuple[int, int]:
    """Return the last bin before a change and the first after it, as near as its noise allows.

    From where the level passes the middle, out to the nearest bins that read as before and as
    after it. For telling the time; the litres are measured between the wider places.
    """
    return _narrowed(a, b, level, sd_l)


@compiled
def _narrowed(a: int, b: int, level: Floats, sd_l: float) -> tuple[int, int]:
    far = 0.25 * abs(level[b] - level[a])
    before = _mean_near(level, max(a - 4, 0), a + 1, a, far)
    after = _mean_near(level, b, min(b + 5, level.size), b, far)
    near = max(_CALM * sd_l, _CALM_PART * abs(after - before))
    turn = a
    while turn < b and (level[turn] - (before + after) / 2) * (after - before) <= 0:
        turn += 1
    first, last = a, b
    for i in range(a, turn):
        if abs(level[i] - before) <= near:
            first = i
    for i in range(b, turn - 1, -1):
        if abs(level[i] - after) <= near:
            last = i
    return (first, last) if last > first else (a, b)


@compiled
def _rest(level: Floats, sds: Floats) -> tuple[int, int]:
    """Return the first and last bin of the longest rest inside a change, -1 without one."""
    n, sd = level.size, middle(sds.copy(), sds.size)
    least = max(SHORTEST, int(LEAST_PART * n))
    first, last = -1, -1
    for p in range(1, n - 1 - least):
        low = high = level[p]
        q = p
        while q + 1 < n - 1:
            low, high = min(low, level[q + 1]), max(high, level[q + 1])
            if high - low > 2 * NEAR * sd:
                break
            q += 1
        if q - p + 1 >= least and q - p > last - first:
            first, last = p, q
    if first < 0:
        return -1, -1
    whole = (level[n - 1] - level[0]) / (n - 1)
    drift = (level[last - 2 : last + 1].mean() - level[first : first + 3].mean()) / max(
        last - first - 2, 1
    )
    before, after = level[first] - level[0], level[n - 1] - level[last]
    clear = min(abs(before), abs(after)) > max(CLEAR * sd, 0.1 * abs(level[n - 1] - level[0]))
    if clear and before * after > 0 and abs(drift) < STEEPNESS * abs(whole):
        return first, last
    return -1, -1
