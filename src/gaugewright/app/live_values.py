"""What is shown of a live instrument, and what is recorded from it."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class LiveNote:
    """Something else that is seen in the reading."""

    kind: str
    message: str


@dataclass(frozen=True, slots=True)
class LiveTrouble:
    """What is wrong with the line, and how long ago that was."""

    kind: str
    message: str
    age_s: float
    details: str = ""
    """The settings and the system's own words, where the message does without."""


@dataclass(frozen=True, slots=True)
class LiveReading:
    """What a screen shows of one instrument at this moment.

    ``counts``, ``litres`` and ``verdict`` are ``None`` unless ``is_live``.
    """

    tank_id: str
    seq: int
    """Rises with everything that was heard."""
    is_live: bool
    state: str
    age_s: float | None
    """Since the last reading; ``None`` if there was none."""
    counts: float | None
    last_counts: float | None
    """The last that was heard, however old."""
    litres: float | None
    u95_l: float | None
    litres_from: str | None
    """``table`` or ``description``."""
    verdict: str | None
    reason: str
    seconds_more: float | None
    mean_counts: float | None
    noise_counts: float | None
    noise_l: float | None
    notes: tuple[LiveNote, ...]
    trouble: LiveTrouble | None
    at: datetime | None
    source: str
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Heard:
    """A reading to be recorded: the mean of a steady stretch, or one that is not steady."""

    counts: float
    counts_sd: float | None
    is_steady: bool
    steadiness: str
    duration_s: float | None
    temperature_c: float | None
    source: str
