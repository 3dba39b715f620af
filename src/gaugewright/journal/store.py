"""The store: entries on disk before anyone is told so.  Only this module ends transactions.

It knows the chain and nothing of what an entry means.  One connection writes, guarded
by a lock; on SQLite its transactions begin with ``BEGIN IMMEDIATE``, and a lone entry is one
statement, which is the same.  That it follows the end of its chain is asked by the database
itself in that transaction, so no other writer can come between.  Readers have connections of
their own and never wait for the writer.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Any, NamedTuple, Self

from sqlalchemy import Engine
from sqlalchemy.pool import PoolProxiedConnection

from gaugewright.errors import AwayError, ConflictError, InputError, JournalError
from gaugewright.journal.chain import (
    Entry,
    Line,
    canonical_json,
    next_entry,
    read_lines,
)
from gaugewright.journal.photos import media_type_of
from gaugewright.journal.reading import Reader
from gaugewright.journal.statements import Statements
from gaugewright.journal.troubles import in_words, is_away, told, trouble
from gaugewright.words import said

MAX_PHOTO_BYTES = 20_000_000


class NewerEntriesError(ConflictError):
    """Somebody else appended first; ``newer`` are their entries, nothing was added."""

    def __init__(self, message: str, newer: tuple[Entry, ...]) -> None:
        super().__init__(message)
        self.newer = newer


class CollisionError(ConflictError):
    """The database refused a row that is already there or does not follow; nothing was added."""


class Draft(NamedTuple):
    """What is to become an entry."""

    kind: str
    payload: Mapping[str, Any]


class Store(Reader):
    """A job book's tables behind one small set of actions.  Safe to share between threads."""

    def __init__(
        self,
        engine: Engine,
        *,
        where: str,
        is_read_only: bool = False,
        release: Callable[[], None] = lambda: None,
        file: Path | None = None,
    ) -> None:
        super().__init__(engine, where)
        self.file = file
        """The book's file; ``None`` if it is in a database."""
        self.is_read_only = is_read_only
        self._release = release
        self._lock = RLock()
        self._writer: PoolProxiedConnection | None = None
        self._ends: dict[str, tuple[int, str]] = {}
        """The number and the hash of the last entry of the jobs that were written to."""
        self.driver: Any = engine.dialect.loaded_dbapi
        """The driver's module, for the errors that it raises."""
        self.begins_by_hand = engine.dialect.name == "sqlite"
        """SQLite's driver leaves the beginning of a transaction to us, PostgreSQL's does not."""
        self._sql = Statements(engine.dialect)

    def append(
        self,
        job: str,
        expected_number: int,
        drafts: Sequence[Draft],
        *,
        at: datetime,
        person: str,
        device: str,
        request_id: str | None = None,
        summary: Mapping[str, Any] | None = None,
        made: Sequence[Entry] = (),
    ) -> tuple[Entry, ...]:
        """Append entries in one transaction and return them once they are on disk.

        ``expected_number`` is the last entry that the caller has seen, 0 for a new job.
        If another came first, `NewerEntriesError` carries what came and nothing is added.
        The same ``request_id`` again gives back what it gave the first time.
        ``summary`` is what the list of jobs shows; ``None`` leaves it as it is.
        ``made`` are the entries of these drafts if the caller had to make them already; they
        are made again here unless they follow what is in the book.
        """
        if not drafts:
            raise InputError(said("an append needs at least one entry"))
        with self._lock:
            end = self._ends.get(job)
            if end is None or end[0] != expected_number:
                end = self.tip(job)
            if end[0] != expected_number:
                return self._came_second(job, expected_number, drafts, request_id)
            entries = tuple(made)
            if not made or (made[0].number - 1, made[0].prev_hash) != end:
                entries = _chained(job, end, drafts, at, person, device)
            try:
                is_lone = len(entries) == 1 and expected_number > 0 and summary is None
                if not (is_lone and self._insert_lone(job, entries[0], request_id)):
                    with self._writing() as cursor:
                        self._insert_entries(cursor, job, entries, request_id, summary)
            except CollisionError as error:
                self._ends.pop(job, None)
                return self._came_second(job, expected_number, drafts, request_id, error)
            self._ends[job] = (entries[-1].number, entries[-1].hash)
            return entries

    def adopt(
        self,
        job: str,
        lines: Sequence[Line],
        photos: Mapping[str, bytes],
        *,
        summary: Mapping[str, Any],
    ) -> int:
        """Take over a job's entries from elsewhere, hashes and all; return how many were new.

        Raises `ConflictError` at the first entry that contradicts the one in the book and
        `ChainError` at the first that is not what was written; then nothing is added.
        """
        wanted = tuple(read_lines(job, lines))
        with self._lock:
            own = self.entries(job)
            for mine, theirs in zip(own, wanted, strict=False):
                if mine.hash != theirs.hash:
                    raise ConflictError(
                        said(
                            "job {job}: entry {number} is another one in this book ({kind} by "
                            "{person}) than in the file ({kind_2} by {person_2}); nothing was "
                            "taken over",
                            job=job,
                            number=mine.number,
                            kind=mine.kind,
                            person=mine.person,
                            kind_2=theirs.kind,
                            person_2=theirs.person,
                        )
                    )
            new = wanted[len(own) :]
            with self._writing() as cursor:
                for sha256, photo in photos.items():
                    self._insert_photo(cursor, sha256, photo)
                if new:
                    self._insert_entries(cursor, job, new, None, summary)
            if new:
                self._ends[job] = (new[-1].number, new[-1].hash)
            return len(new)

    def add_photo(self, photo: bytes) -> str:
        """Keep a photo and return its SHA-256; the same photo twice is kept once.

        Raises `InputError` for what is not a JPEG, PNG or WebP picture or is too large.
        """
        sha256 = hashlib.sha256(photo).hexdigest()
        with self._lock, self._writing() as cursor:
            self._insert_photo(cursor, sha256, photo)
        return sha256

    def add_settings(
        self, settings: Mapping[str, Any], *, at: datetime, person: str, device: str
    ) -> int:
        """Write the settings of the book as a new version and return its number."""
        if at.tzinfo is None:
            raise InputError(
                said("{isoformat} has no time zone", isoformat=at.isoformat()), field="at"
            )
        text = canonical_json(settings)
        with self._lock, self._writing() as cursor:
            last = self._sql.last_setting.run(cursor).fetchone()[0] or 0
            self._sql.add_setting.run(
                cursor,
                version=last + 1,
                at=at.astimezone(UTC).isoformat(timespec="microseconds"),
                person=person,
                device=device,
                text=text,
            )
        return int(last) + 1

    # Closing

    def close(self) -> None:
        """Give the book free.  Safe to call twice."""
        with self._lock:
            self._drop_writer()
            self._engine.dispose()
            self._release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # Inside

    def _came_second(
        self,
        job: str,
        expected_number: int,
        drafts: Sequence[Draft],
        request_id: str | None,
        cause: CollisionError | None = None,
    ) -> tuple[Entry, ...]:
        """Return what the same request gave before, or say what came first."""
        if request_id is not None:
            earlier = self.requested(job, request_id)
            if earlier:
                _require_same(earlier, drafts, request_id)
                return earlier
        entries = self.entries(job)
        newer = entries[expected_number:]
        if newer:
            raise NewerEntriesError(
                said(
                    "job {job}: {number} newer {word} came first, the last one {kind} by "
                    "{person} on {device}. Nothing was added; look at it and record again",
                    job=job,
                    number=len(newer),
                    word=said("entry") if len(newer) == 1 else said("entries"),
                    kind=newer[-1].kind,
                    person=newer[-1].person,
                    device=newer[-1].device,
                ),
                newer,
            )
        if cause is not None:
            raise cause
        raise JournalError(
            said(
                "job {job} ends at entry {number}, there is no entry {expected_number} to build on",
                job=job,
                number=len(entries),
                expected_number=expected_number,
            )
        )

    def _insert_entries(
        self,
        cursor: Any,
        job: str,
        entries: Sequence[Entry],
        request_id: str | None,
        summary: Mapping[str, Any] | None,
    ) -> None:
        if entries[0].number == 1:
            self._sql.add_job.run(cursor, job=job, summary=canonical_json(summary or {}))
        elif summary is not None:
            self._sql.summarise.run(cursor, this_job=job, summary=canonical_json(summary))
        self._sql.add_entry.run(
            cursor, [_row(job, each, request_id, part) for part, each in enumerate(entries)]
        )

    def _insert_lone(self, job: str, entry: Entry, request_id: str | None) -> bool:
        """Insert one entry by one statement, which SQLite makes a transaction of its own.

        It takes the same lock, is as durable when it returns and is taken back whole if it
        fails.  Tells whether it was done; where it cannot be, the common way is to be taken.
        """
        if self._writer is None or not self.begins_by_hand:
            return False
        connection = self._writer.dbapi_connection
        if connection is None or connection.in_transaction:
            return False
        try:
            connection.execute(self._sql.add_entry.sql, _row(job, entry, request_id, 0))
        except self.driver.Error as error:
            raise self.refused(error) from error
        return True

    def _insert_photo(self, cursor: Any, sha256: str, photo: bytes) -> None:
        if len(photo) > MAX_PHOTO_BYTES:
            raise InputError(
                said(
                    "a photo of {number:.1f} MB is too large, at most {max_photo_bytes:.0f} MB",
                    number=len(photo) / 1e6,
                    max_photo_bytes=MAX_PHOTO_BYTES / 1e6,
                )
            )
        media_type = media_type_of(photo)
        if hashlib.sha256(photo).hexdigest() != sha256:
            raise InputError(said("photo {sha256} does not match its SHA-256", sha256=sha256[:12]))
        if self._sql.find_photo.run(cursor, sha256=sha256).fetchone() is None:
            self._sql.add_photo.run(cursor, sha256=sha256, media_type=media_type, bytes=photo)

    def _writing(self) -> "_Transaction":
        """Return one transaction on the driver's cursor; the caller holds the lock."""
        if self.is_read_only:
            raise JournalError(
                said("{where} was opened only to look: nothing can be recorded", where=self.where)
            )
        if self._writer is not None and not self.begins_by_hand:
            # Taken anew, which asks the server first: it may have hung up since.
            self._writer.close()
            self._writer = None
        if self._writer is None:
            with told(self.where, self.driver.Error):
                self._writer = self._engine.raw_connection()
        return _Transaction(self, self._writer.dbapi_connection)

    def doubted(self, error: Exception, *, is_sent: bool = False) -> JournalError:
        """Return the error to raise when it is not known for sure what the book holds now.

        The connection and all that was remembered is given up, so that the next append
        looks again.  ``is_sent`` says that the server was already told to keep it.
        """
        self._drop_writer()
        self._ends.clear()
        if is_sent and is_away(error):
            return AwayError(
                said(
                    "{where}: the database went away while this was recorded. Look whether it "
                    "stands in the job, and record it again only if it does not",
                    where=self.where,
                )
            )
        return trouble(self.where, error)

    def refused(self, error: Exception) -> JournalError:
        """Return the error to raise for a write that the database took back."""
        if isinstance(error, self.driver.IntegrityError):
            return CollisionError(
                said(
                    "{where}: somebody else wrote the same at the same moment, nothing was "
                    "added here; try again ({error})",
                    where=self.where,
                    error=in_words(error),
                )
            )
        return self.doubted(error)

    def _drop_writer(self) -> None:
        if self._writer is not None:
            writer, self._writer = self._writer, None
            writer.invalidate()


class _Transaction:
    """Begins, commits or takes back; written out because every append passes through it."""

    __slots__ = ("_connection", "_cursor", "_store")

    def __init__(self, store: Store, connection: Any) -> None:
        self._store = store
        self._connection = connection

    def __enter__(self) -> Any:
        try:
            cursor = self._cursor = self._connection.cursor()
            if self._store.begins_by_hand:
                cursor.execute("BEGIN IMMEDIATE")
        except self._store.driver.Error as error:
            raise self._store.doubted(error) from error
        return cursor

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if error is None:
                if self._store.begins_by_hand:
                    self._cursor.execute("COMMIT")  # kept ready by the driver, as BEGIN is
                else:
                    self._connection.commit()
                self._cursor.close()
                return
            self._connection.rollback()
            self._cursor.close()
        except self._store.driver.Error as trouble:
            raise self._store.doubted(trouble, is_sent=error is None) from (error or trouble)
        if isinstance(error, self._store.driver.Error):
            raise self._store.refused(error) from error


def _row(job: str, entry: Entry, request_id: str | None, part: int) -> tuple[Any, ...]:
    """Return an entry in the order of the table's columns."""
    return (
        job,
        entry.number,
        entry.text,
        entry.prev_hash,
        entry.hash,
        request_id,
        None if request_id is None else part,
    )


def _chained(
    job: str,
    end: tuple[int, str],
    drafts: Sequence[Draft],
    at: datetime,
    person: str,
    device: str,
) -> tuple[Entry, ...]:
    entries = []
    for draft in drafts:
        entry = next_entry(
            end,
            job=job,
            at=at,
            person=person,
            device=device,
            kind=draft.kind,
            payload=draft.payload,
        )
        entries.append(entry)
        end = (entry.number, entry.hash)
    return tuple(entries)


def _require_same(earlier: Sequence[Entry], drafts: Sequence[Draft], request_id: str) -> None:
    before = [(entry.kind, canonical_json(entry.payload)) for entry in earlier]
    if before != [(draft.kind, canonical_json(draft.payload)) for draft in drafts]:
        raise InputError(
            said(
                "request {request_id!r} was already used for something else (entry "
                "{number}, {kind}); a new request needs a new id",
                request_id=request_id,
                number=earlier[0].number,
                kind=earlier[0].kind,
            ),
            field="request_id",
        )
