"""Rest and motion: the stretches of a track in which the level can be read, and those between.

A *stop* is a run of bins at rest: the tank stands in one place, so its slope is one unknown.
Between stops the level sloshes. An excavator that works without moving sloshes as well, which
only the scatter of its own readings tells.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import BIN_S, Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Floats
from gaugewright.watch.working import working

HOLE_S = 600.0
"""From here a hole in the record may hide a drive, or a stop. [s]"""
SHORT_HOLE_S = 150.0
"""From here a hole between moving records may hide a stop at a pump. [s]"""


@dataclass(frozen=True, eq=False)
class Spells:
    """Runs of bins from ``low`` up to but not including ``high``; ``still`` tells which rest.

    A still spell with ``low == high`` is a hole in the record between two moving bins.
    """

    low: npt.NDArray[np.int64]
    high: npt.NDArray[np.int64]
    still: npt.NDArray[np.bool_]

    @cached_property
    def inside(self) -> npt.NDArray[np.int64]:
        """The spell of each bin."""
        return np.repeat(np.arange(self.low.size), self.high - self.low)

    @cached_property
    def at_rest(self) -> npt.NDArray[np.bool_]:
        """Whether each bin is at rest."""
        return np.repeat(self.still, self.high - self.low)


def rough(bins: Bins, quantum_l: float) -> npt.NDArray[np.bool_]:
    """Return which bins slosh: on the move, or running with far more scatter than at rest."""
    bend = np.abs(np.diff(bins.level_l, 2, prepend=bins.level_l[:1], append=bins.level_l[-1:]))
    scatter = np.where(np.isfinite(bins.scatter_l), bins.scatter_l, bend)
    off = ~bins.moving & ~(bins.running > 0.5)
    reach = 3 if median(bins.records) >= 4 else 5
    calm = ~bins.moving if off.sum() < 30 else off
    if not calm.any():
        return bins.moving.copy()
    base = quantile(scatter[calm], 0.5 if off.sum() >= 30 else 0.2)
    on = bins.running > 0.5
    lively = quantile(scatter[on], 0.75) if on.any() else 0.0
    limit = max(2.0 * base, 0.25 * lively, 0.7 * quantum_l)
    return bins.moving | (_swing(scatter, bins.level_l, bins.moving, on, reach) > limit)


def spells_of(bins: Bins, quantum_l: float, *, is_speed_told: bool = True) -> Spells:
    """Return rest and motion by turns; a halt of a minute in traffic is no stop."""
    work = working(bins, quantum_l, is_speed_told=is_speed_told)
    if work is not None:
        active = bins.moving | work
    else:
        # A machine that never moves and shows no two kinds of minutes only rests.
        active = rough(bins, quantum_l) if bins.moves else bins.moving.copy()
    _smooth(active, bins.moving, bins.time_s)
    time = bins.time_s
    step = np.diff(time)
    hole = step > max(SHORT_HOLE_S, 3.5 * median(step)) if step.size else step > 0
    turn = active[1:] != active[:-1]
    blind = hole & active[1:] & active[:-1]
    cuts = np.flatnonzero(turn | blind) + 1
    low = np.concatenate([[0], cuts])
    high = np.concatenate([cuts, [time.size]])
    still = ~active[low]
    empty = cuts[blind[cuts - 1]]
    order = np.argsort(np.concatenate([low, empty - 0.5]), kind="stable")
    return Spells(
        np.concatenate([low, empty])[order],
        np.concatenate([high, empty])[order],
        np.concatenate([still, np.ones(empty.size, np.bool_)])[order],
    )


@compiled
def _swing(
    scatter: Floats,
    level: Floats,
    moving: npt.NDArray[np.bool_],
    running: npt.NDArray[np.bool_],
    reach: int,
) -> Floats:
    """Return the usual scatter around each bin at rest and running, 0 of any other.

    None, 0 as well, where the level flows one way.
    """
    n = scatter.size
    out = np.zeros(n)
    near = np.empty(2 * reach + 1)
    i = 0
    while i < n:
        if moving[i]:
            i += 1
            continue
        j = i
        while j < n and not moving[j]:
            j += 1
        for k in range(i, j):
            if not running[k]:
                continue
            low, high = max(i, k - reach), min(j, k + reach + 1)
            path = 0.0
            for m in range(low + 1, high):
                path += abs(level[m] - level[m - 1])
            if abs(level[high - 1] - level[low]) <= 0.7 * path:
                out[k] = _middle(scatter, low, high, near)
        i = j
    return out


@compiled
def _middle(values: Floats, low: int, high: int, room: Floats) -> float:
    """Return the median of a few values, sorted into ``room``."""
    held = 0
    for m in range(low, high):
        value = values[m]
        at = held
        while at > 0 and room[at - 1] > value:
            room[at] = room[at - 1]
            at -= 1
        room[at] = value
        held += 1
    half = held // 2
    middle: float = room[half] if held % 2 else 0.5 * (room[half - 1] + room[half])
    return middle


@compiled
def _smooth(active: npt.NDArray[np.bool_], moving: npt.NDArray[np.bool_], time_s: Floats) -> None:
    """Turn rests of under a minute and a half to motion, and lone rough bins at rest to rest."""
    n = active.size
    i = 0
    while i < n:
        j = i
        any_move = False
        while j < n and active[j] == active[i]:
            any_move = any_move or moving[j]
            j += 1
        inner = i > 0 and j < n
        if inner and not active[i] and time_s[j] - time_s[i - 1] < 2.5 * BIN_S:
            active[i:j] = True
        elif inner and active[i] and not any_move and j - i < 3:
            active[i:j] = False
        i = j
