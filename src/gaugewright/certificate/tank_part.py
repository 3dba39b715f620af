"""What is stated of one tank: the item, the conditions, the method, the results."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from gaugewright.certificate import history
from gaugewright.certificate.conditions import conditions_of
from gaugewright.certificate.later_life import exchanged_probe, origin
from gaugewright.certificate.names import in_words
from gaugewright.certificate.pictures import (
    linked_picture,
    plot_picture,
    pour_points,
    tank_picture,
)
from gaugewright.certificate.provable import smallest_provable_drain
from gaugewright.certificate.shows import limits_of, shown_and_not
from gaugewright.certificate.statement import Grid, Line, TankStatement
from gaugewright.certificate.writing import Writer, free, in_a_row, name
from gaugewright.errors import StateError
from gaugewright.journal.state import JobState, TankState
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank, tank_from_mapping
from gaugewright.tank.unknown_shape import is_unknown_shape
from gaugewright.words import said, together

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
    safe = "".join(c if c.isascii() and c.isalnum() else "-" for c in tank.tank_id)
    drawing = None
    if body is not None and probe is not None:
        drawing = tank_picture(body, probe, fill, f"t-{safe}", write)
    elif joined := _joined(tank):
        drawing = linked_picture(joined, fill, f"t-{safe}", write)
    points = pour_points(table, fill) + history.check_points(tank, table)
    return TankStatement(
        heading=heading(tank),
        title=said("Tank {tank}", tank=heading(tank)),
        lines=tuple(_item(tank, body, probe, table, write)),
        conditions=tuple(conditions_of(tank.fill, write)),
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
        others = ", ".join(name(each, "tank_id") for each in tank.members)
        return said("{tank}, one with {others}", tank=tank_id, others=others)
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


def _joined(tank: TankState) -> list[tuple[str, Tank, Probe | None]]:
    """Return linked tanks with their names; none where one of them has no shape to draw.

    The probe is the one that the accepted table's counts are of.
    """
    accepted = tank.accepted_table
    exchanged = None if accepted is None else exchanged_probe(tank, accepted)
    found = []
    for kept in tank.joined:
        event = kept.event
        if not event.tank or "mesh_file" in event.tank or is_unknown_shape(event.tank):
            return []
        probe = probe_from_mapping(dict(event.probe)) if event.probe else None
        if probe is not None and exchanged is not None:
            probe = exchanged
        called = free(event.name) or name(event.tank_id, "tank_id")
        found.append((called, tank_from_mapping(event.tank), probe))
    return found if len(found) == len(tank.members) else []


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
    note = said(
        "Straight lines between the rows. The band is the expanded uncertainty (95 %, k = 1.96)."
    )
    if len(rows) < len(table.counts):
        count = len(table.counts)
        more = said("Every row of the {count} stands in the attached file.", count=count)
        note = together(note, more)
    return Grid((said("counts"), unit, "±") * SIDE_BY_SIDE, lines, note)


def _printed(count: int) -> list[int]:
    if count <= MOST_ROWS:
        return list(range(count))
    return sorted({round(k * (count - 1) / (MOST_ROWS - 1)) for k in range(MOST_ROWS)})


def _row(table: Table, k: int, write: Writer) -> tuple[str, str, str]:
    band = "–" if table.u_litres is None else write.band_figure(float(table.u_litres[k]), 2)
    litres = write.volume_figure(float(table.litres[k]), 2)
    counts = f"{table.counts[k]:.10g}".replace(".", write.speech.decimal_mark)
    return counts, litres, band


def _item(
    tank: TankState, body: Tank | None, probe: Probe | None, table: Table, write: Writer
) -> Iterator[Line]:
    if body is not None:
        yield Line(said("Shape"), in_words(body.shape))
        inside = said("Inside sizes") if body.wall_mm is None else said("Outside sizes")
        yield Line(inside, _sizes(tank, write))
        if body.rated_capacity_l is not None:
            plate = write.volume(body.rated_capacity_l)
            yield Line(said("Capacity on the plate"), plate, is_told=True)
    else:
        yield Line(said("Shape"), said("several linked tanks, or not described"))
    if probe is not None:
        at = said(
            "{x} from the front, {y} from the left",
            x=write.length(probe.x_mm),
            y=write.length(probe.y_mm),
        )
        yield Line(said("Probe stands"), at)
        yield Line(said("Active length"), write.length(probe.active_length_mm))
        yield Line(said("Tip above the bottom"), write.length(probe.tip_clearance_mm))
    zero, span = tank.zero, tank.span
    if zero is not None or span is not None:
        dry = "–" if zero is None else said("{counts:g}", counts=zero.event.counts)
        wet: str = "–"
        if span is not None:
            fuel = free(span.event.fuel)
            wet = said("{counts:g} in {fuel}", counts=span.event.counts, fuel=fuel)
        both = said("{dry} counts dry, {wet} immersed", dry=dry, wet=wet)
        yield Line(said("On the bench"), both)
    band = table.u_litres
    ends = [
        write.near(float(table.litres[k]), None if band is None else float(band[k]))
        for k in (0, -1)
    ]
    first, last = (
        said("{volume} at {counts:g} counts", volume=ends[k], counts=float(table.counts[k]))
        for k in (0, -1)
    )
    yield Line(said("At the lowest row"), first)
    yield Line(said("At the highest row"), last)


def _sizes(tank: TankState, write: Writer) -> str:
    assert tank.described is not None
    fields: Mapping[str, Any] = tank.described.event.tank
    shown = [
        said(
            "{size} {length}",
            size=in_words(key.removesuffix("_mm")),
            length=write.length(float(value)),
        )
        for key, value in fields.items()
        if key.endswith("_mm") and isinstance(value, int | float) and not key.startswith("u_")
    ]
    return in_a_row(shown) or said("corners of the cross-section, in the journal")


def _method(tank: TankState, table: Table, write: Writer) -> tuple[str, ...]:
    made = tank.accepted_table
    assert made is not None
    stood = tank.accepted[-1]
    accepted = write.time(stood.mark.at)
    if stood.event.remark:
        remark = free(stood.event.remark)
        accepted = said("{at} ({remark})", at=accepted, remark=remark)
    return (
        said(
            "Metered pours into the tank as mounted; after each one the probe’s steady reading. "
            "One model, of the described tank, its likely faults, the meter and the residue, is "
            "fitted to all pours by weighted least squares with prior knowledge; the band follows "
            "from it (law of propagation, JCGM 100:2008) and holds what was assumed where nobody "
            "measured."
        ),
        said(
            "The table of {rows} rows from {readings} readings was made by {maker} on {made}, and "
            "accepted by {person} on {accepted}.",
            rows=len(table.counts),
            readings=len(made.event.pours),
            maker=free(made.mark.person),
            made=write.time(made.mark.at),
            person=free(stood.mark.person),
            accepted=accepted,
        ),
        *([came] if (came := origin(tank, made.event)) else []),
        said(
            "Traceability: the {litres} are those of the dispenser named here, to its own "
            "certificate if one is named, and to a measured can where its factor was checked.",
            litres=write.litres,
        ),
    )
