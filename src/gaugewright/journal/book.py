"""The job book as the rest of the program sees it: states in, events out.

Everything a fitter does becomes one `Book.record`: the events are checked, held
against the job's state, written in one transaction and folded, and only then is the
new state given back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import datetime
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Any, NamedTuple, Self

from gaugewright.errors import AwayError, InputError, JournalError, StateError
from gaugewright.journal import exchange
from gaugewright.journal.chain import Entry, next_entry
from gaugewright.journal.codec import kind_of, to_payload
from gaugewright.journal.demands import Event, require_choice
from gaugewright.journal.fold import apply, fold
from gaugewright.journal.kinds import PhotoAdded
from gaugewright.journal.opening import open_store
from gaugewright.journal.reading import Head
from gaugewright.journal.rules import may_follow
from gaugewright.journal.state import JobState
from gaugewright.journal.store import Draft, Store
from gaugewright.units import VolumeUnit

KEPT_STATES = 64
"""How many jobs' states are held ready."""

UNITS = {
    "volume_unit": ("litres", "us_gallons", "imperial_gallons"),
    "length_unit": ("mm", "inches"),
    "temperature_unit": ("celsius", "fahrenheit"),
}
"""The units that a book can be kept in."""


@dataclass(frozen=True, slots=True)
class BookSettings:
    """What holds for every job of a book."""

    volume_unit: str = "litres"
    length_unit: str = "mm"
    temperature_unit: str = "celsius"
    language: str = "en"
    workshop: str = ""
    """The name that stands on certificates."""
    recipes: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """How receiving systems want their tables, by the name of the recipe."""
    more: Mapping[str, Any] | None = None
    """Settings of a later version, kept as they are."""


class Recorded(NamedTuple):
    """What was written, and the job's state after it."""

    entries: tuple[Entry, ...]
    state: JobState
    unit: VolumeUnit = "L"
    """In which volumes are typed in the book."""


class Book:
    """A job book.  Safe to share between threads."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.last_settings: BookSettings | None = None
        """As they were when last read, for where the book does not answer."""
        self._states: dict[str, JobState] = {}
        self._lock = Lock()

    @property
    def is_read_only(self) -> bool:
        """Whether the book was opened only to look."""
        return self.store.is_read_only

    def jobs(
        self, *, limit: int | None = None, before: int | None = None, containing: str = ""
    ) -> tuple[Head, ...]:
        """Return the list of jobs, newest first; see `Store.heads`."""
        return self.store.heads(limit=limit, before=before, containing=containing)

    def state(self, job: str) -> JobState:
        """Return the state of a job; only entries that came since the last look are read.

        Raises `JournalError` for a job that is not in the book and `ChainError` for one
        whose journal is not what was written.
        """
        state = self._state(job)
        if state.tip.number == 0:
            raise JournalError(f"there is no job {job} in {self.store.where}")
        return state

    def entries(self, job: str) -> tuple[Entry, ...]:
        """Return every entry of a job, each one checked."""
        return self.store.entries(job)

    def faults(self) -> dict[str, str]:
        """Check every entry and photo of the book; return job → first thing that is wrong."""
        found = {}
        for job in self.store.jobs():
            try:
                entries = self.store.entries(job)
                for sha256 in exchange.photos_named_in(entries):
                    self.photo(sha256)
                for certificate in fold(job, entries).certificates:
                    if certificate.event.document_sha256 is not None:
                        self.document(certificate.event.document_sha256)
            except AwayError:
                raise  # which says nothing of the job
            except JournalError as error:
                found[job] = str(error)
        return found

    def record(
        self,
        job: str,
        expected_number: int,
        events: Sequence[Event],
        *,
        at: datetime,
        person: str,
        device: str,
        request_id: str | None = None,
    ) -> Recorded:
        """Write events to a job, all or none, and return them with the state after them.

        ``expected_number`` is ``state.tip.number`` of the state that the person saw, 0 to
        open a job.  Raises `InputError` for an event that may not be recorded as it stands,
        `StateError` if the job does not allow it now, `NewerEntriesError` if somebody else
        came first.  A ``request_id`` makes sending it again harmless.
        """
        for event in events:
            event.check()
        before = self._state(job)
        drafts = [Draft(kind_of(event), to_payload(event)) for event in events]
        summary = after = None
        made: list[Entry] = []
        if before.tip.number == expected_number:
            try:
                after, made = self._foreseen(before, events, drafts, at, person, device)
            except StateError:
                if request_id is None or not self.store.requested(job, request_id):
                    raise
            else:
                changed = summary_of(after)
                summary = None if changed == summary_of(before) else changed
        entries = self.store.append(
            job,
            expected_number,
            drafts,
            at=at,
            person=person,
            device=device,
            request_id=request_id,
            summary=summary,
            made=made,
        )
        if after is not None and after.tip == entries[-1].tip:
            self._remember(after)
            return Recorded(entries, after)
        return Recorded(entries, self._state(job))

    def add_photo(self, photo: bytes) -> str:
        """Keep a photo and return the SHA-256 that a `PhotoAdded` names it by."""
        return self.store.add_photo(photo)

    def photo(self, sha256: str) -> tuple[bytes, str]:
        """Return a photo's bytes and media type, `JournalError` if it is not in the book."""
        found = self.store.photo(sha256)
        if found is None:
            raise JournalError(f"there is no photo {sha256[:12]} in {self.store.where}")
        return found

    def add_document(self, document: bytes) -> str:
        """Keep the PDF of a certificate and return the SHA-256 that its entry names it by."""
        return self.store.add_photo(document)

    def document(self, sha256: str) -> bytes | None:
        """Return the PDF of a certificate, ``None`` if this book does not hold it.

        A job that came as a file brings its journal and its photos, not its documents.
        """
        found = self.store.photo(sha256)
        return None if found is None else found[0]

    def settings(self) -> BookSettings:
        """Return the settings that hold now."""
        self.last_settings = settings_from(self.store.settings())
        return self.last_settings

    def change_settings(
        self, settings: BookSettings, *, at: datetime, person: str, device: str
    ) -> None:
        """Write new settings; the earlier ones stay in the book."""
        for name, choices in UNITS.items():
            require_choice(name, getattr(settings, name), choices)
        text = {**asdict(settings), **(settings.more or {})}
        del text["more"]
        self.store.add_settings(text, at=at, person=person, device=device)

    def export_job(self, job: str) -> bytes:
        """Return a job as one file: its journal and its photos.

        Raises `JournalError` for a job that is not in the book or has lost a photo.
        """
        entries = self.store.entries(job)
        if not entries:
            raise JournalError(f"there is no job {job} in {self.store.where}")
        photos = {sha256: self.photo(sha256)[0] for sha256 in exchange.photos_named_in(entries)}
        return exchange.pack_job(entries, photos)

    def import_job(self, content: bytes) -> exchange.Imported:
        """Take a job file in: every hash is checked, what is new is added.

        Raises `JournalError` if the file is altered and `ConflictError` if it contradicts
        what the book already holds; then nothing is added.
        """
        job_file = exchange.read_job(content)
        own = self.store.entries(job_file.job)
        is_longer = len(job_file.entries) > len(own)
        state = fold(job_file.job, job_file.entries if is_longer else own)
        added = self.store.adopt(
            job_file.job,
            [entry.line for entry in job_file.entries],
            job_file.photos,
            summary=summary_of(state),
        )
        return exchange.Imported(
            job_file.job, added, len(job_file.entries) - added, len(job_file.photos)
        )

    def close(self) -> None:
        """Give the book free.  Safe to call twice."""
        self.store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _state(self, job: str) -> JobState:
        state = self._states.get(job) or JobState(job)
        for entry in self.store.entries(job, after=state.tip):
            state = apply(state, entry)
        if state.tip.number:
            self._remember(state)
        return state

    def _remember(self, state: JobState) -> None:
        with self._lock:
            known = self._states.pop(state.job, state)
            # Put last: the first is the longest unused.  Another thread may be further on.
            self._states[state.job] = max(known, state, key=lambda each: each.tip.number)
            if len(self._states) > KEPT_STATES:
                del self._states[next(iter(self._states))]

    def _foreseen(
        self,
        state: JobState,
        events: Sequence[Event],
        drafts: Sequence[Draft],
        at: datetime,
        person: str,
        device: str,
    ) -> tuple[JobState, list[Entry]]:
        """Return the state and the entries to be, `StateError` at the first event not allowed."""
        entries = []
        for event, draft in zip(events, drafts, strict=True):
            may_follow(state, event)
            if isinstance(event, PhotoAdded) and not self.store.has_photo(event.sha256):
                raise InputError(
                    f"photo {event.sha256[:12]} is not in the book; add its bytes first",
                    field="sha256",
                )
            entry = next_entry(
                state.tip,
                job=state.job,
                at=at,
                person=person,
                device=device,
                kind=draft.kind,
                payload=draft.payload,
            )
            entries.append(entry)
            state = apply(state, entry)
        return state, entries


def open_book(where: str | Path, *, create: bool = True, read_only: bool = False) -> Book:
    """Open a job book: a file, made if it is not there, or a PostgreSQL database by its URL.

    Raises `JournalError` saying what is in the way; see `opening`.
    """
    return Book(open_store(where, create=create, read_only=read_only))


def summary_of(state: JobState) -> dict[str, Any]:
    """Return what the list of jobs shows of a job."""
    certificate = state.certificate
    return {
        "customer": state.fact("customer"),
        "vehicle": state.fact("vehicle"),
        "stage": state.stage,
        "tanks": len(state.standing_tanks),
        "certificate": None if certificate is None else certificate.event.certificate_number,
    }


def settings_from(text: Mapping[str, Any]) -> BookSettings:
    """Return settings as stored; what this version does not know is kept in ``more``.

    >>> settings_from({"volume_unit": "us_gallons", "theme": "dusk"}).more
    {'theme': 'dusk'}
    """
    known = {each.name for each in fields(BookSettings)} - {"more"}
    more = {name: value for name, value in text.items() if name not in known}
    return BookSettings(
        **{name: value for name, value in text.items() if name in known}, more=more or None
    )
