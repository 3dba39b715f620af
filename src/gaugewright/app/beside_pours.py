"""Whether what was checked beside the pours can be, and whether the tank was drained at all."""

import numpy as np

from gaugewright.app.scales import described, shape_of
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.state import TankState
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.words import Length, Volume, said

SLACK_MM = 30.0
"""A dip and the tip's clearance never differ by more than this from what was meant. [mm]"""
MORE_LEFT = 2.0
"""So many times what a description leaves room for, because it may be wrong. [1]"""


def require_room(tank: TankState, checks: fk.FillBegun | fk.FillChecksChanged) -> None:
    """Refuse fuel left in the drained tank that its probe would have seen, or that it cannot hold.

    Without a described tank nothing can be said of it.
    """
    if checks.residual_l is None and checks.dip_empty_mm is None:
        return
    body, probe = _description(tank)
    if body is None:
        return
    shape = shape_of(body, probe)
    highest_mm = shape.highest_mm - shape.lowest_mm
    drained = None if isinstance(checks, fk.FillBegun) else _drained(tank)
    if probe is not None and drained is not None:
        highest_mm = probe.tip_clearance_mm + max(_seen_mm(tank, probe, drained), 0.0) + SLACK_MM
    most_l = float(np.interp(shape.lowest_mm + highest_mm, shape.level_mm, shape.litres))
    if drained is not None:
        most_l *= MORE_LEFT
    if checks.dip_empty_mm is not None and checks.dip_empty_mm > highest_mm:
        raise InputError(
            said(
                "{dip:.0f} of fuel in the drained tank is more than the {most:.0f} that its sizes "
                "or its probe leave room for",
                dip=Length(checks.dip_empty_mm),
                most=Length(highest_mm),
            ),
            field="dip_empty_mm",
        )
    if checks.residual_l is not None and checks.residual_l > most_l:
        raise InputError(
            said(
                "{left:.1f} of fuel in the drained tank is more than the {most:.1f} that its sizes "
                "or its probe leave room for",
                left=Volume(checks.residual_l),
                most=Volume(most_l),
            ),
            field="residual_l",
        )


def require_holds(tank: TankState, added_l: float) -> None:
    """Refuse a pour of far more than the whole tank holds: a slip, and no pour to be judged."""
    body, probe = _description(tank)
    if body is None:
        return
    holds_l = shape_of(body, probe).capacity_l
    if added_l > MORE_LEFT * holds_l:
        raise InputError(
            said(
                "{added:.1f} is more than the whole tank holds, {holds:.1f}: look at the meter",
                added=Volume(added_l),
                holds=Volume(holds_l),
            ),
            field="added_l",
        )


def require_drained(tank: TankState, counts: float) -> None:
    """Refuse the first reading of a fill whose probe sees fuel that nobody spoke of."""
    if tank.fill is None or tank.fill.begun.event.is_draining:
        return
    body, probe = _description(tank)
    if body is None or probe is None:
        return
    seen_mm, left_l = _seen_mm(tank, probe, counts), tank.fill.checks.event.residual_l
    if left_l is not None:
        shape = shape_of(body, probe)
        least_mm = shape.lowest_mm + probe.tip_clearance_mm + seen_mm - SLACK_MM
        if MORE_LEFT * left_l >= np.interp(least_mm, shape.level_mm, shape.litres):
            return
    if seen_mm > SLACK_MM:
        raise StateError(
            said(
                "{counts:.0f} counts is {seen:.0f} of fuel above the probe's tip: the tank is "
                "not drained. Drain it, or say under 'What was checked beside the pours' how much "
                "fuel is left in it",
                counts=counts,
                seen=Length(seen_mm),
            )
        )


def _description(tank: TankState) -> tuple[Tank | None, Probe | None]:
    """Return the described tank and probe, none where they cannot be: that is told on Plan."""
    try:
        return described(tank)
    except InputError:
        return None, None


def _seen_mm(tank: TankState, probe: Probe, counts: float) -> float:
    """Return how much of the probe is wet, by its own zero on the bench where there is one. [mm]"""
    seen_mm = float(probe.wetted_mm(counts))
    if tank.zero is None:
        return seen_mm
    return min(seen_mm, seen_mm - float(probe.wetted_mm(tank.zero.event.counts)))


def _drained(tank: TankState) -> float | None:
    """Return the counts of the drained tank, ``None`` before they are read."""
    if tank.fill is None or tank.fill.begun.event.is_draining:
        return None
    first = next((kept.event for kept in tank.fill.standing if kept.event.step == 0), None)
    return None if first is None else first.counts
