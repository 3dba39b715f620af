"""Records as they come in live: JSON, one or many, with the log's own field names.

    {"vehicle": "T-7", "time": "2026-11-26T15:30:00Z", "counts": 812, "speed_kmh": 0, "ignition": 0}

A list of these, an object with ``records``, or one JSON object on each line are taken too.
Times are ISO 8601 with a zone, or seconds or milliseconds since 1970.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Any

from gaugewright.watch.order import EARLIEST_S
from gaugewright.watch.values import COLUMNS as EXTRA_COLUMNS

FIGURES = ("counts", "speed_kmh", "ignition", *EXTRA_COLUMNS, "counts_2", "counts_3", "counts_4")
"""Fields of a record beside its vehicle and time; what is not there is not known."""
MOST_RECORDS = 100_000
LONGEST_NAME = 200
_MILLISECONDS = 1e11
"""Numbers from here on are milliseconds: as seconds they would be the year 5138."""


@dataclass(frozen=True, slots=True)
class Record:
    """One record; ``figures`` in the order of `FIGURES`, ``None`` where not known. [s]"""

    vehicle: str
    time_s: float
    figures: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Refusal:
    """A record that cannot be taken; ``row`` counts from 1."""

    row: int
    field: str | None
    problem: str

    def as_json(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {"row": self.row, "field": self.field, "problem": self.problem}


def read_records(content: bytes, *, latest_s: float) -> tuple[list[Record], list[Refusal]]:
    """Return the records in a message, and those that cannot be taken.

    A record with a clock that cannot be right, later than ``latest_s`` [s since 1970], is
    refused; the others of its message are taken.

    >>> good, bad = read_records(b'[{"vehicle": "T-7", "time": 1.7e9, "counts": 812}, 5]',
    ...                          latest_s=2e9)
    >>> good[0].vehicle, bad[0].problem
    ('T-7', 'wanted an object with vehicle, time and counts, found 5')
    """
    try:
        rows = _rows(content)
    except (ValueError, RecursionError) as error:
        return [], [Refusal(1, None, f"is no JSON: {error}")]
    if len(rows) > MOST_RECORDS:
        return [], [Refusal(1, None, f"holds {len(rows)} records, at most {MOST_RECORDS}")]
    good: list[Record] = []
    bad: list[Refusal] = []
    for number, row in enumerate(rows, start=1):
        try:
            good.append(_record(row, latest_s))
        except _FieldError as error:
            bad.append(Refusal(number, error.field, str(error)))
    return good, bad


class _FieldError(Exception):
    def __init__(self, problem: str, field: str | None = None) -> None:
        super().__init__(problem)
        self.field = field


def _rows(content: bytes) -> list[Any]:
    text = content.decode("utf-8-sig")
    try:
        whole = json.loads(text)
    except ValueError:
        lines = [line for line in text.splitlines() if line.strip()]
        if len(lines) < 2:
            raise
        return [json.loads(line) for line in lines]
    if isinstance(whole, list):
        return whole
    if isinstance(whole, dict) and isinstance(whole.get("records"), list):
        return list(whole["records"])
    return [whole]


def _record(row: object, latest_s: float) -> Record:
    if not isinstance(row, Mapping):
        shown = json.dumps(row)[:40]
        raise _FieldError(f"wanted an object with vehicle, time and counts, found {shown}")
    vehicle = row.get("vehicle")
    if isinstance(vehicle, int) and not isinstance(vehicle, bool):
        vehicle = str(vehicle)
    if not isinstance(vehicle, str) or not vehicle.strip() or len(vehicle) > LONGEST_NAME:
        raise _FieldError(
            f"wanted a name of 1 to {LONGEST_NAME} letters, found {_shown(vehicle)}", "vehicle"
        )
    time_s = _time_s(row.get("time"))
    if not EARLIEST_S <= time_s <= latest_s:
        raise _FieldError(f"no right clock shows {_shown(row.get('time'))} now", "time")
    if "counts" not in row:
        raise _FieldError("is missing, wanted a number (null: the probe sent nothing)", "counts")
    return Record(vehicle.strip(), time_s, tuple(_figure(row.get(name), name) for name in FIGURES))


def _time_s(value: object) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value):
        return value / 1000 if abs(value) >= _MILLISECONDS else float(value)
    if isinstance(value, str):
        try:
            moment = datetime.fromisoformat(value.strip())
        except ValueError:
            raise _FieldError(
                f"{_shown(value)} is no time, wanted ISO 8601 with a zone", "time"
            ) from None
        if moment.tzinfo is None:
            raise _FieldError(f"{_shown(value)} has no zone, wanted for example ...Z", "time")
        return moment.timestamp()
    raise _FieldError(f"wanted ISO 8601 with a zone, or seconds, found {_shown(value)}", "time")


def _figure(value: object, name: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) and name == "ignition":
        return float(value)
    if isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value):
        return float(value)
    raise _FieldError(f"wanted a number or null, found {_shown(value)}", name)


def _shown(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, default=str)[:40]
