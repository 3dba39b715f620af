"""The kinds of entry from the first pour to the certificate; see `kinds` for the rules.

``tank_id`` is a tank, or the link of several tanks that are filled as one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gaugewright.errors import InputError
from gaugewright.journal.demands import (
    Event,
    require_at_least,
    require_at_least_where_given,
    require_choice,
    require_finite,
    require_finite_where_given,
    require_name,
    require_positive,
    require_sha256,
    require_text,
)
from gaugewright.journal.kinds import ANSWERS, STAGES
from gaugewright.table.fill import METER_FACTORS, STEEPEST_DEG
from gaugewright.words import Volume, said

PAD = (1000, 300)
"""Width and height of the pad on which a signature is drawn."""
MOST_STROKES, MOST_POINTS = 200, 4_000


@dataclass(frozen=True, slots=True)
class CanCheck:
    """A delivery into a measured can: what the meter said and what was in the can."""

    indicated_l: float
    true_l: float


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a calibration table; an unknown band is ``None``, not zero."""

    counts: float
    litres: float
    u_litres: float | None = None


@dataclass(frozen=True, slots=True)
class FillBegun(Event):
    """The stepwise calibration of one tank begins; an earlier fill stays readable."""

    tank_id: str
    is_draining: bool = False
    dispenser: str = ""
    fuel: str = ""
    meter_checks: tuple[CanCheck, ...] = ()
    residual_l: float | None = None
    u_residual_l: float | None = None
    dip_empty_mm: float | None = None
    reason: str = ""
    """Why it is begun anew, if it is."""
    pitch_deg: float | None = None
    """Slope read once for every pour that has none of its own. [°]"""
    roll_deg: float | None = None

    def check(self) -> None:
        """Refuse negative fuel and meter checks of nothing."""
        _check_beside(self)


@dataclass(frozen=True, slots=True)
class FillChecksChanged(Event):
    """What was checked beside the pours, known later or put right; replaces all of it."""

    tank_id: str
    reason: str
    meter_checks: tuple[CanCheck, ...] = ()
    residual_l: float | None = None
    u_residual_l: float | None = None
    dip_empty_mm: float | None = None
    pitch_deg: float | None = None
    """Slope read once for every pour that has none of its own. [°]"""
    roll_deg: float | None = None

    def check(self) -> None:
        """Refuse a change without a reason."""
        require_text("reason", self.reason)
        _check_beside(self)


@dataclass(frozen=True, slots=True)
class PourRecorded(Event):
    """One metered pour and the reading after it.  Step 0 is the tank as the fill begins."""

    tank_id: str
    step: int
    added_l: float
    counts: float
    counts_sd: float | None = None
    fuel_c: float | None = None
    meter_c: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    planned_l: float | None = None
    is_steady: bool | None = None
    """Whether the reading was steady by the test; ``None`` if it was typed by hand."""
    steadiness: str = ""
    """How steady it was, in the words that the fitter saw."""
    duration_s: float | None = None
    source: str = ""
    """Where the reading came from."""
    note: str = ""
    replaces: int | None = None
    """The number of the voided pour that this one stands in for."""
    typed_at: str = ""
    """When it was typed, by that device's clock, if there was no line to send it at once."""

    def check(self) -> None:
        """Refuse a negative pour; whether it is plausible is for the pour check to say."""
        require_at_least("step", self.step, 0)
        require_at_least("added_l", self.added_l, 0)
        require_finite("counts", self.counts)
        require_at_least_where_given(self, 0, "counts_sd", "planned_l", "duration_s")
        require_finite_where_given(self, "fuel_c", "meter_c", "pitch_deg", "roll_deg")
        require_text("note", self.note, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class PourPlaced(Event):
    """A pour that was left out of the record, placed before one that stands there.

    The steps from that pour on count one higher afterwards; what was recorded stays as it is.
    """

    tank_id: str
    before: int
    """The number of the entry that recorded the pour which follows."""
    added_l: float
    counts: float
    reason: str
    fuel_c: float | None = None
    meter_c: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    source: str = ""
    """Where the reading came from, such as a slip of paper."""
    note: str = ""

    def check(self) -> None:
        """Refuse a negative pour and one that is placed without a reason."""
        require_at_least("added_l", self.added_l, 0)
        require_finite("counts", self.counts)
        require_finite_where_given(self, "fuel_c", "meter_c", "pitch_deg", "roll_deg")
        require_text("reason", self.reason)
        require_text("note", self.note, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class PourVoided(Event):
    """A pour that was wrong: out of the result, still in the journal and on the screen."""

    pour: int
    """The number of the entry that recorded it."""
    reason: str

    def check(self) -> None:
        """Refuse to void without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class FindingAnswered(Event):
    """A person's answer to something that the pour check found."""

    tank_id: str
    step: int
    finding: str
    answer: str
    reason: str
    message: str = ""
    """The finding's words as they stood on the screen."""
    pour: int | None = None
    """The number of the entry that recorded the pour."""

    def check(self) -> None:
        """Refuse an answer without a reason and one that is none of the three."""
        require_name("finding", self.finding)
        require_choice("answer", self.answer, ANSWERS)
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class TableMade(Event):
    """A calibration table came out of the fill, with what made it and what it found."""

    tank_id: str
    rows: tuple[TableRow, ...]
    digest: str
    pours: tuple[int, ...] = ()
    """The numbers of the entries that it was made from."""
    versions: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Mapping[str, Any], ...] = ()

    def check(self) -> None:
        """Refuse a table of fewer than two rows and a digest that is none."""
        require_at_least("rows", len(self.rows), 2)
        require_sha256("digest", self.digest)


@dataclass(frozen=True, slots=True)
class TableAccepted(Event):
    """A person stands for the table with this digest."""

    tank_id: str
    digest: str
    remark: str = ""

    def check(self) -> None:
        """Refuse a digest that is none."""
        require_sha256("digest", self.digest)


@dataclass(frozen=True, slots=True)
class CheckPourRecorded(Event):
    """A pour after the table was made, held against it."""

    tank_id: str
    digest: str
    """Of the table that was held against it."""
    added_l: float
    counts_before: float
    counts_after: float
    table_l: float
    """What the table says was added."""
    u_table_l: float | None
    agrees: bool | None
    """``None`` where an unknown band leaves it open."""
    note: str = ""

    def check(self) -> None:
        """Refuse a check pour of nothing."""
        require_positive("added_l", self.added_l)
        require_sha256("digest", self.digest)


@dataclass(frozen=True, slots=True)
class BackOfficeCompared(Event):
    """What the tracking system shows, typed in and held against the table."""

    tank_id: str
    digest: str
    shown_l: float
    counts: float
    table_l: float
    u_table_l: float | None
    agrees: bool | None
    note: str = ""

    def check(self) -> None:
        """Refuse negative fuel."""
        require_at_least("shown_l", self.shown_l, 0)
        require_sha256("digest", self.digest)


@dataclass(frozen=True, slots=True)
class CheckVoided(Event):
    """A check pour or a look at the back office that was wrong; it stays visible."""

    entry: int
    reason: str

    def check(self) -> None:
        """Refuse to void without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class SealSet(Event):
    """A numbered tamper seal and where it sits."""

    seal_number: str
    place: str
    tank_id: str | None = None
    photo_sha256: str | None = None

    def check(self) -> None:
        """Refuse a seal without a number or a place."""
        require_name("seal_number", self.seal_number)
        require_name("place", self.place)
        if self.photo_sha256 is not None:
            require_sha256("photo_sha256", self.photo_sha256)


@dataclass(frozen=True, slots=True)
class SealRemoved(Event):
    """A seal was opened or was a slip of the pen; its number is not used again."""

    seal_number: str
    reason: str

    def check(self) -> None:
        """Refuse to remove without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class CertificateIssued(Event):
    """A certificate went out; it states the journal up to one entry and that entry's hash."""

    certificate_number: str
    upto_number: int
    upto_hash: str
    document_sha256: str | None = None
    tables: Mapping[str, Any] = field(default_factory=dict)
    """tank_id → digest of the table that is on it."""
    signed_by: str = ""
    """The name as it was typed to sign; empty on certificates of earlier versions."""
    strokes: tuple[tuple[int, ...], ...] = ()
    """The signature as it was drawn: each stroke x, y, x, y … on a pad of 1000 by 300."""
    issue: Mapping[str, Any] = field(default_factory=dict)
    """What else stands on the document: place, workshop, paper, units, versions, time."""
    replaces: str = ""
    """The number of the certificate that this one stands in for."""
    reason: str = ""
    """Why it was made anew."""

    def check(self) -> None:
        """Refuse a certificate without a number or a hash, and a signature off its pad."""
        require_name("certificate_number", self.certificate_number)
        require_at_least("upto_number", self.upto_number, 1)
        require_sha256("upto_hash", self.upto_hash)
        if self.document_sha256 is not None:
            require_sha256("document_sha256", self.document_sha256)
        check_strokes(self.strokes)
        if self.replaces:
            require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class CertificateWithdrawn(Event):
    """A certificate is no longer stood for."""

    certificate_number: str
    reason: str

    def check(self) -> None:
        """Refuse to withdraw without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class StageFinished(Event):
    """A stage of the job is done."""

    stage: str
    note: str = ""

    def check(self) -> None:
        """Refuse a stage that is none."""
        require_choice("stage", self.stage, STAGES)


@dataclass(frozen=True, slots=True)
class StageReopened(Event):
    """A stage is gone back to, with the reason."""

    stage: str
    reason: str

    def check(self) -> None:
        """Refuse to go back without a reason."""
        require_choice("stage", self.stage, STAGES)
        require_text("reason", self.reason)


def check_strokes(strokes: tuple[tuple[int, ...], ...]) -> None:
    """Refuse a drawn signature that is no drawing, or too long to keep.

    >>> check_strokes(((10, 20, 400, 1200),))
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: strokes: stroke 1 leaves the pad of 1000 by 300
    """
    if len(strokes) > MOST_STROKES or sum(map(len, strokes)) > 2 * MOST_POINTS:
        raise InputError(
            said(
                "a signature has at most {most_strokes} strokes and {most_points} points",
                most_strokes=MOST_STROKES,
                most_points=MOST_POINTS,
            ),
            field="strokes",
        )
    for place, stroke in enumerate(strokes, start=1):
        if len(stroke) < 2 or len(stroke) % 2:
            raise InputError(
                said("stroke {place} must be pairs of x and y", place=place), field="strokes"
            )
        across, down = stroke[::2], stroke[1::2]
        if min(stroke) < 0 or max(across) > PAD[0] or max(down) > PAD[1]:
            raise InputError(
                said(
                    "stroke {place} leaves the pad of {pad} by {pad_2}",
                    place=place,
                    pad=PAD[0],
                    pad_2=PAD[1],
                ),
                field="strokes",
            )


def _check_beside(checks: FillBegun | FillChecksChanged) -> None:
    require_finite_where_given(checks, "pitch_deg", "roll_deg")
    for name in ("pitch_deg", "roll_deg"):
        degrees = getattr(checks, name)
        if degrees is not None and abs(degrees) > STEEPEST_DEG:
            raise InputError(
                said(
                    "must be -{most:g} to {most:g} °, found {found:g}",
                    most=STEEPEST_DEG,
                    found=degrees,
                ),
                field=name,
            )
    for place, can in enumerate(checks.meter_checks, start=1):
        require_positive(f"meter_checks {place} indicated_l", can.indicated_l)
        require_positive(f"meter_checks {place} true_l", can.true_l)
        if not METER_FACTORS[0] <= can.true_l / can.indicated_l <= METER_FACTORS[1]:
            raise InputError(
                said(
                    "{indicated:.1f} shown and {true:.1f} true differ by more than a meter can; "
                    "wanted the same delivery twice, by the meter and by the can",
                    indicated=Volume(can.indicated_l),
                    true=Volume(can.true_l),
                ),
                field="meter_checks",
            )
    require_at_least_where_given(checks, 0, "residual_l", "u_residual_l", "dip_empty_mm")
