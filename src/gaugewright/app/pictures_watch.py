"""What a screen shows of a log that was looked through; the same for a page and for the API.

Figures are litres and seconds since 1970-01-01 UTC; ``None`` is unknown.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Litres = tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class ExplainedPicture:
    """What a person said to an event."""

    number: int
    reason: str
    person: str
    at: datetime
    watched: int
    """The entry to which it was said; another log that shows the same event takes it over."""


@dataclass(frozen=True, slots=True)
class EventPicture:
    """A refuel or a drain; ``event`` is its number in this log, to explain it by."""

    event: int
    kind: str
    start_s: float
    end_s: float
    start_at: datetime
    end_at: datetime
    litres: float
    u_litres: float
    before_l: float
    after_l: float
    score: float
    reason: str
    first: int
    last: int
    explained: ExplainedPicture | None


@dataclass(frozen=True, slots=True)
class UndecidedPicture:
    """A change of the level that the records cannot attribute, and why."""

    start_s: float
    end_s: float
    start_at: datetime
    litres: float
    u_litres: float
    reason: str


@dataclass(frozen=True, slots=True)
class ReceiptPicture:
    """A receipt held against the tank."""

    receipt: int
    at: datetime
    at_s: float
    verdict: str
    receipt_l: float
    tank_l: float | None
    difference_l: float | None
    u_difference_l: float | None
    message: str


@dataclass(frozen=True, slots=True)
class HealthPicture:
    """A finding on the probe's health."""

    kind: str
    start_s: float
    end_s: float
    start_at: datetime
    end_at: datetime
    message: str
    advice: str


@dataclass(frozen=True, slots=True)
class EarlierWatch:
    """Another log of the same tank."""

    number: int
    log_name: str
    from_at: datetime
    to_at: datetime
    at: datetime
    person: str


@dataclass(frozen=True, slots=True)
class TakenOverPicture:
    """A newer version of the table that was refined from this log's table."""

    number: int
    digest: str
    at: datetime
    person: str
    reason: str
    is_accepted: bool


@dataclass(frozen=True, slots=True)
class WatchPicture:
    """A log that was looked through, and what people said to it."""

    number: int
    at: datetime
    person: str
    vehicle: str
    log_name: str
    log_sha256: str
    log_bytes: int
    is_at_hand: bool
    """The log lies on this computer, so that it can be drawn."""
    table_digest: str
    is_table_old: bool
    """Another table of the tank stands now."""
    records: int
    from_s: float
    to_s: float
    from_at: datetime
    to_at: datetime
    zone: str
    """Of these times and those below: as told with the log, else UTC."""
    remembered: str
    """What was not told with the log but with an earlier one that has the same columns."""
    events: tuple[EventPicture, ...]
    undecided: tuple[UndecidedPicture, ...]
    receipts_name: str
    receipts: tuple[ReceiptPicture, ...]
    health: tuple[HealthPicture, ...]
    provable_parked_l: float | None
    provable_moving_l: float | None
    noise: Mapping[str, Any]
    arrival: Mapping[str, Any]
    notes: tuple[str, ...]
    others: tuple[EarlierWatch, ...]
    may_refine: bool
    """The log lies here and was read with the newest table: it may teach something of it."""
    taken_over: TakenOverPicture | None
    """The version that was made from what a log taught, if that is the newest one."""


@dataclass(frozen=True, slots=True)
class PlotPicture:
    """A stretch of a log, one point for each pixel that has records, in columns.

    ``apart`` are the places of points before which no line is drawn.
    """

    from_s: float
    to_s: float
    first_s: float
    """First record of the whole log."""
    last_s: float
    gap_s: float
    time_s: tuple[float, ...]
    low_l: Litres
    mean_l: Litres
    high_l: Litres
    u_l: Litres | None
    """Half-width of the table's 95 % band; ``None``: unknown."""
    speed_kmh: Litres
    ignition: Litres
    apart: tuple[int, ...]
    off_table: int
    silent: int


@dataclass(frozen=True, slots=True)
class FigurePicture:
    """Litres with the half-width of their band, or why they have none."""

    litres: float
    u_litres: float | None
    why_no_band: str


@dataclass(frozen=True, slots=True)
class MonthPicture:
    """One month of one vehicle; ``seen`` is the share of its hours that has records."""

    month: str
    from_s: float
    to_s: float
    records: int
    seen: float
    refuels: int
    filled: FigurePicture
    used: FigurePicture | None
    drains: int
    drained: FigurePicture
    unexplained: FigurePicture
    undecided: int
    engine_l: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MonthsPicture:
    """The months of a log, and how their bands are made."""

    months: tuple[MonthPicture, ...]
    how: tuple[str, ...]
