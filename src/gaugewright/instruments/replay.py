"""A recorded file played back, at the speed it was recorded or any other."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from pathlib import Path
from typing import ClassVar, TextIO

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import (
    SYSTEM_CLOCK,
    Clock,
    Fault,
    Sample,
    Signal,
    TroubleKind,
)
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source

BATCH = 512
"""Rows handed on at once when there is no pace to keep."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplaySettings(SourceSettings):
    """A CSV file with a header and the columns ``time``, ``counts`` and any others.

    ``time`` is seconds, or ISO 8601 with a zone.  ``temperature_c`` is read if there.
    """

    kind: ClassVar[str] = "replay"

    path: str
    speed: float | None = 1.0
    """Times faster than recorded; None is as fast as possible."""

    def _check(self) -> None:
        self._require_text("path")
        if self.speed is not None:
            self._require_positive("speed")


class ReplaySource(Source[ReplaySettings]):
    """Plays a file row by row; it never holds more of it than a batch."""

    def __init__(self, settings: ReplaySettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._file: TextIO | None = None
        self._rows: Iterator[list[str]] = iter(())
        self._columns: dict[str, int] = {}
        self._start_s: float | None = None
        self._first_s = 0.0
        self._waiting: tuple[float, Signal] | None = None

    def _connect(self) -> None:
        s = self.settings
        try:
            # Open for as long as the source is: `_disconnect` closes it.
            self._file = Path(s.path).open(encoding="utf-8-sig", newline="")  # noqa: SIM115 - see above
            header = self._file.readline()
        except OSError as error:
            raise SourceError(f"cannot open {s.describe()}: {error.strerror}") from error
        except UnicodeDecodeError as error:
            self._disconnect()
            raise InputError("is not a UTF-8 text file", file=s.path) from error
        # A semicolon between fields goes with decimal commas in them.
        delimiter = ";" if ";" in header else ","
        names = [name.strip() for name in next(csv.reader([header], delimiter=delimiter), [])]
        self._columns = {name: n for n, name in enumerate(names)}
        for wanted in ("time", "counts"):
            if wanted not in self._columns:
                self._disconnect()
                found = ", ".join(names) or "nothing"
                raise InputError(
                    f"there is no column {wanted!r}; the header has {found}",
                    file=s.path,
                    line=1,
                )
        self._rows = csv.reader(self._file, delimiter=delimiter)
        self._start_s = None
        self._waiting = None

    def _receive(self, timeout_s: float) -> Sequence[Signal] | None:
        if self.settings.speed is None:
            batch = [signal for _, signal in _first(BATCH, self._signals())]
            return batch or None
        if self._waiting is None:
            self._waiting = next(self._signals(), None)
            if self._waiting is None:
                return None
        time_s, signal = self._waiting
        now_s = self.clock.monotonic_s()
        if self._start_s is None:
            self._start_s, self._first_s = now_s, time_s
        due_s = self._start_s + (time_s - self._first_s) / self.settings.speed
        if due_s > now_s:
            self._stop.wait(min(timeout_s, due_s - now_s))
        if self.clock.monotonic_s() < due_s:
            return []
        self._waiting = None
        return [signal]

    def _signals(self) -> Iterator[tuple[float, Signal]]:
        """Give recorded time [s] and signal of each row from here on."""
        last_s = 0.0
        for row in self._rows:
            if not row:
                continue
            raw = ",".join(row).encode()
            try:
                at_s, device_at = self._time(row)
                sample = Sample(self._number(row, "counts"), self._temperature(row), raw, device_at)
            except InputError as error:
                yield last_s, Fault(TroubleKind.GARBAGE, str(error), raw)
                continue
            last_s = at_s
            yield at_s, sample

    def _cell(self, row: list[str], name: str) -> str:
        place = self._columns[name]
        if place >= len(row):
            raise InputError(f"the row has {len(row)} fields", field=name)
        return row[place].strip()

    def _number(self, row: list[str], name: str) -> float:
        text = self._cell(row, name)
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            raise InputError(f"a number was wanted, found {text!r}", field=name) from None
        if not isfinite(number):
            raise InputError(f"a number was wanted, found {text!r}", field=name)
        return number

    def _temperature(self, row: list[str]) -> float | None:
        if "temperature_c" not in self._columns or not self._cell(row, "temperature_c"):
            return None
        return self._number(row, "temperature_c")

    def _time(self, row: list[str]) -> tuple[float, datetime | None]:
        text = self._cell(row, "time")
        if not any(mark in text for mark in ":T"):
            return self._number(row, "time"), None
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            at = None
        if at is None or at.tzinfo is None:
            raise InputError(
                f"seconds, or ISO 8601 with a zone, were wanted, found {text!r}", field="time"
            )
        at = at.astimezone(UTC)
        return at.timestamp(), at

    def _disconnect(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None


def _first(count: int, items: Iterator[tuple[float, Signal]]) -> Iterator[tuple[float, Signal]]:
    """Give at most ``count`` items and leave the rest where they are."""
    for _ in range(count):
        item = next(items, None)
        if item is None:
            return
        yield item
