"""Records from a file that grows: CSV with a header, or one JSON document a line."""

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, ClassVar, Final

from gaugewright.errors import SourceError
from gaugewright.instruments.events import (
    SYSTEM_CLOCK,
    Clock,
    Fault,
    Sample,
    Signal,
    TroubleKind,
)
from gaugewright.instruments.payload import Payload, moment
from gaugewright.instruments.records import Once, RecordsSettings
from gaugewright.instruments.source import Source

LONGEST_LINE: Final = 100_000
"""A line above this is no record. [bytes]"""
MOST_AT_ONCE: Final = 1_000_000
"""Read at once, so that a huge file cannot fill the memory. [bytes]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsFileSettings(RecordsSettings):
    """A growing file.  Lines that begin with ``{`` are JSON, others CSV under a header."""

    kind: ClassVar[str] = "records_file"

    path: str
    value_column: str = "value"
    time_column: str = "time"
    from_start: bool = False
    """Whether what stood in the file before counts too."""

    def _check(self) -> None:
        self._require_text("path")
        Payload(self.value_path, self.time_path, self.records_path)

    @property
    def place(self) -> str:
        """Where the records come from."""
        return f"the file {Path(self.path).name}"


class RecordsFileSource(Source[RecordsFileSettings]):
    """Follows a file from its end, or from its beginning; begins anew if it is cut short."""

    def __init__(self, settings: RecordsFileSettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._file: BinaryIO | None = None
        self._rest = b""
        self._columns: list[str] | None = None
        self._delimiter = ","
        self._once = Once()
        self._is_first = True
        self._payload = Payload(
            settings.value_path if settings.value_path != "$" else "$.value",
            settings.time_path,
            settings.records_path,
        )

    def _connect(self) -> None:
        path = self.settings.path
        try:
            # Open for as long as the source is: `_disconnect` closes it.
            self._file = Path(path).open("rb")  # noqa: SIM115 - see above
            header = self._file.readline(LONGEST_LINE)
            if not header.lstrip().startswith((b"{", b"[")):
                self._take_header(header)
            else:
                self._file.seek(0)
            if self._is_first and not self.settings.from_start:
                self._file.seek(0, os.SEEK_END)
        except OSError as error:
            self._disconnect()
            raise SourceError(f"cannot open {path}: {error.strerror}") from error
        self._is_first = False
        self._rest = b""

    def _take_header(self, header: bytes) -> None:
        text = header.decode("utf-8-sig", "replace").strip("\r\n")
        if not text:
            self._columns = None
            return
        self._delimiter = next((mark for mark in "\t;" if mark in text), ",")
        names = next(csv.reader([text], delimiter=self._delimiter), [])
        self._columns = [name.strip() for name in names]

    def _receive(self, timeout_s: float) -> Sequence[Signal] | None:
        assert self._file is not None
        try:
            if os.stat(self.settings.path).st_size < self._file.tell():
                raise SourceError(f"{self.settings.path} was cut short or put anew")
            found = self._file.read(MOST_AT_ONCE)
        except OSError as error:
            raise SourceError(f"cannot read {self.settings.path}: {error.strerror}") from error
        if not found:
            self._stop.wait(timeout_s)
            return []
        *lines, self._rest = (self._rest + found).split(b"\n")
        signals = [each for line in lines for each in self._signals(line)]
        if len(self._rest) > LONGEST_LINE:
            self._rest = b""
            signals.append(Fault(TroubleKind.GARBAGE, f"a line above {LONGEST_LINE} bytes"))
        return self._once.new(signals)

    def _signals(self, line: bytes) -> list[Signal]:
        line = line.strip()
        if not line:
            return []
        if line.startswith((b"{", b"[")):
            return self._payload.signals(line)
        if self._columns is None:
            self._take_header(line)
            return []
        return [self._of_csv(line)]

    def _of_csv(self, line: bytes) -> Signal:
        assert self._columns is not None
        text = line.decode("utf-8", "replace")
        cells = next(csv.reader(io.StringIO(text), delimiter=self._delimiter), [])
        row: dict[str, Any] = dict(zip(self._columns, (c.strip() for c in cells), strict=False))
        s = self.settings
        for name in (s.value_column, s.time_column):
            if name not in row:
                known = ", ".join(self._columns)
                return Fault(TroubleKind.GARBAGE, f"no column '{name}'; there are {known}", line)
        try:
            value = float(row[s.value_column].replace(",", "."))
            at = moment(row[s.time_column])
        except ValueError as error:  # `InputError` is one
            return Fault(TroubleKind.GARBAGE, f"a record that cannot be read: {error}", line[:256])
        return Sample(value, None, line[:256], at)

    def _disconnect(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
