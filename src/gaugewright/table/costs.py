"""What each thing that nobody measured costs, in litres of the band."""

from dataclasses import dataclass

import numpy as np

from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component, Fit
from gaugewright.table.posterior import solve


@dataclass(frozen=True, slots=True)
class OpenCost:
    """One unknown, what it costs, and the check that would take it away."""

    name: str
    cost_l: float
    """How much narrower the band's half-width would be, where it gains most. [L]"""
    check: str

    @property
    def sentence(self) -> str:
        """Return it in words."""
        return (
            f"Not knowing {self.name} costs ±{self.cost_l:.2g} L; {self.check} would take it away."
        )


def open_costs(fill: Fill, result: Fit, assumed: Assumptions | None = None) -> tuple[OpenCost, ...]:
    """Return the cost of everything that was not measured, the dearest first. [L]"""
    assumed = Assumptions() if assumed is None else assumed
    leading = result.components[int(np.argmax(result.weights))]
    found = []
    for group, name, check, left in _unmeasured(fill, leading, assumed):
        cost = _gain(leading, group, left)
        if cost >= 0.02:
            found.append(OpenCost(name, cost, check))
    return tuple(sorted(found, key=lambda c: -c.cost_l))


def _unmeasured(
    fill: Fill, leading: Component, assumed: Assumptions
) -> list[tuple[str, str, str, float]]:
    """Return (group, name, check, share of the uncertainty that the check leaves)."""
    found = []
    slope_open = any(p.pitch_deg is None or p.roll_deg is None for p in fill.pours)
    if leading.curves.described is not None and slope_open:
        left = assumed.u_slope_measured_deg / assumed.u_slope_deg
        found.append(("slope", "the slope", "an inclinometer reading", left))
    if not fill.meter_checks:
        left = float(np.hypot(assumed.u_check_l / 100, assumed.u_can)) / assumed.u_meter
        found.append(("meter", "the meter factor", "a check against a measured can of 100 L", left))
    if fill.residual_l is None and fill.dip_empty_mm is None and not fill.is_draining:
        found.append(("residue", "the residue", "a dip of the drained tank", 0.4))
    if any(p.added_l != 0 and (p.fuel_c is None or p.meter_c is None) for p in fill.pours):
        found.append(
            ("temperature", "the fuel temperatures", "a thermometer at meter and tank", 0.2)
        )
    return found


def _gain(component: Component, group: str, left: float) -> float:
    curves, equations = component.curves, component.equations
    is_group = np.array([g == group for g in equations.groups])
    narrowed = solve(
        equations, np.where(is_group, component.prior_u * left, component.prior_u), curves.litres
    )
    above = slice(curves.tip_index, None)
    gain = component.posterior.u_litres[above] - narrowed.u_litres[above]
    return float(1.96 * np.max(gain))
