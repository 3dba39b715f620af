"""Lines of text on a serial port, read by a pattern that the person gives."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

import serial

from gaugewright.errors import SourceError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock, Signal
from gaugewright.instruments.lines import LineReader
from gaugewright.instruments.pattern import compile_pattern
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said

Parity = Literal["none", "even", "odd"]
PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialTextSettings(SourceSettings):
    """A serial port and what its lines mean; see `pattern` for patterns.

    >>> SerialTextSettings(port="/dev/ttyUSB0", pattern="counts={counts}").describe()
    'probe (serial_text port=/dev/ttyUSB0 pattern=counts={counts} baud=9600 data_bits=8 \
parity=none stop_bits=1 half_line_after_s=1.0)'
    """

    kind: ClassVar[str] = "serial_text"

    port: str
    """Device name, or a URL that pyserial knows."""
    pattern: str
    baud: int = 9600
    data_bits: Literal[7, 8] = 8
    parity: Parity = "none"
    stop_bits: Literal[1, 2] = 1
    half_line_after_s: float = 1.0
    """A line without its end for this long is shown as half a line. [s]"""

    def _check(self) -> None:
        self._require_text("port")
        self._require_positive("baud")
        self._require_positive("half_line_after_s")
        compile_pattern(self.pattern)


class SerialTextSource(Source[SerialTextSettings]):
    """Reads lines of text from a serial port."""

    def __init__(self, settings: SerialTextSettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._port: serial.SerialBase | None = None
        self._lines = self._new_lines()
        self._was_lost = False

    @property
    def last_lines(self) -> tuple[str, ...]:
        """The last lines that came, for the pattern tester."""
        return self._lines.last_lines

    def _new_lines(self) -> LineReader:
        s = self.settings
        return LineReader(compile_pattern(s.pattern), s.half_line_after_s)

    def _connect(self) -> None:
        s = self.settings
        try:
            self._port = serial.serial_for_url(
                s.port,
                baudrate=s.baud,
                bytesize=s.data_bits,
                parity=PARITIES[s.parity],
                stopbits=s.stop_bits,
                timeout=0.1,
                exclusive=True,
            )
        except (OSError, ValueError) as error:  # SerialException is an OSError
            # The library's own text names the number of the error and the port, each twice.
            why = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else error
            raise SourceError(
                said(
                    "cannot open {describe}: {error}. Is it plugged in, and does no other "
                    "program hold it?",
                    describe=s.describe(),
                    error=why,
                )
            ) from error
        self._lines = self._new_lines()
        self._was_lost = False

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        if self._port is None or self._was_lost:
            raise SourceError(
                said("the line is gone: {describe}", describe=self.settings.describe())
            )
        try:
            self._port.timeout = timeout_s
            data = self._port.read(1)
            data += self._port.read(self._port.in_waiting) if data else b""
        except (OSError, TypeError) as error:  # TypeError: pyserial, closed under its hands
            self._was_lost = True
            pending = self._lines.end("the line was cut in the middle")
            if pending:
                return pending
            raise SourceError(
                said(
                    "the line is gone: {describe}: {error}",
                    describe=self.settings.describe(),
                    error=error,
                )
            ) from error
        return self._lines.feed(data, self.clock.monotonic_s())

    def _disconnect(self) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
