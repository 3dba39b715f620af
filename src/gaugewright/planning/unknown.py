"""Pours for a tank whose shape nobody can trust: close together where the curve bends.

A tank's curve bends near the bottom, where the dead stock ends and the edges are round, and
near the top.  So the stops stand closer there, the first just above where the probe should
begin to move.  Of seven spacings tried on simulated fills without a tank file this one left
the least error (`python -m benchmarks.plan`).
"""

import numpy as np

from gaugewright.errors import InputError

SHARES = (0.03, 0.08, 0.22, 0.40, 0.58, 0.75, 0.88, 0.95)
"""Of the capacity on the tank's plate, for eight stops; other numbers follow the same curve."""


def unknown_stops_l(capacity_l: float, pours: int) -> tuple[float, ...]:
    """Return total litres poured at each stop, for a capacity from the tank's plate. [L]

    >>> unknown_stops_l(400.0, 8)
    (12.0, 32.0, 88.0, 160.0, 232.0, 300.0, 352.0, 380.0)
    >>> unknown_stops_l(400.0, 1)
    (380.0,)
    """
    if not (np.isfinite(capacity_l) and capacity_l > 0):
        raise InputError(f"must be above 0 L, found {capacity_l:g}", field="capacity_l")
    if not 1 <= pours <= 60:
        raise InputError(f"must be 1 to 60, found {pours}", field="pours")
    if pours == 1:
        return (round(SHARES[-1] * capacity_l, 1),)
    share = np.interp(np.linspace(0, 1, pours), np.linspace(0, 1, len(SHARES)), SHARES)
    return tuple(round(float(s) * capacity_l, 1) for s in share)
