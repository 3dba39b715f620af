"""From what another system sends to records: JSON by paths, or a bare figure."""

import json
from datetime import UTC, datetime
from math import isfinite
from typing import Any, Final

from gaugewright.errors import InputError
from gaugewright.instruments.events import Fault, Sample, Signal, TroubleKind
from gaugewright.instruments.json_path import NOT_THERE, Step, parse_path, value_at

MILLISECONDS_FROM: Final = 1e11
"""Unix times above this are milliseconds: as seconds it would be the year 5138."""
MOST_RECORDS: Final = 5_000
"""Records that are taken from one answer."""


class Payload:
    """Reads records out of messages.

    >>> reader = Payload("$.fuel", "$.at")
    >>> sample = reader.signals(b'{"fuel": "45,5", "at": "2026-05-04T09:30:00Z"}')[0]
    >>> sample.counts, sample.device_at.minute
    (45.5, 30)
    """

    def __init__(self, value: str, time: str = "", records: str = "") -> None:
        self._value = parse_path(value or "$", "value_path")
        self._time: tuple[Step, ...] | None = parse_path(time, "time_path") if time else None
        self._records = parse_path(records, "records_path") if records else None

    @property
    def has_times(self) -> bool:
        """Whether records say their own time."""
        return self._time is not None

    def signals(self, raw: bytes) -> list[Signal]:
        """Return the records of one message, or what is wrong with it."""
        try:
            document = json.loads(raw.decode("utf-8-sig"))
        except (UnicodeDecodeError, ValueError, RecursionError) as error:
            return [_fault(f"is not JSON: {error}", raw)]
        if self._records is None:
            return [self._signal(document, raw)]
        found = value_at(document, self._records)
        if not isinstance(found, list):
            return [_fault("there is no list of records at records_path", raw)]
        kept = found[-MOST_RECORDS:]
        return [self._signal(each, json.dumps(each).encode()) for each in kept]

    def _signal(self, record: Any, raw: bytes) -> Signal:
        try:
            value = _figure(value_at(record, self._value))
            at = None if self._time is None else moment(value_at(record, self._time))
        except InputError as error:
            return _fault(str(error), raw)
        return Sample(value, None, raw[:256], at)


def moment(found: Any) -> datetime:
    """Return a record's own time: ISO 8601 with a zone, or Unix seconds or milliseconds.

    >>> moment(1777887000).isoformat(), moment("2026-05-04T11:30:00+02:00").isoformat()
    ('2026-05-04T09:30:00+00:00', '2026-05-04T09:30:00+00:00')
    >>> moment("2026-05-04 09:30")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: time_path: '2026-05-04 09:30' has no zone; wanted ISO 8601 \
with one, such as 2026-05-04T09:30:00Z, or Unix seconds
    """
    wanted = "wanted ISO 8601 with one, such as 2026-05-04T09:30:00Z, or Unix seconds"
    if found is NOT_THERE:
        raise InputError("there is no time in the record", field="time_path")
    if isinstance(found, bool) or not isinstance(found, int | float | str):
        raise InputError(f"{found!r:.60} is no time; {wanted}", field="time_path")
    if isinstance(found, str):
        try:
            found = float(found)
        except ValueError:
            return _iso(str(found), wanted)
    seconds = float(found) / 1000 if abs(found) >= MILLISECONDS_FROM else float(found)
    try:
        return datetime.fromtimestamp(seconds, UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(f"{found!r:.60} is no time; {wanted}", field="time_path") from None


def _iso(text: str, wanted: str) -> datetime:
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"'{text[:60]}' is no time; {wanted}", field="time_path") from None
    if at.tzinfo is None:
        raise InputError(f"'{text[:60]}' has no zone; {wanted}", field="time_path")
    return at.astimezone(UTC)


def _figure(found: Any) -> float:
    if found is NOT_THERE:
        raise InputError("there is no value in the record", field="value_path")
    if isinstance(found, str):
        try:
            found = float(found.strip().replace(",", "."))
        except ValueError:
            raise InputError(f"'{found[:60]}' is not a number", field="value_path") from None
    if isinstance(found, bool) or not isinstance(found, int | float) or not isfinite(found):
        raise InputError(f"{found!r:.60} is not a number", field="value_path")
    return float(found)


def _fault(message: str, raw: bytes) -> Fault:
    return Fault(TroubleKind.GARBAGE, f"a record that cannot be read: {message}", raw[:256])
