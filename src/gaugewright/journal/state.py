"""What is true of a job after its entries so far: frozen values, nothing computed from models."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Generic, TypeVar

from gaugewright.journal.chain import START, Tip
from gaugewright.journal.codec import Unknown
from gaugewright.journal.demands import Event
from gaugewright.journal.fill_kinds import (
    BackOfficeCompared,
    CertificateIssued,
    CheckPourRecorded,
    FillBegun,
    FillChecksChanged,
    FindingAnswered,
    PourRecorded,
    SealSet,
    StageFinished,
    TableAccepted,
    TableMade,
)
from gaugewright.journal.handover_kinds import (
    ArrivalChecked,
    CopiedBack,
    CopyAccepted,
    RecipeChosen,
)
from gaugewright.journal.kinds import (
    STAGES,
    BenchRepeatRecorded,
    BenchSpanRecorded,
    BenchZeroRecorded,
    CautionAcknowledged,
    MountItemDone,
    NoteAdded,
    PhotoAdded,
    PlanRecorded,
    TankDescribed,
    WiringRecorded,
)
from gaugewright.journal.later_kinds import (
    LaterBegun,
    LaterConcluded,
    LaterPourRecorded,
    SisterProposed,
)
from gaugewright.journal.watch_kinds import LogWatched, SeenEventExplained

E = TypeVar("E", bound=Event, covariant=True)


@dataclass(frozen=True, slots=True)
class Mark:
    """Which entry said it: its number, who wrote it, when and on which device."""

    number: int
    at: datetime
    person: str
    device: str


@dataclass(frozen=True, slots=True)
class Voided:
    """That something was taken back, by which entry and why."""

    mark: Mark
    reason: str


@dataclass(frozen=True, slots=True)
class Kept(Generic[E]):
    """An event with the entry that said it, and whether it was taken back since."""

    mark: Mark
    event: E
    voided: Voided | None = None

    @property
    def number(self) -> int:
        """The entry's number, by which later entries speak of it."""
        return self.mark.number


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact of the survey, who said it last and what stood there before, oldest first."""

    value: Any
    mark: Mark
    reason: str = ""
    before: tuple["Fact", ...] = ()


@dataclass(frozen=True, slots=True)
class Placed(PourRecorded):
    """A pour that was placed between two others after them, and why."""

    placed_because: str = ""


@dataclass(frozen=True, slots=True)
class FillState:
    """One fill: what was checked beside it, every pour ever recorded, every answer given."""

    begun: Kept[FillBegun]
    checks: Kept[FillBegun] | Kept[FillChecksChanged]
    """The entry whose meter checks, residue and dip are valid now."""
    pours: tuple[Kept[PourRecorded], ...] = ()
    """In the order in which they were recorded, voided ones included.

    A step is what counts now: one higher than in the entry for each pour placed before it.
    """
    answers: tuple[Kept[FindingAnswered], ...] = ()

    @property
    def standing(self) -> tuple[Kept[PourRecorded], ...]:
        """The pours that count, by step."""
        kept = (pour for pour in self.pours if pour.voided is None)
        return tuple(sorted(kept, key=lambda pour: (pour.event.step, pour.number)))

    @property
    def next_step(self) -> int:
        """The step that the next pour has, 0 being the tank as the fill began."""
        return max((pour.event.step for pour in self.standing), default=-1) + 1


@dataclass(frozen=True, slots=True)
class LaterState:
    """Pours made after a table, and what they said of it."""

    begun: Kept[LaterBegun]
    pours: tuple[Kept[LaterPourRecorded], ...] = ()
    """In the order in which they were recorded, voided ones included."""
    concluded: Kept[LaterConcluded] | None = None
    """What was said last; newer pours may have come since."""

    @property
    def standing(self) -> tuple[Kept[LaterPourRecorded], ...]:
        """The pours that count, by step."""
        kept = (pour for pour in self.pours if pour.voided is None)
        return tuple(sorted(kept, key=lambda pour: pour.event.step))

    @property
    def next_step(self) -> int:
        """The step that the next pour has, 0 being the reading before the first."""
        return len(self.standing)


@dataclass(frozen=True, slots=True)
class TankState:
    """One tank, or several linked ones that are filled as one."""

    tank_id: str
    described: Kept[TankDescribed] | None = None
    members: tuple[str, ...] = ()
    """The tanks that a balance pipe joins to this one; empty for a single tank."""
    joined: tuple[Kept[TankDescribed], ...] = ()
    """How those tanks are described now, in the order of ``members``; short if one is not."""
    linked_into: str | None = None
    removed: Voided | None = None
    plan: Kept[PlanRecorded] | None = None
    wiring: Kept[WiringRecorded] | None = None
    zeros: tuple[Kept[BenchZeroRecorded], ...] = ()
    spans: tuple[Kept[BenchSpanRecorded], ...] = ()
    repeats: tuple[Kept[BenchRepeatRecorded], ...] = ()
    fills: tuple[FillState, ...] = ()
    tables: tuple[Kept[TableMade], ...] = ()
    accepted: tuple[Kept[TableAccepted], ...] = ()
    check_pours: tuple[Kept[CheckPourRecorded], ...] = ()
    comparisons: tuple[Kept[BackOfficeCompared], ...] = ()
    watches: tuple[Kept[LogWatched], ...] = ()
    """The logs that were looked through, oldest first."""
    explained: tuple[Kept[SeenEventExplained], ...] = ()
    recipe: Kept[RecipeChosen] | None = None
    """How the receiving system wants the table."""
    copies: tuple[Kept[CopiedBack], ...] = ()
    """What their system showed, each time it was copied back."""
    copies_accepted: tuple[Kept[CopyAccepted], ...] = ()
    arrivals: tuple[Kept[ArrivalChecked], ...] = ()
    later: tuple[LaterState, ...] = ()
    """Pours made after a table: re-checks and checks of a new probe, oldest first."""
    sister: Kept[SisterProposed] | None = None
    """The last sister whose table was proposed for the fill."""

    @property
    def zero(self) -> Kept[BenchZeroRecorded] | None:
        """The last zero that was not voided."""
        return next((kept for kept in reversed(self.zeros) if kept.voided is None), None)

    @property
    def span(self) -> Kept[BenchSpanRecorded] | None:
        """The last span that was not voided."""
        return next((kept for kept in reversed(self.spans) if kept.voided is None), None)

    @property
    def fill(self) -> FillState | None:
        """The fill that is being worked on."""
        return self.fills[-1] if self.fills else None

    @property
    def table(self) -> Kept[TableMade] | None:
        """The last table that was made."""
        return self.tables[-1] if self.tables else None

    @property
    def accepted_table(self) -> Kept[TableMade] | None:
        """The table that a person stands for, if it is still the last one made."""
        table = self.table
        if table is None or not self.accepted:
            return None
        return table if self.accepted[-1].event.digest == table.event.digest else None

    def checks_of(self, digest: str) -> tuple[Kept[CheckPourRecorded], ...]:
        """Return the check pours that count, of the table with this digest."""
        return tuple(
            kept for kept in self.check_pours if kept.voided is None and kept.event.digest == digest
        )

    @property
    def copied_back(self) -> Kept[CopiedBack] | None:
        """What their system showed last of the table that was made last."""
        table = self.table
        if table is None:
            return None
        digest = table.event.digest
        return next((kept for kept in reversed(self.copies) if kept.event.digest == digest), None)

    @property
    def copy_accepted(self) -> Kept[CopyAccepted] | None:
        """That a person stands for what was copied back last, although it differs."""
        copied = self.copied_back
        if copied is None or copied.event.is_clean:
            return None
        return next(
            (kept for kept in reversed(self.copies_accepted) if kept.event.copy == copied.number),
            None,
        )

    @property
    def hand_over(self) -> str:
        """How the hand-over stands: ``not_copied``, ``clean``, ``accepted`` or ``differs``."""
        copied = self.copied_back
        if copied is None:
            return "not_copied"
        if copied.event.is_clean:
            return "clean"
        return "differs" if self.copy_accepted is None else "accepted"

    @property
    def arrival(self) -> Kept[ArrivalChecked] | None:
        """The last verdict on whether the data arrives."""
        return self.arrivals[-1] if self.arrivals else None


@dataclass(frozen=True, slots=True)
class JobState:
    """What is true of a job after its entries so far."""

    job: str
    tip: Tip = START
    last_at: datetime | None = None
    opened: Mark | None = None
    facts: Mapping[str, Fact] = field(default_factory=dict)
    tanks: Mapping[str, TankState] = field(default_factory=dict)
    stages: Mapping[str, Kept[StageFinished]] = field(default_factory=dict)
    """The last time each stage was finished; voided if it was reopened since."""
    cautions: tuple[Kept[CautionAcknowledged], ...] = ()
    photos: tuple[Kept[PhotoAdded], ...] = ()
    notes: tuple[Kept[NoteAdded], ...] = ()
    mounted: tuple[Kept[MountItemDone], ...] = ()
    seals: tuple[Kept[SealSet], ...] = ()
    certificates: tuple[Kept[CertificateIssued], ...] = ()
    unknown: tuple[Kept[Unknown], ...] = ()
    """Entries of a later version, to be shown as they are."""
    out_of_place: tuple[Kept[Event], ...] = ()
    """Entries that speak of something that is not there; shown, without effect."""
    clock_set_back: tuple[int, ...] = ()
    """Entries whose time is before that of the entry before them."""

    @property
    def standing_tanks(self) -> tuple[TankState, ...]:
        """What is filled and gets a table: single tanks and links, without removed ones."""
        return tuple(
            tank
            for tank in self.tanks.values()
            if tank.removed is None and tank.linked_into is None
        )

    def fact(self, name: str) -> Any:
        """Return the value of a fact now, ``None`` if nobody said it."""
        found = self.facts.get(name)
        return None if found is None else found.value

    def is_finished(self, stage: str) -> bool:
        """Tell whether a stage was finished and not reopened since."""
        finished = self.stages.get(stage)
        return finished is not None and finished.voided is None

    @property
    def stage(self) -> str:
        """The first stage that is not finished; the last one if all are."""
        return next((stage for stage in STAGES if not self.is_finished(stage)), STAGES[-1])

    @property
    def certificate(self) -> Kept[CertificateIssued] | None:
        """The last certificate that was not withdrawn."""
        return next((kept for kept in reversed(self.certificates) if kept.voided is None), None)
