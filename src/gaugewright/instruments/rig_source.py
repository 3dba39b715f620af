"""The rig in this process, as a source like any other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from gaugewright.instruments.events import SYSTEM_CLOCK, Clock, Signal
from gaugewright.instruments.lines import LineReader
from gaugewright.instruments.pattern import compile_pattern
from gaugewright.instruments.rig import RIG_PATTERN, Rig, rig_line
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source


@dataclass(frozen=True, slots=True, kw_only=True)
class RigSourceSettings(SourceSettings):
    """How fast the rig's time passes."""

    kind: ClassVar[str] = "rig"

    speed: float = 1.0
    """Seconds in the rig for each second here."""
    half_line_after_s: float = 1.0

    def _check(self) -> None:
        self._require_positive("speed")
        self._require_positive("half_line_after_s")


class RigSource(Source[RigSourceSettings]):
    """Lets the rig's time pass and reads the lines it sends, through the same reader.

    It drives the rig: one source for one rig.
    """

    def __init__(
        self, rig: Rig, settings: RigSourceSettings | None = None, clock: Clock = SYSTEM_CLOCK
    ) -> None:
        super().__init__(settings or RigSourceSettings(), clock)
        self.rig = rig
        self._lines = LineReader(compile_pattern(RIG_PATTERN))
        self._then_s = 0.0

    def _connect(self) -> None:
        self._lines = LineReader(compile_pattern(RIG_PATTERN), self.settings.half_line_after_s)
        # Nothing can have been missed: the rig's first line begins now.
        self._lines.feed(b"\n", 0.0)
        self._then_s = self.clock.monotonic_s()

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        step_s = 1 / (self.rig.settings.hz * self.settings.speed)
        self._stop.wait(min(timeout_s, step_s))
        now_s = self.clock.monotonic_s()
        samples = self.rig.advance((now_s - self._then_s) * self.settings.speed)
        self._then_s = now_s
        return self._lines.feed(b"".join(rig_line(s) for s in samples), now_s)

    def _disconnect(self) -> None:
        """There is nothing to release."""
