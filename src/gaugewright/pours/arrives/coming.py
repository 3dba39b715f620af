"""How the records come: how often, how many are lost, what happens with the ignition off."""

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
import numpy.typing as npt

from gaugewright.pours.arrives.align import Estimate
from gaugewright.pours.arrives.series import Check, Far, Off

Floats = npt.NDArray[np.float64]

SWITCHING_S: Final = 15.0
"""A record at the moment of switching says nothing of the time after it. [s]"""
HELD_S: Final = 20.0
"""A record whose journey took so much longer than usual was held back. [s]"""
_Z95: Final = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Coming:
    """The rhythm of the records while the ignition is on."""

    every_s: float
    """From one record to the next, as it is where none is lost. [s]"""
    lost: int
    due: int
    """Records that should have come, lost ones included."""
    share: Estimate
    """Share of records that are lost. [1]"""
    longest_s: float
    """Longest stretch without a record. [s]"""
    longest_from_s: float


@dataclass(frozen=True, slots=True)
class OffSeen:
    """What came of one stretch with the ignition off."""

    off: Off
    records: int
    every_s: float | None
    """Between those records; ``None`` with fewer than two. [s]"""
    came_later: int
    """Of these, seen only after the ignition was on again."""


def wilson(hits: int, of: int) -> Estimate:
    """Return a share with its 95 % score interval (Wilson, J. Am. Stat. Assoc. 22, 1927).

    >>> found = wilson(81, 263)
    >>> round(found.low, 4), round(found.high, 4)
    (0.2553, 0.3662)
    """
    if of <= 0:
        return Estimate(0.0, 0.0, 1.0)
    p, z2 = hits / of, _Z95**2
    middle = (p + z2 / (2 * of)) / (1 + z2 / of)
    half = _Z95 * sqrt(p * (1 - p) / of + z2 / (4 * of * of)) / (1 + z2 / of)
    return Estimate(p, max(middle - half, 0.0), min(middle + half, 1.0))


def coming(check: Check, delay_s: float) -> Coming | None:
    """Return the rhythm of the records, ``None`` where it cannot be told.

    The rhythm is the shorter of the usual intervals, the lower quartile: losing every
    third record leaves half of them whole.  A gap of k rhythms has lost k - 1 records.
    Losing every second one alike cannot be seen without knowing what was promised.
    """
    far = check.far.ordered()
    if far.are_polls or len(far.values) < 4:
        return None
    times = far.times_s
    gaps = np.diff(times)
    on = np.array([_is_on(check, a - delay_s, b - delay_s) for a, b in _pairs(times)])
    on &= gaps > 0
    if on.sum() < 3:
        return None
    usual = check.every_s or float(np.quantile(gaps[on], 0.25, method="lower"))
    lost = int(np.maximum(np.round(gaps[on] / usual) - 1, 0).sum())
    due = int(on.sum()) + lost
    worst = int(np.argmax(np.where(on, gaps, -1.0)))
    return Coming(
        usual, lost, due, wilson(lost, due), float(gaps[worst]), float(times[worst] - delay_s)
    )


def off_seen(check: Check, delay_s: float) -> tuple[OffSeen, ...]:
    """Return what came of each stretch with the ignition off."""
    far = check.far.ordered()
    seen = []
    for off in check.off:
        made = far.times_s - delay_s  # a record shows what was a delay ago
        inside = (made > off.from_s + SWITCHING_S) & (made < off.to_s - 2.0)
        every = None
        if inside.sum() >= 2:
            every = float(np.median(np.diff(made[inside])))
        held = (far.seen_s >= off.to_s) & (far.seen_s - far.times_s > HELD_S)
        later = int((inside & held).sum())
        seen.append(OffSeen(off, int(inside.sum()), every, later))
    return tuple(seen)


def standing_still(far: Far) -> tuple[float, float, int]:
    """Return since when the last figure stands, the figure, and in how many records."""
    values = far.values
    same = 1
    while same < len(values) and values[-1 - same] == values[-1]:
        same += 1
    return float(far.times_s[-same]), float(values[-1]), same


def _pairs(times: Floats) -> list[tuple[float, float]]:
    return list(zip(times[:-1].tolist(), times[1:].tolist(), strict=True))


def _is_on(check: Check, from_s: float, to_s: float) -> bool:
    return all(to_s <= off.from_s or from_s >= off.to_s for off in check.off)
