"""Is this file what was written?  A job file, a job book, a certificate or a table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from gaugewright.errors import InputError, JournalError

if TYPE_CHECKING:
    from gaugewright.journal.book import Book
    from gaugewright.journal.chain import Entry

SQLITE_MAGIC = b"SQLite format 3\x00"
URL_MAGIC = b"://"
BOOK_MAGICS = (SQLITE_MAGIC, URL_MAGIC)
ZIP_MAGIC = b"PK\x03\x04"
PDF_MAGIC = b"%PDF-"
MOST_PDF_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Verified:
    """What a file is, whether it is unaltered, and what it says, in one line."""

    what: str
    """``job file``, ``job book``, ``certificate`` or ``table``."""
    is_unaltered: bool | None
    """``None`` where the file carries nothing that could show it."""
    line: str
    details: Mapping[str, object] = field(default_factory=dict)
    """What was checked, for programs."""


def verify_file(path: str, against: str | None = None) -> Verified:
    """Return whether a file is unaltered; for a chain, the first entry that is not.

    A job book may be a database, named by its URL.
    ``against`` is a job file, a job book or a certificate from elsewhere: a certificate is
    held against a journal, a table against what a journal accepted.  Raises `FileError` if
    a file cannot be read, `InputError` if it is none of the four.
    """
    from gaugewright.app.files import read_bytes

    name = shown_name(path, is_short=True)
    start = _start(path)
    if start.startswith(PDF_MAGIC):
        return _certificate(path, name, against)
    if start.startswith((*BOOK_MAGICS, ZIP_MAGIC)):
        if against is not None:
            raise InputError(
                "is for a certificate or a table; a journal proves itself", field="--against"
            )
        if start.startswith(BOOK_MAGICS):
            return _book(path, name)
        from gaugewright.journal.exchange import verify_job_file

        verdict = verify_job_file(path)
        return Verified("job file", verdict.is_unaltered, verdict.line)
    content = read_bytes(path)
    if against is not None:
        return _table_against(content, path, name, against)
    return _table(content, path, name)


def shown_name(path: str, *, is_short: bool = False) -> str:
    """Return how a file or a database is named to people; a password is never shown."""
    if "://" in path:
        from gaugewright.journal.opening import shown

        return shown(path)
    return Path(path).name if is_short else path


def _start(path: str) -> bytes:
    """Return what a file begins with; what stands for a database by its URL."""
    from gaugewright.errors import FileError

    if "://" in path:
        return URL_MAGIC
    try:
        with Path(path).open("rb") as file:
            return file.read(16)
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror or error}") from None


def _certificate(path: str, name: str, against: str | None) -> Verified:
    from gaugewright.app.certified import details, held_against, verify_certificate
    from gaugewright.app.files import naming_file, read_bytes

    content = read_bytes(path, most_bytes=MOST_PDF_BYTES)
    with naming_file(path):
        verdict = verify_certificate(content)
    if against is not None and verdict.attached is not None:
        entries = _entries_in(against, verdict.attached.entries[0].job)
        verdict = held_against(verdict, entries, content, shown_name(against, is_short=True))
    line = f"{name}: {verdict.line}"
    return Verified("certificate", verdict.is_unaltered, line, details(verdict))


def _entries_in(path: str, job: str) -> "Sequence[Entry]":
    """Return a job's entries from a book, a job file or a certificate, each one checked."""
    from gaugewright.app.files import naming_file, read_bytes

    start = _start(path)
    if start.startswith(BOOK_MAGICS):
        from gaugewright.journal.book import open_book

        with open_book(path, create=False, read_only=True) as book:
            return book.entries(job)
    if start.startswith(ZIP_MAGIC):
        from gaugewright.journal.exchange import MAX_FILE_BYTES, read_job

        found = read_job(read_bytes(path, most_bytes=MAX_FILE_BYTES))
        return found.entries if found.job == job else ()
    if start.startswith(PDF_MAGIC):
        from gaugewright.app.certified import verify_certificate

        with naming_file(path):
            verdict = verify_certificate(read_bytes(path, most_bytes=MOST_PDF_BYTES))
        if not verdict.is_unaltered or verdict.attached is None:
            raise JournalError(f"{Path(path).name}: {verdict.line}")
        entries = verdict.attached.entries
        return entries if entries[0].job == job else ()
    raise InputError("is no job book, job file or certificate", file=path)


def _table_against(content: bytes, path: str, name: str, against: str) -> Verified:
    """Say whether a table file is byte for byte one that a journal says was accepted."""
    from gaugewright.certificate.tank_part import table_of
    from gaugewright.journal.fold import fold
    from gaugewright.table.export import export_csv

    where = shown_name(against, is_short=True)
    sound = _table(content, path, name)
    for job in _jobs_in(against):
        entries = _entries_in(against, job)
        state = fold(job, entries)
        for tank in state.tanks.values():
            accepted = {kept.event.digest for kept in tank.accepted}
            for kept in tank.tables:
                if kept.event.digest not in accepted:
                    continue
                if export_csv(table_of(kept.event.rows)).encode() == content:
                    line = (
                        f"{name}: unaltered, byte for byte the table of tank {tank.tank_id} that "
                        f"was accepted in job {job} of {where}"
                    )
                    found = {"job": job, "tank": tank.tank_id, "digest": kept.event.digest}
                    return Verified("table", True, line, found)
    what = sound.line.removeprefix(f"{name}: ").split(";")[0]
    return Verified("table", False, f"{name}: {what}, but no table accepted in {where} is this one")


def _jobs_in(path: str) -> "Sequence[str]":
    from gaugewright.app.files import naming_file, read_bytes

    start = _start(path)
    if start.startswith(BOOK_MAGICS):
        from gaugewright.journal.book import open_book

        with open_book(path, create=False, read_only=True) as book:
            return book.store.jobs()
    if start.startswith(ZIP_MAGIC):
        from gaugewright.journal.exchange import MAX_FILE_BYTES, read_job

        return (read_job(read_bytes(path, most_bytes=MAX_FILE_BYTES)).job,)
    from gaugewright.app.certified import files_in
    from gaugewright.certificate.attachments import read_attachments

    with naming_file(path):
        content = read_bytes(path, most_bytes=MOST_PDF_BYTES)
        return (read_attachments(files_in(content)).entries[0].job,)


def _book(path: str, name: str) -> Verified:
    from gaugewright.journal.book import open_book

    with open_book(path, create=False, read_only=True) as book:
        file = book.store.file
        faults = book.faults() or _list_faults(book)
        jobs = len(book.store.jobs())
    if faults:
        job, fault = next(iter(faults.items()))
        return Verified("job book", False, f"{name}: job {job}: {fault}")
    if file is not None and (damage := _damage(str(file))) is not None:
        return Verified(
            "job book", False, f"{name}: every entry is whole, the file is not: {damage}"
        )
    return Verified(
        "job book",
        True,
        f"{name}: unaltered, {jobs} job{'' if jobs == 1 else 's'}, "
        "every entry, photo and line of the list checked",
    )


def _list_faults(book: "Book") -> dict[str, str]:
    """Hold the list of jobs, which is kept ready, against the entries that it was made from.

    What the version that wrote a line did not know yet is not asked of it, and what it alone
    knew is not held against it; a line of which both is so has a name changed.
    """
    from gaugewright.journal.book import summary_of

    found = {}
    for head in book.jobs():
        true = summary_of(book.state(head.job))
        wrong = [key for key, value in head.summary.items() if true.get(key, value) != value]
        if head.summary.keys() - true.keys():
            wrong += sorted(true.keys() - head.summary.keys())
        if wrong or head.problem is not None:
            found[head.job] = (
                f"the list of jobs says {wrong[0] if wrong else 'something'} otherwise than the "
                "entries, which are as they were written"
            )
    return found


def _damage(path: str) -> str | None:
    """Return what is wrong with a file's own order: an index, a lost page, a missing guard."""
    import sqlite3
    from urllib.parse import quote

    from gaugewright.journal.opening import leave_as_found
    from gaugewright.journal.schema import HEAD, guards, version

    try:
        bare = sqlite3.connect(f"file:{quote(str(Path(path).absolute()))}?mode=ro", uri=True)
        try:
            said = str(bare.execute("PRAGMA integrity_check(1)").fetchone()[0])
            kept = {sql for (sql,) in bare.execute("SELECT sql FROM sqlite_master")}
            found = str(bare.execute(f"SELECT version_num FROM {version.name}").fetchone()[0])
        finally:
            bare.close()
    except sqlite3.Error as error:
        return str(error)
    finally:
        leave_as_found(Path(path))
    if said != "ok":
        return said.splitlines()[-1]
    if found == HEAD:
        wanted = frozenset(guards("sqlite"))
    else:
        from gaugewright.journal.migrate import guards_of  # loads what an older book needs

        wanted = guards_of(found)
    if wanted <= kept:
        return None
    return "what makes it refuse changes is not as it was made"


def _table(content: bytes, path: str, name: str) -> Verified:
    from gaugewright.app.files import decode, naming_file
    from gaugewright.table.files import read_table

    with naming_file(path):
        try:
            table = read_table(decode(content, name=path))
        except InputError as error:
            raise InputError(
                f"is no job file, job book, certificate or table ({error.problem})"
            ) from None
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
