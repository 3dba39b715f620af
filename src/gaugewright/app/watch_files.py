"""The files that the watch writes: events, reconciliation, health."""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

from gaugewright.watch.receipts import Reconciled
from gaugewright.watch.remarks import Remark
from gaugewright.watch.values import Event

EVENT_COLUMNS = (
    "vehicle", "kind", "start", "end", "litres", "u_litres", "before_l", "after_l", "score",
    "reason", "first_record", "last_record",
)  # fmt: skip
RECONCILIATION_COLUMNS = (
    "vehicle", "receipt", "verdict", "receipt_l", "tank_l", "difference_l", "u_difference_l",
    "time", "reason",
)  # fmt: skip
HEALTH_COLUMNS = ("vehicle", "kind", "start", "end", "message")
_START = datetime(1970, 1, 1, tzinfo=UTC)


def iso(time_s: float | None) -> str:
    """Return a moment as ISO 8601 with its zone, to the second; nothing for ``None``.

    >>> iso(1_772_323_200.4)
    '2026-03-01T00:00:00Z'
    """
    if time_s is None:
        return ""
    moment = _START + timedelta(seconds=round(time_s))
    return moment.replace(tzinfo=None).isoformat() + "Z"


def shown(time_s: float, zone: str | None) -> str:
    """Return a moment as a person reads it, with its zone.

    >>> shown(1_772_323_200.4, "Europe/Berlin"), shown(1_772_323_200.4, None)
    ('2026-03-01 01:00:00 Europe/Berlin', '2026-03-01 00:00:00 UTC')
    """
    place = UTC if zone is None else ZoneInfo(zone)
    at = (_START + timedelta(seconds=round(time_s))).astimezone(place)
    return f"{at:%Y-%m-%d %H:%M:%S} {zone or 'UTC'}"


def event_rows(events: Iterable[Event]) -> list[tuple[str | float | int, ...]]:
    """Return the events as rows of `EVENT_COLUMNS`, figures rounded to what is written.

    Records are counted from 1, in order of time, each moment once.
    """

    def figure(value: float, decimals: int = 2) -> float | str:
        return round(value, decimals) if isfinite(value) else ""

    return [
        (
            one.vehicle, str(one.kind), iso(one.start_s), iso(one.end_s), figure(one.litres),
            figure(one.u_litres), figure(one.before_l), figure(one.after_l),
            figure(one.score, 4), one.reason, one.first + 1, one.last + 1,
        )
        for one in events
    ]  # fmt: skip


def events_csv(events: Iterable[Event]) -> str:
    """Return the text of ``events.csv``."""
    return _csv(EVENT_COLUMNS, event_rows(events))


def reconciliation_csv(rows: Iterable[Reconciled]) -> str:
    """Return the text of ``reconciliation.csv``; what is not known is left empty."""
    return _csv(RECONCILIATION_COLUMNS, map(reconciliation_row, rows))


def reconciliation_row(row: Reconciled) -> tuple[str | float | int, ...]:
    """Return one receipt's row of `RECONCILIATION_COLUMNS`."""

    def figure(value: float | None) -> float | str:
        return "" if value is None else round(value, 2)

    return (
        row.vehicle, row.receipt, str(row.verdict), round(row.receipt_l, 2), figure(row.tank_l),
        figure(row.difference_l), figure(row.u_difference_l), iso(row.time_s), row.reason,
    )  # fmt: skip


def health_csv(remarks: Iterable[Remark]) -> str:
    """Return the text of ``health.csv``."""
    rows = [
        (one.vehicle, one.kind, iso(one.start_s), iso(one.end_s), one.message) for one in remarks
    ]
    return _csv(HEALTH_COLUMNS, rows)


def events_parquet(events: Sequence[Event]) -> bytes:
    """Return the events as a Parquet file, times as UTC timestamps."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    def column(field: str, kind: Any) -> Any:
        return pa.array([getattr(one, field) for one in events], kind)

    def moments(field: str) -> Any:
        stamps = [round(getattr(one, field) * 1000) for one in events]
        return pa.array(stamps, pa.timestamp("ms", "UTC"))

    table = pa.table(
        {
            "vehicle": column("vehicle", pa.string()),
            "kind": pa.array([str(one.kind) for one in events], pa.string()),
            "start": moments("start_s"),
            "end": moments("end_s"),
            **{
                name: column(name, pa.float64())
                for name in ("litres", "u_litres", "before_l", "after_l", "score")
            },
            "reason": column("reason", pa.string()),
            "first_record": pa.array([one.first + 1 for one in events], pa.int64()),
            "last_record": pa.array([one.last + 1 for one in events], pa.int64()),
        }
    )
    stream = io.BytesIO()
    pq.write_table(table, stream)
    return stream.getvalue()


def events_xlsx(events: Sequence[Event], zone: str | None = None) -> bytes:
    """Return the events as a workbook; times are those of ``zone``, else UTC: the heading says."""
    from xlsxwriter import Workbook

    clock = UTC if zone is None else ZoneInfo(zone)

    stream = io.BytesIO()
    with Workbook(stream, {"in_memory": True, "strings_to_formulas": False}) as book:
        book.set_properties({"created": datetime(1980, 1, 1)})  # noqa: DTZ001 - knows no zone
        sheet = book.add_worksheet("events")
        bold = book.add_format({"bold": True})
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        named = {name: f"{name} {zone or 'UTC'}" for name in ("start", "end")}
        sheet.write_row(0, 0, [named.get(name, name) for name in EVENT_COLUMNS], bold)
        for place, (one, row) in enumerate(zip(events, event_rows(events), strict=True), start=1):
            for column, value in enumerate(row):
                if isinstance(value, str):
                    sheet.write_string(place, column, value)
                else:
                    sheet.write_number(place, column, value)
            for column, time_s in ((2, one.start_s), (3, one.end_s)):
                at = (_START + timedelta(seconds=round(time_s))).astimezone(clock)
                at = at.replace(tzinfo=None)  # a workbook knows no zone
                sheet.write_datetime(place, column, at, moment)
        sheet.set_column(2, 3, 19)
        sheet.freeze_panes(1, 0)
    return stream.getvalue()


def _csv(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(names)
    writer.writerows(rows)
    return stream.getvalue()
