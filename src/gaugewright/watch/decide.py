"""From changes of level to events: is it fuel, or noise, or the load that shifted?

Each change inside a stop is weighed against three stories. Fuel left (or came): then the
level before the stop and the level after it, carried from outside, differ by as much. The
level shifted by itself, by load or slope: then they do not. Or it is noise. What is seen only
from outside, because no record tells of the moment, is weighed by the outside alone.
"""

from bisect import bisect_right
from dataclasses import replace
from math import log

import numpy as np

from gaugewright.watch.around import (
    between,
    blurred,
    busy,
    creep_kmh,
    crept,
    frozen_since,
    repeats,
)
from gaugewright.watch.change import EDGE_BINS, Change
from gaugewright.watch.compiled import compiled
from gaugewright.watch.look import UNKNOWN_L2, Seen, unseen_warmth
from gaugewright.watch.stories import Shifts, drain_parts, heavy, normal, size_density
from gaugewright.watch.values import Floats
from gaugewright.watch.weighing import weighed

WINDOW = 10
FEWEST_SCATTER = 4
NEAR_S = 1200.0
OUTSIDE_CHANCE = 0.08
"""Changes in a day that no record at rest shows; on logs that are not scored."""
_VAGUE = 4.0
"""So many times both views the outside is off by where the stop holds a refuel seen in part. [1]"""
REFUEL_PART = 0.05
"""A rise of this part of the tank counts as a refuel to what comes after it. [1]"""
_OVER_PART = 0.6
"""A change of which more than this part is still to come at its end goes on. [1]"""
_BESIDE, _STEP_PART = 3, 0.4
"""Bins held against as many, and how much of a change they show where it is. [1]"""
FLOWING_PART = 0.25
"""How far the part that still flows to a second tank is known. [1]"""


_Shown = tuple[float, float, float]
"""A change at rest: from when, till when, and how much. [s, s, L]"""


def decide(seen: Seen) -> list[Change]:
    """Return every change worth weighing, scored; the caller sets the threshold."""
    changes = by_stories(seen)
    for change in changes:
        if change.litres < 0:
            change.score = weighed(seen, change)
    return [_if_settled(seen, change) for change in changes]


def by_stories(seen: Seen) -> list[Change]:
    """Return every change worth weighing, scored by the three stories alone."""
    repeating = repeats(seen)
    groups = [group for group in seen.groups if _reads_on(seen.raw_l, *group[1:])]
    creep = creep_kmh(seen)
    inside = [_measured(seen, groups, i, repeating, creep) for i in range(len(groups))]
    _leave_out_neighbours(inside)
    scale = outside_scale(seen, inside)
    for change in inside:
        change.outside_l2 *= scale
    prior = Shifts.learnt(seen, inside)
    for change in inside:
        change.score = prior.score(change)
    changes = _whole(seen, inside, _only_outside(seen, inside, scale))
    _since_refuels(seen, changes)
    return changes


def _since_refuels(seen: Seen, changes: list[Change]) -> None:
    """Tell each change how long before it the last refuel ended."""
    time_s = seen.bins.time_s
    least = REFUEL_PART * float(np.max(seen.bins.level_l))
    ended = sorted(float(time_s[c.after]) for c in changes if c.litres > least and c.score > 0)
    for c in changes:
        start_s = float(time_s[c.before])
        before = bisect_right(ended, start_s)
        if before:
            c.after_refuel_s = start_s - ended[before - 1]


def _reads_on(raw_l: Floats, a: int, b: int) -> bool:
    """Return whether the probe does not read one and the same all through a change."""
    return bool(raw_l[a] != raw_l[b] or np.ptp(raw_l[a : b + 1]) > 0)


def _if_settled(seen: Seen, change: Change) -> Change:
    """Return the change, none called where a second tank may still be levelling out."""
    if abs(change.litres) < seen.flowing_l[change.before]:
        return replace(change, score=min(change.score, 0.0))
    return change


def _measured(
    seen: Seen,
    groups: list[tuple[int, int, int]],
    i: int,
    repeating: tuple[float, float],
    creep: float,
) -> Change:
    """Return the change between the levels on either side, up to the next change. [L, L²]"""
    stop, a, b = groups[i]
    # Plain numbers, not NumPy's: a handful of sums with those takes longer than all the rest.
    stop_low, stop_high = int(seen.spells.low[stop]), int(seen.spells.high[stop])
    low, high = stop_low, stop_high
    if i and groups[i - 1][0] == stop:
        low = min(groups[i - 1][2], a)
    if i + 1 < len(groups) and groups[i + 1][0] == stop:
        high = max(groups[i + 1][1] + 1, b + 1)
    since = frozen_since(seen, a, repeating)
    guard = min(8, (b - a) // 6)
    last = a - 1 - guard if a - low >= 4 + guard else a - 1 if a - low >= 4 else a
    begin = b + 2 + guard if high - b >= 6 + guard else b + min(2, (high - b) // 2)
    first, end = max(low, last + 1 - WINDOW), min(high, begin + WINDOW)
    before, before_l2 = _level_of(seen.level_l, seen.weight_l2, first, last + 1)
    after, after_l2 = _level_of(seen.level_l, seen.weight_l2, begin, end)
    if since < a:
        before = float(seen.level_l[since])
    litres = after - before
    if abs(float(seen.level_l[b]) - after) > _OVER_PART * abs(litres):
        b = begin
    var = before_l2 + after_l2 + float(seen.wander_l2[b]) - float(seen.wander_l2[since])
    flowing = float(seen.flowing_l[b])
    if flowing > 0:
        var += (FLOWING_PART * min(flowing, abs(litres))) ** 2
    outside = seen.after_l[stop] - seen.before_l[stop]
    outside_l2 = float(seen.after_l2[stop] + seen.before_l2[stop])
    outside_l2 += float(seen.wander_l2[stop_high - 1] - seen.wander_l2[stop_low])
    fewest = min(a + 1 - stop_low, stop_high - b)
    return Change(
        stop,
        since,
        b,
        litres,
        var,
        float(outside),
        outside_l2,
        True,
        fewest,
        blurred=blurred(seen, stop, a, b),
        frozen=since < a,
        crept=crept(seen, a, b, creep),
        busy=busy(seen, a, b, fewest),
        between=between(seen.level_l, a, b),
    )


@compiled
def _level_of(level: Floats, weight_l2: Floats, first: int, end: int) -> tuple[float, float]:
    """Return the weighted mean of some bins and its variance, by their own scatter if wider."""
    weight = summed = 0.0
    for i in range(first, end):
        weight += 1.0 / weight_l2[i]
        summed += level[i] / weight_l2[i]
    mean, var = summed / weight, 1.0 / weight
    if end - first >= FEWEST_SCATTER:
        scatter = 0.0
        for i in range(first, end):
            scatter += (level[i] - mean) ** 2 / weight_l2[i]
        var *= max(1.0, scatter / (end - first - 1))
    return mean, var


def _leave_out_neighbours(changes: list[Change]) -> None:
    """Take the other changes in its stop off each change's outside view."""
    litres: dict[int, float] = {}
    var: dict[int, float] = {}
    for c in changes:
        litres[c.stop] = litres.get(c.stop, 0.0) + c.litres
        var[c.stop] = var.get(c.stop, 0.0) + c.var_l2
    for c in changes:
        c.outside_l -= litres[c.stop] - c.litres
        c.outside_l2 += var[c.stop] - c.var_l2
    for c in changes:
        apart = c.outside_l - c.litres
        if apart * c.litres < 0 and apart**2 > 9 * c.outside_l2 and _unlike(c, changes):
            c.outside_l2 += (_VAGUE * (abs(c.outside_l) + abs(c.litres))) ** 2


def _unlike(change: Change, changes: list[Change]) -> bool:
    """Return whether the other kind of change, seen in part only, is in the same stop."""
    if change.outside_l * change.litres < 0 and change.outside_l**2 > 9 * change.outside_l2:
        return True
    return any(
        c.stop == change.stop and c.litres * change.litres < 0 and c.fewest <= EDGE_BINS
        for c in changes
    )


def outside_scale(seen: Seen, changes: list[Change]) -> float:
    """Return by how much the outside view scatters more than its variance says, at least 1."""
    quiet = seen.spells.still.copy()
    quiet[[c.stop for c in changes]] = False
    both_l2 = seen.after_l2 + seen.before_l2
    at = np.flatnonzero(quiet & (both_l2 < UNKNOWN_L2))
    z2 = (seen.after_l[at] - seen.before_l[at]) ** 2 / both_l2[at]
    return max(1.0, float(np.median(z2)) / 0.4549) if z2.size >= 10 else 1.5


def _whole(seen: Seen, inside: list[Change], beyond: list[Change]) -> list[Change]:
    """Return all changes, one seen in part at a stop's edge joined with the rest of it."""
    kept, rest = list(inside), []
    latest = seen.bins.time_s.size - 1
    for more in beyond:
        low, high = seen.spells.low[more.stop], seen.spells.high[more.stop]
        part = next(
            (
                c
                for c in kept
                if c.stop == more.stop
                and c.score > 0
                and c.litres * more.litres > 0
                and (c.after >= high - EDGE_BINS or c.before <= low + 1)
            ),
            None,
        )
        if part is None or _apart(seen, part, more):
            rest.append(more)
            continue
        kept.remove(part)
        rest.append(
            replace(
                more,
                before=part.before if part.before > low + 1 else max(low - 1, 0),
                after=part.after if part.after < high - EDGE_BINS else min(high, latest),
                litres=part.litres + more.litres,
                score=max(part.score, more.score),
            )
        )
    return kept + rest


def _apart(seen: Seen, part: Change, more: Change) -> bool:
    """Return whether the rest plainly went elsewhere than beside the part that is shown."""
    beside = more.before <= part.after + 1 and more.after >= part.before - 1
    step_l = _step(seen.level_l, more.before) if not beside else 0.0
    return step_l * more.litres > _STEP_PART * more.litres**2


def _beside(shown: list[_Shown], start_s: float, end_s: float, litres: float) -> bool:
    """Return whether a change seen at rest close by, of the same kind, is what is seen here.

    Between two stops a few minutes apart the level is not known well enough for both.
    """
    return any(
        before_s < end_s and after_s > start_s and c_l * litres > 0 and abs(c_l) > 0.3 * abs(litres)
        for before_s, after_s, c_l in shown
    )


def _only_outside(seen: Seen, inside: list[Change], scale: float) -> list[Change]:
    """Return what the outside shows beyond the changes seen in each stop."""
    likely = [c for c in inside if c.score > 0]
    time_s = seen.bins.time_s
    near = [(float(time_s[c.before]), float(time_s[c.after]), c.litres) for c in likely]
    shown = np.zeros(seen.spells.low.size)
    for c in likely:
        shown[c.stop] += c.litres
    capacity = float(np.max(seen.bins.level_l))
    first = np.maximum(seen.spells.low - 1, 0)
    last = np.minimum(seen.spells.high, seen.wander_l2.size - 1)
    warmth_l2 = unseen_warmth(seen.bins)
    all_l2 = (seen.after_l2 + seen.before_l2) * scale + warmth_l2[last] - warmth_l2[first]
    all_l = seen.after_l - seen.before_l - shown
    clear = seen.spells.still & (all_l2 < UNKNOWN_L2) & (all_l**2 > np.maximum(4.0, 4.0 * all_l2))
    days = (seen.bins.time_s[-1] - seen.bins.time_s[0]) / 86400
    chances = OUTSIDE_CHANCE * days * drain_parts(seen)
    found = []
    for k in np.flatnonzero(clear):
        litres, var = float(all_l[k]), float(all_l2[k])
        fuel = float(chances[k]) * size_density(litres, capacity)
        odds = log(fuel) - log(heavy(litres, var) + 1e-5 * normal(litres, 100 * var) + 1e-300)
        if odds <= -5:
            continue
        start_s, end_s = float(time_s[first[k]]) - NEAR_S, float(time_s[last[k]]) + NEAR_S
        if not _beside(near, start_s, end_s, litres):
            begin, end = _unseen(seen, likely, litres, int(k), int(first[k]), int(last[k]))
            found.append(Change(int(k), begin, end, litres, var, litres, var, False, score=odds))
    return found


def _unseen(
    seen: Seen, likely: list[Change], litres: float, stop: int, first: int, last: int
) -> tuple[int, int]:
    """Return between which bins of a stop a change may be that none of its records show.

    Beside changes that they show, where the level steps by a good part of it, else in the
    longest hole of the record.
    """
    shown = [(c.before, c.after) for c in likely if c.stop == stop]
    if not shown:
        return first, last
    gap_s = np.diff(seen.bins.time_s[first : last + 1])
    step_l = np.array([_step(seen.level_l, i) for i in range(first, last)]) * np.sign(litres)
    for a, b in shown:
        hidden = slice(max(a - first - _BESIDE, 0), max(b - first + _BESIDE, 0))
        step_l[hidden] = 0.0
        gap_s[max(a - first, 0) : max(b - first, 0)] = 0.0
    plain = step_l.size and step_l.max() > _STEP_PART * abs(litres)
    at = first + int(np.argmax(step_l if plain else gap_s)) if gap_s.size else first
    return at, min(at + 1, last)


def _step(level: Floats, i: int) -> float:
    """Return by how much the few bins after one read more than it and the few before. [L]"""
    return float(
        level[i + 1 : i + 1 + _BESIDE].mean() - level[max(i + 1 - _BESIDE, 0) : i + 1].mean()
    )
