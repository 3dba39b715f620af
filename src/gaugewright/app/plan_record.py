"""A plan as a file and for programs: the contract's fields, and the rest beside them."""

from typing import Any

import numpy as np

from gaugewright.app.plan import Layout, Plan
from gaugewright.app.plan_cut import HasCut
from gaugewright.planning.actions import PourPlan
from gaugewright.planning.cautions import cautions_for
from gaugewright.planning.draining import Draining
from gaugewright.planning.headroom import Headroom
from gaugewright.planning.length import ways_agree
from gaugewright.planning.place import PlaceMap, TwoProbes
from gaugewright.probe import Probe


def plan_record(plan: Plan) -> dict[str, Any]:
    """Return the plan file: what the contract names, and the rest beside it."""
    return {**layout_record(plan.layout), **pours_record(plan.pours)}


def layout_record(layout: Layout) -> dict[str, Any]:
    """Return what is known without the pours."""
    seen, place = layout.seen, layout.place
    return {
        "tank": layout.file.name,
        "shape": layout.file.tank.shape,
        "capacity_l": round(seen.capacity_l, 3),
        "probe": probe_record(layout, layout.probe, is_proposed=layout.is_chosen),
        "stand_off": stand_off_record(layout),
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
                "filled_percent": round(100 * place.share_filled),
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
        "headroom": headroom_record(layout.headroom),
        "two_probes": _two_record(layout.two),
        **record_without_shape(layout),
    }  # fmt: skip


def probe_record(layout: HasCut, placed: Probe | None, *, is_proposed: bool) -> dict[str, Any]:
    """Return the probe and its cut; ``placed`` is ``None`` where nobody knows its place."""
    probe, cut = layout.probe, layout.cut
    return {
        "x_mm": None if placed is None else round(placed.x_mm, 3),
        "y_mm": None if placed is None else round(placed.y_mm, 3),
        "cut_length_mm": round(cut.cut_length_mm, 1),
        "u_cut_length_mm": round(cut.u_mm, 2),
        "tip_clearance_mm": round(probe.tip_clearance_mm, 3),
        "least_tip_clearance_mm": round(cut.least_mm, 1),
        "active_length_mm": round(probe.active_length_mm, 3),
        "counts_empty": probe.counts_empty,
        "counts_full": probe.counts_full,
        "is_proposed": is_proposed,
        "bottom_verdict": cut.verdict,
    }


def headroom_record(room: Headroom) -> dict[str, float]:
    """Return what it takes to bring the probe in."""
    return {
        "upright_mm": round(room.upright_mm, 1),
        "leaning_mm": round(room.leaning_mm, 1),
        "steepest_deg": round(room.steepest_deg, 1),
        "inside_mm": round(room.inside_mm, 1),
    }


def record_without_shape(layout: HasCut) -> dict[str, Any]:
    """Return the end of a layout's record, which no shape is needed for."""
    return {
        "draining": _draining_record(layout.draining),
        "contents": layout.wishes.circumstances.contents,
        "cautions": [
            {"id": each.id, "stage": each.stage, "step": each.step, "text": each.text,
             "source": each.source}
            for each in cautions_for()
        ],
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


def stand_off_record(layout: HasCut) -> dict[str, Any] | None:
    """Return the cut by stand-off beside that by depth, with what each leaves and may touch."""
    other = layout.stand_off
    if other is None:
        return None
    agree, apart = ways_agree(layout.cut, other)
    return {
        "cut_length_mm": round(other.cut_length_mm, 1),
        "u_cut_length_mm": round(other.u_mm, 2),
        "tip_clearance_mm": round(other.tip_clearance_mm, 1),
        "least_tip_clearance_mm": round(other.least_mm, 1),
        "bottom_verdict": other.verdict,
        "apart_mm": round(apart, 1),
        "agrees": agree,
    }


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


def _draining_record(draining: Draining | None) -> dict[str, Any] | None:
    """Return how the fuel in the tank is taken out first."""
    if draining is None:
        return None
    return {
        "litres": round(draining.litres, 1),
        "containers": [
            {"name": each.container.name, "count": each.count, "litres": round(each.litres, 1)}
            for each in draining.filled
        ],
        "total_kg": round(draining.total_kg, 1),
        "minutes": round(draining.minutes, 1),
    }


def pours_record(plan: PourPlan) -> dict[str, Any]:
    """Return the pours with the counts that they should bring, and every action ranked."""
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
