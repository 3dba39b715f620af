"""The plan of a tank whose shape nobody knows or trusts: pours, checks, cut, what to bring.

What follows from a shape, such as the place and the misread on a slope, is left open and
says why.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gaugewright.app.files import naming_file, read_text, shown_name
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
from gaugewright.app.plan_record import (
    headroom_record,
    pours_record,
    probe_record,
    record_without_shape,
    stand_off_record,
)
from gaugewright.app.tank_file import TankFile, parse_tank_text, read_tank_file
from gaugewright.planning.actions import PourPlan
from gaugewright.planning.cautions import Ruling, require_may_plan
from gaugewright.planning.draining import Draining
from gaugewright.planning.headroom import Headroom
from gaugewright.planning.length import Cut
from gaugewright.planning.unknown import Guess, guessed, plan_unknown_pours
from gaugewright.probe import Probe, column_at, probe_from_mapping
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.unknown_shape import (
    UnknownShape,
    is_unknown_shape,
    unknown_shape_from_mapping,
)
from gaugewright.words import said

NO_SHAPE = "not computed: the tank's shape is not known"
PLACE = (
    "the shape is not known: no place can be computed and no misread on a slope; the middle of "
    "the length and of the width, clear of baffles, is usually the best place (common practice)"
)


@dataclass(frozen=True, slots=True)
class UnknownFile:
    """A tank without a shape and, where it is described, its probe."""

    name: str
    tank: UnknownShape
    probe: Probe | None


@dataclass(frozen=True, eq=False)
class UnknownLayout:
    """How long the probe is, and what is known without a shape."""

    file: UnknownFile
    wishes: Wishes
    ruling: Ruling
    probe: Probe
    """Its place is meaningless where ``file.probe`` is ``None``."""
    cut: Cut
    stand_off: Cut | None
    headroom: Headroom
    draining: Draining | None
    guess: Guess
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class UnknownPlan:
    """A whole plan without a shape."""

    layout: UnknownLayout
    pours: PourPlan


def unknown_file(mapping: Mapping[str, Any], name: str) -> UnknownFile:
    """Return a tank without a shape from the fields of a tank file."""
    has_probe = any(field == "probe" or field.startswith("probe.") for field in mapping)
    return UnknownFile(
        name,
        unknown_shape_from_mapping(mapping),
        probe_from_mapping(mapping) if has_probe else None,
    )


def without_shape(file: TankFile) -> UnknownFile:
    """Return a described tank as if its shape were not known: its plate and its height.

    Without a plate the described volume stands in for it.
    """
    solid, tank, probe = solid_of(file.tank), file.tank, file.probe
    rated = tank.rated_capacity_l
    if rated is None:
        rated = tank.usable_fraction * (solid.volume_l - tank.displaced_l)
    low, high = float(solid.vertices[:, 2].min()), float(solid.vertices[:, 2].max())
    if probe is not None:
        low, high = column_at(tank, probe)
    shape = UnknownShape(rated, high - low, tank.usable_fraction, tank.u_mm)
    return UnknownFile(file.name, shape, probe)


def read_any_tank(path: str, *, shape_unknown: bool = False) -> TankFile | UnknownFile:
    """Return the tank of a file, ``-`` for standard input.

    One that names no shape, or with ``shape_unknown`` any, comes without it.
    """
    text = read_text(path)
    suffix = Path(path).suffix.lower()
    is_json = suffix == ".json" if suffix in (".json", ".toml") else text.lstrip()[:1] == "{"
    with naming_file(path):
        mapping = parse_tank_text(text, is_json=is_json)
        if is_unknown_shape(mapping):
            return unknown_file(mapping, shown_name(path))
    file = read_tank_file(path, text)
    return without_shape(file) if shape_unknown else file


def lay_out_unknown(file: UnknownFile, wishes: Wishes | None = None) -> UnknownLayout:
    """Return the cut and what else is known without a shape.

    Raises `InputError` where a stop rule ends the plan, and with the tank file's name if
    the file is wrong.
    """
    wishes = Wishes() if wishes is None else wishes
    with naming_the_tank(file.name):
        return _laid_out(file, wishes)


def plan_unknown(
    file: UnknownFile,
    wishes: Wishes | None = None,
    *,
    pours: int | None = None,
    within_l: float | None = None,
    fuel_l: float | None = None,
) -> UnknownPlan:
    """Return the whole plan of one tank without a shape."""
    layout = lay_out_unknown(file, wishes)
    found = plan_unknown_pours(
        file.tank.brim_l, depth_of(layout), layout.probe,
        pours=pours, within_l=within_l, fuel_l=fuel_l,
    )  # fmt: skip
    return UnknownPlan(layout, found)


def depth_of(layout: UnknownLayout) -> float:
    """Return the inside depth that the plan goes by. [mm]"""
    measured = layout.wishes.depth_mm
    return layout.file.tank.height_mm if measured is None else measured


def _laid_out(file: UnknownFile, wishes: Wishes) -> UnknownLayout:
    decided = require_may_plan(wishes.circumstances)
    depth = file.tank.height_mm if wishes.depth_mm is None else wishes.depth_mm
    u_depth = file.tank.u_mm if wishes.depth_mm is None else 1.0
    cut = by_depth(wishes, depth, u_depth, file.probe)
    probe = file.probe or proposed_probe(wishes, cut, 0.0, 0.0)
    room = headroom_for(wishes, cut)
    layout = UnknownLayout(
        file, wishes, decided, probe, cut, by_stand_off(wishes), room,
        drained_first(wishes), guessed(file.tank.brim_l, depth, probe, ()), (),
    )  # fmt: skip
    return replace(layout, notes=tuple(_notes(layout)))


def _notes(layout: UnknownLayout) -> list[str]:
    notes = [layout.ruling.record] if layout.ruling.record else []
    return [*notes, *cut_notes(layout), said(PLACE), headroom_note(layout)]


def unknown_layout_record(layout: UnknownLayout) -> dict[str, Any]:
    """Return what is known without the pours, under the names of `plan_record.layout_record`.

    What a shape would be needed for is ``None``; ``why_open`` says so.
    """
    return {
        "tank": layout.file.name,
        "shape": "unknown",
        "why_open": NO_SHAPE,
        "capacity_l": round(layout.file.tank.brim_l, 3),
        "probe": probe_record(layout, layout.file.probe, is_proposed=layout.file.probe is None),
        "stand_off": stand_off_record(layout),
        "dead_stock_l": round(layout.guess.dead_stock_l, 1),
        "u_dead_stock_l": round(layout.guess.u_dead_stock_l, 1),
        "blind_above_l": None,
        "smallest_visible_l": None,
        "litres_per_count": None,
        "slope": None,
        "headroom": headroom_record(layout.headroom),
        "two_probes": None,
        **record_without_shape(layout),
    }


def unknown_plan_record(plan: UnknownPlan) -> dict[str, Any]:
    """Return the plan file of a tank without a shape."""
    return {**unknown_layout_record(plan.layout), **pours_record(plan.pours)}
