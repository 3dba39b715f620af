"""Certificates: making one, printing one again, and the small photos on it."""

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from gaugewright.app.language import (
    catalogue_mark,
    document_language,
    document_speech,
    has_catalogue,
)
from gaugewright.certificate.issue import (
    Form,
    Issue,
    Paper,
    UnitsName,
    form_of,
    language_of,
    paper_of,
    units_of,
)
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.book import Book, Recorded
from gaugewright.journal.state import JobState, Kept
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.app.yard import Stamp, Yard
    from gaugewright.journal.chain import Entry

SMALL_SIDE, SMALL_QUALITY = 480, 78
"""Longest side of a photo on the certificate [pixels], and how much it is packed."""
_UNITS_OF: Mapping[str, UnitsName] = {
    "litres": "metric",
    "us_gallons": "us",
    "imperial_gallons": "imperial",
}


@dataclass(frozen=True, slots=True)
class Document:
    """A certificate or its summary as a file."""

    content: bytes
    job: str
    number: str
    form: Form
    is_draft: bool
    later_entries: int
    """Entries that the journal has beyond the one that issued the document."""
    is_as_issued: bool
    """Whether these are the very bytes whose hash stands in the journal."""

    @property
    def file_name(self) -> str:
        """What the file is called where nothing else is said."""
        safe = "".join(
            c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in self.number
        )
        return f"{safe}{'-summary' if self.form == 'summary' else ''}.pdf"

    @property
    def sha256(self) -> str:
        """The hash of the file."""
        return hashlib.sha256(self.content).hexdigest()


def issue_certificate(
    yard: "Yard",
    job: str,
    stamp: "Stamp",
    certificate_number: str,
    *,
    signed_by: str = "",
    strokes: tuple[tuple[int, ...], ...] = (),
    place: str = "",
    paper: str | None = None,
    units: str | None = None,
    language: str | None = None,
    reason: str = "",
) -> Recorded:
    """Issue a certificate over the journal as the person saw it, and keep its document.

    An earlier certificate in force is replaced and needs a reason; it stays in the journal
    and in the book.  Its language is the book's where none is asked for.  Raises `StateError`
    if no table is accepted, `InputError` for a language that nobody has translated into.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    state = yard.state(job)
    fk.check_strokes(strokes)
    if not certificate_number[:1].isalnum():
        raise InputError(
            said("must begin with a letter or a figure, found '{found}'", found=certificate_number),
            field="certificate_number",
        )
    accepted = {
        tank.tank_id: tank.accepted_table.event.digest
        for tank in state.standing_tanks
        if tank.accepted_table is not None
    }
    if not accepted:
        raise StateError("no table is accepted yet: accept one before signing")
    replaces = "" if state.certificate is None else state.certificate.event.certificate_number
    if replaces and replaces != certificate_number and not reason.strip():
        raise InputError(
            f"is missing: certificate {replaces} is in force, say why it is made anew",
            field="reason",
        )
    issue = _issue(yard.book, stamp.person, yard.now(), certificate_number, paper, units, language)
    issue = replace(
        issue,
        signed_by=signed_by.strip() or stamp.person,
        strokes=strokes,
        place=place.strip(),
        replaces=replaces,
        reason=reason.strip() if replaces else "",
    )
    entries = yard.book.entries(job)[: state.tip.number]
    content = _set(entries, issue, yard.book, state)
    event = fk.CertificateIssued(
        certificate_number,
        state.tip.number,
        state.tip.hash,
        document_sha256=hashlib.sha256(content).hexdigest(),
        tables=accepted,
        signed_by=issue.signed_by,
        strokes=strokes,
        issue={
            name: value
            for name, value in issue.as_json().items()
            if name not in ("strokes", "signed_by", "replaces", "reason")
        },
        replaces=replaces,
        reason=issue.reason,
    )
    if stamp.on == state.tip.number:
        yard.book.add_document(content)
    return yard.record(job, stamp, event)


def certificate_of(
    book: Book,
    job: str,
    *,
    at: datetime,
    person: str = "",
    number: str | None = None,
    paper: str | None = None,
    units: str | None = None,
    language: str | None = None,
    form: str = "certificate",
) -> Document:
    """Return a job's certificate: the one in force, the one asked for, or a draft.

    ``language`` is for a draft: what was issued stays in the language it was issued in.
    A draft is made where nothing was issued yet; it says so on every page.  Raises
    `NotThereError` for a number that was never issued.
    """
    state = book.state(job)
    entries = book.entries(job)[: state.tip.number]
    kept = _issued(state, number)
    if kept is None:
        issue = _issue(book, person, at, next_number(state), paper, units, language)
        wanted_form = form_of(form)
        issue = replace(issue, is_draft=True, form=wanted_form)
        content = _set(entries, issue, book, state)
        return Document(content, job, issue.number, wanted_form, True, 0, is_as_issued=False)
    event = kept.event
    issued = _issue_of(book, kept)
    issue = replace(
        issued,
        paper=issued.paper if paper is None else paper_of(paper),
        units=issued.units if units is None else units_of(units),
        form=form_of(form),
    )
    later = state.tip.number - kept.number
    stored = None if event.document_sha256 is None else book.document(event.document_sha256)
    if issue == issued and stored is not None:
        return Document(stored, job, issue.number, issue.form, False, later, is_as_issued=True)
    upto = entries[: event.upto_number]
    content = _set(upto, issue, book, _state_at(job, upto))
    is_same = event.document_sha256 == hashlib.sha256(content).hexdigest()
    return Document(content, job, issue.number, issue.form, False, later, is_as_issued=is_same)


def _set(entries: "tuple[Entry, ...]", issue: Issue, book: Book, state: JobState) -> bytes:
    # What sets the pages is loaded only where they are set: a kept document needs none of it.
    from gaugewright.certificate.document import document_of

    return document_of(entries, issue, small_photos(book, state), document_speech(issue))


def next_number(state: JobState) -> str:
    """Return a number for the next certificate that was never used in this job."""
    used = {kept.event.certificate_number for kept in state.certificates}
    first = f"C-{state.job}"
    if first not in used:
        return first
    return next(n for k in range(2, len(used) + 3) if (n := f"{first}-{k}") not in used)


def small_photos(book: Book, state: JobState) -> dict[str, bytes]:
    """Return the photos that a certificate shows, made small, by their SHA-256.

    A photo that is not in this book, as after a copy without it, is left out.
    """
    from gaugewright.certificate.building import shown_photos

    found = {}
    for photo in shown_photos(state):
        if book.store.has_photo(photo.sha256):
            found[photo.sha256] = _small(book.photo(photo.sha256)[0])
    return found


def _small(photo: bytes) -> bytes:
    from PIL import Image

    with Image.open(io.BytesIO(photo)) as opened:
        pixels = opened.convert("RGB")
    pixels.thumbnail((SMALL_SIDE, SMALL_SIDE))
    bare = Image.new("RGB", pixels.size)
    bare.paste(pixels)
    packed = io.BytesIO()
    bare.save(packed, "JPEG", quality=SMALL_QUALITY, optimize=True)
    return packed.getvalue()


def _issue(
    book: Book,
    person: str,
    at: datetime,
    number: str,
    paper: str | None,
    units: str | None,
    language: str | None,
) -> Issue:
    from gaugewright.certificate.typeset import set_by

    settings = book.settings()
    spoken = document_language(settings.language) if language is None else _translated(language)
    looks: tuple[Paper, UnitsName] = (
        "a4" if paper is None else paper_of(paper),
        _UNITS_OF[settings.volume_unit] if units is None else units_of(units),
    )
    return Issue(
        number,
        at.astimezone(UTC).replace(microsecond=0),
        person,
        workshop=settings.workshop,
        paper=looks[0],
        units=looks[1],
        issued_as=(*looks, "certificate"),
        volume_unit=settings.volume_unit,
        versions=set_by() | catalogue_mark(spoken),
        language=spoken,
    )


def _translated(language: str) -> str:
    spoken = language_of(language)
    if spoken != "en" and not has_catalogue(spoken):
        raise InputError(
            said("nobody has translated into {language} yet", language=spoken), field="language"
        )
    return spoken


def _issued(state: JobState, number: str | None) -> Kept[fk.CertificateIssued] | None:
    if number is None:
        return state.certificate
    for kept in reversed(state.certificates):
        if kept.event.certificate_number == number:
            return kept
    from gaugewright.app.yard import NotThereError

    known = ", ".join(kept.event.certificate_number for kept in state.certificates) or "none"
    raise NotThereError(f"job {state.job} has no certificate {number}; issued so far: {known}")


def _issue_of(book: Book, kept: Kept[fk.CertificateIssued]) -> Issue:
    """Return what a certificate was issued with; one of an earlier version kept less."""
    from gaugewright.certificate.issue import issue_from

    event = kept.event
    if event.issue:
        record: dict[str, Any] = {
            **event.issue,
            "signed_by": event.signed_by,
            "strokes": event.strokes,
            "replaces": event.replaces,
            "reason": event.reason,
        }
        return issue_from(record)
    number = event.certificate_number
    plain = _issue(book, kept.mark.person, kept.mark.at, number, None, None, "en")
    return replace(plain, signed_by=kept.mark.person)


def _state_at(job: str, entries: "tuple[Entry, ...]") -> JobState:
    from gaugewright.journal.fold import fold

    return fold(job, entries)
