"""What teaches the most now, worked out anew from the pours that stand.

Offered is only what can still be done and what a record then holds: a dip of the drained
tank, or its residue in a jug, before the first pour, the vehicle's slope once for all
pours, one more measured can.
Temperatures help only if every delivery has them, so they belong to the plan, not here.
"""

from dataclasses import dataclass, replace

import numpy as np

from gaugewright.errors import InputError
from gaugewright.planning.actions import (
    CHECKS,
    LITRES_PER_MIN,
    MINUTES_A_STOP,
    PAYS_SHARE,
    Action,
    stop_places,
)
from gaugewright.planning.outlook import TRUSTS, Checks, Outlook, outlook, with_checks_done
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves, curves_of
from gaugewright.table.fill import Fill, Pour
from gaugewright.tank.description import Tank
from gaugewright.words import Volume, said

LEAST_POUR_L = 2.0
"""No smaller pour is offered. [L]"""
SAME_SHARE = 0.01
"""Two pours that leave errors this close teach the same: the smaller one is offered."""


@dataclass(frozen=True, eq=False)
class NextActions:
    """What could be done next, the one that leaves the least error first."""

    here: Outlook
    actions: tuple[Action, ...]
    """The best pour, if the tank takes one, and every check that can still be made."""

    def pays(self, action: Action) -> bool:
        """Tell whether an action takes away enough of the error for its work."""
        gain = self.here.largest_error_l - action.error_left_l
        return gain >= PAYS_SHARE * self.here.largest_error_l

    @property
    def best(self) -> Action | None:
        """Return the best action, ``None`` where nothing that is left pays."""
        return self.actions[0] if self.actions and self.pays(self.actions[0]) else None

    @property
    def best_pour(self) -> Action | None:
        """Return the best pour, ``None`` where further pours no longer pay."""
        pours = [a for a in self.actions if a.kind == "stop" and self.pays(a)]
        return pours[0] if pours else None


def next_actions(
    fill: Fill, tank: Tank, probe: Probe, assumed: Assumptions | None = None
) -> NextActions:
    """Rank what can be done after the pours so far, on the fit's own covariance.

    Raises `InputError` for a fill without its first reading.
    """
    assumed = Assumptions() if assumed is None else assumed
    if not fill.pours:
        raise InputError(said("no pour is recorded yet"), field="pours")
    curves = curves_of(tank, probe, assumed)
    here = outlook(fill, curves, assumed, TRUSTS)
    found = [*_best_pour(fill, curves, assumed), *_checks(fill, curves, assumed)]
    return NextActions(here, tuple(sorted(found, key=lambda a: a.error_left_l)))


def _best_pour(fill: Fill, curves: Curves, assumed: Assumptions) -> list[Action]:
    inside = sum(p.added_l for p in fill.pours)
    tip = float(curves.litres[curves.tip_index]) - assumed.residue_l
    options = []
    for at_l in stop_places(curves, assumed):
        if at_l < inside + LEAST_POUR_L:
            continue
        coming = _pour_to(fill, at_l, inside, curves, assumed)
        seen = outlook(replace(fill, pours=(*fill.pours, coming)), curves, assumed, TRUSTS)
        add = Volume(at_l - inside)
        what = said("add {add:.1f} and read the probe", add=add)
        if at_l < tip:
            what = said("add {add:.1f}, just below the tip, and read the probe", add=add)
        minutes = MINUTES_A_STOP + (at_l - inside) / LITRES_PER_MIN
        options.append(Action("stop", what, at_l, seen.largest_error_l, minutes))
    if not options:
        return []
    least = min(option.error_left_l for option in options)
    near = [o for o in options if o.error_left_l <= (1 + SAME_SHARE) * least]
    return [min(near, key=lambda option: option.at_l or 0.0)]


def _pour_to(
    fill: Fill, at_l: float, inside_l: float, curves: Curves, assumed: Assumptions
) -> Pour:
    wetted = float(np.interp(at_l + assumed.residue_l, curves.litres, curves.wetted_mm))
    last = fill.pours[-1]
    return Pour(
        last.step + 1,
        at_l - inside_l,
        float(np.rint(curves.probe.counts_of(max(wetted, 0.0)))),
        pitch_deg=last.pitch_deg,
        roll_deg=last.roll_deg,
        fuel_c=last.fuel_c,
        meter_c=last.meter_c,
    )


def _checks(fill: Fill, curves: Curves, assumed: Assumptions) -> list[Action]:
    found = []
    for more in _still_possible(fill):
        kind = next(name for name in Checks.__slots__ if getattr(more, name))
        done = with_checks_done(fill, more, curves, assumed)
        seen = outlook(done, curves, assumed, TRUSTS)
        what, minutes = CHECKS[kind]
        if kind == "meter" and fill.meter_checks:
            what = said("check the meter against one more measured can of 100 L")
        if kind == "slope" and len(fill.pours) > 1:
            what = said(
                "read the slope of the vehicle with an inclinometer, for all pours: it has not "
                "moved"
            )
        found.append(Action(kind, what, None, seen.largest_error_l, minutes))
    return found


def _still_possible(fill: Fill) -> list[Checks]:
    possible = [Checks(meter=True)]
    if any(p.pitch_deg is None or p.roll_deg is None for p in fill.pours):
        possible.append(Checks(slope=True))
    if not fill.is_draining and len(fill.pours) == 1 and fill.residual_l is None:
        possible.append(Checks(residue=True))
        possible += [] if fill.dip_empty_mm is not None else [Checks(dip=True)]
    return possible
