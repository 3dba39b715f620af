"""What comes out of an instrument: readings, and troubles in the same stream."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Reading:
    """One value from an instrument, with the evidence it was read from."""

    source_id: str
    at: datetime
    """Wall-clock time at which it arrived, UTC."""
    monotonic_s: float
    """The same moment on a clock that never jumps; use it for durations. [s]"""
    counts: float
    temperature_c: float | None
    raw: bytes
    """The bytes themselves, so that any reading can be decoded again."""
    device_at: datetime | None = None
    """The instrument's own time, or the recorded one, where there is one."""


class TroubleKind(StrEnum):
    """What can be wrong with what an instrument sends."""

    SILENT = "silent"
    GARBAGE = "garbage"
    HALF_LINE = "half_line"
    FROZEN = "frozen"
    OUT_OF_SCALE = "out_of_scale"
    NO_VALUE = "no_value"
    """The instrument answers, but says itself that it has no value."""
    CLOCK_JUMP = "clock_jump"
    DISCONNECTED = "disconnected"
    RECONNECTED = "reconnected"


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that is not a reading, said in one sentence.

    ``raw`` holds at most the first `RAW_KEPT` bytes of what came.
    """

    source_id: str
    at: datetime
    monotonic_s: float
    kind: TroubleKind
    message: str
    raw: bytes = b""


RAW_KEPT = 256
"""Bytes of a wrong line that are kept as evidence."""

Event = Reading | Trouble


@dataclass(frozen=True, slots=True)
class Sample:
    """What a driver has decoded, before it is stamped and judged."""

    counts: float
    temperature_c: float | None
    raw: bytes
    device_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """What a driver could not decode, before it is stamped."""

    kind: TroubleKind
    message: str
    raw: bytes = b""


Signal = Sample | Fault


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Clock:
    """The two clocks of a source; tests pass their own."""

    utc_now: Callable[[], datetime] = _utc_now
    monotonic_s: Callable[[], float] = time.monotonic


SYSTEM_CLOCK = Clock()
