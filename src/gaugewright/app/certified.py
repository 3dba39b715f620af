"""Is a certificate what was issued?  Checked with nothing but the certificate itself.

1. The seal: SHA-256 over the whole file, so that any changed byte is seen.
2. The journal attached: every hash of its chain.
3. The tables attached: byte for byte those that the journal says were accepted.
4. The tables again: worked out anew from the pours of the journal.
5. The pages: set anew from the journal and compared byte for byte, where this is the
   version that set them.

A seal can be made anew by whoever alters a file; then 2 to 5 must be made to fit too, and
the journal's last hash becomes another one than on paper and in the job book.
"""

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from gaugewright.app.certified_table import Check, table_again
from gaugewright.app.language import catalogue_mark, decimal_mark, document_speech
from gaugewright.certificate.attachments import Attached, attachments, read_attachments
from gaugewright.certificate.document import document_of
from gaugewright.certificate.sealed import has_seal, is_sealed
from gaugewright.certificate.tank_part import rows_grid, table_of
from gaugewright.certificate.typeset import set_by
from gaugewright.certificate.writing import Writer
from gaugewright.errors import GaugewrightError, InputError, JournalError
from gaugewright.journal.chain import Entry
from gaugewright.journal.fold import fold
from gaugewright.journal.state import JobState
from gaugewright.words import ENGLISH

MOST_FILES, MOST_FILE_BYTES = 60, 50_000_000


@dataclass(frozen=True, slots=True)
class CertificateVerdict:
    """What a certificate is, and whether it is what was issued."""

    checks: tuple[Check, ...]
    attached: Attached | None
    state: JobState | None
    is_elsewhere: bool = False
    """Whether it was held against something that does not hold its job at all."""

    @property
    def is_unaltered(self) -> bool:
        """Whether nothing that could be checked is wrong."""
        return all(check.is_right is not False for check in self.checks)

    @property
    def line(self) -> str:
        """Return it in one line."""
        wrong = [check.said for check in self.checks if check.is_right is False]
        if self.is_elsewhere and len(wrong) == 1:
            return f"NOT SHOWN: {wrong[0]}; by itself it is unaltered"
        if wrong or self.attached is None or self.state is None:
            return "ALTERED: " + "; ".join(wrong)
        issue, state = self.attached.issue, self.state
        word = "draft (not issued)" if issue.is_draft else issue.form
        said = "; ".join(check.said for check in self.checks)
        return (
            f"unaltered, {word} {issue.number} of job {state.job}, {state.tip.number} entries; "
            f"{said}; last hash {state.tip.hash}"
        )


def verify_certificate(content: bytes) -> CertificateVerdict:
    """Return what can be shown of a certificate.  Raises `InputError` for another PDF."""
    if b"%PDF-" not in content[:1024]:
        raise InputError("is not a PDF; wanted the PDF of a certificate of this program")
    if not has_seal(content):
        raise InputError("is a PDF without a certificate’s seal, so it is none, or was altered")
    sealed = is_sealed(content)
    checks = [
        Check(
            "seal",
            sealed,
            "sealed whole" if sealed else "its bytes are not those that were sealed",
        )
    ]
    try:
        attached = read_attachments(files_in(content))
        state = fold(attached.entries[0].job, attached.entries)
    except (InputError, JournalError) as error:
        checks.append(Check("attachments", False, str(error)))
        return CertificateVerdict(tuple(checks), None, None)
    checks.append(Check("journal", True, "every entry's hash follows"))
    if not sealed:  # what is said of the rest is worth nothing now
        return CertificateVerdict(tuple(checks), attached, state)
    checks.append(_tables_attached(attached, state))
    checks += [
        table_again(attached, tank)
        for tank in state.standing_tanks
        if tank.accepted_table is not None
    ]
    checks.append(_pages_again(attached, state, content))
    return CertificateVerdict(tuple(checks), attached, state)


@contextmanager
def reading_pdf() -> Iterator[None]:
    """Say in one way what pypdf lets through where a file was damaged."""
    from pypdf.errors import PyPdfError

    try:
        yield
    except InputError:
        raise
    except (
        PyPdfError,
        ValueError,
        KeyError,
        TypeError,
        AttributeError,
        IndexError,
        AssertionError,
        NotImplementedError,
        RecursionError,
        OSError,
        EOFError,
        ArithmeticError,
        MemoryError,
    ) as error:
        raise InputError(
            f"what is in it cannot be read as a PDF ({type(error).__name__})"
        ) from None  # fmt: skip


def files_in(content: bytes) -> dict[str, bytes]:
    """Return the files embedded in a PDF by name, `InputError` if they cannot be read."""
    from pypdf import PdfReader

    with reading_pdf(), io.BytesIO(content) as stream:
        found = PdfReader(stream).attachments
        if len(found) > MOST_FILES:
            raise InputError(f"has {len(found)} embedded files, at most {MOST_FILES}")
        files = {name: list(parts) for name, parts in found.items()}
    for name, parts in files.items():
        if len(parts) != 1:
            raise InputError(f"holds {len(parts)} files called {name[:60]!r}")
        if len(parts[0]) > MOST_FILE_BYTES:
            raise InputError(f"the embedded file {name[:60]!r} is too large")
    return {name: parts[0] for name, parts in files.items()}


def _tables_attached(attached: Attached, state: JobState) -> Check:
    """Hold the attached tables against those that the journal says were accepted."""
    wanted = {
        each.name: each.content
        for each in attachments(attached.entries, attached.issue, state, {})
        if each.name.endswith(".csv")
    }
    for name in sorted(set(wanted) | set(attached.tables)):
        if attached.tables.get(name) != wanted.get(name):
            return Check("tables", False, f"{name} is not the table that the journal accepted")
    return Check("tables", True, "the attached tables are the accepted ones")


def _pages_again(attached: Attached, state: JobState, content: bytes) -> Check:
    """Set the pages again and compare bytes; those of another version are read instead."""
    own = set_by() | catalogue_mark(attached.issue.language)
    if dict(attached.issue.versions) != own:
        return _figures_on_pages(attached, state, content)
    try:
        speech = document_speech(attached.issue)
        again = document_of(attached.entries, attached.issue, attached.photos, speech)
    except GaugewrightError as error:
        return Check("pages", False, f"the pages cannot be set again: {error}")
    if again != content:
        return Check("pages", False, "the pages are not those that the journal makes")
    return Check("pages", True, "the pages set again are the same bytes")


def _figures_on_pages(attached: Attached, state: JobState, content: bytes) -> Check:
    """Look for every row of the tables and the journal's last hash in the pages' text."""
    by = attached.issue.versions.get("gaugewright", "unknown")
    setter = f"the pages were set by another version ({by}) and cannot be set again by this one"
    if attached.issue.form == "summary":
        return Check("pages", None, setter)
    try:
        found = " ".join(_text_of(content).split())
    except InputError as error:
        return Check("pages", False, str(error))
    # The rows hold no words: the decimal mark is all that their language changes.
    mark = decimal_mark(attached.issue.language)
    write = Writer(attached.issue.units, replace(ENGLISH, decimal_mark=mark))
    for tank in state.standing_tanks:
        made = tank.accepted_table
        if made is None:
            continue
        for row in rows_grid(table_of(made.event.rows), write).rows:
            line = " ".join(" ".join(row).split())
            if line not in found:
                return Check("pages", False, f"the row {line!r} does not stand on the pages")
    if state.tip.hash[:16] not in found:
        return Check("pages", False, "the journal's last hash does not stand on the pages")
    return Check("pages", None, f"{setter}; every row of the tables stands on them")


def _text_of(content: bytes) -> str:
    from pypdf import PdfReader

    with reading_pdf(), io.BytesIO(content) as stream:
        return "\n".join(page.extract_text() for page in PdfReader(stream).pages)


def held_against(
    verdict: CertificateVerdict, entries: Sequence[Entry], content: bytes, where: str
) -> CertificateVerdict:
    """Return the verdict with the certificate held against a journal from elsewhere.

    The certificate's journal must be the beginning of that one, and the document must be
    the one whose hash stands there.
    """
    attached = verdict.attached
    if attached is None:
        return verdict
    checks = (*verdict.checks, *_against(attached, entries, content, where))
    return replace(verdict, checks=checks, is_elsewhere=not entries)


def _against(
    attached: Attached, entries: Sequence[Entry], content: bytes, where: str
) -> list[Check]:
    import hashlib

    own = attached.entries
    if not entries:
        return [Check("against", False, f"{where} does not hold job {own[0].job}")]
    for mine, theirs in zip(own, entries, strict=False):
        if mine.hash != theirs.hash:
            said = f"entry {mine.number} is another one than in {where}"
            return [Check("against", False, said)]
    if len(entries) < len(own):
        said = f"{where} ends at entry {len(entries)}, before entry {len(own)} of the certificate"
        return [Check("against", False, said)]
    checks = [Check("against", True, f"its journal is that of {where}")]
    number = attached.issue.number
    issued = [
        kept
        for kept in fold(own[0].job, entries).certificates
        if kept.event.certificate_number == number
    ]
    if attached.issue.is_draft:
        return checks
    if not issued:
        return [*checks, Check("issued", False, f"{where} knows no certificate {number}")]
    kept = issued[-1]
    if kept.voided is not None:
        said = f"{number} was withdrawn: {kept.voided.reason}"
        checks.append(Check("in force", False, said))
    later = [
        each.event.certificate_number
        for each in fold(own[0].job, entries).certificates
        if each.number > kept.number and each.voided is None
    ]
    if later:
        checks.append(Check("in force", None, f"it was replaced by {later[-1]}"))
    printed = attached.issue
    is_issued_form = (printed.paper, printed.units, printed.form) == printed.issued_as
    if is_issued_form and kept.event.document_sha256 is not None:
        is_same = hashlib.sha256(content).hexdigest() == kept.event.document_sha256
        said = (
            "the document is the one whose hash the journal holds"
            if is_same
            else "the document is not the one whose hash the journal holds"
        )
        checks.append(Check("document", is_same, said))
    return checks


def details(verdict: CertificateVerdict) -> Mapping[str, object]:
    """Return the verdict for programs."""
    found: dict[str, object] = {
        "checks": [
            {"what": check.what, "is_right": check.is_right, "said": check.said}
            for check in verdict.checks
        ]
    }
    if verdict.attached is not None and verdict.state is not None:
        issue = verdict.attached.issue
        found |= {
            "certificate": issue.number,
            "form": issue.form,
            "language": issue.language,
            "is_draft": issue.is_draft,
            "job": verdict.state.job,
            "entries": verdict.state.tip.number,
            "last_hash": verdict.state.tip.hash,
            "issued_at": issue.issued_at.isoformat(),
            "signed_by": issue.signed_by,
            "tables": {
                tank.tank_id: tank.accepted_table.event.digest
                for tank in verdict.state.standing_tanks
                if tank.accepted_table is not None
            },
        }
    return found
