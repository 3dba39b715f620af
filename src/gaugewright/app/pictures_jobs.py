"""What a screen shows of the list of jobs, apart from the jobs: the first page needs no more."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class JobLine:
    """One line of the list of jobs."""

    job: str
    customer: str | None
    vehicle: str | None
    stage: str | None
    tanks: int | None
    certificate: str | None
    last_at: datetime | None
    number: int
    place: int
    """Give the last one's as ``before`` to see older jobs."""
    problem: str | None
    """What is wrong with the journal, if it is not what was written."""


@dataclass(frozen=True, slots=True)
class JobsPicture:
    """The list of jobs, newest first."""

    jobs: tuple[JobLine, ...]
