"""What a screen shows of the probe on the bench, and of what was taken back."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class VoidedPicture:
    """That something was taken back."""

    reason: str
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class BenchReadingPicture:
    """One reading on the bench."""

    number: int
    counts: float
    counts_sd: float | None
    fuel: str | None
    point: str | None
    person: str
    at: datetime
    voided: VoidedPicture | None


@dataclass(frozen=True, slots=True)
class BenchFindingPicture:
    """What a bench check found."""

    kind: str
    message: str


@dataclass(frozen=True, slots=True)
class BenchPicture:
    """The probe on the bench."""

    zeros: tuple[BenchReadingPicture, ...]
    spans: tuple[BenchReadingPicture, ...]
    repeats: tuple[BenchReadingPicture, ...]
    findings: tuple[BenchFindingPicture, ...]
    ratio: float | None
    """Span over zero, where zero is above 0."""
