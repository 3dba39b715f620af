"""The kinds of entry of a table's later life: re-checks, exchanged probes, sister tanks.

See `kinds` for the rules.  Nothing here ends an older table: a table that is carried over
stands beside it as a newer version, and the older one stays readable.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gaugewright.journal.demands import (
    Event,
    require_at_least,
    require_at_least_where_given,
    require_choice,
    require_finite,
    require_finite_where_given,
    require_name,
    require_sha256,
    require_text,
)
from gaugewright.journal.fill_kinds import CanCheck, TableMade, TableRow

PURPOSES = ("recheck", "exchange")
"""Why pours are made after the table: to see whether it still holds, or with a new probe."""
WAYS = (*PURPOSES, "sister", "service")
"""How a table came from another one."""


@dataclass(frozen=True, slots=True)
class LaterBegun(Event):
    """Pours after the table begin: a re-check, or the check of a new probe."""

    tank_id: str
    digest: str
    """Of the table that is held against them, or carried over."""
    purpose: str
    is_drained: bool = False
    """The tank was drained before the first reading."""
    probe: Mapping[str, Any] = field(default_factory=dict)
    """The new probe, by the fields of a tank file; empty for a re-check."""
    mounting: Mapping[str, Any] = field(default_factory=dict)
    """Standard uncertainties that were given for it: u_tip_mm and so on."""
    probe_serial: str = ""
    reason: str = ""

    def check(self) -> None:
        """Refuse a purpose that is none, and an exchange without the new probe."""
        require_sha256("digest", self.digest)
        require_choice("purpose", self.purpose, PURPOSES)
        if self.purpose == "exchange":
            require_at_least("probe", len(self.probe), 1)
            require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class LaterPourRecorded(Event):
    """One pour after the table; step 0 is the reading before the first."""

    tank_id: str
    begun: int
    """The entry that began these pours."""
    step: int
    added_l: float
    counts: float
    counts_sd: float | None = None
    fuel_c: float | None = None
    meter_c: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    is_steady: bool | None = None
    source: str = ""
    note: str = ""

    def check(self) -> None:
        """Refuse a negative pour and figures that are none."""
        require_at_least("step", self.step, 0)
        require_at_least("added_l", self.added_l, 0)
        require_finite("counts", self.counts)
        require_at_least_where_given(self, 0, "counts_sd")
        require_finite_where_given(self, "fuel_c", "meter_c", "pitch_deg", "roll_deg")
        require_text("note", self.note, may_be_empty=True)


@dataclass(frozen=True, slots=True)
class LaterPourVoided(Event):
    """A pour after the table that was wrong; it stays visible, struck through."""

    pour: int
    """The number of the entry that recorded it."""
    reason: str

    def check(self) -> None:
        """Refuse to void without a reason."""
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class LaterConcluded(Event):
    """What the pours say: E_n numbers, verdict, what may have changed."""

    tank_id: str
    begun: int
    verdict: str
    sentence: str
    pours: tuple[int, ...]
    """The numbers of the entries that it stands on."""
    results: Mapping[str, Any] = field(default_factory=dict)
    versions: Mapping[str, Any] = field(default_factory=dict)

    def check(self) -> None:
        """Refuse a verdict without its word."""
        require_name("verdict", self.verdict)
        require_text("sentence", self.sentence)


@dataclass(frozen=True, slots=True)
class SisterPour:
    """One pour of the fill that a sister's table was made from."""

    step: int
    added_l: float
    counts: float
    counts_sd: float | None = None
    fuel_c: float | None = None
    meter_c: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None


@dataclass(frozen=True, slots=True)
class SisterProposed(Event):
    """The table of a tank of the same model is proposed for a fill, with what made it.

    All that her table stands on is copied here, so that this journal says by itself what
    was taken over.
    """

    tank_id: str
    sister_job: str
    sister_tank_id: str
    digest: str
    """Of her table."""
    rows: tuple[TableRow, ...] = ()
    tank: Mapping[str, Any] = field(default_factory=dict)
    probe: Mapping[str, Any] = field(default_factory=dict)
    pours: tuple[SisterPour, ...] = ()
    meter_checks: tuple[CanCheck, ...] = ()
    residual_l: float | None = None
    u_residual_l: float | None = None
    dip_empty_mm: float | None = None
    is_draining: bool = False
    results: Mapping[str, Any] = field(default_factory=dict)
    """What this tank's pours said about it at that time."""

    def check(self) -> None:
        """Refuse a sister without a name or a table."""
        require_name("sister_job", self.sister_job)
        require_name("sister_tank_id", self.sister_tank_id)
        require_sha256("digest", self.digest)


@dataclass(frozen=True, slots=True)
class TableCarried(TableMade):
    """A newer version of a table that did not come from a fill alone.

    It stands beside the older ones like any other table: it can be accepted, handed over,
    and a certificate can be issued on it.
    """

    from_digest: str = ""
    """Of the table that it came from: the older version, or the sister's."""
    way: str = "recheck"
    begun: int | None = None
    """The entry that began the pours which it learnt from, if there were any."""
    probe: Mapping[str, Any] = field(default_factory=dict)
    """The probe that its counts are of, if it is not the described one."""
    reason: str = ""

    def check(self) -> None:
        """Refuse a table without its origin or a reason."""
        require_at_least("rows", len(self.rows), 2)
        require_sha256("digest", self.digest)
        require_sha256("from_digest", self.from_digest)
        require_choice("way", self.way, WAYS)
        require_text("reason", self.reason)
