"""What can happen to a job: one frozen dataclass for each kind of entry.

A class's name in snake_case is the entry's ``kind``; its fields are the payload.
Fields are never renamed or given a new meaning: a new meaning is a new kind, and a
new field has a default.  ``check`` holds what is asked of an entry when it is
*recorded*; reading an old entry never runs it, so a rule that is made stricter
cannot make an old job unreadable.  ``None`` means that nobody measured it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gaugewright.journal.demands import (
    Event,
    require_at_least,
    require_at_least_where_given,
    require_choice,
    require_name,
    require_positive,
    require_sha256,
    require_text,
)

STAGES = (
    "Survey",
    "Plan",
    "Bench",
    "Mount",
    "Pour",
    "Table",
    "Prove",
    "Certificate",
    "Watch",
)
"""The stages of a job, in the order in which they are usually gone through."""
ANSWERS = ("corrected", "repeated", "kept")
"""What a person can say to a finding."""


@dataclass(frozen=True, slots=True)
class JobOpened(Event):
    """A vehicle's work begins.  The job number is that of the journal itself."""

    customer: str
    vehicle: str
    supply_v: float | None = None

    def check(self) -> None:
        """Refuse a job for nobody or without a vehicle."""
        require_name("customer", self.customer)
        require_name("vehicle", self.vehicle)
        if self.supply_v is not None:
            require_positive("supply_v", self.supply_v)


@dataclass(frozen=True, slots=True)
class FactsChanged(Event):
    """What was found out in the survey: names in snake_case, numbers with their unit in the name.

    ``None`` as a value says that the fact is no longer known.
    """

    facts: Mapping[str, Any]
    reason: str = ""

    def check(self) -> None:
        """Refuse an empty change and names that are not snake_case."""
        _check_facts(self.facts)


@dataclass(frozen=True, slots=True)
class FactsCorrected(Event):
    """Facts that stood wrong in the journal, with the reason; the wrong ones stay readable."""

    facts: Mapping[str, Any]
    reason: str

    def check(self) -> None:
        """Refuse a correction without a reason."""
        _check_facts(self.facts)
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class TankDescribed(Event):
    """A tank and its probe, by the fields of a tank file; a later one replaces it."""

    tank_id: str
    tank: Mapping[str, Any]
    probe: Mapping[str, Any] = field(default_factory=dict)
    name: str = ""
    reason: str = ""

    def check(self) -> None:
        """Refuse a tank without an id."""
        require_name("tank_id", self.tank_id)


@dataclass(frozen=True, slots=True)
class TankRemoved(Event):
    """A tank that is not on the vehicle after all; what was recorded for it stays."""

    tank_id: str
    reason: str

    def check(self) -> None:
        """Refuse to remove without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class TanksLinked(Event):
    """Tanks joined by a balance pipe, which are filled and read as one."""

    link_id: str
    tank_ids: tuple[str, ...]
    note: str = ""

    def check(self) -> None:
        """Refuse fewer than two tanks."""
        require_name("link_id", self.link_id)
        require_at_least("tank_ids", len(set(self.tank_ids)), 2)


@dataclass(frozen=True, slots=True)
class TanksUnlinked(Event):
    """The tanks of a link are separate after all."""

    link_id: str
    reason: str

    def check(self) -> None:
        """Refuse to unlink without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class CautionAcknowledged(Event):
    """Somebody has read a caution and put their name to it."""

    caution: str
    acknowledged_by: str
    text: str = ""
    """The words that were on the screen."""
    stage: str = ""

    def check(self) -> None:
        """Refuse an acknowledgement without a name."""
        require_name("caution", self.caution)
        require_name("acknowledged_by", self.acknowledged_by)
        _check_stage(self.stage, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class PhotoAdded(Event):
    """A photo; its bytes stand in the book under the SHA-256 of themselves."""

    sha256: str
    caption: str = ""
    stage: str = ""
    tank_id: str | None = None
    item: str | None = None
    """The checklist item that it is evidence for."""

    def check(self) -> None:
        """Refuse a digest that is none."""
        require_sha256("sha256", self.sha256)
        _check_stage(self.stage, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class NoteAdded(Event):
    """Something worth keeping, in words."""

    text: str
    stage: str = ""
    tank_id: str | None = None

    def check(self) -> None:
        """Refuse an empty note."""
        require_text("text", self.text)
        _check_stage(self.stage, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class PlanRecorded(Event):
    """The plan that the fitter works to; a later one replaces it."""

    tank_id: str
    plan: Mapping[str, Any]
    versions: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class WiringRecorded(Event):
    """How a tank's probe is fed and connected; a later one replaces it."""

    tank_id: str
    wiring: Mapping[str, Any]
    """As it was typed."""
    found: Mapping[str, Any]
    """What it came to: cable, fuse, parked days, and what was wrong or open then."""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class BenchZeroRecorded(Event):
    """The steady reading of the dry probe in air."""

    tank_id: str
    counts: float
    counts_sd: float | None = None
    duration_s: float | None = None
    readings: int | None = None

    def check(self) -> None:
        """Refuse a negative spread."""
        require_at_least_where_given(self, 0, "counts_sd", "duration_s")


@dataclass(frozen=True, slots=True)
class BenchSpanRecorded(Event):
    """The steady reading of the probe immersed to its full length."""

    tank_id: str
    counts: float
    fuel: str
    counts_sd: float | None = None
    duration_s: float | None = None
    readings: int | None = None
    fuel_c: float | None = None

    def check(self) -> None:
        """Refuse a span in an unnamed liquid: the ratio to zero depends on it."""
        require_name("fuel", self.fuel)
        require_at_least_where_given(self, 0, "counts_sd", "duration_s")


@dataclass(frozen=True, slots=True)
class BenchRepeatRecorded(Event):
    """A second dip, to see how well the first repeats."""

    tank_id: str
    point: str
    """``zero`` or ``span``."""
    counts: float
    counts_sd: float | None = None
    duration_s: float | None = None
    readings: int | None = None

    def check(self) -> None:
        """Refuse a repeat of neither zero nor span."""
        require_choice("point", self.point, ("zero", "span"))
        require_at_least_where_given(self, 0, "counts_sd", "duration_s")


@dataclass(frozen=True, slots=True)
class BenchReadingVoided(Event):
    """A bench reading that was wrong; it stays visible, struck through."""

    entry: int
    reason: str

    def check(self) -> None:
        """Refuse to void without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class MountItemDone(Event):
    """A point of the mounting checklist is done, with what proves it."""

    item: str
    tank_id: str | None = None
    photo_sha256: tuple[str, ...] = ()
    seal_number: str | None = None
    text: str = ""

    def check(self) -> None:
        """Refuse an unnamed item and a digest that is none."""
        require_name("item", self.item)
        for sha256 in self.photo_sha256:
            require_sha256("photo_sha256", sha256)


@dataclass(frozen=True, slots=True)
class MountItemReopened(Event):
    """A point of the checklist has to be done again."""

    item: str
    reason: str
    tank_id: str | None = None

    def check(self) -> None:
        """Refuse to reopen without a reason."""
        require_text("reason", self.reason)


def _check_facts(facts: Mapping[str, Any]) -> None:
    require_at_least("facts", len(facts), 1)
    for name, value in facts.items():
        require_name("facts", name)
        if isinstance(value, str):
            require_text(name, value, may_be_empty=True)


def _check_stage(stage: str, *, may_be_empty: bool = False) -> None:
    if stage or not may_be_empty:
        require_choice("stage", stage, STAGES)
