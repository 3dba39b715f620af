"""The table file: ``counts,litres,u_litres``."""

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.delimited import Row, Rows, read_rows, require_fields
from gaugewright.table.table import Table

Floats = npt.NDArray[np.float64]

HEADER = "counts,litres,u_litres"
MOST_DECIMALS = 2
"""A hundredth of a litre is far under any band."""
_MANY_COUNTS = 1e9


def read_table(text: str) -> Table:
    r"""Return the table that a file's text holds.

    Separators, decimal comma and byte-order mark as in `read_rows`; columns that are
    not known are passed over.  Without ``u_litres``, or with all of it empty, the band
    is unknown.  Counts below 0 are those of a probe that sends such.  Raises `InputError`
    with line and field.

    >>> read_table("counts;litres\n0;4,5\n4000;400\n").litres.tolist()
    [4.5, 400.0]
    >>> read_table("counts,litres\n0,4.5\n0,400\n")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: line 3, counts: must rise strictly, 0 follows 0
    """
    rows = read_rows(text)
    require_fields(rows, required=["counts", "litres"], optional=["u_litres"])
    if len(rows.rows) < 2:
        raise InputError(f"a table needs at least 2 rows, found {len(rows.rows)}")
    counts = [_counts(rows, row) for row in rows.rows]
    litres = [_not_negative(rows, row, "litres") for row in rows.rows]
    lines = [row.line for row in rows.rows[1:]]
    for line, (low, high) in zip(lines, pairwise(counts), strict=True):
        if high <= low:
            problem = f"must rise strictly, {high:g} follows {low:g}"
            raise InputError(problem, field="counts", line=line)
    for line, (low, high) in zip(lines, pairwise(litres), strict=True):
        if high < low:
            problem = f"must not fall, {high:g} L follows {low:g} L"
            raise InputError(problem, field="litres", line=line)
    return Table(np.array(counts), np.array(litres), _band(rows))


def write_table(table: Table, *, decimals: int | None = None) -> str:
    r"""Return the text of a table's file, rows ending in a line feed.

    Litres get the fewest decimals, 1 or 2, that show them exactly, else 2; ``decimals``
    asks for others.  What rounding moved is added to the band, and the band is rounded up.
    Raises `InputError` if the counts are not whole.

    >>> print(write_table(Table(np.array([0, 4000]), np.array([4.5, 400]), None)), end="")
    counts,litres
    0,4.5
    4000,400.0
    """
    counts = whole_counts(table)
    places = table_decimals(table) if decimals is None else decimals
    litres = rounded(table.litres, places)
    if table.u_litres is None:
        lines = ["counts,litres"]
        lines += [f"{c},{v:.{places}f}" for c, v in zip(counts, litres, strict=True)]
    else:
        # The small share keeps 0.07 * 100 = 7.000000000000001 from becoming 8.
        steps = (table.u_litres + np.abs(litres - table.litres)) * 10**places
        band = np.ceil(steps - 1e-6) / 10**places + 0.0
        rows = zip(counts, litres, band, strict=True)
        lines = [HEADER, *(f"{c},{v:.{places}f},{u:.{places}f}" for c, v, u in rows)]
    return "\n".join(lines) + "\n"


def whole_counts(table: Table) -> list[int]:
    """Return the counts as whole numbers, `InputError` if one is not."""
    uneven = table.counts != np.round(table.counts)
    if uneven.any():
        row = int(np.argmax(uneven))
        raise InputError(
            f"row {row + 1}: counts must be whole numbers, found {table.counts[row]:g}"
        )
    return [int(c) for c in table.counts]


def table_decimals(table: Table) -> int:
    """Return the fewest decimals, 1 or 2, that show the litres exactly, else 2."""
    is_short = np.abs(table.litres - rounded(table.litres, 1)).max() < 1e-9
    return 1 if is_short else MOST_DECIMALS


def rounded(litres: Floats, decimals: int) -> Floats:
    """Return litres to so many decimals; what never falls still never falls. [L]"""
    result: Floats = np.round(litres, decimals) + 0.0  # no negative zero
    return result


def _counts(rows: Rows, row: Row) -> float:
    value = rows.number(row, "counts")
    if value != round(value):
        found = row.fields["counts"]
        raise InputError(f"must be a whole number, found '{found}'", field="counts", line=row.line)
    if abs(value) > _MANY_COUNTS:
        raise InputError(f"{value:g} is more than any probe sends", field="counts", line=row.line)
    return value


def _not_negative(rows: Rows, row: Row, field: str) -> float:
    value = rows.number(row, field)
    if value < 0:
        raise InputError(
            f"must not be negative, found {row.fields[field]}", field=field, line=row.line
        )
    return value


def _band(rows: Rows) -> Floats | None:
    if not any(row.fields.get("u_litres") for row in rows.rows):
        return None
    for row in rows.rows:
        if not row.fields["u_litres"]:
            raise InputError(
                "is empty here and given in other rows: give the band in all rows or in none",
                field="u_litres",
                line=row.line,
            )
    return np.array([_not_negative(rows, row, "u_litres") for row in rows.rows])
