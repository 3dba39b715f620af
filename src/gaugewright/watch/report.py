"""What a report on service says: one value for each vehicle, and one for all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo

from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.watch.combined import COVERAGE
from gaugewright.watch.months import FleetMonth, Month, fleet_months, months_of
from gaugewright.watch.values import Event, Noise, Track, Undecided, Watched

HOW = (
    "A band holds the true litres with 95 % probability. Errors of a calibration table come "
    "back in every event that it measures: they are added up as one unknown function of the "
    "level, whose correlation fades over the tank's range; only the scatter of the "
    "readings and the ground's slope add as squares.",
    "Litres used: level at the start, plus refuels, minus drains, minus level at the end, as "
    "the tank saw them. Not explained: drains to which nobody has given a reason. A change "
    "that is not decidable is in the litres used.",
    "Vehicles are taken to share the factor of the dispenser's meter that filled them for "
    "their tables, 0.59 % either way, and nothing else.",
)
"""What stands under every report on its bands."""


@dataclass(frozen=True, slots=True)
class Explained:
    """What a person said to an event."""

    reason: str
    person: str


@dataclass(frozen=True, slots=True)
class ReceiptLine:
    """A receipt held against the tank. [s since 1970, L]"""

    receipt: int
    at_s: float
    verdict: str
    receipt_l: float
    tank_l: float | None = None
    difference_l: float | None = None
    u_difference_l: float | None = None
    message: str = ""


@dataclass(frozen=True, slots=True)
class HealthLine:
    """A finding on a probe's health. [s since 1970, ``None`` where it has no time]"""

    kind: str
    start_s: float | None
    end_s: float | None
    message: str


@dataclass(frozen=True, eq=False)
class VehicleReport:
    """One vehicle over the time of its log. [s since 1970, L]"""

    vehicle: str
    log_name: str
    log_sha256: str
    table_digest: str
    records: int
    from_s: float
    to_s: float
    months: tuple[Month, ...]
    events: tuple[Event, ...]
    explained: Mapping[int, Explained]
    """By the event's place in ``events``, the first being 0."""
    undecided: tuple[Undecided, ...]
    receipts: tuple[ReceiptLine, ...]
    health: tuple[HealthLine, ...]
    noise: Noise
    provable_parked_l: float | None
    provable_moving_l: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Report:
    """All vehicles, and the months of all of them together."""

    title: str
    zone_name: str
    zone: tzinfo
    vehicles: tuple[VehicleReport, ...]
    fleet: tuple[FleetMonth, ...]
    how: tuple[str, ...] = HOW


def vehicle_report(
    track: Track,
    table: Table,
    watched: Watched,
    *,
    explained: Mapping[int, Explained] | None = None,
    receipts: Sequence[ReceiptLine] = (),
    health: Sequence[HealthLine] = (),
    log_name: str = "",
    log_sha256: str = "",
    table_digest: str = "",
    zone: tzinfo = UTC,
) -> VehicleReport:
    """Return the report of one vehicle; ``explained`` by the place of the event."""
    reasons = dict(explained or {})
    known = [watched.events[place] for place in reasons]
    return VehicleReport(
        vehicle=track.vehicle,
        log_name=log_name,
        log_sha256=log_sha256,
        table_digest=table_digest,
        records=track.time_s.size,
        from_s=float(track.time_s[0]),
        to_s=float(track.time_s[-1]),
        months=months_of(track, table, watched, explained=known, zone=zone),
        events=watched.events,
        explained=reasons,
        undecided=watched.undecided,
        receipts=tuple(receipts),
        health=tuple(health),
        noise=watched.noise,
        provable_parked_l=watched.provable_parked_l,
        provable_moving_l=watched.provable_moving_l,
        notes=watched.notes,
    )


def report_of(
    vehicles: Sequence[VehicleReport],
    *,
    title: str,
    zone: tzinfo = UTC,
    zone_name: str = "UTC",
    month: str | None = None,
) -> Report:
    """Return the report of all vehicles; ``month`` (``2026-03``) leaves the others out."""
    chosen = tuple(v if month is None else _only(v, month) for v in vehicles)
    u_meter = COVERAGE * Assumptions().u_meter
    months = [m for v in chosen for m in v.months]
    return Report(title, zone_name, zone, chosen, fleet_months(months, u_meter=u_meter))


def _only(vehicle: VehicleReport, month: str) -> VehicleReport:
    months = tuple(m for m in vehicle.months if m.month == month)

    def inside(start_s: float | None) -> bool:
        return start_s is not None and any(m.from_s <= start_s <= m.to_s for m in months)

    kept = [place for place, event in enumerate(vehicle.events) if inside(event.start_s)]
    return replace(
        vehicle,
        months=months,
        events=tuple(vehicle.events[place] for place in kept),
        explained={k: vehicle.explained[p] for k, p in enumerate(kept) if p in vehicle.explained},
        undecided=tuple(u for u in vehicle.undecided if inside(u.start_s)),
        receipts=tuple(r for r in vehicle.receipts if inside(r.at_s)),
        health=tuple(h for h in vehicle.health if h.start_s is None or _touches(h, months)),
    )


def _touches(line: HealthLine, months: Sequence[Month]) -> bool:
    assert line.start_s is not None
    end_s = line.start_s if line.end_s is None else line.end_s
    return any(line.start_s <= m.to_s and end_s >= m.from_s for m in months)
