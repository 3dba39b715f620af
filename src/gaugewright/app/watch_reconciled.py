"""Receipts of one vehicle held against its refuels, for the Watch stage."""

from dataclasses import dataclass

import numpy as np

from gaugewright.app.files import naming_file, read_text
from gaugewright.app.log_columns import Columns
from gaugewright.app.log_shelf import ShelvedLog
from gaugewright.app.log_times import Times
from gaugewright.errors import InputError
from gaugewright.journal.watch_kinds import SeenReceipt
from gaugewright.table.delimited import Rows, read_rows, require_fields
from gaugewright.watch.receipts import GAP_S, Receipt, Reconciled, Seen, reconcile
from gaugewright.watch.values import Event, Track, Watched

MOST_RECEIPTS = 5_000
MOST_RECEIPT_BYTES = 5_000_000


@dataclass(frozen=True, eq=False)
class HeldAgainst:
    """Verdicts of one vehicle's receipts, and the refuels that nobody has a receipt for."""

    lines: tuple[SeenReceipt, ...]
    receipts: tuple[Receipt, ...]
    without_receipt: tuple[Event, ...]


def read_receipts(
    file: ShelvedLog, vehicle: str, also_called: str = "", zone: str | None = None
) -> tuple[Receipt, ...]:
    """Return a vehicle's receipts from a file ``vehicle,time,litres``.

    Without a column ``vehicle`` all rows are this vehicle's.  A row's number is its place
    below the header, whatever vehicle it is of.  Raises `InputError` with file, line, field.
    """
    with naming_file(file.name):
        rows = read_rows(read_text(str(file.path), most_bytes=MOST_RECEIPT_BYTES))
        require_fields(rows, required=["time", "litres"], optional=["vehicle"])
        if len(rows.rows) > MOST_RECEIPTS:
            raise InputError(f"holds {len(rows.rows)} receipts, at most {MOST_RECEIPTS}")
        times = _times(rows, zone)
        found = []
        for number, row in enumerate(rows.rows, start=1):
            named = row.fields.get("vehicle", vehicle)
            if named not in (vehicle, also_called):
                continue
            litres = rows.number(row, "litres")
            if litres <= 0:
                raise InputError(
                    f"must be above 0, found {row.fields['litres']}", field="litres", line=row.line
                )
            found.append(Receipt(vehicle, float(times[number - 1]), litres, number))
    return tuple(found)


def held_against(receipts: tuple[Receipt, ...], track: Track, watched: Watched) -> HeldAgainst:
    """Return the verdict on every receipt of one vehicle."""
    time_s = track.time_s
    places = np.flatnonzero(np.diff(time_s) > GAP_S)
    gaps = tuple((float(time_s[k]), float(time_s[k + 1])) for k in places)
    seen = Seen(
        track.vehicle, watched.events, watched.undecided, gaps,
        float(time_s[0]), float(time_s[-1]),
    )  # fmt: skip
    found = reconcile(receipts, [seen])
    return HeldAgainst(tuple(map(_line, found.receipts)), receipts, found.without_receipt)


def _line(row: Reconciled) -> SeenReceipt:
    return SeenReceipt(
        row.receipt, row.time_s, str(row.verdict), row.receipt_l, _plain(row.tank_l),
        _plain(row.difference_l), _plain(row.u_difference_l), row.reason,
    )  # fmt: skip


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)


def _times(rows: Rows, zone: str | None) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    import pyarrow as pa

    texts = [row.fields["time"] for row in rows.rows]
    for row, text in zip(rows.rows, texts, strict=True):
        if not text:
            raise InputError("is empty, wanted a time", field="time", line=row.line)
    found, bad = Times(Columns(zone=zone)).written(pa.array(texts, pa.string()))
    if bad is not None:
        place, problem = bad
        raise InputError(problem, field="time", line=rows.rows[place].line)
    unclear = np.isnan(found)
    if unclear.any():
        line = rows.rows[int(np.argmax(unclear))].line
        raise InputError("is an hour that the clock shows twice or never", field="time", line=line)
    return found
