"""A table carried to another probe: what it says of levels, read through the new scale.

A table speaks of counts.  What outlives its probe is what it taught about the tank: litres
at each height above the bottom.  So the old probe's tip and the bow of its scale are taken
out of what was learnt, with all that hangs on them, and those of the new probe come in as
unknowns of their own.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import (
    ABOVE,
    BELOW,
    LEAST_BELOW_MM,
    LEAST_SEEN_MM,
    Column,
    Curves,
    Described,
    general_columns,
)
from gaugewright.table.departure import departure_basis
from gaugewright.table.fit import Fit
from gaugewright.table.later.assumptions import BEYOND, Mounting
from gaugewright.table.later.known import (
    Known,
    Part,
    known_from_table,
    merged_columns,
    slope_of,
    weighty,
    without_plate,
)
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.tank.solid import Solid, column
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

OF_THE_PROBE = ("tip", "scale")
"""Groups of unknowns that go with the old probe."""


@dataclass(frozen=True, eq=False)
class LevelPart:
    """Litres at heights in the tank, as one degree of distrust knows them."""

    level_mm: Floats
    """Above the tank's lowest inside point; without a tank file above the bottom under the
    probe. Shape (g,). [mm]"""
    litres: Floats
    columns: tuple[Column, ...]
    capacity_l: float
    described: Described | None
    shift_x_mm: float
    """What the tank of this degree of distrust starts further back than the described one."""
    log_worth: float


@dataclass(frozen=True, eq=False)
class Levels:
    """What is known of a tank without its probe."""

    parts: tuple[LevelPart, ...]
    probe: Probe
    """The probe that it was learnt with."""


def levels_from_fit(result: Fit, mounting: Mounting | None = None) -> Levels:
    """Return what a fill taught about the tank, the probe's own unknowns taken out.

    ``mounting`` is how well the zero and the span of the old probe were known.
    """
    mounting = Mounting() if mounting is None else mounting
    probe = result.components[0].curves.probe
    parts = []
    for weight, component in weighty(result):
        curves, equations = component.curves, component.equations
        stays = np.array([group not in OF_THE_PROBE for group in equations.groups])
        design = equations.table_design * stays
        estimate = component.posterior.estimate
        litres = curves.litres + design @ estimate.mean
        columns = merged_columns(design @ estimate.covariance @ design.T)
        per_mm = slope_of(litres, curves.wetted_mm)
        ends = end_columns(curves.wetted_mm, per_mm, curves.probe, mounting, "old")
        parts.append(
            LevelPart(
                curves.wetted_mm + _tip_mm(curves),
                litres,
                (*columns, *ends),
                curves.capacity_l,
                curves.described,
                curves.probe.x_mm - probe.x_mm,
                float(np.log(weight)),
            )
        )
    return Levels(tuple(parts), probe)


def levels_from_table(
    table: Table,
    probe: Probe,
    tank: Tank | None = None,
    mounting: Mounting | None = None,
    assumed: Assumptions | None = None,
) -> Levels:
    """Return what a table says about levels, its probe's tip and scale left open again.

    The table's litres hold at its counts whatever the tip's height was, so that height
    stays as unknown as it was measured.
    """
    mounting = Mounting() if mounting is None else mounting
    assumed = Assumptions() if assumed is None else assumed
    parts = []
    for part in known_from_table(table, probe, tank).parts:
        curves = part.curves
        own = probe_columns(curves.wetted_mm, curves.per_mm_l, probe, mounting, assumed, "old")
        parts.append(
            LevelPart(
                curves.wetted_mm + _tip_mm(curves),
                curves.litres,
                (*curves.columns, *own),
                curves.capacity_l,
                curves.described,
                0.0,
                part.log_worth,
            )
        )
    return Levels(tuple(parts), probe)


def carried(
    levels: Levels,
    probe: Probe,
    mounting: Mounting | None = None,
    assumed: Assumptions | None = None,
) -> Known:
    """Return what is known of the tank in the counts of another probe.

    ``probe`` has its zero, span, active length, tip clearance and place; ``mounting`` says
    how well they are known.

    Raises `InputError` if the probe cannot stand there or its counts fall with the fuel.
    """
    mounting = Mounting() if mounting is None else mounting
    assumed = Assumptions() if assumed is None else assumed
    if probe.counts_full < probe.counts_empty:
        raise InputError(
            said("counts_full must be above counts_empty: a table's counts rise with its litres"),
            field="probe.counts_full",
        )
    parts, problem = [], None
    for part in levels.parts:
        try:
            curves = _on_probe(part, probe, mounting, assumed)
        except InputError as error:
            problem = problem or error
            continue
        parts.append(Part(curves, part.log_worth))
    if not parts:
        assert problem is not None
        raise problem
    return Known(tuple(parts))


def probe_columns(
    wetted: Floats,
    per_mm: Floats,
    probe: Probe,
    mounting: Mounting,
    assumed: Assumptions,
    name: str = "new",
) -> tuple[Column, ...]:
    """Columns of one probe: its tip, the bow of its scale, its zero and its span."""
    tip = replace(assumed, u_tip_mm=mounting.u_tip_mm)
    reach = float(wetted[-1])
    usual = general_columns(wetted, np.zeros_like(wetted), per_mm, 0.0, reach, tip)
    kept = tuple(
        replace(each, name=each.name if name == "new" else f"{name}_{each.name}")
        for each in usual
        if each.group in OF_THE_PROBE
    )
    return (*kept, *end_columns(wetted, per_mm, probe, mounting, name))


def end_columns(
    wetted: Floats, per_mm: Floats, probe: Probe, mounting: Mounting, name: str
) -> tuple[Column, ...]:
    """Columns of a probe's zero and span: each moves its own end of the scale."""
    share = np.clip(wetted / probe.active_length_mm, 0.0, 1.0)
    per_count = probe.active_length_mm / 4095.0
    zero = per_mm * (1.0 - share) * mounting.u_zero_counts * per_count
    span = per_mm * share * mounting.u_span_counts * per_count
    return (Column(f"{name}_zero", "scale", zero), Column(f"{name}_span", "scale", span))


def _on_probe(part: LevelPart, probe: Probe, mounting: Mounting, assumed: Assumptions) -> Curves:
    probe = replace(probe, x_mm=probe.x_mm + part.shift_x_mm)
    described = None
    top_level = float(part.level_mm[-1])
    bottom = 0.0
    place: tuple[Column, ...] = ()
    if part.described is not None:
        bottom, top_level = _stand(part.described.solid, probe)
    tip_mm = bottom + probe.tip_clearance_mm
    if tip_mm > top_level - LEAST_SEEN_MM:
        raise InputError(
            said(
                "the tip would stand {tip_clearance_mm:g} mm above the bottom, but the tank is "
                "known only up to {top_mm:.0f} mm there",
                tip_clearance_mm=probe.tip_clearance_mm,
                top_mm=top_level - bottom,
            ),
            field="probe.tip_clearance_mm",
        )
    reach = min(probe.active_length_mm, top_level - tip_mm)
    lowest = float(part.level_mm[0])
    below = BELOW if tip_mm - lowest > LEAST_BELOW_MM else 0
    wetted = np.concatenate(
        [np.linspace(lowest - tip_mm, 0.0, below, endpoint=False), np.linspace(0.0, reach, ABOVE)]
    )
    level = wetted + tip_mm
    litres, columns = _at_levels(part, level)
    per_mm = slope_of(litres, wetted)
    if part.described is not None:
        described = replace(without_plate(part.described), probe=probe, tip_mm=tip_mm)
        place = _place_columns(part.described.solid, probe, per_mm, mounting)
    own = probe_columns(wetted, per_mm, probe, mounting, assumed)
    return Curves(
        wetted,
        litres,
        per_mm,
        (*columns, *own, *place),
        part.capacity_l,
        probe,
        reach,
        described,
    )


def _at_levels(part: LevelPart, level: Floats) -> tuple[Floats, tuple[Column, ...]]:
    """Litres and columns at other heights; above what the old probe saw the tank file speaks."""
    known = part.level_mm
    litres = np.interp(level, known, part.litres)
    columns = [
        replace(each, effect_l=np.interp(level, known, each.effect_l)) for each in part.columns
    ]
    over = level > known[-1] + 1e-9
    if part.described is None or not over.any():
        return litres, tuple(columns)
    first = int(np.argmax(over))
    heights = np.concatenate([[known[-1]], level[first:]])
    described = part.described
    grown = described.litres_on_slope(heights - described.tip_mm, 0.0, 0.0)
    litres[first:] += grown[1:] - grown[0]
    for i, effect in enumerate(departure_basis(heights, np.gradient(grown, heights), 0.5)):
        row = np.zeros_like(level)
        row[first:] = BEYOND * effect[1:]
        columns.append(Column(f"beyond_{i}", "departure", row))
    return litres, tuple(columns)


def _stand(solid: Solid, probe: Probe) -> tuple[float, float]:
    try:
        return column(solid, probe.x_mm, probe.y_mm)
    except InputError as error:
        raise InputError(error.problem, field=error.field or "probe.x_mm, probe.y_mm") from None


def _place_columns(
    solid: Solid, probe: Probe, per_mm: Floats, mounting: Mounting
) -> tuple[Column, ...]:
    """A bottom that is not flat: a probe that stands aside hangs from another height."""
    columns = []
    u = mounting.u_place_mm
    for axis, (dx, dy) in (("x", (u, 0.0)), ("y", (0.0, u))):
        heights = []
        for sign in (1.0, -1.0):
            aside = replace(probe, x_mm=probe.x_mm + sign * dx, y_mm=probe.y_mm + sign * dy)
            try:
                heights.append(column(solid, aside.x_mm, aside.y_mm)[0])
            except InputError:  # beside the tank's wall: the probe does not stand there
                continue
        here = column(solid, probe.x_mm, probe.y_mm)[0]
        rise = max((abs(height - here) for height in heights), default=0.0)
        if rise > LEAST_BELOW_MM:
            columns.append(Column(f"place_{axis}", "tip", per_mm * rise))
    return tuple(columns)


def _tip_mm(curves: Curves) -> float:
    if curves.described is None:
        return curves.probe.tip_clearance_mm
    return curves.described.tip_mm
