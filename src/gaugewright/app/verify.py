"""Is this file what was written?  A job file, a job book or a table."""

from dataclasses import dataclass
from pathlib import Path

from gaugewright.errors import InputError

SQLITE_MAGIC = b"SQLite format 3\x00"
ZIP_MAGIC = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Verified:
    """What a file is, whether it is unaltered, and what it says, in one line."""

    what: str
    """``job file``, ``job book`` or ``table``."""
    is_unaltered: bool | None
    """``None`` where the file carries nothing that could show it."""
    line: str


def verify_file(path: str) -> Verified:
    """Return whether a file is unaltered; for a chain, the first entry that is not.

    Raises `FileError` if it cannot be read, `InputError` if it is none of the three.
    """
    from gaugewright.app.files import read_bytes

    name = Path(path).name
    start = _start(path)
    if start.startswith(SQLITE_MAGIC):
        return _book(path, name)
    if start.startswith(ZIP_MAGIC):
        from gaugewright.journal.exchange import verify_job_file

        verdict = verify_job_file(path)
        return Verified("job file", verdict.is_unaltered, verdict.line)
    return _table(read_bytes(path), path, name)


def _start(path: str) -> bytes:
    from gaugewright.errors import FileError

    try:
        with Path(path).open("rb") as file:
            return file.read(16)
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror or error}") from None


def _book(path: str, name: str) -> Verified:
    from gaugewright.journal.book import open_book

    with open_book(path, create=False, read_only=True) as book:
        faults = book.faults()
        jobs = len(book.store.jobs())
    if faults:
        job, fault = next(iter(faults.items()))
        return Verified("job book", False, f"{name}: job {job}: {fault}")
    return Verified(
        "job book", True, f"{name}: unaltered, {jobs} jobs, every entry and photo checked"
    )


def _table(content: bytes, path: str, name: str) -> Verified:
    from gaugewright.app.files import decode, naming_file
    from gaugewright.table.files import read_table

    with naming_file(path):
        try:
            table = read_table(decode(content, name=path))
        except InputError as error:
            raise InputError(f"is no job file, job book or table ({error.problem})") from None
    band = (
        "its band is unknown"
        if table.u_litres is None
        else (f"band up to ±{table.u_litres.max():.1f} L")
    )
    return Verified(
        "table",
        None,
        f"{name}: a sound table of {len(table.counts)} rows, {table.counts[0]:g} to "
        f"{table.counts[-1]:g} counts, {table.litres[0]:.1f} to {table.litres[-1]:.1f} L, {band}; "
        "a table alone cannot show whether it was altered, its job file can",
    )
