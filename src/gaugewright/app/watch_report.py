"""A watched log with its receipts: the three files, and the record of the whole for programs."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from gaugewright.app.watch_files import (
    EVENT_COLUMNS,
    RECONCILIATION_COLUMNS,
    event_rows,
    events_csv,
    events_parquet,
    events_xlsx,
    health_csv,
    iso,
    reconciliation_csv,
    reconciliation_row,
)
from gaugewright.app.watch_run import WatchedLog
from gaugewright.watch.receipts import Receipt, Reconciliation, Verdict, reconcile
from gaugewright.watch.remarks import Remark
from gaugewright.watch.supplier import SupplierFactor, supplier_factors
from gaugewright.watch.values import Event, EventKind, Watched

FORMS = ("parquet", "xlsx")
"""Forms of the events beside CSV."""


@dataclass(frozen=True, eq=False)
class WatchReport:
    """Everything that a log and its receipts show."""

    log: WatchedLog
    reconciliation: Reconciliation | None
    suppliers: tuple[SupplierFactor, ...]

    @property
    def events(self) -> list[Event]:
        """All events, by vehicle and time."""
        return [
            event
            for done in self.log.vehicles
            if done.watched is not None
            for event in sorted(done.watched.events, key=lambda one: (one.start_s, one.kind))
        ]

    @property
    def remarks(self) -> list[Remark]:
        """All remarks, by vehicle and time, those on receipts among them."""
        found = self.log.all_remarks + [
            Remark(
                event.vehicle, "no_receipt",
                f"{event.litres:.1f} ± {event.u_litres:.1f} L were put in and there is no receipt",
                event.start_s, event.end_s, needs_person=True,
            )
            for event in (self.reconciliation.without_receipt if self.reconciliation else ())
        ]  # fmt: skip
        found += [
            Remark("", "supplier", factor.message, needs_person=factor.is_off)
            for factor in self.suppliers
        ]
        return sorted(found, key=lambda one: (one.vehicle, one.start_s or 0.0, one.kind))

    @property
    def needs_person(self) -> bool:
        """Whether anything asks for a person: a drain, a receipt that does not agree, a fault."""
        rows = self.reconciliation.receipts if self.reconciliation else ()
        return (
            any(event.kind == EventKind.DRAIN for event in self.events)
            or any(row.verdict != Verdict.AGREES for row in rows)
            or any(remark.needs_person for remark in self.remarks)
        )

    def files(self, forms: Sequence[str] = ()) -> dict[str, bytes]:
        """Return the contents of the files to write, by name."""
        events = self.events
        contents = {
            "events.csv": events_csv(events).encode(),
            "health.csv": health_csv(self.remarks).encode(),
        }
        if self.reconciliation is not None:
            contents["reconciliation.csv"] = reconciliation_csv(
                self.reconciliation.receipts
            ).encode()
        if "parquet" in forms:
            contents["events.parquet"] = events_parquet(events)
        if "xlsx" in forms:
            contents["events.xlsx"] = events_xlsx(events, self.log.memory.zone)
        return contents

    def record(self) -> dict[str, Any]:
        """Return the whole as plain values, for ``--json``."""
        rows = self.reconciliation.receipts if self.reconciliation else ()
        return {
            "records": self.log.records,
            "vehicles": [
                {
                    "vehicle": done.vehicle,
                    "records": done.arrival.records,
                    "late": done.arrival.late,
                    "doubled": done.arrival.doubled,
                    "misdated": done.arrival.misdated,
                    "twice": done.arrival.twice,
                    "from": iso(_or_none(done.first_s)) or None,
                    "to": iso(_or_none(done.last_s)) or None,
                    **_provable(done.watched),
                }
                for done in self.log.vehicles
            ],
            "finished_before": self.log.again,
            "events": [_named(EVENT_COLUMNS, row) for row in event_rows(self.events)],
            "reconciliation": [
                _named(RECONCILIATION_COLUMNS, reconciliation_row(row)) for row in rows
            ],
            "suppliers": [factor.record() for factor in self.suppliers],
            "health": [
                {
                    "vehicle": one.vehicle, "kind": one.kind, "start": iso(one.start_s) or None,
                    "end": iso(one.end_s) or None, "message": one.message,
                    "needs_person": one.needs_person,
                }
                for one in self.remarks
            ],
            "needs_person": self.needs_person,
        }  # fmt: skip


def report_of(log: WatchedLog, receipts: Sequence[Receipt] | None) -> WatchReport:
    """Hold the receipts, if there are any, against what the log shows."""
    if receipts is None:
        return WatchReport(log, None, ())
    seen = [done.seen for done in log.vehicles]
    reconciliation = reconcile(receipts, [one for one in seen if one is not None])
    return WatchReport(log, reconciliation, supplier_factors(receipts, reconciliation.receipts))


def _provable(watched: Watched | None) -> dict[str, float | None]:
    names = ("provable_parked_l", "provable_moving_l")
    return {name: _figure(getattr(watched, name) if watched else None) for name in names}


def _named(names: Sequence[str], row: Sequence[Any]) -> dict[str, Any]:
    return {name: None if value == "" else value for name, value in zip(names, row, strict=True)}


def _or_none(value: float) -> float | None:
    return value if value == value else None


def _figure(value: float | None) -> float | None:
    return round(value, 2) if value is not None and value == value else None
