"""Refuels and drains in one vehicle's records, each with its litres, band, score and reason."""

from collections.abc import Callable
from dataclasses import replace
from math import exp, inf

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.around import (
    hidden_use_l,
    is_untold,
    may_be_otherwise,
    may_have_moved,
)
from gaugewright.watch.best import WIDER, best_litres
from gaugewright.watch.change import Change
from gaugewright.watch.combined import REACH
from gaugewright.watch.criteria import smallest_provable
from gaugewright.watch.decide import decide
from gaugewright.watch.holes import across_holes
from gaugewright.watch.look import Seen, look
from gaugewright.watch.middles import median
from gaugewright.watch.plateaus import narrowed
from gaugewright.watch.pouring import poured
from gaugewright.watch.telling import reaches_nothing, reason_of, rises_too, why_undecided
from gaugewright.watch.unseen import (
    FLOWING_PART,
    UNSEEN,
    UNSEEN_PART,
    above_the_top,
    came_down_again,
    flows,
    levelled_out,
    over_the_top,
    told_by,
)
from gaugewright.watch.values import Event, EventKind, Floats, Noise, Track, Undecided, Watched
from gaugewright.watch.weighing import weighed

DRAIN_SCORE = 0.2
"""From here a loss is called a drain: about one false one in five vehicle-months."""
REFUEL_SCORE = 6.0
LARGE_REFUEL_SCORE, LARGE_REFUEL_PART = 1.0, 0.15
"""So large a rise is hardly anything else, where a hole in the record leaves it unsure."""
OPEN_SCORE = 0.0
"""A change less likely to be fuel than anything else is not worth a line, unless it is big."""
OPEN_PART = 0.03
LEAST_REFUEL_PART = 0.02
LEAST_REFUEL_L = 5.0
VAGUE_SCORE = 2.0
"""From here a loss is called a drain even if its band reaches nothing: that fuel went is plain,
how much is not."""
SHIFTS, SHIFT_PART, MONTH_S = 1.0, 0.05, 30 * 86400.0
"""Rises in a month, up to this part of the tank, that may look more like fuel than the falls that
are called drains. [1/month, 1, s]"""
LEAST_PART = 0.005
"""Below half a percent of the tank nothing is decidable."""
_SIGMAS = 1.96
_WIDER_TABLE = 1.6
"""The same for the table's part in a refuel, which ends where tables bend most. [1]"""
UNTOLD_PART = 0.01
"""Of the tank, what use and slope leave unsure where no record tells of the engine, or whether
the vehicle moved (logs not scored). [1]"""
_LOOKS_PER_DAY = 24.0

Report = Callable[[str], None]


def watch_vehicle(track: Track, table: Table, *, least_score: float = DRAIN_SCORE) -> Watched:
    """Return every refuel and drain the records show, and what they leave undecided.

    A loss is called a drain from ``least_score``, which only a study of the chance of finding
    one has reason to lower. The events are in order of time. A track of fewer than two
    records shows nothing.
    """
    span = float(track.time_s[-1] - track.time_s[0]) if track.time_s.size else 0.0
    seen = look(track, table)
    if seen is None:
        nothing = Noise(*[float("nan")] * 5)
        note = "too few records inside the table to judge anything"
        return Watched(
            track.vehicle, (), (), nothing, track.time_s.size, span,
            float("nan"), float("nan"), (note,),
        )  # fmt: skip
    changes = sorted(decide(seen), key=lambda c: c.before)
    capacity = float(table.litres[-1])
    likely = {id(c) for c in changes if _is_event(c, capacity, least_score)}
    rises = [c for c in changes if id(c) not in likely]
    least, shifts_l = shifting(seen, rises, capacity)
    events: list[Event] = []
    undecided: list[Undecided] = []
    for c in changes:
        if id(c) not in likely:
            if _is_open(c, capacity):
                undecided.append(_undecided(track, seen, c, why_undecided(seen, c)))
        elif may_be_otherwise(seen, c, capacity):
            undecided.append(_undecided(track, seen, c, why_undecided(seen, c)))
        elif c.litres < 0 and c.score <= least:
            undecided.append(_undecided(track, seen, c, rises_too(c)))
        else:
            event = _event(track, table, seen, c, capacity)
            if c.litres < 0 and c.score < VAGUE_SCORE and event.u_litres >= event.litres:
                undecided.append(_undecided(track, seen, c, reaches_nothing(c, event.u_litres)))
            else:
                events.append(event)
    spans = [(event.start_s, event.end_s) for event in events]
    spans += [(each.start_s, each.end_s) for each in undecided]
    undecided += across_holes(track.vehicle, seen, spans, capacity)
    undecided.sort(key=lambda each: each.start_s)
    notes = () if table.u_litres is not None else (
        "the table's own band is unknown: the bands are those of the readings alone",
    )  # fmt: skip
    return Watched(
        vehicle=track.vehicle,
        events=_apart(tuple(events)),
        undecided=tuple(undecided),
        noise=_noise(seen),
        records=track.time_s.size,
        span_s=span,
        provable_parked_l=max(shifts_l, _provable(seen, capacity, parked=True)),
        provable_moving_l=_provable(seen, capacity, parked=False),
        notes=notes,
    )


def _is_event(change: Change, capacity_l: float, least_score: float) -> bool:
    if change.litres < 0:
        return change.score >= least_score and -change.litres > LEAST_PART * capacity_l
    least = max(LEAST_REFUEL_L, LEAST_REFUEL_PART * capacity_l)
    large = change.litres > LARGE_REFUEL_PART * capacity_l
    return change.score >= (LARGE_REFUEL_SCORE if large else REFUEL_SCORE) and change.litres > least


def shifting(seen: Seen, rises: list[Change], capacity_l: float) -> tuple[float, float]:
    """Return the odds up to which this vehicle's level shifts by itself, and how far it does. [L]

    What shifts down by load, slope or a rate of use that is not known shifts up as often and as
    far. So rises that are no refuels are weighed as if they were falls, and of those `SHIFTS` in
    a month may be above. -inf and 0 where there are no more of them than that.
    """
    span_s = float(seen.bins.time_s[-1] - seen.bins.time_s[0])
    allowed = max(int(SHIFTS * span_s / MONTH_S + 0.5), 1)
    told = sorted(
        (
            (weighed(seen, rise), rise.litres)
            for rise in rises
            if LEAST_PART * capacity_l < rise.litres < SHIFT_PART * capacity_l
        ),
        reverse=True,
    )
    if len(told) <= allowed:
        return -inf, 0.0
    least = told[allowed][0]
    far = [litres for score, litres in told if score >= DRAIN_SCORE <= least]
    return least, max(far, default=0.0)


def _is_open(change: Change, capacity_l: float) -> bool:
    """Return whether the level plainly changed and yet nothing can be said of the fuel."""
    plain = abs(change.litres) > 6 * change.var_l2**0.5 and (
        change.score > OPEN_SCORE or abs(change.litres) > OPEN_PART * capacity_l
    )
    least = max(3.0, 2 * LEAST_PART * capacity_l)
    return plain and abs(change.litres) > least


def _event(track: Track, table: Table, seen: Seen, change: Change, capacity_l: float) -> Event:
    kind = EventKind.REFUEL if change.litres > 0 else EventKind.DRAIN
    before, after = levels(seen, change)
    litres, var = best_litres(seen, change, poured(track, table, seen, change))
    levelled = None
    flowing = flows(seen, change) if kind == EventKind.REFUEL else 0.0
    if flowing:
        levelled = levelled_out(table, seen, change)
        litres, more_l2 = levelled or (litres, (FLOWING_PART * flowing) ** 2 + var / WIDER**2)
        var = WIDER**2 * more_l2
    if is_untold(seen, change) or may_have_moved(seen, change):
        var += (UNTOLD_PART * capacity_l) ** 2
    litres *= 0.5 * float(seen.own_warmth[change.before] + seen.own_warmth[change.after])
    table_l2 = difference_l2(table, before, after)
    own_l2 = var + (_WIDER_TABLE**2 if kind == EventKind.REFUEL else 1.0) * table_l2
    room, said = 0.0, ""
    if levelled is None and over_the_top(table, seen, change):
        above = above_the_top(table, seen, change) if kind == EventKind.REFUEL else None
        if above is None:
            room, said = UNSEEN_PART * capacity_l, UNSEEN
        else:
            litres, own_l2 = litres + above[0], own_l2 + WIDER**2 * above[1]
            said = told_by(*above)
    elif levelled is None and came_down_again(table, seen, change):
        room, said = UNSEEN_PART * capacity_l, UNSEEN
    band = max(_SIGMAS * own_l2**0.5, hidden_use_l(seen, change)) + room
    if not room and not flowing and levelled is None:
        most_l = inf if said else capacity_l
        before, after = _settled(seen, change, before, after, litres, band, most_l)
    a, b = change.before, change.after
    if change.inside and not change.frozen:
        a, b = narrowed(a, b, seen.level_l, float(seen.weight_l2[a] ** 0.5))
        if (a, b) != (change.before, change.after):
            change = replace(change, before=a, after=b)
    first, last = int(seen.bins.last[a]), int(seen.bins.first[b])
    return Event(
        vehicle=track.vehicle,
        kind=kind,
        start_s=float(track.time_s[first]),
        end_s=float(track.time_s[last]),
        litres=litres,
        u_litres=float(band),
        before_l=before,
        after_l=after,
        score=change.score,
        reason=reason_of(seen, change, litres, band) + said,
        first=first,
        last=last,
    )


def levels(seen: Seen, change: Change) -> tuple[float, float]:
    """Return the litres in the tank before and after a change. [L]"""
    before = float(seen.level_l[change.before] - seen.burnt_l[change.before])
    after = float(seen.level_l[change.after] - seen.burnt_l[change.after])
    return before, after


def _settled(
    seen: Seen, change: Change, before: float, after: float, litres: float, band: float, most: float
) -> tuple[float, float]:
    """Return the levels beside a change; one that still settles is told by the other. [L]"""
    change_l = litres if change.litres > 0 else -litres
    if abs(after - before - change_l) <= band:
        return before, after
    first, last = after - change_l, before + change_l
    is_later = seen.weight_l2[change.before] > seen.weight_l2[change.after]
    if (is_later and 0 <= first <= most) or not 0 <= last <= most:
        return min(max(first, 0.0), most), after
    return before, last


def difference_l2(table: Table, before_l: float, after_l: float) -> float:
    """Return the variance that the table's own error gives a difference of two levels. [L²]

    The error of a table runs smoothly: near levels share it, so that a small change is known
    far better than the level. How smoothly it runs is told in `gaugewright.watch.combined`.
    """
    if table.u_litres is None:
        return 0.0
    bands: list[float] = np.interp((before_l, after_l), table.litres, table.u_litres).tolist()
    before, after = (band / _SIGMAS for band in bands)
    apart = abs(after_l - before_l) / (REACH * float(table.litres[-1] - table.litres[0]))
    return (before - after) ** 2 + 2 * before * after * (1 - exp(-apart))


def _undecided(track: Track, seen: Seen, change: Change, reason: str) -> Undecided:
    return Undecided(
        vehicle=track.vehicle,
        start_s=float(track.time_s[seen.bins.last[change.before]]),
        end_s=float(track.time_s[seen.bins.first[change.after]]),
        litres=change.litres,
        u_litres=_SIGMAS * change.var_l2**0.5,
        reason=reason,
    )


def _apart(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """Return the events with none reaching into the next."""
    out = list(events)
    for i in range(len(out) - 1):
        if out[i].end_s > out[i + 1].start_s:
            out[i] = replace(out[i], end_s=max(out[i].start_s, out[i + 1].start_s))
    return tuple(out)


def _noise(seen: Seen) -> Noise:
    manner = seen.manner
    return Noise(
        still_l=manner.still_l2**0.5,
        moving_l=manner.rough_l2**0.5,
        slope_l=manner.slope_l2**0.5,
        wander_l=manner.wander_l2_h**0.5,
        lag_s=seen.lag_s,
    )


def _provable(seen: Seen, capacity_l: float, *, parked: bool) -> float:
    """Return the least drain found with 95 % at one false alarm a year, this vehicle's own. [L]"""
    manner = seen.manner
    if parked:
        scatter_l2 = 2 * manner.still_l2 / 5 + 0.5 * manner.wander_l2_h + 0.01
    else:
        outside: Floats = seen.before_l2 + seen.after_l2
        known = outside[seen.spells.still & (outside < 1e6)]
        if known.size == 0:
            return float("nan")
        scatter_l2 = median(known)
    least = smallest_provable(scatter_l2**0.5, 1.0, 365 * _LOOKS_PER_DAY)
    return max(least, 2 * LEAST_PART * capacity_l)
