"""The plan of a job: where to drill, what to cut, what it will read, which pours to make.

`lay_out` is everything but the pours; it follows a person's edits within a fraction of a
second.  `plan_job` adds the pours.  `plan_record` is the plan file.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from gaugewright.app.tank_file import TankFile
from gaugewright.errors import InputError
from gaugewright.planning.actions import PourPlan, plan_pours
from gaugewright.planning.headroom import Headroom, RigidProbe, headroom
from gaugewright.planning.length import (
    BLIND_TOP_MM,
    TIP_CLEARANCE_MM,
    Cut,
    Seen,
    cut_by_depth,
    seen_by,
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
    two_probes,
)
from gaugewright.planning.zones import KeepOut
from gaugewright.probe import Probe, column_at


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
    headroom_mm: float | None = None
    """Free height above the tank's top; ``None`` if nobody measured it. [mm]"""
    depth_mm: float | None = None
    """Inside depth by dip stick; ``None`` takes it from the tank file. [mm]"""
    noise_counts: float = 1.0


@dataclass(frozen=True, eq=False)
class Layout:
    """Where the probe stands, how long it is, and what it sees."""

    file: TankFile
    wishes: Wishes
    map: PlaceMap
    place: Place
    per_degree: PerDegree
    probe: Probe
    is_chosen: bool
    """Whether the plan chose the place and the probe, or the tank file has them."""
    cut: Cut
    seen: Seen
    headroom: Headroom
    two: TwoProbes | None
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

    Raises `InputError` with the tank file's name, also if no place is left free.
    """
    wishes = Wishes() if wishes is None else wishes
    try:
        return _laid_out(file, wishes)
    except InputError as error:
        if error.field is not None and hasattr(wishes, error.field):
            raise
        raise error.in_file(file.name) from None


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
    found = place_map(tank, wishes.slope, zones=wishes.zones, clear_mm=wishes.clear_mm)
    if file.probe is None:
        if found.best is None:
            raise InputError(
                "no place on the tank's top is free of walls and keep-out zones; "
                f"wanted {wishes.clear_mm:g} mm around the probe",
                field="clear_mm",
            )
        place = found.best
    else:
        column_at(tank, file.probe)
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
        found,
        place,
        misread_per_degree(tank, place.x_mm, place.y_mm),
        probe,
        file.probe is None,
        cut,
        seen_by(tank, probe, noise_counts=wishes.noise_counts),
        headroom(rigid),
        two_probes(tank, found),
        (),
    )
    return replace(layout, notes=tuple(_notes(layout)))


def _depth(file: TankFile, wishes: Wishes, place: Place) -> tuple[float, float]:
    """Give the inside depth at the place and its standard uncertainty. [mm]"""
    if wishes.depth_mm is not None:
        return wishes.depth_mm, 1.0
    return place.high_mm - place.low_mm, file.tank.u_mm


def _proposed(place: Place, cut: Cut, wishes: Wishes) -> Probe:
    """Propose a probe that senses from its tip to just below the flange."""
    active = cut.cut_length_mm + wishes.cap_mm - BLIND_TOP_MM
    if active <= 0:
        raise InputError(
            f"{cut.cut_length_mm:.0f} mm of tube leave nothing to sense", field="tip_clearance_mm"
        )
    return Probe(place.x_mm, place.y_mm, cut.tip_clearance_mm, active)


def _notes(layout: Layout) -> list[str]:
    """Say what a person should know, the weightiest first."""
    notes = [*_cut_notes(layout), *_place_notes(layout), *_headroom_notes(layout)]
    if layout.two is not None and layout.two.is_worth_it:
        (x1, y1), (x2, y2) = layout.two.first, layout.two.second
        notes.append(
            f"two probes are worth it: at x {x1:.0f}, y {y1:.0f} mm and x {x2:.0f}, y {y2:.0f} mm, "
            f"{layout.two.why}"
        )
    if layout.is_chosen:
        notes.append(
            "the tank file has no probe: place, clearance and length are proposed here "
            f"({layout.probe.tip_clearance_mm:g} mm below the tip, {BLIND_TOP_MM:g} mm not sensed "
            "below the flange: common practice)"
        )
    return notes


def _cut_notes(layout: Layout) -> list[str]:
    cut, notes = layout.cut, []
    if cut.verdict == "touches":
        notes.append(
            f"the tip touches when the bottom comes up {cut.bottom_flex_mm:g} mm: "
            f"only {cut.tip_clearance_mm:g} mm are free below it"
        )
    elif cut.verdict == "may touch":
        notes.append(
            f"the tip may touch when the bottom comes up {cut.bottom_flex_mm:g} mm: at worst "
            f"{cut.least_mm - cut.bottom_flex_mm:.0f} mm are left"
            + (
                "; a dip stick at the place makes it surer"
                if layout.wishes.depth_mm is None
                else ""
            )
        )
    own = cut.cut_length_mm + layout.wishes.cap_mm
    if layout.probe.active_length_mm > own + 0.5:
        notes.append(
            f"the probe's active length, {layout.probe.active_length_mm:g} mm, is more than the "
            f"{own:.0f} mm that go into the tank at this clearance: check both"
        )
    return notes


def _place_notes(layout: Layout) -> list[str]:
    if layout.is_chosen:
        return []
    notes = []
    in_the_way = blocked_at(layout.map, layout.place.x_mm, layout.place.y_mm)
    if in_the_way is not None:
        notes.append(f"the probe's place is not free: {in_the_way}")
    best = layout.map.best
    if best is not None and best.worst_l < 0.8 * layout.place.worst_l:
        notes.append(
            f"at x {best.x_mm:.0f}, y {best.y_mm:.0f} mm the slope would misread "
            f"{best.worst_l:.1f} L at worst instead of {layout.place.worst_l:.1f} L"
        )
    return notes


def _headroom_notes(layout: Layout) -> list[str]:
    room = layout.headroom
    if layout.wishes.headroom_mm is None:
        return [
            f"headroom is not known: {room.upright_mm:.0f} mm above the tank to bring the probe in "
            f"upright, {room.needed_mm:.0f} mm at the least"
        ]
    return ["bringing the probe in: " + room.verdict(layout.wishes.headroom_mm, layout.place.wall_mm)]


def plan_record(plan: Plan) -> dict[str, Any]:
    """Return the plan file: what the contract names, and the rest beside it."""
    return {**layout_record(plan.layout), **_pours_record(plan.pours)}


def layout_record(layout: Layout) -> dict[str, Any]:
    """Return what is known without the pours."""
    probe, seen, cut, place = layout.probe, layout.seen, layout.cut, layout.place
    return {
        "tank": layout.file.name,
        "shape": layout.file.tank.shape,
        "capacity_l": round(seen.capacity_l, 3),
        "probe": {
            "x_mm": round(probe.x_mm, 3),
            "y_mm": round(probe.y_mm, 3),
            "cut_length_mm": round(cut.cut_length_mm, 1),
            "u_cut_length_mm": round(cut.u_mm, 2),
            "tip_clearance_mm": round(probe.tip_clearance_mm, 3),
            "least_tip_clearance_mm": round(cut.least_mm, 1),
            "active_length_mm": round(probe.active_length_mm, 3),
            "counts_empty": probe.counts_empty,
            "counts_full": probe.counts_full,
            "is_proposed": layout.is_chosen,
            "bottom_verdict": cut.verdict,
        },
        "dead_stock_l": round(seen.dead_stock_l, 3),
        "blind_above_l": round(seen.blind_above_l, 3),
        "smallest_visible_l": round(float(seen.smallest_visible_l.max()), 3),
        "litres_per_count": {
            "least": round(float(seen.litres_per_count.min()), 4),
            "most": round(float(seen.litres_per_count.max()), 4),
        },
        "slope": {
            "along_percent": 100 * layout.wishes.slope.along,
            "across_percent": 100 * layout.wishes.slope.across,
            "worst_l": round(place.worst_l, 3),
            "worst_at": {
                "along_percent": 100 * place.at_slope[0],
                "across_percent": 100 * place.at_slope[1],
                "fill_percent": round(100 * place.at_fill),
            },
            "best_place": _best_record(layout.map),
            "per_degree": [
                {"level_mm": round(a, 1), "litres": round(b, 2), "pitch_l": round(c, 3),
                 "roll_l": round(d, 3)}
                for a, b, c, d in np.column_stack(
                    [layout.per_degree.level_mm, layout.per_degree.litres,
                     layout.per_degree.pitch_l, layout.per_degree.roll_l]
                ).tolist()
            ],
        },
        "headroom": {
            "upright_mm": round(layout.headroom.upright_mm, 1),
            "leaning_mm": round(layout.headroom.leaning_mm, 1),
            "steepest_deg": round(layout.headroom.steepest_deg, 1),
            "inside_mm": round(layout.headroom.inside_mm, 1),
        },
        "two_probes": _two_record(layout.two),
        "notes": list(layout.notes),
    }  # fmt: skip


def map_record(found: PlaceMap) -> dict[str, Any]:
    """Return the map for a drawing: places, the misread at each, what stands in the way."""
    worst = np.where(np.isnan(found.worst_l), -1.0, found.worst_l).round(3)
    return {
        "x_mm": found.view.x_mm.round(3).tolist(),
        "y_mm": found.view.y_mm.round(3).tolist(),
        "worst_l": [[None if v < 0 else v for v in row] for row in worst.tolist()],
        "blocked_by": found.blocked_by.tolist(),
        "blockers": [found.blocker(code) for code in range(3 + len(found.zones))],
        "walls_mm": found.view.walls.tolist(),
        "zones": [
            {"name": zone.name, "corners_mm": [list(c) for c in zone.corners_mm]}
            for zone in found.zones
        ],
        "best_place": _best_record(found),
    }


def _best_record(found: PlaceMap) -> dict[str, Any] | None:
    best = found.best
    if best is None:
        return None
    return {"x_mm": best.x_mm, "y_mm": best.y_mm, "worst_l": round(best.worst_l, 3)}


def _two_record(two: TwoProbes | None) -> dict[str, Any] | None:
    if two is None:
        return None
    return {
        "first_mm": list(two.first),
        "second_mm": list(two.second),
        "worst_l": round(two.worst_l, 3),
        "one_worst_l": round(two.one_worst_l, 3),
        "is_worth_it": two.is_worth_it,
        "why": two.why,
    }


def _pours_record(plan: PourPlan) -> dict[str, Any]:
    return {
        "pours": [
            {
                "step": pour.step,
                "add_l": pour.add_l,
                "expected_counts": pour.expected_counts,
                "u_counts": pour.u_counts,
            }
            for pour in plan.pours
        ],
        "actions": [
            {
                "kind": action.kind,
                "what": action.what,
                "at_l": action.at_l,
                "error_left_l": round(action.error_left_l, 3),
                "minutes": round(action.minutes, 1),
            }
            for action in plan.actions
        ],
        "error_left_l": round(plan.error_left_l, 3),
        "fuel_needed_l": round(plan.litres, 1),
        "minutes": round(plan.minutes, 1),
        "why_it_ends": plan.why_it_ends,
    }
