"""What service says of a table: litres that lie between two readings at rest."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.detect import difference_l2
from gaugewright.watch.health.blocks import blocks_of
from gaugewright.watch.health.case import Case, Delivery
from gaugewright.watch.health.level import stands
from gaugewright.watch.health.records import past_top
from gaugewright.watch.values import Event, EventKind, Track, Watched

NEAR_S = 5400.0
"""A receipt belongs to a refuel this near in time. [s]"""
LEAST_SHARE = 0.06
"""Smaller amounts say less about the table than about the reading. Share of the table's litres."""


class Source(StrEnum):
    """Who says how many litres it were."""

    RECEIPT = "receipts"
    COUNTER = "engine_counter"


@dataclass(frozen=True, slots=True)
class Amount:
    """Litres that lie between two readings; ``after`` is the fuller one. [counts, L]"""

    source: Source
    number: int
    """Which receipt or stretch, the first being 1."""
    time_s: float
    before: float
    after: float
    litres: float
    u_level_l: float
    """Standard deviation of the difference of the two levels by the readings alone. [L]"""
    same_stop: bool = True
    follows: bool = False
    """Whether it begins where the one before it ends."""


@dataclass(frozen=True, slots=True)
class ServiceData:
    """All amounts of one vehicle, in order of time."""

    vehicle: str
    amounts: tuple[Amount, ...]


def service_data(
    track: Track, table: Table, watched: Watched, deliveries: Sequence[Delivery] = ()
) -> ServiceData:
    """Return the amounts that receipts and the engine's counter give for one track.

    A receipt counts where it has one refuel near and that refuel no other receipt; stretches
    of the counter where the vehicle rested at both ends and nothing happened between.
    """
    low, high = float(table.counts[0]), float(table.counts[-1])
    margin = 0.02 * (high - low)
    period_s = track.period_s
    blocks, runs = blocks_of(track, low - margin, high + margin, period_s)
    case = Case(track, table, watched, blocks, runs, period_s)
    receipts = _by_receipts(case, deliveries)
    stretches = _by_counter(case)
    return ServiceData(track.vehicle, (*receipts, *stretches))


def _top_l(case: Case) -> float:
    """Litres from which on a refuel may have gone past what the probe sees. [L]"""
    top = float(case.table.litres[-1])
    if next(past_top(case), None) is not None:
        top = min(top, float(case.litres(np.nanmax(case.blocks.mean))))
    return top - 0.01 * case.capacity_l


def _by_receipts(case: Case, deliveries: Sequence[Delivery]) -> list[Amount]:
    table = case.table
    refuels = case.events(EventKind.REFUEL)
    least = LEAST_SHARE * float(table.litres[-1])
    top = _top_l(case)
    found = []
    for number, delivery in enumerate(deliveries, start=1):
        near = [e for e in refuels if abs(e.end_s - delivery.time_s) < NEAR_S]
        if len(near) != 1 or delivery.litres < least:
            continue
        event = near[0]
        rivals = [d for d in deliveries if abs(event.end_s - d.time_s) < NEAR_S]
        if len(rivals) != 1 or event.after_l >= top or event.before_l + event.litres >= top:
            continue
        before, after = _counts(table, event)
        found.append(
            Amount(
                Source.RECEIPT,
                number,
                delivery.time_s,
                before,
                after,
                delivery.litres,
                _level_u_l(table, event),
            )
        )
    return found


def _counts(table: Table, event: Event) -> tuple[float, float]:
    ends = np.array([event.before_l, event.before_l + event.litres])
    before, after = np.interp(ends, table.litres, table.counts)
    return float(before), float(after)


def _level_u_l(table: Table, event: Event) -> float:
    """What the readings alone leave open of an event: its band without the table's part. [L]"""
    whole = (event.u_litres / 1.96) ** 2
    return float(np.sqrt(max(whole - difference_l2(table, event.before_l, event.after_l), 0.04)))


def _by_counter(case: Case) -> list[Amount]:
    if case.track.engine_fuel_l is None:
        return []
    least = LEAST_SHARE * float(case.table.litres[-1])
    noise = case.watched.noise
    found: list[Amount] = []
    for stand in stands(case):
        if not np.isfinite(stand.engine_l).all():
            continue
        place, follows = 0, False
        for i in range(1, stand.engine_l.size):
            used = float(stand.engine_l[i] - stand.engine_l[place])
            if used < least:
                continue
            fuller, emptier = float(stand.counts[place]), float(stand.counts[i])
            if case.low <= emptier < fuller <= case.high:
                u = float(np.hypot(noise.slope_l, noise.still_l)) * np.sqrt(2.0)
                found.append(
                    Amount(
                        Source.COUNTER,
                        len(found) + 1,
                        float(stand.time_s[i]),
                        emptier,
                        fuller,
                        used,
                        max(u, 0.2),
                        same_stop=False,
                        follows=follows,
                    )
                )
                follows = True
            else:
                follows = False
            place = i
    return found
