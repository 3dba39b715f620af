"""Receipts of one vehicle held against its refuels, for the Watch stage."""

from dataclasses import dataclass, replace

from gaugewright.app.log_shelf import ShelvedLog
from gaugewright.app.receipt_files import read_receipts
from gaugewright.errors import InputError
from gaugewright.journal.watch_kinds import SeenReceipt
from gaugewright.table.table import Table
from gaugewright.watch.receipts import Receipt, Reconciled, Seen, gaps_in, reconcile
from gaugewright.watch.supplier import supplier_factors
from gaugewright.watch.values import Event, Track, Watched

MOST_RECEIPTS = 5_000
MOST_RECEIPT_BYTES = 5_000_000


@dataclass(frozen=True, eq=False)
class HeldAgainst:
    """Verdicts of one vehicle's receipts, and the refuels that nobody has a receipt for."""

    lines: tuple[SeenReceipt, ...]
    without_receipt: tuple[Event, ...]
    suppliers: tuple[str, ...]
    """What each supplier's deliveries show over many refuels, in a sentence."""


def receipts_of(
    file: ShelvedLog, vehicle: str, also_called: str = "", zone: str | None = None
) -> tuple[Receipt, ...]:
    """Return the receipts of one vehicle, which the log and the job may call differently.

    Without a column ``vehicle`` all rows are this vehicle's.  Raises `InputError` with file,
    line and field.
    """
    try:
        found = read_receipts(str(file.path), vehicle=vehicle, zone=zone)
    except InputError as error:
        raise InputError(
            error.problem, field=error.field, line=error.line, file=file.name
        ) from None
    if len(found) > MOST_RECEIPTS:
        raise InputError(f"holds {len(found)} receipts, at most {MOST_RECEIPTS}", file=file.name)
    return tuple(
        replace(one, vehicle=vehicle) for one in found if one.vehicle in (vehicle, also_called)
    )


def held_against(
    receipts: tuple[Receipt, ...], track: Track, table: Table, watched: Watched
) -> HeldAgainst:
    """Return the verdict on every receipt of one vehicle.

    Beyond the ends of the table the probe sees no fuel: what went in there is not missed.
    """
    time_s = track.time_s
    seen = Seen(
        track.vehicle, watched.events, watched.undecided, gaps_in(time_s),
        float(time_s[0]), float(time_s[-1]),
        bottom_l=float(table.litres[0]), top_l=float(table.litres[-1]),
    )  # fmt: skip
    found = reconcile(receipts, [seen])
    factors = supplier_factors(receipts, found.receipts)
    return HeldAgainst(
        tuple(map(_line, found.receipts)),
        found.without_receipt,
        tuple(factor.message for factor in factors),
    )


def _line(row: Reconciled) -> SeenReceipt:
    return SeenReceipt(
        row.receipt, row.time_s, str(row.verdict), row.receipt_l, _plain(row.tank_l),
        _plain(row.difference_l), _plain(row.u_difference_l), row.reason,
    )  # fmt: skip


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)
