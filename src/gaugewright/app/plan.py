"""The plan of a job: where to drill, what to cut, what it will read, which pours to make.

`lay_out` is everything but the pours; it follows a person's edits within a fraction of a
second.  `plan_job` adds the pours.
"""

from dataclasses import dataclass, field, fields, replace
from typing import Protocol

from gaugewright.app.tank_file import TankFile
from gaugewright.errors import InputError
from gaugewright.planning.actions import PourPlan, plan_pours
from gaugewright.planning.cautions import Circumstances, Ruling, require_may_plan
from gaugewright.planning.draining import Draining, drain
from gaugewright.planning.headroom import Headroom, RigidProbe, headroom
from gaugewright.planning.length import (
    BLIND_TOP_MM,
    TIP_CLEARANCE_MM,
    Cut,
    Seen,
    cut_by_depth,
    cut_by_stand_off,
    seen_by,
    ways_agree,
)
from gaugewright.planning.misread import PerDegree, Slope, misread_per_degree
from gaugewright.planning.place import (
    CLEAR_MM,
    Place,
    PlaceMap,
    TwoProbes,
    blocked_at,
    place_at,
    place_map,
    room_beside_mm,
    two_probes,
)
from gaugewright.planning.zones import KeepOut
from gaugewright.probe import Probe, column_at
from gaugewright.tank.description import Tank
from gaugewright.words import Length, Volume, said


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


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the probe stands, how long it is, and what it sees."""

    file: TankFile
    wishes: Wishes
    ruling: Ruling
    map: PlaceMap
    place: Place
    per_degree: PerDegree
    probe: Probe
    is_chosen: bool
    """Whether the plan chose the place and the probe, or the tank file has them."""
    cut: Cut
    stand_off: Cut | None
    """The cut by the probe's stand-off, with its own clearance; ``None`` if not measured."""
    seen: Seen
    headroom: Headroom
    two: TwoProbes | None
    draining: Draining | None
    """How the fuel in the tank is taken out first; ``None`` for an empty tank."""
    notes: tuple[str, ...]
    """What else is worth saying, the weightiest first."""


@dataclass(frozen=True, eq=False)
class Plan:
    """A whole plan."""

    layout: Layout
    pours: PourPlan


def lay_out(file: TankFile, wishes: Wishes | None = None) -> Layout:
    """Return where the probe goes and what it will see, without the pours.

    A tank file with a probe keeps its place, clearance and length; without one the plan
    takes the best free place and proposes the rest.

    Raises `InputError` where a stop rule ends the plan, and with the tank file's name if
    the file is wrong or no place is left free.
    """
    wishes = Wishes() if wishes is None else wishes
    try:
        return _laid_out(file, wishes)
    except InputError as error:
        if is_of_the_person(error):
            raise
        raise error.in_file(file.name) from None


def is_of_the_person(error: InputError) -> bool:
    """Tell whether an error is about what a person wished, not about the tank file."""
    return error.field is not None and error.field in _OF_THE_PERSON


def plan_job(
    file: TankFile,
    wishes: Wishes | None = None,
    *,
    pours: int | None = None,
    within_l: float | None = None,
    fuel_l: float | None = None,
) -> Plan:
    """Return the whole plan of one tank.

    Raises `InputError` with the tank file's name or the argument that is wrong.
    """
    layout = lay_out(file, wishes)
    found = plan_pours(
        file.tank, layout.probe, pours=pours, within_l=within_l, fuel_l=fuel_l, assumed=None
    )
    return Plan(layout, found)


def _laid_out(file: TankFile, wishes: Wishes) -> Layout:
    tank = file.tank
    decided = require_may_plan(wishes.circumstances)
    found = place_map(tank, wishes.slope, zones=wishes.zones, clear_mm=wishes.clear_mm)
    if file.probe is None:
        if found.best is None:
            raise InputError(
                said(
                    "no place on the tank's top is free of walls and keep-out zones; wanted "
                    "{clear_mm:g} around the probe",
                    clear_mm=Length(wishes.clear_mm),
                ),
                field="clear_mm",
            )
        place = found.best
    else:
        _require_tip_inside(file.tank, file.probe)
        place = place_at(tank, file.probe.x_mm, file.probe.y_mm, wishes.slope)
    depth, u_depth = _depth(file, wishes, place)
    clearance = wishes.tip_clearance_mm if file.probe is None else file.probe.tip_clearance_mm
    cut = cut_by_depth(
        depth,
        seat_mm=wishes.seat_mm,
        tip_clearance_mm=clearance,
        cap_mm=wishes.cap_mm,
        bottom_flex_mm=wishes.bottom_flex_mm,
        u_depth_mm=u_depth,
    )
    probe = file.probe or _proposed(place, cut, wishes)
    rigid = RigidProbe(
        cut.cut_length_mm + wishes.cap_mm,
        wishes.head_mm,
        wishes.tube_mm,
        wishes.flange_mm,
        wishes.hole_mm,
        wishes.seat_mm,
    )
    layout = Layout(
        file,
        wishes,
        decided,
        found,
        place,
        misread_per_degree(tank, place.x_mm, place.y_mm),
        probe,
        file.probe is None,
        cut,
        by_stand_off(wishes),
        seen_by(tank, probe, noise_counts=wishes.noise_counts),
        headroom(rigid),
        two_probes(tank, found),
        drain(wishes.in_tank_l) if wishes.in_tank_l else None,
        (),
    )
    return replace(layout, notes=tuple(_notes(layout)))


def _require_tip_inside(tank: Tank, probe: Probe) -> None:
    low, high = column_at(tank, probe)
    if probe.tip_clearance_mm >= high - low:
        raise InputError(
            said(
                "{tip_clearance_mm:g} is above the highest inside point there, {room_mm:g}",
                tip_clearance_mm=Length(probe.tip_clearance_mm),
                room_mm=Length(high - low),
            ),
            field="probe.tip_clearance_mm",
        )


def _depth(file: TankFile, wishes: Wishes, place: Place) -> tuple[float, float]:
    """Give the inside depth at the place and its standard uncertainty. [mm]"""
    if wishes.depth_mm is not None:
        return wishes.depth_mm, 1.0
    return place.high_mm - place.low_mm, file.tank.u_mm


def by_stand_off(wishes: Wishes) -> Cut | None:
    """Return the cut by the probe's stand-off, ``None`` if it was not measured."""
    full, off = wishes.full_length_mm, wishes.stand_off_mm
    if full is None and off is None:
        return None
    if full is None or off is None:
        missing = "full_length_mm" if full is None else "stand_off_mm"
        raise InputError(said("is missing: stand-off and full length go together"), field=missing)
    return cut_by_stand_off(full, off, cap_mm=wishes.cap_mm, bottom_flex_mm=wishes.bottom_flex_mm)


def _proposed(place: Place, cut: Cut, wishes: Wishes) -> Probe:
    """Propose a probe that senses from its tip to just below the flange."""
    active = cut.cut_length_mm + wishes.cap_mm - BLIND_TOP_MM
    if active <= 0:
        raise InputError(
            said(
                "{cut_length_mm:.0f} of tube leave nothing to sense",
                cut_length_mm=Length(cut.cut_length_mm),
            ),
            field="tip_clearance_mm",
        )
    return Probe(place.x_mm, place.y_mm, cut.tip_clearance_mm, active)


def _notes(layout: Layout) -> list[str]:
    """Say what a person should know, the weightiest first."""
    notes = [layout.ruling.record] if layout.ruling.record else []
    notes += [*cut_notes(layout), *_place_notes(layout), *_headroom_notes(layout)]
    if layout.two is not None and layout.two.is_worth_it:
        (x1, y1), (x2, y2) = layout.two.first, layout.two.second
        notes.append(
            said(
                "two probes are worth it: at x {x1:.0f}, y {y1:.0f} and x {x2:.0f}, y "
                "{y2:.0f}, {why}",
                x1=x1,
                y1=Length(y1),
                x2=x2,
                y2=Length(y2),
                why=layout.two.why,
            )
        )
    if layout.is_chosen:
        notes.append(
            said(
                "the tank file has no probe: place, clearance and length are proposed "
                "here ({tip_clearance_mm:g} below the tip, {blind_top_mm:g} not sensed "
                "below the flange: common practice)",
                tip_clearance_mm=Length(layout.probe.tip_clearance_mm),
                blind_top_mm=Length(BLIND_TOP_MM),
            )
        )
    return notes


class HasCut(Protocol):
    """A layout as far as its cut goes, with a shape or without one."""

    @property
    def wishes(self) -> Wishes:
        """What a person knows and wants."""

    @property
    def probe(self) -> Probe:
        """Where it stands."""

    @property
    def cut(self) -> Cut:
        """By the inside depth."""

    @property
    def stand_off(self) -> Cut | None:
        """By the stand-off, if it was measured."""


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


def _place_notes(layout: Layout) -> list[str]:
    if layout.is_chosen:
        return []
    notes: list[str] = []
    in_the_way = blocked_at(layout.map, layout.place.x_mm, layout.place.y_mm)
    if in_the_way is not None:
        notes.append(said("the probe's place is not free: {in_the_way}", in_the_way=in_the_way))
    best = layout.map.best
    if best is not None and best.worst_l < 0.8 * layout.place.worst_l:
        notes.append(
            said(
                "at x {x_mm:.0f}, y {y_mm:.0f} the slope would misread {worst_l:.1f} at "
                "worst instead of {now_l:.1f}",
                x_mm=best.x_mm,
                y_mm=Length(best.y_mm),
                worst_l=Volume(best.worst_l),
                now_l=Volume(layout.place.worst_l),
            )
        )
    return notes


def _headroom_notes(layout: Layout) -> list[str]:
    room = layout.headroom
    if layout.wishes.headroom_mm is None:
        return [
            said(
                "headroom is not known: {upright_mm:.0f} above the tank to bring the "
                "probe in upright, {needed_mm:.0f} at the least",
                upright_mm=Length(room.upright_mm),
                needed_mm=Length(room.needed_mm),
            )
        ]
    beside = room_beside_mm(layout.map, layout.place.x_mm, layout.place.y_mm)
    return [
        said("bringing the probe in: {how}", how=room.verdict(layout.wishes.headroom_mm, beside))
    ]
