"""A log and receipts as they come from a browser: put on the shelf, looked through, recorded."""

from dataclasses import dataclass
from typing import BinaryIO

from gaugewright.app.log_shelf import ShelvedLog
from gaugewright.app.watch_reconciled import MOST_RECEIPT_BYTES
from gaugewright.app.watch_track import Choice
from gaugewright.app.watching import look_through, standing_table
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import GaugewrightError, InputError
from gaugewright.journal.book import Recorded


@dataclass(frozen=True, slots=True)
class Upload:
    """A file as it comes in."""

    stream: BinaryIO
    name: str


def take_in(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    log: Upload,
    receipts: Upload | None = None,
    *,
    vehicle: str = "",
    probe: int = 1,
    columns: str = "",
) -> Recorded:
    """Keep a log on the shelf and record what it shows; refused, it is not kept.

    Raises `InputError` naming the field, `StateError` without a table.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    standing_table(yard.tank(job, tank_id)[1])  # no large file is kept for nothing
    new: list[ShelvedLog] = []

    def shelved(upload: Upload, field: str, most_bytes: int | None = None) -> ShelvedLog:
        limit = {} if most_bytes is None else {"most_bytes": most_bytes}
        before = set(yard.logs.folder.glob("*"))
        try:
            kept = yard.logs.keep(upload.stream, upload.name, **limit)
        except InputError as error:
            raise InputError(error.problem, field=field) from None
        if kept.path not in before:
            new.append(kept)
        return kept

    try:
        kept = shelved(log, "log")
        paid = None if receipts is None else shelved(receipts, "receipts", MOST_RECEIPT_BYTES)
        return look_through(yard, job, stamp, tank_id, kept, Choice(vehicle, probe, columns), paid)
    except GaugewrightError as error:
        for each in new:
            yard.logs.discard(each)
        if isinstance(error, InputError) and (error.file is not None or error.line is not None):
            # The page marks the file that is wrong, and the sentence says where in it.
            is_paid = receipts is not None and error.file == receipts.name
            raise InputError(str(error), field="receipts" if is_paid else "log") from None
        raise
