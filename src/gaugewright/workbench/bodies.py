"""What the API takes: every body, with its numbers as typed."""

from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from gaugewright.workbench.asking import MOST_ENTRIES as MOST_ENTRIES

Name = Annotated[str, Field(min_length=1, max_length=200)]
Words = Annotated[str, Field(max_length=20_000)]
Reason = Annotated[str, Field(min_length=1, max_length=2_000)]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Figure = Annotated[
    Annotated[float, Field(allow_inf_nan=False)] | Annotated[str, Field(max_length=60)],
    Field(
        description="A number, or a text as typed: '45,5', '12.5 US gal', '18 in', '60 °F'. "
        "Bare figures are litres, mm, °C, counts.",
        examples=[45.5, "45,5"],
    ),
]


class Body(BaseModel):
    """Nothing that is not known is taken."""

    model_config = ConfigDict(extra="forbid")


class ByPerson(Body):
    """Who records, and for which press of the button."""

    person: Name
    request_id: Annotated[str, Field(min_length=1, max_length=100)] | None = None


class Recording(ByPerson):
    """What is recorded builds on an entry that the person saw."""

    on: Annotated[int, Field(ge=0, le=MOST_ENTRIES)]


class WithReason(Recording):
    """Something that needs a reason."""

    reason: Reason


class OpenJob(ByPerson):
    """A new job."""

    customer: Name
    vehicle: Name
    job: Annotated[str, Field(max_length=60)] | None = None
    supply_v: Figure | None = None


class Settings(ByPerson):
    """What holds for the whole book."""

    volume_unit: Name | None = None
    length_unit: Name | None = None
    temperature_unit: Name | None = None
    language: Name | None = None
    workshop: Annotated[str, Field(max_length=200)] | None = None


Fact = Annotated[float, Field(allow_inf_nan=False)] | bool | Words | None


class Facts(Recording):
    """What was found out."""

    facts: Annotated[dict[str, Fact | list[Fact]], Field(min_length=1, max_length=100)]
    reason: Annotated[str, Field(max_length=2_000)] = ""


class Caution(Recording):
    """A caution that was read."""

    caution: Name
    text: Words = ""
    stage: Annotated[str, Field(max_length=40)] = ""


class Note(Recording):
    """A note."""

    text: Annotated[str, Field(min_length=1, max_length=20_000)]
    stage: Annotated[str, Field(max_length=40)] = ""
    tank_id: Name | None = None


class TankBody(Recording):
    """A tank and its probe, by the fields of a tank file."""

    tank: Annotated[dict[str, Any], Field(max_length=60)] = {}
    probe: Annotated[dict[str, Any], Field(max_length=20)] = {}
    name: Annotated[str, Field(max_length=200)] = ""
    reason: Annotated[str, Field(max_length=2_000)] = ""


class Link(Recording):
    """Tanks joined by a balance pipe."""

    link_id: Name
    tank_ids: Annotated[list[Name], Field(min_length=2, max_length=20)]
    note: Words = ""


class Plan(Recording):
    """A plan, as the plan file holds it."""

    plan: Annotated[dict[str, Any], Field(max_length=100)]
    cut_mm: Annotated[list[Annotated[str, Field(max_length=60)]], Field(max_length=2)] = []
    """The plan's cut length as it was typed, twice; empty for a plan without a cut."""
    reason: Annotated[str, Field(max_length=2_000)] = ""


class ShownBody(Body):
    """The live reading that stood on the screen when something was typed without a line."""

    counts: Annotated[float, Field(allow_inf_nan=False)]
    is_steady: bool
    steadiness: Annotated[str, Field(max_length=500)] = ""
    source: Annotated[str, Field(max_length=200)] = ""


class TakenBody(Recording):
    """Counts typed by hand, or from the live steady reading."""

    counts: Figure | None = None
    is_unsteady_kept: bool = False
    typed_at: AwareDatetime | None = None
    """Only for what was kept on a device without a line: when it was typed there."""
    shown: ShownBody | None = None
    """The live reading on its screen then; without it and without counts it is refused."""


class BenchSpan(TakenBody):
    """The probe immersed."""

    fuel: Name
    fuel_c: Figure | None = None


class BenchRepeat(TakenBody):
    """A second dip."""

    point: Name


class Mount(Recording):
    """A point of the checklist."""

    item: Name
    tank_id: Name | None = None
    photo_sha256: Annotated[list[Sha256], Field(max_length=20)] = []
    seal_number: Name | None = None
    text: Words = ""


class MountReopen(WithReason):
    """A point that has to be done again."""

    item: Name
    tank_id: Name | None = None


class Seal(Recording):
    """A seal."""

    seal_number: Name
    place: Name
    tank_id: Name | None = None
    photo_sha256: Sha256 | None = None


class SealRemove(WithReason):
    """A seal that was opened."""

    seal_number: Name


class MeterCheck(Body):
    """A delivery into a measured can."""

    indicated_l: Figure
    true_l: Figure


class Checks(Recording):
    """What is checked beside the pours."""

    meter_checks: Annotated[list[MeterCheck], Field(max_length=20)] = []
    residual_l: Figure | None = None
    u_residual_l: Figure | None = None
    dip_empty_mm: Figure | None = None
    pitch_deg: Figure | None = None
    roll_deg: Figure | None = None


class BeginFill(Checks):
    """A fill begins."""

    is_draining: bool = False
    dispenser: Annotated[str, Field(max_length=200)] = ""
    fuel: Annotated[str, Field(max_length=200)] = ""
    reason: Annotated[str, Field(max_length=2_000)] = ""


class ChangeChecks(Checks):
    """What was checked was wrong or is known only now."""

    reason: Reason


class PourBody(TakenBody):
    """A pour."""

    added_l: Figure
    fuel_c: Figure | None = None
    meter_c: Figure | None = None
    pitch_deg: Figure | None = None
    roll_deg: Figure | None = None
    planned_l: Figure | None = None
    note: Words = ""


class PlacedBody(WithReason):
    """A pour that was left out, with the counts after it."""

    before: Annotated[int, Field(ge=1, le=MOST_ENTRIES)]
    """The entry number of the pour that follows."""
    added_l: Figure
    counts: Figure
    fuel_c: Figure | None = None
    meter_c: Figure | None = None
    pitch_deg: Figure | None = None
    roll_deg: Figure | None = None
    note: Words = ""


class AnswerBody(WithReason):
    """An answer to a finding."""

    finding: Name
    answer: Name
    pour: Annotated[int, Field(ge=0, le=MOST_ENTRIES)] | None = None
    added_l: Figure | None = None
    counts: Figure | None = None


class Accept(Recording):
    """A table that somebody stands for."""

    digest: Sha256
    remark: Words = ""


class CheckPour(TakenBody):
    """A pour held against the table; ``counts`` is the reading after it."""

    added_l: Figure
    counts_before: Figure
    counts_after: Figure | None = None
    note: Words = ""


class BackOffice(TakenBody):
    """What the back office shows."""

    shown_l: Figure
    note: Words = ""


class Finish(Recording):
    """A stage that is done."""

    note: Words = ""


InstrumentSettings = Annotated[
    dict[str, Annotated[float, Field(allow_inf_nan=False)] | int | bool | Words | None],
    Field(max_length=40),
]


class Instrument(Recording):
    """An instrument's settings."""

    settings: InstrumentSettings


class InstrumentTry(Body):
    """Settings to be tried."""

    settings: InstrumentSettings


class TryPattern(Body):
    """A pattern and lines to try it on."""

    pattern: Annotated[str, Field(max_length=1_000)]
    lines: Annotated[list[Annotated[str, Field(max_length=1_000)]], Field(max_length=50)]


class RigPour(Body):
    """Litres for the simulated dispenser."""

    litres: Figure


class RigOrder(Body):
    """An order to the simulated yard."""

    order: Annotated[str, Field(min_length=1, max_length=200)]


class PairBody(Body):
    """A code and the name of the device that shows it."""

    code: Annotated[str, Field(min_length=1, max_length=40)]
    device: Annotated[str, Field(min_length=1, max_length=100)]


class Preview(Body):
    """A tank that is being typed."""

    tank: Annotated[dict[str, Any], Field(max_length=60)] = {}
    probe: Annotated[dict[str, Any], Field(max_length=20)] = {}
    length_unit: Annotated[str, Field(max_length=20)] | None = None
