"""What a screen shows of a job: frozen values, the same for a page and for the API.

Figures are litres, mm, °C and counts, whatever the book is kept in; ``None`` is unknown.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from gaugewright.app.handover_values import HandOverPicture as HandOverPicture
from gaugewright.app.pictures_bench import BenchFindingPicture as BenchFindingPicture
from gaugewright.app.pictures_bench import BenchPicture as BenchPicture
from gaugewright.app.pictures_bench import BenchReadingPicture as BenchReadingPicture
from gaugewright.app.pictures_bench import VoidedPicture as VoidedPicture
from gaugewright.app.pictures_jobs import JobLine as JobLine
from gaugewright.app.pictures_jobs import JobsPicture as JobsPicture

State = Literal["none", "clear", "note", "check", "stop"]


@dataclass(frozen=True, slots=True)
class StagePicture:
    """One stage of a job."""

    name: str
    is_finished: bool
    finished_by: str | None = None
    finished_at: datetime | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class FactPicture:
    """A fact of the survey and what stood there before it."""

    name: str
    value: Any
    person: str
    at: datetime
    reason: str
    before: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class RemarkPicture:
    """What will stand in the way later, so that it can be put right now."""

    fact: str
    sentence: str


@dataclass(frozen=True, slots=True)
class CautionPicture:
    """A caution, and who has read it."""

    id: str
    stage: str
    text: str
    acknowledged_by: str | None
    at: datetime | None


@dataclass(frozen=True, slots=True)
class PhotoPicture:
    """A photo; its bytes are at ``/photos/{sha256}``."""

    number: int
    sha256: str
    caption: str
    stage: str
    tank_id: str | None
    item: str | None
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class NotePicture:
    """A note in words."""

    number: int
    text: str
    stage: str
    tank_id: str | None
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class MountPicture:
    """A point of the mounting checklist and what proves it."""

    id: str
    text: str
    evidence: tuple[str, ...]
    """What is asked for: ``photo``, ``seal_number``, ``text``."""
    tank_id: str | None
    is_done: bool
    by: str | None
    at: datetime | None
    seal_number: str | None
    photos: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class SealPicture:
    """A numbered seal."""

    number: int
    seal_number: str
    place: str
    tank_id: str | None
    person: str
    at: datetime
    removed: str | None
    """Why it was removed, if it was."""


@dataclass(frozen=True, slots=True)
class CertificatePicture:
    """A certificate and the entry that it states."""

    certificate_number: str
    upto_number: int
    upto_hash: str
    person: str
    at: datetime
    tables: Mapping[str, Any]
    signed_by: str = ""
    is_drawn: bool = False
    """Whether the signature was drawn and not only typed."""
    place: str = ""
    document_sha256: str | None = None
    replaces: str = ""
    reason: str = ""
    withdrawn: str | None = None
    """Why it is no longer stood for, if it is not."""
    paper: str = ""
    units: str = ""


@dataclass(frozen=True, slots=True)
class PourPicture:
    """One pour with its reading, voided ones too."""

    number: int
    step: int
    added_l: float
    total_l: float | None
    """Litres poured up to and with this one; ``None`` for a voided pour."""
    counts: float
    counts_sd: float | None
    expected_counts: float | None
    """Forecast from the pours before it."""
    u95_expected_counts: float | None
    level_mm: float | None
    """Height above the probe's tip that the counts stand for."""
    u95_level_mm: float | None
    is_steady: bool | None
    steadiness: str
    source: str
    fuel_c: float | None
    note: str
    person: str
    device: str
    at: datetime
    voided: VoidedPicture | None
    replaces: int | None
    planned_l: float | None
    pitch_deg: float | None = None
    """Slope along the length, positive with the front end up."""
    roll_deg: float | None = None
    """Slope across the width, positive with the left side up."""
    placed_because: str = ""
    """Why it was placed between two others afterwards; empty for one in its turn."""
    typed_at: str = ""
    """When it was typed without a line, by that device's clock; empty if it was sent at once."""


@dataclass(frozen=True, slots=True)
class MeterCheckPicture:
    """A delivery into a measured can."""

    indicated_l: float
    true_l: float


@dataclass(frozen=True, slots=True)
class FillPicture:
    """A fill and every pour that was recorded in it."""

    begun_at: datetime
    begun_by: str
    is_draining: bool
    dispenser: str
    fuel: str
    meter_checks: tuple[MeterCheckPicture, ...]
    residual_l: float | None
    u_residual_l: float | None
    dip_empty_mm: float | None
    pours: tuple[PourPicture, ...]
    """In the order in which they were recorded."""
    next_step: int
    total_l: float
    earlier_fills: int
    pitch_deg: float | None = None
    """Slope read once for every pour that has none of its own. [°]"""
    roll_deg: float | None = None


@dataclass(frozen=True, slots=True)
class AnswerPicture:
    """What a person answered to a finding."""

    answer: str
    reason: str
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class FindingPicture:
    """What was found at a pour, and what a person said to it."""

    step: int | None
    pour: int | None
    """The number of the pour's entry, to answer by."""
    kind: str
    severity: str
    message: str
    suggestion: str | None
    field: str | None
    """``added_l`` or ``counts``: the figure that the suggestion puts right."""
    value: float | None
    answer: AnswerPicture | None
    is_open: bool
    """A person must answer before the next pour."""


@dataclass(frozen=True, slots=True)
class LandingPicture:
    """Where a pour should land."""

    added_l: float
    counts: float
    u95_counts: float
    level_mm: float | None
    u95_level_mm: float | None


@dataclass(frozen=True, slots=True)
class VerdictPicture:
    """What the pour check says of the fill so far."""

    state: State
    sentence: str
    findings: tuple[FindingPicture, ...]
    blocks: bool
    """Something is unanswered: no further pour is taken."""
    next: LandingPicture | None
    remaining_l: float | None
    """Litres that still go into the tank by its description."""
    filled_share: float | None
    took_ms: float


@dataclass(frozen=True, slots=True)
class TablePicture:
    """A calibration table."""

    digest: str
    rows: tuple[tuple[float, float, float | None], ...]
    """counts, litres, half-width of the 95 % band."""
    made_at: datetime
    made_by: str
    is_accepted: bool
    accepted_by: str | None
    is_stale: bool
    """Pours were recorded or voided since it was made."""
    worst_u_l: float | None
    findings: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class CheckPourPicture:
    """A check pour held against the table."""

    number: int
    added_l: float
    counts_before: float
    counts_after: float
    table_l: float
    u_table_l: float | None
    agrees: bool | None
    sentence: str
    person: str
    at: datetime
    voided: VoidedPicture | None = None
    is_of_this_table: bool = True
    """Whether it was held against the table that was made last."""


@dataclass(frozen=True, slots=True)
class ComparisonPicture:
    """What the back office shows, held against the table."""

    number: int
    shown_l: float
    counts: float
    table_l: float
    u_table_l: float | None
    agrees: bool | None
    sentence: str
    person: str
    at: datetime
    voided: VoidedPicture | None = None
    is_of_this_table: bool = True


@dataclass(frozen=True, slots=True)
class TankPicture:
    """One tank, or several linked ones that are filled as one."""

    tank_id: str
    name: str
    tank: Mapping[str, Any]
    """The fields of a tank file; empty for linked tanks."""
    probe: Mapping[str, Any]
    members: tuple[str, ...]
    linked_into: str | None
    removed: str | None
    capacity_l: float | None
    depth_mm: float | None
    """From the lowest to the highest inside point at the probe."""
    dead_stock_l: float | None
    """Fuel below the probe's tip."""
    problem: str | None
    """Why the tank cannot be drawn or computed, if it cannot."""
    curve: tuple[tuple[float, float], ...]
    """level_mm above the lowest inside point, litres."""
    bench: BenchPicture
    fill: FillPicture | None
    table: TablePicture | None
    plan: Mapping[str, Any] | None
    check_pours: tuple[CheckPourPicture, ...]
    comparisons: tuple[ComparisonPicture, ...]
    instrument: Mapping[str, Any] | None
    hand_over: HandOverPicture
    """How the receiving system was given the table, and what it shows."""
    wiring: Mapping[str, Any] | None = None
    """As typed: the fields of a wiring file; ``None`` if none is recorded."""
    wiring_found: Mapping[str, Any] | None = None
    """What it came to when it was recorded."""
    over_top_mm: float | None = None
    plate_problem: str | None = None
    """Where plate and sizes contradict each other."""
    """How far the probe's active length reaches above the inside of the tank."""


@dataclass(frozen=True, slots=True)
class UnknownPicture:
    """An entry of a later version, shown as it is."""

    number: int
    kind: str
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class JobPicture:
    """All that a screen shows of one job."""

    job: str
    number: int
    """The last entry: what the next recording builds on."""
    hash: str
    opened_at: datetime
    opened_by: str
    customer: str
    vehicle: str
    supply_v: float | None
    stage: str
    stages: tuple[StagePicture, ...]
    facts: tuple[FactPicture, ...]
    cautions: tuple[CautionPicture, ...]
    tanks: tuple[TankPicture, ...]
    photos: tuple[PhotoPicture, ...]
    notes: tuple[NotePicture, ...]
    mount: tuple[MountPicture, ...]
    seals: tuple[SealPicture, ...]
    certificate: CertificatePicture | None
    """The one in force."""
    certificates: tuple[CertificatePicture, ...]
    """All that were ever issued, the oldest first."""
    next_certificate: str
    """A number that was not used yet."""
    unknown: tuple[UnknownPicture, ...]
    clock_set_back: tuple[int, ...]
    """Entries whose time is before that of the entry before them."""
    remarks: tuple[RemarkPicture, ...] = ()
    """Facts that the certificate cannot be set with."""
