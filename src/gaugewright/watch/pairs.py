"""Which receipt belongs to which refuel: the most likely of all ways to pair them.

A group is one receipt or two neighbours with one refuel or two.  Each possible group has a
cost, minus the logarithm of how much likelier it is than that its members are alone; the best
choice of groups that share no member is an integer program, solved exactly, cluster by cluster.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, log, pi, sqrt

import numpy as np
import numpy.typing as npt

PAID = tuple[float, float]
"""Time and litres of a receipt. [s, L]"""
PUT_IN = tuple[float, float, float, float]
"""Start, end, litres and half-width of the 95 % band of a refuel. [s, s, L, L]"""

_TILL_MEAN_S = 300.0
_TILL_SD_S = 900.0
"""A till prints some minutes after the pump, by another clock (assumed, no source). [s]"""
_HONEST = 0.8
"""Share of receipts that say what came, for the pairing only (assumed, no source)."""
_METER = 0.005 / sqrt(3.0)
_ALONE = 6.0
"""Cost of a receipt without a refuel, and of a refuel without one: about one in 400."""
_MORE = 2.5
"""Further cost of a second member on one side: about one in 12 stops."""
_ONE_STOP_S = 3600.0
"""Two refuels, or two receipts, within this can be of one stop. [s]"""


@dataclass(frozen=True)
class Group:
    """Receipts and refuels that belong together, by their places."""

    receipts: tuple[int, ...]
    refuels: tuple[int, ...]


def best_groups(
    receipts: Sequence[PAID], refuels: Sequence[PUT_IN], *, till_s: float
) -> list[Group]:
    """Return the receipts and refuels that belong together, in order of time.

    >>> best_groups([(600.0, 100.0)], [(0.0, 300.0, 99.0, 1.0), (9e4, 9e4, 99.0, 1.0)],
    ...             till_s=7200.0)
    [Group(receipts=(0,), refuels=(0,))]
    """
    worth = _worthwhile(receipts, refuels, till_s)
    chosen: list[Group] = []
    for cluster in _clusters(list(worth)):
        if len(cluster) == 1:
            chosen += cluster
        else:
            chosen += _cheapest(cluster, [worth[group] for group in cluster])
    return sorted(chosen, key=lambda group: receipts[group.receipts[0]][0])


def _worthwhile(
    receipts: Sequence[PAID], refuels: Sequence[PUT_IN], till_s: float
) -> dict[Group, float]:
    """Return every group that is likelier than its members alone, with its cost below 0."""
    by_time = sorted(range(len(receipts)), key=lambda place: receipts[place][0])
    order = sorted(range(len(refuels)), key=lambda place: refuels[place][0])
    paid_sets = [(i,) for i in by_time] + [
        (i, j) for i, j in pairwise(by_time) if receipts[j][0] - receipts[i][0] <= _ONE_STOP_S
    ]
    put_sets = [(i,) for i in order] + [
        (i, j) for i, j in pairwise(order) if refuels[j][0] - refuels[i][1] <= _ONE_STOP_S
    ]
    starts = np.array([refuels[s[0]][0] for s in put_sets])
    ends = np.array([max(refuels[i][1] for i in s) for s in put_sets])
    worth: dict[Group, float] = {}
    for paid in paid_sets:
        times = [receipts[i][0] for i in paid]
        near = np.flatnonzero((starts - till_s <= min(times)) & (max(times) <= ends + till_s))
        for place in near.tolist():
            put = put_sets[place]
            if len(paid) == len(put) == 2:
                continue  # two pairs say the same, and more
            cost = _cost([receipts[i] for i in paid], [refuels[i] for i in put], till_s)
            cost += _MORE * (len(paid) + len(put) - 2) - _ALONE * (len(paid) + len(put))
            if cost < 0:
                worth[Group(tuple(paid), tuple(put))] = cost
    return worth


def _cost(paid: Sequence[PAID], put: Sequence[PUT_IN], till_s: float) -> float:
    """Return minus the log-likelihood of a group, both densities made free of their units."""
    cost = 0.0
    ended = max(refuel[1] for refuel in put)
    started = put[0][0]
    for time_s, _ in paid:
        # Paid before the pump has ended happens too: pre-paid, or a clock that is slow.
        late = time_s - ended if time_s > ended else min(0.0, time_s - started)
        density = 0.9 * _normal(late - _TILL_MEAN_S, _TILL_SD_S) + 0.1 / (2 * till_s)
        cost -= log(density * 2 * till_s)
    litres = sum(one[1] for one in paid)
    got = sum(one[2] for one in put)
    sd = sqrt((sum(one[3] for one in put) / 1.96) ** 2 + (_METER * litres) ** 2 + 0.25)
    wide = max(litres, got)
    density = _HONEST * _normal(got - litres, sd) + (1 - _HONEST) * _far(got - litres, wide)
    return cost - log(max(density * wide, 1e-300)) if density > 0 else inf


def _far(difference_l: float, wide_l: float) -> float:
    """Return the density of a difference of a receipt that does not say what came."""
    scale = 0.15 * wide_l
    return exp(-abs(difference_l) / scale) / (2 * scale)


def _normal(x: float, sd: float) -> float:
    return exp(-0.5 * (x / sd) ** 2) / (sd * sqrt(2 * pi))


def _clusters(groups: Sequence[Group]) -> list[list[Group]]:
    """Return the groups in sets that share no member with each other."""
    parent = list(range(len(groups)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    holder: dict[tuple[str, int], int] = {}
    for i, group in enumerate(groups):
        members = [("paid", r) for r in group.receipts] + [("put", r) for r in group.refuels]
        for member in members:
            if member in holder:
                parent[root(i)] = root(holder[member])
            else:
                holder[member] = i
    found: dict[int, list[Group]] = {}
    for i, group in enumerate(groups):
        found.setdefault(root(i), []).append(group)
    return list(found.values())


def _cheapest(groups: Sequence[Group], costs: Sequence[float]) -> list[Group]:
    """Return the choice of groups without a common member whose cost is least."""
    from scipy.optimize import LinearConstraint, milp

    members = sorted(
        {("paid", r) for g in groups for r in g.receipts}
        | {("put", r) for g in groups for r in g.refuels}
    )
    row = {member: k for k, member in enumerate(members)}
    shared: npt.NDArray[np.float64] = np.zeros((len(members), len(groups)))
    for column, group in enumerate(groups):
        for r in group.receipts:
            shared[row["paid", r], column] = 1
        for r in group.refuels:
            shared[row["put", r], column] = 1
    solved = milp(
        np.array(costs),
        integrality=np.ones(len(groups)),
        bounds=(0, 1),
        constraints=LinearConstraint(shared, -np.inf, 1),
    )
    return [group for group, taken in zip(groups, solved.x, strict=True) if taken > 0.5]
