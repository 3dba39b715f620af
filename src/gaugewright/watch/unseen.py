"""Fuel above the probe's top: not seen when it goes in, but by how late the level comes down.

While the engine uses what stands above the top, the level stays there. Once it has left the
top, the level and what was used since say how much there was: known as well as the use is, and
the better the less is hidden. Before that, a tank may hold anything up to `UNSEEN_PART` more.
"""

from math import sqrt

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen

UNSEEN_PART = 0.03
"""How much more than the table's top a tank may hold, common practice, no source. [1]"""
UNSEEN = "; the level stood at the top of the table, what is above it is not seen"
TOP_PART = 0.004
"""So near to the table's top a level may be cut off. [1, of the span]"""
_AT_TOP, _MINUTES = 3, 10
_SLOSHES = 2.0
"""So far below the top in standard deviations of the slosh, none of it is cut off."""
_LATEST_S = 24 * 3600.0


def over_the_top(table: Table, seen: Seen, change: Change) -> bool:
    """Return whether the level stood at the table's top, above which nothing is seen.

    As it was read: what is taken off for tilt and warmth may bring it below.
    """
    top = float(table.litres[-1]) - TOP_PART * float(np.ptp(table.litres))
    after = seen.raw_l[change.after : change.after + _AT_TOP]
    return bool(max(float(seen.raw_l[change.before]), float(after.max())) >= top)


def above_the_top(table: Table, seen: Seen, change: Change) -> tuple[float, float] | None:
    """Return the litres above the table's top after a refuel, and their variance. [L, L²]

    What the level says when it has come down, weighed with what tanks hold above their probes;
    ``None`` where it did not come down before something else happened, or says what cannot be.
    """
    top, span = float(table.litres[-1]), float(np.ptp(table.litres))
    at, time_s = change.after, seen.bins.time_s
    until = min((a + 1 for _, a, _ in seen.groups if a >= at), default=time_s.size)
    until = min(until, int(np.searchsorted(time_s, time_s[at] + _LATEST_S)))
    if until - at <= _MINUTES:
        return None
    slosh_l = sqrt(seen.manner.rough_l2)
    sums = np.concatenate([[0.0], np.cumsum(seen.bins.level_l[at:until])])
    mean = (sums[_MINUTES:] - sums[:-_MINUTES]) / _MINUTES
    down = np.flatnonzero(mean < top - TOP_PART * span - _SLOSHES * slosh_l)
    if down.size == 0:
        return None
    first = at + int(down[0])
    at_top = float(seen.level_l[at : at + _AT_TOP].max())
    litres = float(np.median(seen.level_l[first : first + _MINUTES])) - at_top
    var = seen.manner.rough_l2 / _MINUTES + seen.manner.slope_l2
    var += float(seen.wander_l2[first] - seen.wander_l2[at])
    room = UNSEEN_PART * top
    usual, usual_l2 = room / 2, room**2 / 12
    if abs(litres) > 2 * room + 2 * sqrt(var):
        return None
    share = usual_l2 / (usual_l2 + var)
    return max(usual + share * (litres - usual), 0.0), share * var


def told_by(litres: float, var_l2: float) -> str:
    """Say what of a refuel was inferred so."""
    half = 1.96 * sqrt(var_l2)
    return (
        f"; {litres:.1f} ± {half:.1f} L of it above the top of the table, "
        "by when the level came down from there"
    )
