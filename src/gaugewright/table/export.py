"""Hand-over files of a table: CSV, JSON, a workbook, and straight lines for each segment."""

import io
import json
from collections.abc import Mapping
from datetime import datetime
from itertools import pairwise
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from gaugewright.errors import InputError
from gaugewright.table.files import rounded, table_decimals, whole_counts, write_table
from gaugewright.table.table import Table

if TYPE_CHECKING:
    from xlsxwriter import Workbook

Facts = Mapping[str, str | int | float | None]
"""What the table is of, by name: the vehicle, the tank, the day.  ``None``: not known."""

BAND_WORDS: Final = "half-width of the interval that holds the true litres with 95 % probability"
SEGMENT_ERROR_L: Final = 0.005
"""Printed coefficients give the table's litres back to this. [L]"""
_LONGEST_CELL: Final = 32_767
_NO_DATE: Final = datetime(1980, 1, 1)  # noqa: DTZ001 - the file format knows no zone


def export_csv(table: Table) -> str:
    """Return the table as the table file; `read_table` reads it.

    >>> print(export_csv(Table(np.array([0, 4000]), np.array([4.5, 400]), None)), end="")
    counts,litres
    0,4.5
    4000,400.0
    """
    return write_table(table)


def export_json(table: Table, facts: Facts | None = None) -> str:
    """Return the table as JSON, units and the meaning of the band in words with it.

    An unknown band is ``null`` in every row.
    """
    counts = whole_counts(table)
    places = table_decimals(table)
    litres = rounded(table.litres, places).tolist()
    band = [None] * len(counts) if table.u_litres is None else _band(table, places)
    rows = zip(counts, litres, band, strict=True)
    whole = {
        "format": "calibration table",
        "version": 1,
        "facts": _checked(facts),
        "units": {"counts": "1", "litres": "L", "u_litres": "L"},
        "meaning": {
            "litres": "all the fuel in the tank standing level, dead stock included",
            "u_litres": BAND_WORDS,
            "between_rows": "straight lines",
        },
        "rows": [{"counts": c, "litres": v, "u_litres": u} for c, v, u in rows],
    }
    return json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def export_segments(table: Table) -> str:
    """Return one straight line for each segment: litres = a + b × counts.

    The coefficients carry so many digits that they give the table's litres back to
    `SEGMENT_ERROR_L` at both ends of the segment and between.

    >>> print(export_segments(Table(np.array([0, 3, 4000]), np.array([4, 5, 400]), None)), end="")
    from_counts,to_counts,a,b
    0,3,4.000,0.333333
    3,4000,4.704,0.098824
    """
    counts = whole_counts(table)
    lines = ["from_counts,to_counts,a,b"]
    ends = zip(pairwise(counts), pairwise(table.litres.tolist()), strict=True)
    for (from_counts, to_counts), (from_l, to_l) in ends:
        width = to_counts - from_counts
        places = 6
        while 0.5 * 10.0**-places * width > 0.5 * SEGMENT_ERROR_L:
            places += 1
        slope = round((to_l - from_l) / width, places)
        # From the middle of the segment, so that the slope's rounding weighs least.
        start = round(0.5 * (from_l + to_l) - slope * 0.5 * (from_counts + to_counts), 3) + 0.0
        lines.append(f"{from_counts},{to_counts},{start:.3f},{slope:.{places}f}")
    return "\n".join(lines) + "\n"


def export_xlsx(
    table: Table, facts: Facts | None = None, *, made_at: datetime | None = None
) -> bytes:
    """Return a workbook with a sheet ``table`` and a sheet ``notes``.

    The same table, facts and ``made_at`` give the same bytes; without ``made_at`` the
    file's date is 1980-01-01, which stands for none.  Text that a spreadsheet could take
    for a formula gets an apostrophe before it.  Raises `InputError` for a fact that no
    cell can hold.
    """
    from xlsxwriter import Workbook  # only this file needs it, and a command must start fast

    checked = _checked(facts)
    stream = io.BytesIO()
    with Workbook(stream, {"in_memory": True}) as book:
        book.set_properties({"created": (made_at or _NO_DATE).replace(tzinfo=None)})
        _write_table_sheet(book, table)
        _write_notes_sheet(book, table, checked)
    return stream.getvalue()


def harmless_text(text: str) -> str:
    """Return text that no spreadsheet takes for a formula, also when saved on as CSV.

    >>> harmless_text("=1+1"), harmless_text("-12.5"), harmless_text("Lorry 7")
    ("'=1+1", '-12.5', 'Lorry 7')
    """
    lead = text.lstrip(" \t\r\n")[:1]
    if lead and lead in "=+-@" and not _is_number(text):
        return "'" + text
    return text


def _is_number(text: str) -> bool:
    try:
        return isfinite(float(text))
    except ValueError:
        return False


def _band(table: Table, places: int) -> list[float]:
    """Return the band, rounded up, with what rounding moved the litres. [L]"""
    assert table.u_litres is not None
    grown = table.u_litres + np.abs(rounded(table.litres, places) - table.litres)
    steps = np.ceil(grown * 10**places - 1e-6)
    return [float(u) for u in np.round(steps / 10**places, places) + 0.0]


def _checked(facts: Facts | None) -> dict[str, str | int | float | None]:
    result: dict[str, str | int | float | None] = {}
    for name, value in (facts or {}).items():
        if isinstance(value, float) and not isfinite(value):
            raise InputError(f"must be a finite number, found {value}", field=name)
        if isinstance(value, str) and len(value) >= _LONGEST_CELL:
            raise InputError(
                f"is {len(value)} characters long, wanted less than {_LONGEST_CELL}", field=name
            )
        result[name] = value
    return result


def _write_table_sheet(book: "Workbook", table: Table) -> None:
    sheet = book.add_worksheet("table")
    places = table_decimals(table)
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True})
    whole = book.add_format({"num_format": "0"})
    litres = book.add_format({"num_format": "0." + "0" * places})
    names = ["counts", "litres [L]"]
    columns: list[tuple[list[Any], Any]] = [
        (whole_counts(table), whole),
        (rounded(table.litres, places).tolist(), litres),
    ]
    if table.u_litres is not None:
        names.append("band, 95 % half-width [L]")
        columns.append((_band(table, places), litres))
    for place, (name, (values, form)) in enumerate(zip(names, columns, strict=True)):
        sheet.write_string(0, place, name, head)
        for row, value in enumerate(values, start=1):
            sheet.write_number(row, place, value, form)
    sheet.set_column(0, len(names) - 1, 14)
    sheet.freeze_panes(1, 0)


def _write_notes_sheet(
    book: "Workbook", table: Table, facts: dict[str, str | int | float | None]
) -> None:
    sheet = book.add_worksheet("notes")
    band = "not known" if table.u_litres is None else BAND_WORDS
    notes: dict[str, str | int | float | None] = {
        **facts,
        "litres": "all the fuel in the tank standing level, dead stock included",
        "band": band,
        "between rows": "straight lines",
    }
    for row, (name, value) in enumerate(notes.items()):
        sheet.write_string(row, 0, harmless_text(name))
        if isinstance(value, int | float) and not isinstance(value, bool):
            sheet.write_number(row, 1, value)
        else:
            shown = "not known" if value is None else str(value)
            sheet.write_string(row, 1, harmless_text(shown))
    sheet.set_column(0, 0, 20)
    sheet.set_column(1, 1, 60)
