"""A job as one file, to be sent, kept and taken in again.

The file is a zip of ``manifest.json``, ``journal.jsonl`` and ``photos/<SHA-256>``.  One
line of the journal is ``{"entry":<the text as hashed>,"hash":"<64 digits>"}``.  Everything
else in the file follows from the entries and the photos, so packing them again must
give the same bytes: no byte of it can be changed unseen.

What is proved is that the file is whole and of one piece.  Who made it is proved only
against something outside it: the hash of the last entry, which a certificate prints.
"""

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from gaugewright.errors import ChainError, FileError, InputError, JournalError
from gaugewright.journal.chain import START, Entry, Line, canonical_json, digest, read_line
from gaugewright.journal.stored_zip import pack, unpack

FORMAT = "gaugewright job file"
FORMAT_VERSION = 1
MAX_FILE_BYTES = 500_000_000
"""Largest job file that is taken in or sent out."""
PHOTO_KIND = "photo_added"
"""The kind of entry whose ``sha256`` names a photo that must be in the file."""

_HEAD, _MIDDLE, _TAIL = '{"entry":', ',"hash":"', '"}'
_HASH_LENGTH = 64
_PHOTO_NAME = re.compile(r"photos/([0-9a-f]{64})")


class JobFile(NamedTuple):
    """A job file whose every byte was checked."""

    job: str
    entries: tuple[Entry, ...]
    photos: Mapping[str, bytes]


class Imported(NamedTuple):
    """What taking in a job file did."""

    job: str
    added: int
    already_there: int
    photos: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a job file is what was written, in one line."""

    is_unaltered: bool
    line: str


def pack_job(entries: Sequence[Entry], photos: Mapping[str, bytes]) -> bytes:
    """Return the job file of a job's entries and photos; the same job, the same bytes."""
    manifest = {
        "entries": len(entries),
        "format": FORMAT,
        "job": entries[0].job,
        "last_hash": entries[-1].hash,
        "photos": {sha256: len(photo) for sha256, photo in photos.items()},
        "version": FORMAT_VERSION,
    }
    packed = pack(
        [
            ("manifest.json", (canonical_json(manifest) + "\n").encode()),
            ("journal.jsonl", journal_lines(entries)),
            *((f"photos/{sha256}", photos[sha256]) for sha256 in sorted(photos)),
        ]
    )
    if len(packed) > MAX_FILE_BYTES:
        raise JournalError(
            f"the job's file would have {len(packed) / 1e6:.0f} MB, "
            f"at most {MAX_FILE_BYTES / 1e6:.0f} MB"
        )
    return packed


def read_job(content: bytes) -> JobFile:
    """Return what a job file holds, after checking every byte of it.

    Raises `ChainError` naming the first entry that is not what was written, and
    `JournalError` for a file that is not a job file or was altered elsewhere.
    """
    if len(content) > MAX_FILE_BYTES:
        raise JournalError(
            f"not a job file: {len(content) / 1e6:.0f} MB, at most {MAX_FILE_BYTES / 1e6:.0f} MB"
        )
    try:
        members = unpack(content)
    except InputError as error:
        raise JournalError(f"not a job file as it was written: {error}") from None
    names = [name for name, _ in members]
    if names[:2] != ["manifest.json", "journal.jsonl"]:
        raise JournalError("not a job file: manifest and journal are not where they belong")
    entries = read_journal(members[1][1])
    photos = {}
    for name, photo in members[2:]:
        found = _PHOTO_NAME.fullmatch(name)
        if found is None:
            raise JournalError(f"altered: {name[:80]!r} does not belong into a job file")
        if hashlib.sha256(photo).hexdigest() != found[1]:
            raise JournalError(f"altered: photo {found[1][:12]} is not what was written")
        photos[found[1]] = photo
    _require_all_photos(entries, photos)
    if pack_job(entries, photos) != content:
        raise JournalError(
            f"altered: the {len(entries)} entries are unaltered, "
            f"but the file around them is not what was written"
        )
    return JobFile(entries[0].job, entries, photos)


def verify_job_file(path: Path | str) -> Verdict:
    """Return in one line whether a job file is unaltered, or the first entry that is not.

    Raises `FileError` if the file cannot be read at all.
    """
    path = Path(path)
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            return Verdict(False, f"{path.name}: not a job file, it is too large")
        content = path.read_bytes()
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror or error}") from None
    return verify_job_bytes(content, path.name)


def verify_job_bytes(content: bytes, name: str) -> Verdict:
    """Return in one line whether the bytes of a job file are unaltered."""
    try:
        job_file = read_job(content)
    except JournalError as error:
        return Verdict(False, f"{name}: {error}")
    last = job_file.entries[-1]
    photos = f"{len(job_file.photos)} photo{'' if len(job_file.photos) == 1 else 's'}"
    return Verdict(
        True,
        f"{name}: unaltered, job {job_file.job}, {last.number} entries, {photos}, "
        f"last hash {last.hash}",
    )


def photos_named_in(entries: Sequence[Entry]) -> frozenset[str]:
    """Return the SHA-256 of every photo that entries speak of."""
    return frozenset(
        str(entry.payload.get("sha256")) for entry in entries if entry.kind == PHOTO_KIND
    )


def _require_all_photos(entries: Sequence[Entry], photos: Mapping[str, bytes]) -> None:
    named = photos_named_in(entries)
    if strange := sorted(set(photos) - named):
        raise JournalError(f"altered: no entry speaks of photo {strange[0][:12]}")
    if missing := sorted(named - set(photos)):
        raise JournalError(f"altered: photo {missing[0][:12]} was taken out")


def journal_lines(entries: Sequence[Entry]) -> bytes:
    """Return a journal as a file of lines, one for each entry, its text exactly as hashed."""
    lines = (f"{_HEAD}{entry.text}{_MIDDLE}{entry.hash}{_TAIL}\n" for entry in entries)
    return "".join(lines).encode()


def read_journal(journal: bytes) -> tuple[Entry, ...]:
    """Return the entries of such a file, each one checked.

    Raises `ChainError` naming the first that is not what was written.
    """
    entries: list[Entry] = []
    tip = START
    *lines, rest = journal.split(b"\n")
    for number, raw in enumerate(lines, start=1):
        line = _read_line(number, raw, tip.hash)
        entry = read_line(entries[0].job if entries else None, line)
        entries.append(entry)
        tip = entry.tip
    if rest or not entries:
        raise ChainError(f"entry {len(entries) + 1} is not what was written: it is not whole")
    return tuple(entries)


def _read_line(number: int, raw: bytes, prev_hash: str) -> Line:
    """Return the line whose text has the hash beside it, cut out without reading it as JSON."""
    wrong = ChainError(f"entry {number} is not what was written: its hash does not match")
    try:
        line = raw.decode()
    except UnicodeDecodeError:
        raise wrong from None
    text = line[len(_HEAD) : -len(_MIDDLE) - _HASH_LENGTH - len(_TAIL)]
    stated = line[-_HASH_LENGTH - len(_TAIL) : -len(_TAIL)]
    if stated != digest(prev_hash, text):
        raise wrong
    return Line(number, text, prev_hash, stated)
