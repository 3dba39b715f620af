"""What every plan holds, with the tank's shape or without: wishes, cut, bringing the probe in."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, fields
from typing import Protocol

from gaugewright.errors import InputError
from gaugewright.planning.cautions import Circumstances, Ruling
from gaugewright.planning.draining import Draining, drain
from gaugewright.planning.headroom import Headroom, RigidProbe, headroom
from gaugewright.planning.length import (
    BLIND_TOP_MM,
    TIP_CLEARANCE_MM,
    Cut,
    cut_by_depth,
    cut_by_stand_off,
    ways_agree,
)
from gaugewright.planning.misread import Slope
from gaugewright.planning.place import CLEAR_MM
from gaugewright.planning.zones import KeepOut
from gaugewright.probe import Probe
from gaugewright.words import Length, said


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a person knows and wants before the hole is drilled.

    Lengths of the probe are common practice without a source where nobody gives them.
    """

    slope: Slope = field(default_factory=Slope)
    zones: tuple[KeepOut, ...] = ()
    clear_mm: float = CLEAR_MM
    tip_clearance_mm: float = TIP_CLEARANCE_MM
    """For a tank file without a probe. [mm]"""
    seat_mm: float = 5.0
    """From the inside of the tank's top to the flange's seat. [mm]"""
    cap_mm: float = 0.0
    bottom_flex_mm: float = 5.0
    head_mm: float = 60.0
    tube_mm: float = 20.0
    flange_mm: float = 80.0
    hole_mm: float = 38.0
    bolt_circle_mm: float | None = None
    """``None`` is midway between hole and flange's edge. [mm]"""
    bolts: float = 5.0
    bolt_mm: float = 5.0
    first_bolt_deg: float = 0.0
    """From the front arrow, clockwise seen from above. [°]"""
    circumstances: Circumstances = field(default_factory=Circumstances)
    in_tank_l: float = 0.0
    """Fuel in the tank now, to be drained first. [L]"""
    headroom_mm: float | None = None
    """Free height above the tank's top; ``None`` if nobody measured it. [mm]"""
    depth_mm: float | None = None
    """Inside depth by dip stick; ``None`` takes it from the tank file. [mm]"""
    stand_off_mm: float | None = None
    """How far the uncut probe stands off its seat, tip on the bottom; with its full length a
    second way to the cut. [mm]"""
    full_length_mm: float | None = None
    """Of the uncut tube below the flange. [mm]"""
    noise_counts: float = 1.0


_OF_THE_PERSON = {each.name for each in fields(Wishes)} | {"contents", "dangerous_goods", "litres"}
"""Fields that a person gave, not the tank file."""


@contextmanager
def naming_the_tank(name: str) -> Iterator[None]:
    """Name the tank file in an `InputError` that is about it, not about a person's wishes."""
    try:
        yield
    except InputError as error:
        if error.field is not None and error.field in _OF_THE_PERSON:
            raise
        raise error.in_file(name) from None


def by_depth(wishes: Wishes, depth_mm: float, u_depth_mm: float, probe: Probe | None) -> Cut:
    """Return the cut by the inside depth; a described probe keeps its clearance."""
    return cut_by_depth(
        depth_mm,
        seat_mm=wishes.seat_mm,
        tip_clearance_mm=wishes.tip_clearance_mm if probe is None else probe.tip_clearance_mm,
        cap_mm=wishes.cap_mm,
        bottom_flex_mm=wishes.bottom_flex_mm,
        u_depth_mm=u_depth_mm,
    )


def by_stand_off(wishes: Wishes) -> Cut | None:
    """Return the cut by the probe's stand-off, ``None`` if it was not measured."""
    full, off = wishes.full_length_mm, wishes.stand_off_mm
    if full is None and off is None:
        return None
    if full is None or off is None:
        missing = "full_length_mm" if full is None else "stand_off_mm"
        raise InputError(said("is missing: stand-off and full length go together"), field=missing)
    return cut_by_stand_off(full, off, cap_mm=wishes.cap_mm, bottom_flex_mm=wishes.bottom_flex_mm)


def proposed_probe(wishes: Wishes, cut: Cut, x_mm: float, y_mm: float) -> Probe:
    """Return a probe that senses from its tip to just below the flange."""
    active = cut.cut_length_mm + wishes.cap_mm - BLIND_TOP_MM
    if active <= 0:
        raise InputError(
            said(
                "{cut_length_mm:.0f} of tube leave nothing to sense",
                cut_length_mm=Length(cut.cut_length_mm),
            ),
            field="tip_clearance_mm",
        )
    return Probe(x_mm, y_mm, cut.tip_clearance_mm, active)


def headroom_for(wishes: Wishes, cut: Cut) -> Headroom:
    """Return what it takes to bring a probe of this cut in."""
    return headroom(
        RigidProbe(
            cut.cut_length_mm + wishes.cap_mm,
            wishes.head_mm,
            wishes.tube_mm,
            wishes.flange_mm,
            wishes.hole_mm,
            wishes.seat_mm,
        )
    )


def drained_first(wishes: Wishes) -> Draining | None:
    """Return how the fuel in the tank is taken out first, ``None`` for an empty tank."""
    return drain(wishes.in_tank_l) if wishes.in_tank_l else None


class HasCut(Protocol):
    """A layout as far as it needs no shape: the cut, bringing the probe in, the draining."""

    @property
    def wishes(self) -> Wishes:
        """What a person knows and wants."""

    @property
    def ruling(self) -> Ruling:
        """What the stop rules say."""

    @property
    def probe(self) -> Probe:
        """Where it stands."""

    @property
    def cut(self) -> Cut:
        """By the inside depth."""

    @property
    def stand_off(self) -> Cut | None:
        """By the stand-off, if it was measured."""

    @property
    def headroom(self) -> Headroom:
        """What it takes to bring the probe in."""

    @property
    def draining(self) -> Draining | None:
        """How the fuel in the tank is taken out first, if there is any."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What else is worth saying, the weightiest first."""


def cut_notes(layout: HasCut) -> list[str]:
    """Say what is to be known about the cut before it is made."""
    cut = layout.cut
    notes: list[str] = []
    if cut.verdict == "touches":
        notes.append(
            said(
                "the tip touches when the bottom comes up {bottom_flex_mm:g}: only "
                "{tip_clearance_mm:g} are free below it",
                bottom_flex_mm=Length(cut.bottom_flex_mm),
                tip_clearance_mm=Length(cut.tip_clearance_mm),
            )
        )
    elif cut.verdict == "may touch":
        notes.append(
            said(
                "the tip may touch when the bottom comes up {bottom_flex_mm:g}: at worst "
                "{least_mm:.0f} are left{surer}",
                bottom_flex_mm=Length(cut.bottom_flex_mm),
                least_mm=Length(cut.least_mm - cut.bottom_flex_mm),
                surer=said("; a dip stick at the place makes it surer")
                if layout.wishes.depth_mm is None
                else "",
            )
        )
    if layout.stand_off is not None:
        agree, apart = ways_agree(cut, layout.stand_off)
        words = said("agree") if agree else said("do not agree: measure both again before the cut")
        notes.append(
            said(
                "inside depth and stand-off are {apart:.0f} apart and {words}; the "
                "stand-off with its usual allowance would cut to {cut_length_mm:.1f}",
                apart=Length(abs(apart)),
                words=words,
                cut_length_mm=Length(layout.stand_off.cut_length_mm),
            )
        )
    own = cut.cut_length_mm + layout.wishes.cap_mm
    if layout.probe.active_length_mm > own + 0.5:
        notes.append(
            said(
                "the probe's active length, {active_length_mm:g}, is more than the "
                "{own:.0f} that go into the tank at this clearance: check both",
                active_length_mm=Length(layout.probe.active_length_mm),
                own=Length(own),
            )
        )
    return notes


def headroom_note(layout: HasCut, beside_mm: float | None = None) -> str:
    """Say how the probe is brought in, ``beside_mm`` free beside it where that is known."""
    room, available = layout.headroom, layout.wishes.headroom_mm
    if available is not None:
        return said("bringing the probe in: {how}", how=room.verdict(available, beside_mm))
    return said(
        "headroom is not known: {upright_mm:.0f} above the tank to bring the "
        "probe in upright, {needed_mm:.0f} at the least",
        upright_mm=Length(room.upright_mm),
        needed_mm=Length(room.needed_mm),
    )
