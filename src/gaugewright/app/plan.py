"""The plan of a job: where to drill, what to cut, what it will read, which pours to make.

`lay_out` is everything but the pours; it follows a person's edits within a fraction of a
second.  `plan_job` adds the pours.
"""

from dataclasses import dataclass, replace

from gaugewright.app.plan_cut import (
    Wishes,
    by_depth,
    by_stand_off,
    cut_notes,
    drained_first,
    headroom_for,
    headroom_note,
    naming_the_tank,
    proposed_probe,
)
from gaugewright.app.tank_file import TankFile
from gaugewright.errors import InputError
from gaugewright.planning.actions import PourPlan, plan_pours
from gaugewright.planning.cautions import Ruling, require_may_plan
from gaugewright.planning.draining import Draining
from gaugewright.planning.headroom import Headroom
from gaugewright.planning.length import BLIND_TOP_MM, Cut, Seen, seen_by
from gaugewright.planning.misread import PerDegree, misread_per_degree
from gaugewright.planning.place import (
    Place,
    PlaceMap,
    TwoProbes,
    blocked_at,
    place_at,
    place_map,
    room_beside_mm,
    two_probes,
)
from gaugewright.probe import Probe, column_at
from gaugewright.tank.description import Tank
from gaugewright.words import Length, Volume, said


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
    with naming_the_tank(file.name):
        return _laid_out(file, wishes)


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
    cut = by_depth(wishes, depth, u_depth, file.probe)
    probe = file.probe or proposed_probe(wishes, cut, place.x_mm, place.y_mm)
    room = headroom_for(wishes, cut)
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
        room,
        two_probes(tank, found),
        drained_first(wishes),
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


def _notes(layout: Layout) -> list[str]:
    """Say what a person should know, the weightiest first."""
    notes = [layout.ruling.record] if layout.ruling.record else []
    beside_mm = room_beside_mm(layout.map, layout.place.x_mm, layout.place.y_mm)
    notes += [*cut_notes(layout), *_place_notes(layout), headroom_note(layout, beside_mm)]
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
