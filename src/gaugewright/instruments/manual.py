"""Counts that a person reads off a display and types."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from gaugewright.errors import InputError, SourceTimeoutError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock, Sample, Signal
from gaugewright.instruments.reader import RingBuffer
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said


@dataclass(frozen=True, slots=True, kw_only=True)
class ManualSettings(SourceSettings):
    """Typed by hand; a person may be silent for as long as they like."""

    kind: ClassVar[str] = "manual"

    silent_after_s: float = 3600.0
    frozen_after_s: float = 3600.0


class ManualSource(Source[ManualSettings]):
    """Gives what `enter` was told, in order."""

    def __init__(self, settings: ManualSettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._typed: RingBuffer[Sample] = RingBuffer(1000)

    def enter(self, text: str) -> float:
        """Take a typed figure, from any thread, and return it. [counts]

        Raises `InputError` if it is no number or outside the scale, so that the person
        can type again.

        >>> ManualSource(ManualSettings()).enter("2512,5")
        2512.5
        >>> ManualSource(ManualSettings()).enter("25l2")
        Traceback (most recent call last):
            ...
        gaugewright.errors.InputError: counts: a number was wanted, found '25l2'
        """
        s = self.settings
        try:
            counts = float(text.strip().replace(",", "."))
        except ValueError:
            raise InputError(
                said("a number was wanted, found {text!r}", text=text), field="counts"
            ) from None
        if not s.counts_min <= counts <= s.counts_max:  # not-a-number fails here too
            raise InputError(
                said(
                    "must be {counts_min:g} to {counts_max:g} counts, found {strip}",
                    counts_min=s.counts_min,
                    counts_max=s.counts_max,
                    strip=text.strip(),
                ),
                field="counts",
            )
        self._typed.put(Sample(counts, None, text.encode()))
        return counts

    def _connect(self) -> None:
        """There is nothing to open."""

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        try:
            return [self._typed.take(timeout_s)]
        except SourceTimeoutError:
            return []

    def _disconnect(self) -> None:
        """There is nothing to release."""
