"""The report on service as rows: the same columns in the workbook, the Parquet file and JSON.

Litres, seconds and shares; ``None`` is unknown.  Every figure that can have a band has one
in the column beside it, named ``u_``.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from math import isfinite
from typing import Any

from gaugewright.watch.combined import Figure
from gaugewright.watch.months import FleetMonth, Month
from gaugewright.watch.report import Report, VehicleReport

Row = dict[str, Any]
Sheets = Mapping[str, list[Row]]


def report_rows(report: Report) -> Sheets:
    """Return every table of a report by its name, each row with the same columns.

    ``fleet`` is there with more than one vehicle.
    """
    vehicles = report.vehicles
    sheets: dict[str, list[Row]] = {
        "months": [_month(m) for v in vehicles for m in v.months],
        "events": [row for v in vehicles for row in _events(v)],
        "not_decidable": [
            {
                "vehicle": v.vehicle,
                "start": moment(u.start_s),
                "end": moment(u.end_s),
                "litres": u.litres,
                "u_litres": u.u_litres,
                "reason": u.reason,
            }
            for v in vehicles
            for u in v.undecided
        ],
        "receipts": [
            {
                "vehicle": v.vehicle,
                "receipt": r.receipt,
                "time": moment(r.at_s),
                "verdict": r.verdict,
                "receipt_l": r.receipt_l,
                "tank_l": r.tank_l,
                "difference_l": r.difference_l,
                "u_difference_l": r.u_difference_l,
                "reason": r.message,
            }
            for v in vehicles
            for r in v.receipts
        ],
        "health": [
            {
                "vehicle": v.vehicle,
                "kind": h.kind,
                "start": None if h.start_s is None else moment(h.start_s),
                "end": None if h.end_s is None else moment(h.end_s),
                "message": h.message,
            }
            for v in vehicles
            for h in v.health
        ],
        "vehicles": [_vehicle(v) for v in vehicles],
    }
    if len(vehicles) > 1:
        return {"fleet": [_fleet(m) for m in report.fleet], **sheets}
    return sheets


def moment(time_s: float) -> datetime:
    """Return seconds since 1970 as a time in UTC, to the second."""
    return datetime.fromtimestamp(round(time_s), UTC)


def _pair(name: str, figure: Figure | None) -> Row:
    if figure is None:
        return {f"{name}_l": None, f"u_{name}_l": None}
    return {f"{name}_l": figure.litres, f"u_{name}_l": figure.u_litres}


def _month(m: Month) -> Row:
    return {
        "vehicle": m.vehicle,
        "month": m.month,
        "start": moment(m.from_s),
        "end": moment(m.to_s),
        "records": m.records,
        "hours_seen": m.seen,
        "start_l": m.start_l,
        "end_l": m.end_l,
        "refuels": m.refuels,
        **_pair("filled", m.filled),
        **_pair("used", m.used),
        "engine_counter_l": m.engine_l,
        "drains": m.drains,
        **_pair("drained", m.drained),
        **_pair("unexplained", m.unexplained),
        "not_decidable": m.undecided,
        "notes": "; ".join(dict.fromkeys((*m.notes, m.filled.why_no_band))).strip("; "),
    }


def _fleet(m: FleetMonth) -> Row:
    return {
        "month": m.month,
        "vehicles": m.vehicles,
        **_pair("filled", m.filled),
        **_pair("used", m.used),
        **_pair("drained", m.drained),
        **_pair("unexplained", m.unexplained),
        "notes": "; ".join((*m.notes, m.filled.why_no_band)).strip("; "),
    }


def _events(vehicle: VehicleReport) -> list[Row]:
    rows = []
    for place, e in enumerate(vehicle.events):
        said = vehicle.explained.get(place)
        rows.append(
            {
                "vehicle": vehicle.vehicle,
                "kind": str(e.kind),
                "start": moment(e.start_s),
                "end": moment(e.end_s),
                "litres": e.litres,
                "u_litres": e.u_litres,
                "before_l": e.before_l,
                "after_l": e.after_l,
                "score": e.score,
                "reason": e.reason,
                "first_record": e.first + 1,
                "last_record": e.last + 1,
                "explained": None if said is None else said.reason,
                "explained_by": None if said is None else said.person,
            }
        )
    return rows


def _vehicle(v: VehicleReport) -> Row:
    return {
        "vehicle": v.vehicle,
        "records": v.records,
        "from": moment(v.from_s),
        "to": moment(v.to_s),
        "provable_parked_l": _finite(v.provable_parked_l),
        "provable_moving_l": _finite(v.provable_moving_l),
        "still_l": _finite(v.noise.still_l),
        "moving_l": _finite(v.noise.moving_l),
        "slope_l": _finite(v.noise.slope_l),
        "wander_l": _finite(v.noise.wander_l),
        "lag_s": _finite(v.noise.lag_s),
        "log": v.log_name,
        "log_sha256": v.log_sha256,
        "table_digest": v.table_digest,
        "notes": "; ".join(v.notes),
    }


def _finite(value: float | None) -> float | None:
    """Return a figure, ``None`` for one that is not known or has no end."""
    return value if value is not None and isfinite(value) else None
