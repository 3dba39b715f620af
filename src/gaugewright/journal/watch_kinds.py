"""The kinds of entry of the watch: a log that was looked through, and what people say to it.

See `kinds` for the rules.  The log itself never stands here: an entry holds its SHA-256 and
what was found in it, so that anybody with the log can find the same again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gaugewright.journal.demands import (
    Event,
    require_at_least,
    require_choice,
    require_name,
    require_sha256,
    require_text,
)

HAPPENINGS = ("refuel", "drain")


@dataclass(frozen=True, slots=True)
class SeenEvent:
    """A refuel or a drain, as `watch.values.Event`. [s since 1970, L]"""

    kind: str
    start_s: float
    end_s: float
    litres: float
    u_litres: float
    before_l: float
    after_l: float
    score: float
    reason: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class SeenUndecided:
    """A change of the level that the records cannot attribute. [s since 1970, L]"""

    start_s: float
    end_s: float
    litres: float
    u_litres: float
    reason: str


@dataclass(frozen=True, slots=True)
class SeenReceipt:
    """A receipt held against the tank; ``receipt`` is its row in the file, 1 the first. [L]

    ``tank_l``, ``difference_l`` and its band are ``None`` where the tank shows nothing.
    """

    receipt: int
    at_s: float
    verdict: str
    receipt_l: float
    tank_l: float | None = None
    difference_l: float | None = None
    u_difference_l: float | None = None
    message: str = ""


@dataclass(frozen=True, slots=True)
class SeenHealth:
    """A finding on the probe's health. [s since 1970]"""

    kind: str
    start_s: float
    end_s: float
    message: str
    advice: str = ""


@dataclass(frozen=True, slots=True)
class LogWatched(Event):
    """A vehicle's log was looked through with the tank's table."""

    tank_id: str
    table_digest: str
    log_sha256: str
    log_name: str
    log_bytes: int
    vehicle: str
    """As the log calls it."""
    records: int
    from_s: float
    to_s: float
    events: tuple[SeenEvent, ...] = ()
    undecided: tuple[SeenUndecided, ...] = ()
    noise: Mapping[str, Any] = field(default_factory=dict)
    provable_parked_l: float | None = None
    """Least drain found with 95 % probability at one false alarm in a year; ``None``: none."""
    provable_moving_l: float | None = None
    receipts_sha256: str | None = None
    receipts_name: str = ""
    receipts: tuple[SeenReceipt, ...] = ()
    health: tuple[SeenHealth, ...] = ()
    arrival: Mapping[str, Any] = field(default_factory=dict)
    """How the records came in: late, doubled, misdated."""
    columns: Mapping[str, Any] = field(default_factory=dict)
    """Which column of the file was which."""
    notes: tuple[str, ...] = ()
    versions: Mapping[str, Any] = field(default_factory=dict)

    def check(self) -> None:
        """Refuse digests that are none and a log without records."""
        require_name("tank_id", self.tank_id)
        require_sha256("table_digest", self.table_digest)
        require_sha256("log_sha256", self.log_sha256)
        if self.receipts_sha256 is not None:
            require_sha256("receipts_sha256", self.receipts_sha256)
        require_at_least("records", self.records, 1)
        for event in self.events:
            require_choice("kind", event.kind, HAPPENINGS)


@dataclass(frozen=True, slots=True)
class SeenEventExplained(Event):
    """A person knows why fuel came or went: the event stays, with this beside it."""

    tank_id: str
    watched: int
    """The entry of the log that was looked through."""
    event: int
    """Which of its events, the first being 1."""
    reason: str

    def check(self) -> None:
        """Refuse an explanation that says nothing."""
        require_at_least("event", self.event, 1)
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class ExplanationWithdrawn(Event):
    """What was said to an event does not hold after all."""

    tank_id: str
    watched: int
    event: int
    reason: str

    def check(self) -> None:
        """Refuse to withdraw without a reason."""
        require_at_least("event", self.event, 1)
        require_text("reason", self.reason)
