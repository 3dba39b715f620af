"""What is attached to a certificate, so that it can be checked with nothing else."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gaugewright.certificate.issue import Issue, issue_from
from gaugewright.certificate.tank_part import table_of
from gaugewright.errors import ChainError, InputError
from gaugewright.journal.chain import Entry, canonical_json
from gaugewright.journal.exchange import journal_lines, read_journal
from gaugewright.journal.state import JobState
from gaugewright.table.export import export_csv
from gaugewright.words import said

JOURNAL, ISSUE = "journal.jsonl", "issue.json"
PHOTO_PREFIX = "photo-"


@dataclass(frozen=True, slots=True)
class Attachment:
    """One embedded file."""

    name: str
    content: bytes
    media_type: str
    relationship: str
    """PDF 2.0, 7.11.3, AFRelationship: ``source``, ``data`` or ``supplement``."""
    description: str


@dataclass(frozen=True, slots=True)
class Attached:
    """What was found attached, each entry of the journal checked."""

    entries: tuple[Entry, ...]
    issue: Issue
    tables: Mapping[str, bytes]
    """File name → the table's file."""
    photos: Mapping[str, bytes]
    """SHA-256 of the photo → the photo made small."""


def attachments(
    entries: Sequence[Entry], issue: Issue, state: JobState, photos: Mapping[str, bytes]
) -> tuple[Attachment, ...]:
    """Return what is attached to the certificate of a job."""
    found = [
        Attachment(
            JOURNAL,
            journal_lines(entries),
            "application/jsonl",
            "source",
            said(
                "The journal of job {job}, entries 1 to {last}",
                job=state.job,
                last=state.tip.number,
            ),
        ),
        Attachment(
            ISSUE,
            (canonical_json(issue.as_json()) + "\n").encode(),
            "application/json",
            "supplement",
            said("What the certificate was issued with"),
        ),
    ]
    for tank_id, name in table_names(state).items():
        made = state.tanks[tank_id].accepted_table
        assert made is not None
        content = export_csv(table_of(made.event.rows)).encode()
        told = said("The table of tank {tank}", tank=tank_id)
        found.append(Attachment(name, content, "text/csv", "data", told))
    for sha256, small in sorted(photos.items()):
        found.append(
            Attachment(
                f"{PHOTO_PREFIX}{sha256}.jpg",
                small,
                "image/jpeg",
                "supplement",
                said("Photo {hash} made small", hash=sha256[:12]),
            )
        )
    return tuple(found)


def table_names(state: JobState) -> dict[str, str]:
    """Return the file name of each accepted table by its tank, never two the same."""
    names: dict[str, str] = {}
    for tank in state.standing_tanks:
        if tank.accepted_table is None:
            continue
        safe = "".join(
            c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in tank.tank_id
        )
        name = f"table-{safe}.csv"
        if name in names.values():
            name = f"table-{safe}-{len(names) + 1}.csv"
        names[tank.tank_id] = name
    return names


def read_attachments(files: Mapping[str, bytes]) -> Attached:
    """Return what the attached files say, every hash of the journal checked.

    Raises `ChainError` for a journal that is not what was written, and `InputError` for
    files that are missing or are not what they should be.
    """
    for name in (JOURNAL, ISSUE):
        if name not in files:
            raise InputError(said("{name} is not attached", name=name))
    entries = read_journal(files[JOURNAL])
    try:
        issue = issue_from(json.loads(files[ISSUE]))
    except (ValueError, RecursionError) as error:
        raise InputError(said("{issue}: {error}", issue=ISSUE, error=error)) from None
    if journal_lines(entries) != files[JOURNAL]:
        raise ChainError(said("the journal is not written as it was"))
    photos = {
        name.removeprefix(PHOTO_PREFIX).removesuffix(".jpg"): content
        for name, content in files.items()
        if name.startswith(PHOTO_PREFIX)
    }
    tables = {name: content for name, content in files.items() if name.endswith(".csv")}
    strange = set(files) - {JOURNAL, ISSUE} - set(tables)
    strange -= {f"{PHOTO_PREFIX}{sha256}.jpg" for sha256 in photos}
    if strange:
        raise InputError(
            said("{value!r} does not belong to a certificate", value=sorted(strange)[0][:60])
        )
    return Attached(entries, issue, tables, photos)
