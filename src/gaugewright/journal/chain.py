"""The hash chain: pure functions over entries, no database and no clock.

An entry is one line of a job's journal.  Its hash is SHA-256 over the hash of the
entry before and over its own text exactly as stored, so checking a journal never
depends on how another version prints a number.

A chain shows every change inside it.  It cannot show that its *end* was cut off:
that is why a certificate prints the number and the hash of the last entry.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from math import isfinite
from typing import Any, NamedTuple

from gaugewright.errors import ChainError, InputError

GENESIS = "0" * 64
"""Stands where the hash of the entry before the first would be."""
MAX_NAME = 200
"""Longest job number, person or device. [characters]"""
MAX_TEXT = 4_000_000
"""Longest text of one entry. [characters]"""

_ENTRY_FIELDS = ("at", "device", "job", "kind", "number", "payload", "person")


class Tip(NamedTuple):
    """The end of a chain: what the next entry builds on."""

    number: int
    hash: str


START = Tip(0, GENESIS)
"""The tip of a journal without entries."""


class Line(NamedTuple):
    """An entry as a store or a file gives it, before anything in it is believed."""

    number: int
    text: str
    prev_hash: str
    hash: str


class Entry(NamedTuple):
    """One line of a job's journal: who did what, when, and the two hashes."""

    job: str
    number: int
    at: datetime
    person: str
    device: str
    kind: str
    payload: Mapping[str, Any]
    text: str
    """The canonical JSON that is stored; its UTF-8 bytes are what is hashed."""
    prev_hash: str
    hash: str

    @property
    def tip(self) -> Tip:
        """The end of the chain if this is its last entry."""
        return Tip(self.number, self.hash)

    @property
    def line(self) -> Line:
        """The entry as it is stored."""
        return Line(self.number, self.text, self.prev_hash, self.hash)


def canonical_json(value: Any) -> str:
    r"""Return the one JSON text of a value: keys sorted, no spaces, no NaN.

    Keys are sorted by UTF-16 code units and strings written as RFC 8785 asks.  Unlike
    there, numbers stay as they were written (45.0 is not turned into 45): a journal
    keeps what was recorded.  `InputError` names what JSON cannot hold.

    >>> canonical_json({"step": 3, "added_l": 45.5, "note": "gauge \u20ac"})
    '{"added_l":45.5,"note":"gauge €","step":3}'
    >>> canonical_json({"added_l": float("nan")})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: added_l: nan is not a finite number
    """
    try:
        text = _encoded_sorted(value)
        if text.isascii() and text.count("{") == 1 and text[0] == "{" and "".join(value):
            return text  # Most are: one object, every key a text, and all of it ASCII.
        # Where keys are ASCII, the order of code points is that of UTF-16 units.
        if not _has_plain_keys(value):
            text = _ENCODE(_ordered(value, ""))
    except (ValueError, TypeError, RecursionError):
        text = _ENCODE(_ordered(value, ""))  # The careful way names what is wrong.
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            raise InputError("text with half a character (a lone surrogate) is no text") from None
    return text


def digest(prev_hash: str, text: str) -> str:
    """Return the hash of an entry, 64 hexadecimal digits.

    >>> digest(GENESIS, "{}")[:16]
    '5649d09ed68c1715'
    """
    hashed = _SHA256.copy()  # to look the algorithm up again takes longer than to use it
    hashed.update(f"{prev_hash}\n{text}".encode())
    return hashed.hexdigest()


def next_entry(
    tip: tuple[int, str],
    *,
    job: str,
    at: datetime,
    person: str,
    device: str,
    kind: str,
    payload: Mapping[str, Any],
) -> Entry:
    """Return the entry that follows ``tip``; ``at`` must carry a time zone.

    ``tip`` is a `Tip` or the same two without their names.

    Raises `InputError` for a name that is empty, too long or holds control characters,
    for a time without a zone, and for a payload that JSON cannot hold.

    >>> when = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
    >>> first = next_entry(START, job="J-1", at=when, person="Ada", device="laptop",
    ...                    kind="note_added", payload={"text": "drained"})
    >>> first.number, first.prev_hash == GENESIS
    (1, True)
    >>> [entry.kind for entry in checked([first])]
    ['note_added']
    """
    head, tail = _names_as_text(job, person, device, kind)
    if at.tzinfo is not UTC:
        if at.tzinfo is None or at.utcoffset() is None:
            raise InputError(f"{at.isoformat()} has no time zone", field="at")
        at = at.astimezone(UTC)
    last, prev_hash = tip
    # The same text as the canonical JSON of the whole, put together from its parts.
    when = at.isoformat("T", "microseconds")
    text = f'{{"at":"{when}",{head}{last + 1},"payload":{canonical_json(payload)},{tail}'
    if len(text) > MAX_TEXT:
        raise InputError(f"an entry of {len(text)} characters is too long, at most {MAX_TEXT}")
    return Entry(
        job,
        last + 1,
        at,
        person,
        device,
        kind,
        payload,
        text,
        prev_hash,
        digest(prev_hash, text),
    )


@lru_cache(maxsize=256)
def _names_as_text(job: str, person: str, device: str, kind: str) -> tuple[str, str]:
    """Return what stands before the number and after the payload, the names being checked."""
    for name, word in (("job", job), ("person", person), ("device", device), ("kind", kind)):
        _require_name(name, word)
    before = canonical_json({"device": device, "job": job, "kind": kind, "number": 0})
    return before[1:-2], canonical_json({"person": person})[1:]


def checked(entries: Iterable[Entry], after: Tip = START) -> Iterator[Entry]:
    """Pass entries on, or raise `ChainError` at the first that is not what was written."""
    for entry in entries:
        _require_follows(after, entry.line)
        again = read_line(entry.job, entry.line)
        if again._replace(payload=entry.payload) != entry:
            raise ChainError(f"entry {entry.number} does not say what its text says")
        after = entry.tip
        yield entry


def read_lines(job: str, lines: Iterable[Line], after: Tip = START) -> Iterator[Entry]:
    """Return the entries of stored lines, each one checked before it is believed.

    Raises `ChainError` naming the first entry that is missing, altered or of another job.
    """
    for line in lines:
        _require_follows(after, line)
        entry = read_line(job, line)
        after = entry.tip
        yield entry


def read_line(job: str | None, line: Line) -> Entry:
    """Return the entry that a stored line holds; its place in the chain is not checked.

    ``job`` is the job that it must belong to, ``None`` if that is still to be learnt.
    """
    try:
        record = json.loads(
            line.text,
            object_pairs_hook=_without_doubles,
            parse_constant=_refuse_constant,
            parse_float=_finite,
        )
        at = _read_record(record)
    except (ValueError, RecursionError) as error:
        raise ChainError(f"entry {line.number} is not a journal entry: {error}") from None
    if job is None:
        job = record["job"]
    if record["job"] != job or record["number"] != line.number:
        raise ChainError(
            f"entry {line.number} of job {job} says it is "
            f"entry {record['number']} of job {record['job']}"
        )
    return Entry(
        record["job"],
        line.number,
        at,
        record["person"],
        record["device"],
        record["kind"],
        record["payload"],
        line.text,
        line.prev_hash,
        line.hash,
    )


def clock_set_back(entries: Iterable[Entry]) -> tuple[int, ...]:
    """Return the numbers of the entries whose time is before that of the one before.

    Entries are ordered by number alone; a clock that was set back is shown, not refused.
    """
    numbers = []
    last: datetime | None = None
    for entry in entries:
        if last is not None and entry.at < last:
            numbers.append(entry.number)
        last = entry.at
    return tuple(numbers)


def _require_follows(after: Tip, line: Line) -> None:
    if line.number != after.number + 1:
        raise ChainError(
            f"entry {after.number + 1} is missing: entry {line.number} comes after "
            f"{f'entry {after.number}' if after.number else 'the beginning'}"
        )
    if line.prev_hash != after.hash or line.hash != digest(after.hash, line.text):
        raise ChainError(f"entry {line.number} is not what was written: its hash does not match")


def _read_record(record: Any) -> datetime:
    if not isinstance(record, dict):
        raise ValueError("not an object")
    missing = [name for name in _ENTRY_FIELDS if name not in record]
    if missing:
        raise ValueError(f"{missing[0]} is missing")
    for name in ("at", "device", "job", "kind", "person"):
        if not isinstance(record[name], str):
            raise ValueError(f"{name} is not text")
    if type(record["number"]) is not int or not isinstance(record["payload"], dict):
        raise ValueError("number or payload is of the wrong type")
    at = datetime.fromisoformat(record["at"])
    if at.tzinfo is None:
        raise ValueError("its time has no zone")
    return at.astimezone(UTC)


def _require_name(name: str, word: str) -> None:
    if not word or word != word.strip() or len(word) > MAX_NAME or not word.isprintable():
        raise InputError(
            f"must be 1 to {MAX_NAME} printable characters without spaces around them, "
            f"found {word[: MAX_NAME + 1]!r}",
            field=name,
        )


def _ordered(value: Any, path: str) -> Any:
    """Return the value with every key in place, or `InputError` naming the path."""
    match value:
        case None | bool() | str() | int():
            return value
        case float():
            if not isfinite(value):
                raise InputError(f"{value} is not a finite number", field=path or None)
            return float(value)
        case Mapping():
            wrong = next((key for key in value if not isinstance(key, str)), None)
            if wrong is not None:
                raise InputError(f"a key must be text, found {wrong!r}", field=path or None)
            return {
                key: _ordered(value[key], f"{path}.{key}" if path else key)
                for key in sorted(value, key=_utf16)
            }
        case list() | tuple():
            return [_ordered(item, f"{path}[{place}]") for place, item in enumerate(value)]
    raise InputError(f"a {type(value).__name__} cannot be kept in a journal", field=path or None)


def _has_plain_keys(value: Any) -> bool:
    """Tell whether all keys are ASCII text; `TypeError` if one is no text at all."""
    if type(value) is dict:
        if not "".join(value).isascii():
            return False
        value = value.values()
    elif type(value) not in (list, tuple):
        return not isinstance(value, Mapping)
    if _CONTAINERS.isdisjoint(map(type, value)):  # most payloads are flat
        return True
    return all(_has_plain_keys(each) for each in value if type(each) in _CONTAINERS)


def _utf16(key: str) -> bytes:
    return key.encode("utf-16-be", "surrogatepass")


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        raise ValueError("a key stands twice")
    return result


def _finite(text: str) -> float:
    value = float(text)
    if not isfinite(value):
        raise ValueError(f"{text} is too large a number")
    return value


def _refuse_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a number")


def _sorting_encoder() -> Callable[[Any], str]:
    """Return what writes JSON with sorted keys, made once.

    `json.JSONEncoder.encode` makes its C part anew at every call, which costs an append
    more than the writing; where Python has no such part, it does.
    """
    encoder = json.JSONEncoder(
        # A value that holds itself ends as too deep a one does, and is named by the careful way.
        ensure_ascii=False,
        allow_nan=False,
        sort_keys=True,
        separators=(",", ":"),
        check_circular=False,
    )
    make = getattr(json.encoder, "c_make_encoder", None)
    if make is None:
        return encoder.encode
    parts = make(
        None, encoder.default, json.encoder.encode_basestring, None, ":", ",", True, False, False
    )
    return lambda value: "".join(parts(value, 0))


_SHA256 = hashlib.sha256()
_CONTAINERS = frozenset((dict, list, tuple))
_ENCODE: Callable[[Any], str] = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, separators=(",", ":")
).encode
_encoded_sorted = _sorting_encoder()
