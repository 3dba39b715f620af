"""The report on service as files for other programs: a workbook, and Parquet."""

import io
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from gaugewright.certificate.watch_rows import Row, report_rows
from gaugewright.table.export import harmless_text
from gaugewright.units import VolumeUnit, from_litres, with_volumes_in
from gaugewright.watch.report import Report

if TYPE_CHECKING:
    import pyarrow as pa
    from xlsxwriter import Workbook

_NO_DATE: Final = datetime(1980, 1, 1)  # noqa: DTZ001 - the file format knows no zone
_LONGEST_CELL: Final = 32_000
_WIDE: Final = {"reason": 60, "message": 60, "notes": 50, "explained": 30, "log_sha256": 20}

_SENTENCES: Final = ("reason", "message", "notes")
_NAMES: Final = {"L": "Litres", "US gal": "US gallons", "imp gal": "Imperial gallons"}

TITLES: Final = {
    "fleet": "Fleet",
    "months": "Months",
    "events": "Events",
    "not_decidable": "Not decidable",
    "receipts": "Receipts",
    "health": "Health",
    "vehicles": "Vehicles",
}


def report_xlsx(report: Report, unit: VolumeUnit = "L") -> bytes:
    """Return a workbook: one sheet for each table of the report, one on how it is made.

    Volumes are numbers in ``unit``, which the columns name; times are UTC.  The same report
    gives the same bytes; the file's own date is 1980-01-01, which stands for none.
    """
    from xlsxwriter import Workbook  # only this file needs it, and a command must start fast

    stream = io.BytesIO()
    with Workbook(stream, {"in_memory": True, "remove_timezone": True}) as book:
        book.set_properties({"created": _NO_DATE, "title": harmless_text(report.title)})
        for name, rows in report_rows(report).items():
            _sheet(book, TITLES[name], [_in_unit(row, unit) for row in rows])
        about = book.add_worksheet("About")
        about.set_column(0, 0, 110)
        for place, line in enumerate(
            (report.title, f"{_NAMES[unit]}; times are UTC; months are those of {report.zone_name}",
             "u_ columns: half-width of the 95 % band", *report.how)
        ):  # fmt: skip
            about.write_string(place, 0, harmless_text(line))
    return stream.getvalue()


def _in_unit(row: Row, unit: VolumeUnit) -> Row:
    """Return a row with its litres in a person's unit, which the columns then name."""
    if unit == "L":
        return row
    short = unit.replace(" ", "_").lower()
    turned: Row = {}
    for name, value in row.items():
        if name in _SENTENCES and value is not None:
            turned[name] = with_volumes_in(unit, value)
        elif name.endswith(("litres", "_l")):
            in_unit = name.removesuffix("litres").removesuffix("l") + short
            turned[in_unit] = None if value is None else from_litres(value, unit)
        else:
            turned[name] = value
    return turned


def _sheet(book: "Workbook", title: str, rows: list[Row]) -> None:
    sheet = book.add_worksheet(title)
    head = book.add_format({"bold": True, "bottom": 1})
    litres = book.add_format({"num_format": "0.0"})
    share = book.add_format({"num_format": "0 %"})
    time = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    if not rows:
        sheet.write_string(0, 0, "none")
        return
    for column, name in enumerate(rows[0]):
        sheet.write_string(0, column, name, head)
        sheet.set_column(column, column, _WIDE.get(name, 19 if name in _TIMES else 13))
    for line, row in enumerate(rows, start=1):
        for column, (name, value) in enumerate(row.items()):
            _cell(sheet, line, column, value, share if name == "hours_seen" else litres, time)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(rows), len(rows[0]) - 1)


_TIMES: Final = frozenset({"start", "end", "time", "from", "to"})


def _cell(sheet: Any, line: int, column: int, value: Any, figures: Any, time: Any) -> None:
    match value:
        case None:
            return
        case datetime():
            sheet.write_datetime(line, column, value.replace(tzinfo=None), time)
        case int():
            sheet.write_number(line, column, value)
        case float():
            sheet.write_number(line, column, value, figures)
        case _:
            sheet.write_string(line, column, harmless_text(str(value)[:_LONGEST_CELL]))


def report_parquet(report: Report, table: str = "months") -> bytes:
    """Return one table of the report as a Parquet file; how it is made is in its metadata.

    ``table`` is ``months``, ``events``, ``receipts``, ``health``, ``vehicles`` and so on.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    rows = report_rows(report)[table]
    made = pa.Table.from_pylist(rows, schema=_schema(table))
    about = {"title": report.title, "how": "\n".join(report.how), "band": "95 %, half-width"}
    stream = io.BytesIO()
    pq.write_table(made.replace_schema_metadata(about), stream)
    return stream.getvalue()


_TEXT: Final = frozenset(
    {
        "vehicle", "month", "kind", "reason", "verdict", "message", "notes", "explained",
        "explained_by", "log", "log_sha256", "table_digest",
    }
)  # fmt: skip
_WHOLE: Final = frozenset(
    {
        "records", "refuels", "drains", "not_decidable", "first_record", "last_record", "receipt",
        "vehicles",
    }
)  # fmt: skip


def _schema(table: str) -> "pa.Schema":
    """Return the columns of a table, the same whether it has rows or not."""
    import pyarrow as pa

    def kind(name: str) -> "pa.DataType":
        if name in _TEXT:
            return pa.string()
        if name in _WHOLE:
            return pa.int64()
        return pa.timestamp("s", tz="UTC") if name in _TIMES else pa.float64()

    return pa.schema([(name, kind(name)) for name in COLUMNS[table]])


_FLOW: Final = ("filled_l", "u_filled_l", "used_l", "u_used_l")
_LOSS: Final = ("drained_l", "u_drained_l", "unexplained_l", "u_unexplained_l")
COLUMNS: Final = {
    "fleet": ("month", "vehicles", *_FLOW, *_LOSS, "notes"),
    "months": (
        "vehicle", "month", "start", "end", "records", "hours_seen", "start_l", "end_l", "refuels",
        *_FLOW, "engine_counter_l", "drains", *_LOSS, "not_decidable", "notes",
    ),
    "events": (
        "vehicle", "kind", "start", "end", "litres", "u_litres", "before_l", "after_l", "score",
        "reason", "first_record", "last_record", "explained", "explained_by",
    ),
    "not_decidable": ("vehicle", "start", "end", "litres", "u_litres", "reason"),
    "receipts": (
        "vehicle", "receipt", "time", "verdict", "receipt_l", "tank_l", "difference_l",
        "u_difference_l", "reason",
    ),
    "health": ("vehicle", "kind", "start", "end", "message"),
    "vehicles": (
        "vehicle", "records", "from", "to", "provable_parked_l", "provable_moving_l", "still_l",
        "moving_l", "slope_l", "wander_l", "lag_s", "log", "log_sha256", "table_digest", "notes",
    ),
}  # fmt: skip
"""The columns of every table, in order."""
