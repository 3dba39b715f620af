"""A log and receipts as they come from a browser: put on the shelf, looked through, recorded."""

import re
from dataclasses import dataclass
from typing import BinaryIO

from gaugewright.app.log_shelf import ShelvedLog
from gaugewright.app.watch_reconciled import MOST_RECEIPT_BYTES
from gaugewright.app.watch_track import Choice
from gaugewright.app.watching import look_through, standing_table
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import GaugewrightError, InputError
from gaugewright.journal.book import Recorded

_OPTIONS = (
    (re.compile(r"--zone (?=\S)"), "zone="),
    (re.compile(r"--time-format '([^']*)'(?: or '([^']*)')?"), None),
    (re.compile(r"--columns (?=\S)"), ""),
)


def _without_options(sentence: str) -> str:
    """Return a sentence as it is meant on a page, where there are no options to a command.

    >>> _without_options("a.csv, time: has no zone; say it with --zone Europe/Berlin (or UTC)")
    'a.csv, time: has no zone; say it with zone=Europe/Berlin (or UTC)'
    >>> _without_options("say which with --time-format '%d/%m/%Y' or '%m/%d/%Y'")
    'say which with time_format=%d/%m/%Y or time_format=%m/%d/%Y'
    """
    for option, said in _OPTIONS:
        sentence = option.sub(_formats if said is None else said, sentence)
    return sentence


def _formats(found: re.Match[str]) -> str:
    return " or ".join(f"time_format={each}" for each in found.groups() if each)


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
        if isinstance(error, InputError) and error.field == "--columns":
            raise InputError(_without_options(error.problem), field="columns") from None
        if isinstance(error, InputError) and (error.file is not None or error.line is not None):
            # The page marks the file that is wrong, and the sentence says where in it.
            is_paid = receipts is not None and error.file == receipts.name
            told = str(error)
            asked = _without_options(told)
            field = "columns" if asked != told else "receipts" if is_paid else "log"
            raise InputError(asked, field=field) from None
        raise
