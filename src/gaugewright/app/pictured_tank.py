"""From a tank's state to what a screen shows of it: bench, fill, table, check pours."""

from typing import TYPE_CHECKING, Any

from gaugewright.app import pictures as p
from gaugewright.app.bench import bench_findings
from gaugewright.app.handover_pictures import hand_over_picture
from gaugewright.app.lists import INSTRUMENTS_FACT
from gaugewright.app.scales import dead_stock_l, described, over_top_mm, shape_of
from gaugewright.app.verdicts import Looked, look
from gaugewright.errors import GaugewrightError
from gaugewright.journal.kept_words import heard
from gaugewright.journal.state import FillState, JobState, Kept, Placed, TankState, Voided
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.tank.description import Tank
from gaugewright.tank.unknown_shape import is_unknown_shape, unknown_shape_from_mapping
from gaugewright.units import VolumeUnit
from gaugewright.words import Volume, said

if TYPE_CHECKING:
    from gaugewright.pours.expected import Expected

PLATE_OFF = 0.15
"""A plate farther than this from what the sizes hold is a slip, of one or the other. [1]"""


def tank_picture(state: JobState, tank: TankState, unit: VolumeUnit) -> p.TankPicture:
    """Return what a screen shows of one tank; ``unit`` is the one volumes are typed in."""
    event = None if tank.described is None else tank.described.event
    capacity_l = depth_mm = dead_l = over_mm = problem = plate_problem = None
    curve: tuple[tuple[float, float], ...] = ()
    try:
        body, probe = described(tank)
        if body is not None:
            shape = shape_of(body, probe)
            capacity_l = shape.capacity_l
            plate_problem = _plate_problem(body, capacity_l)
            depth_mm = shape.highest_mm - shape.lowest_mm
            levels = (shape.level_mm - shape.lowest_mm).tolist()
            curve = tuple(zip(levels, shape.litres.tolist(), strict=True))
            if probe is not None:
                dead_l = dead_stock_l(body, probe)
                over_mm = over_top_mm(body, probe)
        elif event is not None and is_unknown_shape(event.tank):
            plate = unknown_shape_from_mapping(event.tank)
            capacity_l, depth_mm = plate.brim_l, plate.height_mm
    except GaugewrightError as error:
        problem = str(error)
    return p.TankPicture(
        tank_id=tank.tank_id,
        name=(event.name if event else "") or tank.tank_id,
        tank={} if event is None else event.tank,
        probe={} if event is None else event.probe,
        members=tank.members,
        linked_into=tank.linked_into,
        removed=None if tank.removed is None else tank.removed.reason,
        capacity_l=capacity_l,
        depth_mm=depth_mm,
        dead_stock_l=dead_l,
        problem=problem,
        curve=curve,
        bench=_bench(tank),
        fill=_fill(tank, unit),
        table=_table(tank),
        plan=None if tank.plan is None else tank.plan.event.plan,
        check_pours=tuple(_check_pour(kept, tank) for kept in tank.check_pours),
        comparisons=tuple(_comparison(kept, tank) for kept in tank.comparisons),
        instrument=(state.fact(INSTRUMENTS_FACT) or {}).get(tank.tank_id),
        hand_over=hand_over_picture(tank),
        wiring=None if tank.wiring is None else tank.wiring.event.wiring,
        over_top_mm=over_mm,
        plate_problem=plate_problem,
        wiring_found=None if tank.wiring is None else tank.wiring.event.found,
    )


def _plate_problem(body: Tank, capacity_l: float) -> str | None:
    """Return what is to be said of a plate that the sizes contradict."""
    plate_l = body.rated_capacity_l
    if plate_l is None or abs(plate_l / body.usable_fraction / capacity_l - 1) <= PLATE_OFF:
        return None
    return said(
        "The plate says {plate:.1f}, the sizes give {holds:.1f}: measure again, or read the plate "
        "again.",
        plate=Volume(plate_l),
        holds=Volume(capacity_l),
    )


def _voided(voided: Voided | None) -> p.VoidedPicture | None:
    if voided is None:
        return None
    return p.VoidedPicture(voided.reason, voided.mark.person, voided.mark.at)


def _bench(tank: TankState) -> p.BenchPicture:
    zero, span = tank.zero, tank.span
    ratio = None
    if zero is not None and span is not None and zero.event.counts > 0:
        ratio = span.event.counts / zero.event.counts
    return p.BenchPicture(
        zeros=tuple(_bench_reading(kept) for kept in tank.zeros),
        spans=tuple(_bench_reading(kept) for kept in tank.spans),
        repeats=tuple(_bench_reading(kept) for kept in tank.repeats),
        findings=tuple(
            p.BenchFindingPicture(str(found.kind), found.message) for found in bench_findings(tank)
        ),
        ratio=ratio,
    )


def _bench_reading(kept: Kept[Any]) -> p.BenchReadingPicture:
    event = kept.event
    return p.BenchReadingPicture(
        number=kept.number,
        counts=event.counts,
        counts_sd=event.counts_sd,
        fuel=getattr(event, "fuel", None),
        point=getattr(event, "point", None),
        person=kept.mark.person,
        at=kept.mark.at,
        voided=_voided(kept.voided),
    )


def _fill(tank: TankState, unit: VolumeUnit) -> p.FillPicture | None:
    fill, looked = tank.fill, look(tank, unit)
    if fill is None or looked is None:
        return None
    begun, checks = fill.begun.event, fill.checks.event
    return p.FillPicture(
        begun_at=fill.begun.mark.at,
        begun_by=fill.begun.mark.person,
        is_draining=begun.is_draining,
        dispenser=begun.dispenser,
        fuel=begun.fuel,
        meter_checks=tuple(
            p.MeterCheckPicture(can.indicated_l, can.true_l) for can in checks.meter_checks
        ),
        residual_l=checks.residual_l,
        u_residual_l=checks.u_residual_l,
        dip_empty_mm=checks.dip_empty_mm,
        pours=_pours(fill, looked),
        next_step=fill.next_step,
        total_l=sum(kept.event.added_l for kept in fill.standing),
        earlier_fills=len(tank.fills) - 1,
        pitch_deg=checks.pitch_deg,
        roll_deg=checks.roll_deg,
    )


def _pours(fill: FillState, looked: Looked) -> tuple[p.PourPicture, ...]:
    totals: dict[int, float] = {}
    places: dict[int, int] = {}
    total = 0.0
    for place, kept in enumerate(fill.standing):
        total += kept.event.added_l
        totals[kept.number], places[kept.number] = total, place
    expected: dict[int, Expected] = {}
    if looked.checked is not None:
        expected = {each.pour: each for each in looked.checked.expected}
    return tuple(
        _pour(
            kept,
            totals.get(kept.number),
            expected.get(places.get(kept.number, -1)),
            looked.probe,
        )
        for kept in fill.pours
    )


def _pour(
    kept: Kept[Any], total_l: float | None, expected: "Expected | None", probe: Probe | None
) -> p.PourPicture:
    event = kept.event
    level = band = None
    if probe is not None:
        scale = abs(probe.counts_full - probe.counts_empty) / 4095
        u_counts = max(Assumptions().u_counts * scale, event.counts_sd or 0.0)
        level = float(probe.wetted_mm(event.counts))
        band = 1.96 * u_counts * abs(probe.mm_per_count)
    return p.PourPicture(
        number=kept.number,
        step=event.step,
        added_l=event.added_l,
        total_l=total_l,
        counts=event.counts,
        counts_sd=event.counts_sd,
        expected_counts=None if expected is None else float(expected.counts),
        u95_expected_counts=None if expected is None else float(expected.u95_counts),
        level_mm=level,
        u95_level_mm=band,
        is_steady=event.is_steady,
        steadiness=event.steadiness,
        source=event.source,
        fuel_c=event.fuel_c,
        note=event.note,
        person=kept.mark.person,
        device=kept.mark.device,
        at=kept.mark.at,
        voided=_voided(kept.voided),
        replaces=event.replaces,
        planned_l=event.planned_l,
        pitch_deg=event.pitch_deg,
        roll_deg=event.roll_deg,
        placed_because=event.placed_because if isinstance(event, Placed) else "",
        typed_at=event.typed_at,
    )


def _table(tank: TankState) -> p.TablePicture | None:
    made = tank.table
    if made is None:
        return None
    event = made.event
    band = [row.u_litres for row in event.rows if row.u_litres is not None]
    standing = () if tank.fill is None else tuple(kept.number for kept in tank.fill.standing)
    accepted = tank.accepted_table is not None
    return p.TablePicture(
        digest=event.digest,
        rows=tuple((row.counts, row.litres, row.u_litres) for row in event.rows),
        made_at=made.mark.at,
        made_by=made.mark.person,
        is_accepted=accepted,
        accepted_by=tank.accepted[-1].mark.person if accepted else None,
        is_stale=set(standing) != set(event.pours),
        worst_u_l=max(band) if len(band) == len(event.rows) else None,
        findings=tuple(heard(each) for each in event.findings),
    )


def _is_of_last(digest: str, tank: TankState) -> bool:
    return tank.table is not None and digest == tank.table.event.digest


def _check_pour(kept: Kept[Any], tank: TankState) -> p.CheckPourPicture:
    event = kept.event
    return p.CheckPourPicture(
        kept.number,
        event.added_l,
        event.counts_before,
        event.counts_after,
        event.table_l,
        event.u_table_l,
        event.agrees,
        agreement_in_words(
            said("{litres:g} were poured", litres=Volume(event.added_l)),
            event.table_l,
            event.u_table_l,
            event.agrees,
        ),
        kept.mark.person,
        kept.mark.at,
        _voided(kept.voided),
        _is_of_last(event.digest, tank),
    )


def _comparison(kept: Kept[Any], tank: TankState) -> p.ComparisonPicture:
    event = kept.event
    return p.ComparisonPicture(
        kept.number,
        event.shown_l,
        event.counts,
        event.table_l,
        event.u_table_l,
        event.agrees,
        agreement_in_words(
            said("The back office shows {litres:g}", litres=Volume(event.shown_l)),
            event.table_l,
            event.u_table_l,
            event.agrees,
        ),
        kept.mark.person,
        kept.mark.at,
        _voided(kept.voided),
        _is_of_last(event.digest, tank),
    )


def agreement_in_words(
    found: str, table_l: float, u_table_l: float | None, agrees: bool | None
) -> str:
    """Say in one sentence how something compares with the table.

    >>> agreement_in_words("40 L were poured", 39.6, 1.2, True)
    '40 L were poured, the table says 39.6 L ± 1.2 L: they agree.'
    """
    words = {
        True: said("they agree."),
        False: said("they do not agree."),
        None: said("whether they agree cannot be told, the band is unknown or too wide."),
    }[agrees]
    if u_table_l is None:
        return said(
            "{found}, the table says {table}: {words}",
            found=found,
            table=Volume(table_l),
            words=words,
        )
    return said(
        "{found}, the table says {table} ± {band}: {words}",
        found=found,
        table=Volume(table_l),
        band=Volume(u_table_l),
        words=words,
    )
