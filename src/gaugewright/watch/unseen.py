"""What later records tell of a refuel: fuel above the probe's top, or on its way to a second tank.

While the engine uses what stands above the top, the level stays there. Once it has left the
top, the level and what was used since say how much there was: known as well as the use is, and
the better the less is hidden. Before that, a tank may hold anything up to `UNSEEN_PART` more.
Where a second tank levels out through a pipe, the level says how much came once it has.
"""

from math import sqrt

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen

UNSEEN_PART = 0.03
"""How much more than the table's top a tank may hold, common practice, no source. [1]"""
UNSEEN = "; the level stood at the top of the table, what is above it is not seen"
TOLD = "above the top of the table, by when the level came down from there"
TOP_PART = 0.004
"""So near to the table's top a level may be cut off. [1, of the span]"""
_AT_TOP, _MINUTES = 3, 10
_SLOSHES = 2.0
"""So far below the top in standard deviations of the slosh, none of it is cut off."""
_FLOWS_PART = 0.03
"""Less than this part of a refuel may still flow once the tanks have levelled out."""
FLOWING_PART = 0.3
"""How far what still flows is known."""
_LATEST_S = 24 * 3600.0


def over_the_top(table: Table, seen: Seen, change: Change) -> bool:
    """Return whether the level stood at the table's top, above which nothing is seen.

    As it was read: what is taken off for tilt and warmth may bring it below.
    """
    after: list[float] = seen.raw_l[change.after : change.after + _AT_TOP].tolist()
    return max(float(seen.raw_l[change.before]), *after) >= _top_l(table)


def came_down_again(table: Table, seen: Seen, change: Change) -> bool:
    """Return whether a refuel stood at the table's top for minutes and was read below it after.

    The vehicle crept or its load moved: what is above the top is not in the later readings.
    Where it came down through a pipe to a second tank, it is in them.
    """
    minutes = slice(change.before + 1, change.after)
    if not change.inside or change.litres < 0 or minutes.stop - minutes.start < _AT_TOP:
        return False
    during = seen.raw_l[minutes] >= _top_l(table)
    if float(seen.flowing_l[minutes].max()) > _FLOWS_PART * change.litres:
        return False
    return bool((np.convolve(during, np.ones(_AT_TOP), "valid") >= _AT_TOP).any())


def _top_l(table: Table) -> float:
    return float(table.litres[-1] - TOP_PART * (table.litres[-1] - table.litres[0]))


def above_the_top(table: Table, seen: Seen, change: Change) -> tuple[float, float] | None:
    """Return the litres above the table's top after a refuel, and their variance. [L, L²]

    What the level says when it has come down, weighed with what tanks hold above their probes;
    ``None`` where it did not come down before something else happened, or says what cannot be.
    """
    top, span = float(table.litres[-1]), float(np.ptp(table.litres))
    at, until = change.after, _until(seen, change)
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


def flows(seen: Seen, change: Change) -> float:
    """Return the litres that may still flow to a second tank, none where it is next to none."""
    litres, flowing = abs(change.litres), float(seen.flowing_l[change.after])
    return min(flowing, litres) if flowing > _FLOWS_PART * litres else 0.0


def levelled_out(table: Table, seen: Seen, change: Change) -> tuple[float, float] | None:
    """Return the litres of a refuel by the level once two tanks have levelled out. [L, L²]

    ``None`` where something else happened before they had.
    """
    litres, at = abs(change.litres), change.after
    until = _until(seen, change)
    calm = np.flatnonzero(seen.flowing_l[at:until] < _FLOWS_PART * litres)
    first = at + int(calm[0]) if calm.size else until
    if first + _MINUTES > until:
        return None
    if float(seen.raw_l[first : first + _MINUTES].max()) >= _top_l(table):
        return None
    level = seen.raw_l + seen.burnt_l
    before = level[max(change.before - _MINUTES + 1, 0) : change.before + 1]
    came = float(np.median(level[first : first + _MINUTES]) - np.median(before))
    var = 2 * seen.manner.rough_l2 / _MINUTES + 2 * seen.manner.slope_l2
    var += float(seen.wander_l2[first] - seen.wander_l2[change.before])
    return came, var + (FLOWING_PART * float(seen.flowing_l[first])) ** 2


def _until(seen: Seen, change: Change) -> int:
    """Return up to which minute nothing else has happened after a change, a day at most."""
    time_s, at = seen.bins.time_s, change.after
    until = min((a + 1 for _, a, _ in seen.groups if a >= at), default=time_s.size)
    return min(until, int(np.searchsorted(time_s, time_s[at] + _LATEST_S)))


def told_by(litres: float, var_l2: float) -> str:
    """Say what of a refuel was inferred so."""
    return f"; {litres:.1f} ± {1.96 * sqrt(var_l2):.1f} L of it {TOLD}"
