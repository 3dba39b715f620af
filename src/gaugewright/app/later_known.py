"""What stands behind a table of the journal: all that its fill taught, or its band alone.

A table that was carried stands on the table before it and on the pours that it learnt
from, and so on back to the first fill, all by the one model.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from gaugewright.app.calibrate import table_of
from gaugewright.app.later_zero import zero_again
from gaugewright.app.scales import described
from gaugewright.app.verdicts import look
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.state import Kept, LaterState, TankState
from gaugewright.pours.check import check_fill
from gaugewright.pours.later.hold import Held, begun_anywhere, hold
from gaugewright.pours.later.rivals import Dry
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.fill import Fill, MeterCheck, Pour
from gaugewright.table.fit import Fit
from gaugewright.table.later.assumptions import Mounting, mounting
from gaugewright.table.later.carry import Levels, carried, levels_from_fit, levels_from_table
from gaugewright.table.later.known import Known, known_from_fit, known_from_table
from gaugewright.table.later.left import left_in
from gaugewright.table.rows import Doubts
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank, tank_from_mapping
from gaugewright.words import said

SAME_L = 0.1
"""A table that is made again differs from the recorded one by rounding only. [L]"""


def table_with(tank: TankState, digest: str) -> Kept[fk.TableMade]:
    """Return the table of a tank with this digest."""
    found = next((kept for kept in tank.tables if kept.event.digest == digest), None)
    if found is None:
        raise StateError(
            said(
                "tank {tank_id} has no table with digest {digest}",
                tank_id=tank.tank_id,
                digest=digest[:12],
            )
        )
    return found


def plain_table(rows: Sequence[fk.TableRow]) -> Table:
    """Return a journal's rows as a table."""
    band = [row.u_litres for row in rows]
    return Table(
        np.array([row.counts for row in rows]),
        np.array([row.litres for row in rows]),
        None if None in band else np.array(band, dtype=np.float64),
    )


def probe_of(tank: TankState, kept: Kept[fk.TableMade]) -> Probe | None:
    """Return the probe that a table's counts are of: the described one until it is exchanged."""
    event = kept.event
    if isinstance(event, lk.TableCarried):
        if event.probe:
            return probe_from_mapping(dict(event.probe))
        if event.way in ("recheck", "service"):
            return probe_of(tank, table_with(tank, event.from_digest))
    return described(tank)[1]


def known_of(tank: TankState, kept: Kept[fk.TableMade]) -> Known:
    """Return what is known of a tank in the counts of a table of it."""
    first = _first_fill(tank, kept)
    if first is not None:
        return known_from_fit(first[0], left_in(*first))
    fitted = fit_of(tank, kept)
    if fitted is not None:
        return known_from_fit(fitted)
    probe = probe_of(tank, kept)
    body = None if probe is None else described(tank)[0]
    return known_from_table(plain_table(kept.event.rows), probe, body)


def levels_of(tank: TankState, kept: Kept[fk.TableMade]) -> Levels:
    """Return what is known of a tank without its probe.

    Raises `InputError` where nobody described the probe.
    """
    probe = probe_of(tank, kept)
    if probe is None:
        raise InputError(
            said(
                "the old probe is not described: without its zero, span, length and tip "
                "clearance counts say nothing of levels"
            ),
            field="probe",
        )
    fitted = fit_of(tank, kept)
    if fitted is not None:
        return levels_from_fit(fitted)
    return levels_from_table(plain_table(kept.event.rows), probe, described(tank)[0])


def exchanged_known(tank: TankState, begun: lk.LaterBegun) -> Known:
    """Return the older table carried to the new probe of an exchange."""
    levels = levels_of(tank, table_with(tank, begun.digest))
    given = {name: float(value) for name, value in begun.mounting.items()}
    return carried(levels, probe_from_mapping(dict(begun.probe)), mounting(**given))


def known_before(tank: TankState, later: LaterState) -> Known:
    """Return what was known before pours after a table."""
    event = later.begun.event
    if event.purpose == "exchange":
        return exchanged_known(tank, event)
    return known_of(tank, table_with(tank, event.digest))


def later_fill(later: LaterState, known: Known) -> Fill:
    """Return the pours that stand; where the tank was not drained their start is unknown."""
    pours = tuple(
        Pour(
            each.event.step,
            each.event.added_l,
            each.event.counts,
            counts_sd=each.event.counts_sd,
            fuel_c=each.event.fuel_c,
            meter_c=each.event.meter_c,
            pitch_deg=each.event.pitch_deg,
            roll_deg=each.event.roll_deg,
            at=each.mark.at,
            note=each.event.note,
        )
        for each in later.standing
    )
    fill = Fill(pours)
    return fill if later.begun.event.is_drained else begun_anywhere(known, fill)


def held_of(tank: TankState, later: LaterState) -> Held:
    """Hold the pours that stand against what was known before them."""
    known = known_before(tank, later)
    is_fresh = later.begun.event.purpose == "exchange"
    fill = later_fill(later, known)
    return hold(known, fill, dry=dry_of(tank, later), is_fresh=is_fresh)


def dry_of(tank: TankState, later: LaterState) -> Dry | None:
    """Return the zero that was read again, to be held against the one that the bench gave."""
    found = zero_again(tank, later)
    if found is None:
        return None
    now, before = found
    return Dry(now.event.counts, None if before is None else before.event.counts)


def fit_of(tank: TankState, kept: Kept[fk.TableMade]) -> Fit | None:
    """Return the fit that a table came from, ``None`` where it cannot be made again."""
    if isinstance(kept.event, lk.TableCarried):
        return _fit_of_carried(tank, kept.event)
    first = _first_fill(tank, kept)
    return None if first is None else first[0]


def _first_fill(tank: TankState, kept: Kept[fk.TableMade]) -> tuple[Fit, Fill] | None:
    """Return the fill that a table came from, and its fit, where it can be made again."""
    event = kept.event
    if isinstance(event, lk.TableCarried):
        return None
    state = next(
        (
            fill
            for fill in reversed(tank.fills)
            if {pour.number for pour in fill.standing} == set(event.pours)
        ),
        None,
    )
    looked = None if state is None else look(replace(tank, fills=(state,)))
    if looked is None or looked.checked is None:
        return None
    fitted = looked.checked.fit
    return (fitted, looked.fill) if _is_same(event.rows, fitted) else None


def _fit_of_carried(tank: TankState, event: lk.TableCarried) -> Fit | None:
    if event.way == "service":
        return None  # the log is not in the journal: its band stands for what it taught
    if event.way == "sister":
        return None  # her table and this tank's pours are one by now: the band stands for both
    later = next((each for each in tank.later if each.begun.number == event.begun), None)
    if later is None:
        return None
    if len(later.standing) > 1:
        fitted = held_of(tank, later).after
    else:
        fitted = known_before(tank, later).table_fit()
    return fitted if _is_same(event.rows, fitted) else None


def _is_same(rows: Sequence[fk.TableRow], fitted: Fit) -> bool:
    table = plain_table(rows)
    again = table_of(fitted)
    if table.counts.shape != again.counts.shape:
        return False
    return bool(
        np.allclose(table.counts, again.counts)
        and np.abs(table.litres - again.litres).max() <= SAME_L
    )


def sister_levels(event: lk.SisterProposed) -> Levels:
    """Return what is known of a sister tank, from what was copied of her.

    Raises `InputError` where her probe was not described.
    """
    if not event.probe:
        raise InputError(
            said("the sister's probe is not described; her counts say nothing of levels"),
            field="sister_tank_id",
        )
    probe = probe_from_mapping(dict(event.probe))
    body = tank_from_mapping(dict(event.tank)) if event.tank else None
    if event.pours:
        fitted = _sister_fit(event, body, probe)
        if _is_same(event.rows, fitted):
            return levels_from_fit(fitted)
    return levels_from_table(plain_table(event.rows), probe, body, Mounting())


def _sister_fit(event: lk.SisterProposed, body: Tank | None, probe: Probe) -> Fit:
    fill = Fill(
        tuple(
            Pour(
                each.step,
                each.added_l,
                each.counts,
                counts_sd=each.counts_sd,
                fuel_c=each.fuel_c,
                meter_c=each.meter_c,
                pitch_deg=each.pitch_deg,
                roll_deg=each.roll_deg,
            )
            for each in event.pours
        ),
        is_draining=event.is_draining,
        meter_checks=tuple(MeterCheck(can.indicated_l, can.true_l) for can in event.meter_checks),
        residual_l=event.residual_l,
        u_residual_l=event.u_residual_l,
        dip_empty_mm=event.dip_empty_mm,
    )
    steps = [-1, *(pour.step for pour in fill.pours)]
    gaps = frozenset(i for i, (low, high) in enumerate(pairwise(steps)) if high > low + 1)
    return check_fill(fill, body, None if body is None else probe, doubts=Doubts(litres=gaps)).fit
