"""What is stated of one tank: the item, the conditions, the method, the results."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from gaugewright.certificate import history
from gaugewright.certificate.later_life import exchanged_probe, origin
from gaugewright.certificate.pictures import plot_picture, pour_points, tank_picture
from gaugewright.certificate.provable import smallest_provable_drain
from gaugewright.certificate.shows import limits_of, shown_and_not
from gaugewright.certificate.statement import Grid, Line, TankStatement
from gaugewright.certificate.writing import NOT_RECORDED, Writer, free, name
from gaugewright.errors import StateError
from gaugewright.journal.state import FillState, JobState, TankState
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank, tank_from_mapping
from gaugewright.words import said

MOST_ROWS = 132
"""Rows of a table that are printed; a longer one stands in full in the attachment."""
SIDE_BY_SIDE = 3


def tank_statement(state: JobState, tank: TankState, write: Writer) -> TankStatement:
    """Return what is stated of a tank whose table is accepted.

    Raises `StateError` if no table is accepted, `InputError` for a name that cannot be set.
    """
    accepted = tank.accepted_table
    if accepted is None:
        raise StateError(said("the table of tank {tank_id} is not accepted", tank_id=tank.tank_id))
    table = table_of(accepted.event.rows)
    body, probe = described(tank)
    # The fill was read by the probe that stood then: its counts say nothing to another.
    fill = tank.fill if exchanged_probe(tank, accepted) is None else None
    drawing = None
    if body is not None and probe is not None:
        safe = "".join(c if c.isascii() and c.isalnum() else "-" for c in tank.tank_id)
        drawing = tank_picture(body, probe, fill, f"t-{safe}", write)
    points = pour_points(table, fill) + history.check_points(tank, table)
    return TankStatement(
        heading=heading(tank),
        lines=tuple(_item(tank, body, probe, table, write)),
        conditions=tuple(_conditions(tank.fill, write)),
        method=_method(tank, table, write),
        table=rows_grid(table, write),
        drawing=drawing,
        plot=plot_picture(table, points, write),
        shows=(
            *shown_and_not(table, limits_of(table, fill, body, probe), write),
            smallest_provable_drain(tank, write),
        ),
        parts=history.tank_parts(state, tank, write),
    )


def heading(tank: TankState) -> str:
    """Return how a tank is called: its name, and the id by which the journal knows it."""
    called = "" if tank.described is None else tank.described.event.name
    tank_id = name(tank.tank_id, "tank_id")
    if tank.members:
        return f"{tank_id}, one with {', '.join(name(each, 'tank_id') for each in tank.members)}"
    return f"{name(called, 'name of the tank')} ({tank_id})" if called else tank_id


def described(tank: TankState) -> tuple[Tank | None, Probe | None]:
    """Return the tank and probe of the journal, ``None`` where there is no single shape."""
    if tank.described is None or not tank.described.event.tank or tank.members:
        return None, None
    event = tank.described.event
    if "mesh_file" in event.tank:
        return None, None  # its file is not in the journal
    probe = probe_from_mapping(dict(event.probe)) if event.probe else None
    accepted = tank.accepted_table
    exchanged = None if accepted is None else exchanged_probe(tank, accepted)
    return tank_from_mapping(event.tank), exchanged or probe


def table_of(rows: Any) -> Table:
    """Return the table that rows of the journal make."""
    band = [row.u_litres for row in rows]
    return Table(
        np.array([row.counts for row in rows]),
        np.array([row.litres for row in rows]),
        None if None in band else np.array(band, dtype=np.float64),
    )


def rows_grid(table: Table, write: Writer) -> Grid:
    """Return the table as it is printed, several columns side by side."""
    unit = write.volume_unit
    rows = [_row(table, k, write) for k in _printed(len(table.counts))]
    tall = -(-len(rows) // SIDE_BY_SIDE)
    blank = ("", "", "")
    stacks = [rows[k * tall : (k + 1) * tall] for k in range(SIDE_BY_SIDE)]
    lines = tuple(
        tuple(cell for stack in stacks for cell in (stack[k] if k < len(stack) else blank))
        for k in range(tall)
    )
    note = "Straight lines between the rows. The band is the expanded uncertainty (95 %, k = 1.96)."
    if len(rows) < len(table.counts):
        note += f" Every row of the {len(table.counts)} stands in the attached file."
    return Grid(("counts", unit, "±") * SIDE_BY_SIDE, lines, note)


def _printed(count: int) -> list[int]:
    if count <= MOST_ROWS:
        return list(range(count))
    return sorted({round(k * (count - 1) / (MOST_ROWS - 1)) for k in range(MOST_ROWS)})


def _row(table: Table, k: int, write: Writer) -> tuple[str, str, str]:
    band = "–" if table.u_litres is None else write.band_figure(float(table.u_litres[k]), 2)
    litres = write.volume_figure(float(table.litres[k]), 2)
    return f"{table.counts[k]:.10g}", litres, band


def _item(
    tank: TankState, body: Tank | None, probe: Probe | None, table: Table, write: Writer
) -> Iterator[Line]:
    if body is not None:
        yield Line("Shape", body.shape.replace("_", " "))
        yield Line("Inside sizes" if body.wall_mm is None else "Outside sizes", _sizes(tank, write))
        if body.rated_capacity_l is not None:
            yield Line("Capacity on the plate", write.volume(body.rated_capacity_l), is_told=True)
    else:
        yield Line("Shape", "several linked tanks, or not described")
    if probe is not None:
        at = f"{write.length(probe.x_mm)} from the front, {write.length(probe.y_mm)} from the left"
        yield Line("Probe stands", at)
        yield Line("Active length", write.length(probe.active_length_mm))
        yield Line("Tip above the bottom", write.length(probe.tip_clearance_mm))
    zero, span = tank.zero, tank.span
    if zero is not None or span is not None:
        dry = "–" if zero is None else f"{zero.event.counts:g}"
        wet = "–" if span is None else f"{span.event.counts:g} in {free(span.event.fuel)}"
        yield Line("On the bench", f"{dry} counts dry, {wet} immersed")
    band = table.u_litres
    ends = [
        write.near(float(table.litres[k]), None if band is None else float(band[k]))
        for k in (0, -1)
    ]
    yield Line("At the lowest row", f"{ends[0]} at {table.counts[0]:g} counts")
    yield Line("At the highest row", f"{ends[1]} at {table.counts[-1]:g} counts")


def _sizes(tank: TankState, write: Writer) -> str:
    assert tank.described is not None
    fields: Mapping[str, Any] = tank.described.event.tank
    shown = [
        f"{key.removesuffix('_mm').replace('_', ' ')} {write.length(float(value))}"
        for key, value in fields.items()
        if key.endswith("_mm") and isinstance(value, int | float) and not key.startswith("u_")
    ]
    return ", ".join(shown) or "corners of the cross-section, in the journal"


def _conditions(fill: FillState | None, write: Writer) -> Iterator[Line]:
    if fill is None:
        yield Line("Fill", "none: the table was not made from pours of this job")
        return
    begun, checks, pours = fill.begun.event, fill.checks.event, fill.standing
    way = "drained in steps" if begun.is_draining else "filled in steps"
    if pours:
        ends = f"{write.time(pours[0].mark.at)} to {write.time(pours[-1].mark.at)}"
        way = f"{way}, {len(pours)} readings, {ends}"
    yield Line("Fill", way)
    yield Line("Fuel", free(begun.fuel) or NOT_RECORDED)
    yield Line("Fuel in the tank", _range([p.event.fuel_c for p in pours], write))
    yield Line("Fuel at the meter", _range([p.event.meter_c for p in pours], write))
    slopes = [
        p.event for p in pours if p.event.pitch_deg is not None or p.event.roll_deg is not None
    ]
    assumed = Assumptions().u_slope_deg
    yield Line(
        "Slope of the vehicle",
        f"measured at {len(slopes)} of {len(pours)} readings"
        if slopes
        else f"not measured; ± {1.96 * assumed:.1f}° is in the band",
    )
    yield Line("Readings", _steadiness([p.event.is_steady for p in pours]))
    yield Line("Dispenser", free(begun.dispenser) or NOT_RECORDED)
    yield Line("Meter factor", _meter(checks.meter_checks, write))
    left = NOT_RECORDED
    if checks.residual_l is not None:
        left = f"{write.volume(checks.residual_l)} measured"
    elif checks.dip_empty_mm is not None:
        left = f"{write.length(checks.dip_empty_mm)} by the dip stick"
    yield Line("Fuel left before the fill", left)


def _steadiness(found: list[bool | None]) -> str:
    """Write how many readings were steady, and how many nobody could test.

    >>> _steadiness([True, True, False, None])
    '2 of 4 steady by the test, 1 kept although it was not, 1 typed by hand and not tested'
    """
    said = f"{found.count(True)} of {len(found)} steady by the test"
    if kept := found.count(False):
        said += f", {kept} kept although {'it was' if kept == 1 else 'they were'} not"
    if typed := found.count(None):
        said += f", {typed} typed by hand and not tested"
    return said


def _range(values: list[float | None], write: Writer) -> str:
    known = [value for value in values if value is not None]
    if not known:
        assumed = Assumptions().u_warming_k
        return f"not measured; {assumed:g} K between meter and tank (standard) is in the band"
    low, high = write.temperature(min(known)), write.temperature(max(known))
    return low if low == high else f"{low} to {high}"


def _meter(checks: Any, write: Writer) -> str:
    """Write the true over the indicated volume, with what a measured can leaves open."""
    if not checks:
        share = 100 * 1.96 * Assumptions().u_meter
        return f"not checked; ± {share:.1f} % is in the band"
    assumed = Assumptions()
    indicated = sum(can.indicated_l for can in checks)
    factor = sum(can.true_l for can in checks) / indicated
    u_share = np.hypot(assumed.u_check_l / indicated * np.sqrt(len(checks)), assumed.u_can)
    cans = ", ".join(
        f"{write.volume(can.indicated_l, 2)} read, {write.volume(can.true_l, 2)} in the can"
        for can in checks
    )
    return f"{factor:.4f} ± {1.96 * float(u_share):.4f} ({cans})"


def _method(tank: TankState, table: Table, write: Writer) -> tuple[str, ...]:
    made = tank.accepted_table
    assert made is not None
    by = f"made by {free(made.mark.person)} on {write.time(made.mark.at)}"
    stood = tank.accepted[-1]
    return (
        "Metered pours into the tank as mounted; after each one the probe’s steady reading. One "
        "model, of the described tank, its likely faults, the meter and the residue, is fitted to "
        "all pours by weighted least squares with prior knowledge; the band follows from it "
        "(law of propagation, JCGM 100:2008) and holds what was assumed where nobody measured.",
        f"The table of {len(table.counts)} rows from {len(made.event.pours)} readings was {by}, "
        f"and accepted by {free(stood.mark.person)} on {write.time(stood.mark.at)}"
        + (f" ({free(stood.event.remark)})." if stood.event.remark else "."),
        *([came] if (came := origin(tank, made.event)) else []),
        f"Traceability: the {write.litres} are those of the dispenser named here, to its own "
        "certificate if one is named, and to a measured can where its factor was checked.",
    )
