"""The first pour that the probe sees: no other one tells a wrong tank from a decimal slip."""

from gaugewright.pours.suspects import Suspect
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit

FAR, NEAR = 4.0, 2.5
"""In standard uncertainties of the described tank: no longer fits, and fits. [1]"""
SLIPS = (10.0, 0.1)


def first_slip(fill: Fill, result: Fit) -> Suspect | None:
    """Return a slip by which the only reading on the scale fits the described tank, if any."""
    first = result.components[0]
    eq = first.equations
    if first.curves.described is None or len(eq.pours) != 1 or eq.pours[0] == 0:
        return None
    k = eq.pours[0]
    row = eq.design[0] * first.prior_u
    u_l = float(row @ row + eq.noise[0, 0]) ** 0.5
    off_l = float(eq.observed[0])
    if abs(off_l) <= FAR * u_l:
        return None
    sign = -1.0 if fill.is_draining else 1.0
    for slip in SLIPS:
        change_l = sign * (slip - 1.0) * fill.pours[k].added_l
        if abs(off_l + change_l) <= NEAR * u_l:
            meant = round(slip * fill.pours[k].added_l, 3)
            return Suspect("decimal_slip", k, 0.0, meant, exact=True, shift_l=change_l)
    return None
