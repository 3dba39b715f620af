"""Receipts from a file: ``vehicle,time,litres``, and ``supplier`` where it is known."""

from gaugewright.app.files import naming_file, read_text
from gaugewright.app.log_columns import Columns
from gaugewright.app.log_times import Times
from gaugewright.errors import InputError
from gaugewright.table.delimited import Rows, read_rows, require_fields
from gaugewright.watch.order import TWICE_S
from gaugewright.watch.receipts import Receipt

_TEXTS = ("vehicle", "time", "supplier", "note")


def read_receipts(
    path: str, *, vehicle: str | None = None, zone: str | None = None
) -> list[Receipt]:
    """Return the receipts of a file, numbered by row, the first below the header being 1.

    Without a column ``vehicle`` they are all of ``vehicle``.  ``zone`` is that of times which
    have none.  Raises `InputError` with file, line and field.
    """
    with naming_file(path):
        rows = read_rows(read_text(path), text_fields=_TEXTS)
        needed = ["time", "litres"] if vehicle is not None else ["vehicle", "time", "litres"]
        require_fields(rows, required=needed, optional=["vehicle", "supplier", "note"])
        times_s = _times_s(rows, zone)
        found = []
        for number, (row, time_s) in enumerate(zip(rows.rows, times_s, strict=True), start=1):
            whose = row.fields.get("vehicle") or vehicle or ""
            litres = rows.number(row, "litres")
            if not whose:
                raise InputError("is empty, wanted the vehicle", field="vehicle", line=row.line)
            if litres <= 0:
                problem = f"must be above 0 L, found {row.fields['litres']}"
                raise InputError(problem, field="litres", line=row.line)
            found.append(Receipt(whose, time_s, litres, number, row.fields.get("supplier", "")))
    return found


def _times_s(rows: Rows, zone: str | None) -> list[float]:
    import pyarrow as pa

    if not rows.rows:
        return []
    texts = [row.fields["time"] for row in rows.rows]
    found, bad = Times(Columns(zone=zone)).written(pa.array(texts, pa.string()))
    if bad is not None:
        raise InputError(bad[1], field="time", line=rows.rows[bad[0]].line)
    for row, text, time_s in zip(rows.rows, texts, found.tolist(), strict=True):
        if not time_s > TWICE_S / 2:
            problem = (
                f"'{text}' is an hour that the clock shows twice or never"
                if text
                else ("is empty, wanted a time")
            )
            raise InputError(problem, field="time", line=row.line)
    times_s: list[float] = found.tolist()
    return times_s
