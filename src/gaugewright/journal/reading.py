"""Looking into a job book: lists, entries, photos and settings, never a lock on the writer."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, func, select

from gaugewright.errors import ChainError, JournalError
from gaugewright.journal import schema
from gaugewright.journal.chain import START, Entry, Line, Tip, read_line, read_lines
from gaugewright.journal.statements import LINE
from gaugewright.journal.troubles import told

_EARLIER = schema.entry.alias("earlier")


@dataclass(frozen=True, slots=True)
class Head:
    """One line of the list of jobs."""

    place: int
    """Rises with each job that came into the book."""
    job: str
    tip: Tip
    last_at: datetime | None
    summary: Mapping[str, Any]
    problem: str | None = None
    """What is wrong with the job's last entry, if it is not what was written."""


class Reader:
    """A job book's tables for looking.  Safe to share between threads."""

    def __init__(self, engine: Engine, where: str) -> None:
        self.where = where
        self._engine = engine

    def heads(
        self, *, limit: int | None = None, before: int | None = None, containing: str = ""
    ) -> tuple[Head, ...]:
        """Return the list of jobs, the newest in the book first, without reading their entries.

        ``before`` is the ``place`` of the last one that was seen; ``containing`` looks in
        the job number and the summary; A to Z are the same in small and capital letters.
        """
        entry, job = schema.entry, schema.job
        last = (
            select(func.max(_EARLIER.c.number))
            .where(_EARLIER.c.job == job.c.job)
            .correlate(job)
            .scalar_subquery()
        )
        query = (
            select(job.c.place, job.c.job, job.c.summary, *LINE)
            .where(entry.c.job == job.c.job, entry.c.number == last)
            .order_by(job.c.place.desc())
        )
        if before is not None:
            query = query.where(job.c.place < before)
        if containing:
            query = query.where(
                job.c.job.icontains(containing, autoescape=True)
                | job.c.summary.icontains(containing, autoescape=True)
            )
        if limit is not None:
            query = query.limit(limit)
        with self._reading() as connection:
            rows = connection.execute(query).all()
        return tuple(_head_of(row) for row in rows)

    def jobs(self) -> tuple[str, ...]:
        """Return every job number, oldest in the book first."""
        with self._reading() as connection:
            return tuple(connection.scalars(select(schema.job.c.job).order_by(schema.job.c.place)))

    def entries(self, job: str, after: Tip = START) -> tuple[Entry, ...]:
        """Return a job's entries after ``after``, each one checked; empty for an unknown job.

        Raises `ChainError` naming the first entry that is not what was written.
        """
        entry = schema.entry.c
        with self._reading() as connection:
            rows = connection.execute(
                select(*LINE)
                .where(entry.job == job, entry.number > after.number)
                .order_by(entry.number)
            ).all()
        return tuple(read_lines(job, (_line_of(row) for row in rows), after))

    def requested(self, job: str, request_id: str) -> tuple[Entry, ...]:
        """Return the entries that a request made earlier, empty if it never came."""
        entry = schema.entry
        with self._reading() as connection:
            rows = connection.execute(
                select(*LINE)
                .where(entry.c.job == job, entry.c.request_id == request_id)
                .order_by(entry.c.request_part)
            ).all()
        return tuple(read_line(job, _line_of(row)) for row in rows)

    def photo(self, sha256: str) -> tuple[bytes, str] | None:
        """Return a photo's bytes and media type, ``None`` if it is not in the book.

        Raises `JournalError` if the bytes are no longer those that were stored.
        """
        photo = schema.photo.c
        with self._reading() as connection:
            row = connection.execute(
                select(photo.bytes, photo.media_type).where(photo.sha256 == sha256)
            ).one_or_none()
        if row is None:
            return None
        if hashlib.sha256(row[0]).hexdigest() != sha256:
            raise JournalError(f"{self.where}: photo {sha256[:12]} is not what was stored")
        return bytes(row[0]), row[1]

    def has_photo(self, sha256: str) -> bool:
        """Tell whether a photo is in the book."""
        photo = schema.photo.c
        with self._reading() as connection:
            return (
                connection.execute(select(1).where(photo.sha256 == sha256)).one_or_none()
                is not None
            )

    def settings(self) -> Mapping[str, Any]:
        """Return the settings of the book as they were last written, empty if never."""
        setting = schema.setting.c
        with self._reading() as connection:
            text = connection.scalar(select(setting.text).order_by(setting.version.desc()).limit(1))
        return {} if text is None else dict(json.loads(text))

    def tip(self, job: str) -> Tip:
        """Return the end of a job's chain, the beginning for an unknown job."""
        with self._reading() as connection:
            row = connection.execute(
                select(*LINE)
                .where(schema.entry.c.job == job)
                .order_by(schema.entry.c.number.desc())
                .limit(1)
            ).first()
        return START if row is None else read_line(job, _line_of(row)).tip

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told(self.where), self._engine.connect() as connection:
            yield connection


def _line_of(row: Any) -> Line:
    return Line(row.number, row.text, row.prev_hash, row.hash)


def _head_of(row: Any) -> Head:
    """Return one line of the list; a damaged job is shown as such and hides no other."""
    tip = Tip(row.number, row.hash)
    try:
        last_at = read_line(row.job, _line_of(row)).at
        summary = json.loads(row.summary)
    except (ChainError, ValueError) as error:
        return Head(row.place, row.job, tip, None, {}, str(error))
    return Head(row.place, row.job, tip, last_at, summary)
