"""One interface over every level instrument, real, simulated, replayed or typed.

A driver moves and decodes bytes.  `Source` owns what must be the same for all of
them: open once, close always, stamp what arrives, say aloud what is wrong, and
come back by itself when the line is back.
"""

import threading
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from typing import Generic, Self, TypeVar

from gaugewright.errors import SourceError
from gaugewright.instruments.events import (
    RAW_KEPT,
    SYSTEM_CLOCK,
    Clock,
    Event,
    Fault,
    Reading,
    Sample,
    Signal,
    Trouble,
    TroubleKind,
)
from gaugewright.instruments.settings import SourceSettings
from gaugewright.words import said

POLL_S = 0.1
"""The longest that a driver waits before it looks whether it must stop. [s]"""

CLOCK_JUMP_S = 2.0
"""The wall clock moved by this much against the steady one: somebody set it. [s]"""

S = TypeVar("S", bound=SourceSettings)


class Source(ABC, Generic[S]):
    """A stream of readings and troubles.  Use it in a ``with`` block.

    `readings` says once that the line is silent or gone, then gives nothing until that
    changes, and ends only when the source is stopped or has no more.  Who must not wait
    reads through `reader.ReaderThread`, where every wait has its time.  One thread reads;
    `stop` may be called from any other.
    """

    def __init__(self, settings: S, clock: Clock = SYSTEM_CLOCK) -> None:
        self.settings = settings
        self.clock = clock
        self._stop = threading.Event()
        self._is_open = False

    @property
    def is_open(self) -> bool:
        """Whether `open` has been called and `close` has not."""
        return self._is_open

    def open(self) -> Self:
        """Connect.  Raises `SourceError`, with the settings in it, if that fails."""
        if self._is_open:
            raise SourceError(f"{self.settings.describe()} is open already")
        self._connect()
        self._stop.clear()
        self._is_open = True
        return self

    def stop(self) -> None:
        """Ask `readings` to end soon; safe from any thread."""
        self._stop.set()

    def close(self) -> None:
        """Release the port.  Safe to call twice; not while another thread reads."""
        self.stop()
        if self._is_open:
            self._is_open = False
            self._disconnect()

    def __enter__(self) -> Self:
        """Open."""
        return self.open()

    def __exit__(self, *exc_info: object) -> None:
        """Close."""
        self.close()

    def readings(self) -> Iterator[Event]:
        """Give readings and troubles in the order in which they happen."""
        if not self._is_open:
            raise SourceError(f"{self.settings.describe()} is not open")
        judge = _Judge(self.settings, self.clock)
        while not self._stop.is_set():
            try:
                signals = self._receive(POLL_S)
            except SourceError as lost:
                yield judge.trouble(TroubleKind.DISCONNECTED, str(lost))
                yield from self._reconnect(judge)
                continue
            if signals is None:
                return
            yield from judge.pass_on(signals)

    def _reconnect(self, judge: "_Judge") -> Iterator[Event]:
        self._disconnect()
        wait_s = self.settings.retry_first_s
        attempts = 0
        while not self._stop.wait(wait_s):
            attempts += 1
            try:
                self._connect()
            except SourceError:
                # The person was told 'disconnected' and stays told until 'reconnected'.
                wait_s = min(2 * wait_s, self.settings.retry_most_s)
                yield from judge.look_at_clock()
                continue
            tries = (
                said("1 attempt") if attempts == 1 else said("{number} attempts", number=attempts)
            )
            yield judge.trouble(
                TroubleKind.RECONNECTED, said("the line is back after {tries}", tries=tries)
            )
            judge.heard()
            return

    @abstractmethod
    def _connect(self) -> None:
        """Open the port or raise `SourceError`."""

    @abstractmethod
    def _receive(self, timeout_s: float) -> Sequence[Signal] | None:
        """Return what came within about ``timeout_s``; empty if nothing, None at the end.

        Raises `SourceError` if the line is gone.
        """

    @abstractmethod
    def _disconnect(self) -> None:
        """Release the port; safe when it is not open."""


class _Judge:
    """Stamps signals and adds the troubles that only time can show."""

    def __init__(self, settings: SourceSettings, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self._heard_s = clock.monotonic_s()
        self._told_silent = False
        self._offset_s = clock.utc_now().timestamp() - self._heard_s
        self._same: float | None = None
        self._same_since_s = self._heard_s
        self._told_frozen = False

    def trouble(self, kind: TroubleKind, message: str, raw: bytes = b"") -> Trouble:
        return Trouble(
            self._settings.source_id,
            self._clock.utc_now(),
            self._clock.monotonic_s(),
            kind,
            message,
            raw[:RAW_KEPT],
        )

    def heard(self) -> None:
        self._heard_s = self._clock.monotonic_s()
        self._told_silent = False

    def pass_on(self, signals: Sequence[Signal]) -> Iterator[Event]:
        yield from self.look_at_clock()
        if not signals:
            yield from self._look_for_silence()
        for signal in signals:
            self.heard()
            if isinstance(signal, Fault):
                yield self.trouble(signal.kind, signal.message, signal.raw)
            else:
                yield from self._look_at_value(signal)

    def look_at_clock(self) -> Iterator[Event]:
        offset_s = self._clock.utc_now().timestamp() - self._clock.monotonic_s()
        jump_s = offset_s - self._offset_s
        self._offset_s = offset_s
        if abs(jump_s) >= CLOCK_JUMP_S:
            way = said("forward") if jump_s > 0 else said("back")
            yield self.trouble(
                TroubleKind.CLOCK_JUMP,
                said(
                    "this computer's clock jumped {way} by {jump_s:.1f} s; durations are not "
                    "affected",
                    way=way,
                    jump_s=abs(jump_s),
                ),
            )

    def _look_for_silence(self) -> Iterator[Event]:
        quiet_s = self._clock.monotonic_s() - self._heard_s
        if quiet_s >= self._settings.silent_after_s and not self._told_silent:
            self._told_silent = True
            yield self.trouble(
                TroubleKind.SILENT,
                said(
                    "nothing came for {quiet_s:.1f} s from {describe}",
                    quiet_s=quiet_s,
                    describe=self._settings.describe(),
                ),
            )

    def _look_at_value(self, sample: Sample) -> Iterator[Event]:
        s = self._settings
        now_s = self._clock.monotonic_s()
        if not s.counts_min <= sample.counts <= s.counts_max:
            yield self.trouble(
                TroubleKind.OUT_OF_SCALE,
                said(
                    "{counts:g} counts is outside the scale of {counts_min:g} to "
                    "{counts_max:g} counts",
                    counts=sample.counts,
                    counts_min=s.counts_min,
                    counts_max=s.counts_max,
                ),
                sample.raw,
            )
            return
        yield Reading(
            s.source_id,
            self._clock.utc_now(),
            now_s,
            sample.counts,
            sample.temperature_c,
            sample.raw,
            sample.device_at,
        )
        if sample.counts != self._same:
            self._same, self._same_since_s, self._told_frozen = sample.counts, now_s, False
        elif now_s - self._same_since_s >= s.frozen_after_s and not self._told_frozen:
            self._told_frozen = True
            yield self.trouble(
                TroubleKind.FROZEN,
                said(
                    "exactly {counts:g} counts for {now_s:.0f} s; a live reading flickers",
                    counts=sample.counts,
                    now_s=now_s - self._same_since_s,
                ),
                sample.raw,
            )
