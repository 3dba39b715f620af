"""Fuel, a shift of the reading, or noise: how likely each story makes a change of the level."""

from dataclasses import dataclass
from math import exp, log, pi, sqrt

import numpy as np

from gaugewright.watch.change import EDGE_BINS, Change
from gaugewright.watch.look import Seen
from gaugewright.watch.values import Floats

# All of these were set on logs that are not scored.
QUIET_PART = 0.0008
"""Mean of what shifts by itself with all quiet, of the tank. [1]"""
KNOWN_RISES = 20.0
"""How many rises of this vehicle weigh as much as that mean."""
FAR_CHANCE, FAR_TIMES = 0.035, 3.5
"""How many shifts are of a wider kind, and how much wider, with all quiet. [1]"""
BUSY_PART = 1.6
"""Scatter of a reading near work or motion, of the slosh. [1]"""
BLUR_CHANCE = 0.1
"""That a reading is off in a stop where work without moving goes on near by, at least. [1]"""
ALONE_CHANCE = 0.02
"""That a single reading at a stop's end is plainly wrong. [1]"""
NOISE_TIMES = 2.6
"""How much more the levels of two stretches differ than their own scatter says. [1, of L²]"""
ODD_CHANCE = 1e-3
"""That a difference has no reason that is known. [1]"""
CUT_CHANCE = 0.5
"""That a change at a stop's edge is seen in part only; elsewhere one in fifty. [1]"""
DRAINS_PER_DAY, LASTING_PART = 0.3, 0.6
"""Drains expected in a day, and the part of them that takes its time from how long a stop is."""
MOST_CHANCE = 0.15
"""That there is a drain in one stop, at most: where nothing is known of when, drift grows too."""
PLACE_CHANCE = 0.02
"""That a shift is as wide as from one place to another: the ground gives, or a leg is set. [1]"""
CREPT_CHANCE, CREPT_TIMES = 0.3, 2.0
"""That a vehicle that crept stands on another slope, and how much wider the two then differ than
after a drive. [1, of L²]"""
MOST_BETWEEN = 4
"""A load that shifts does so at once; a probe's averaging takes a few minutes at most."""


@dataclass(frozen=True)
class Shifts:
    """How often and how far the level shifts by itself in a stop, from unexplained rises.

    The level shifts down as often as up. Two kinds are kept apart: with all quiet a load or
    the slope shifts a little; near work, motion or a stop's end the reading itself is off by
    as much as it sloshes. [1, L, L²]
    """

    quiet_chance: float
    quiet_l: float
    busy_chance: float
    busy_l2: float
    drain_chances: Floats
    capacity_l: float
    moves: bool
    place_l2: float

    @classmethod
    def learnt(cls, seen: Seen, clusters: list[Change]) -> "Shifts":
        """Count the rises too small for a refuel."""
        capacity = float(np.max(seen.bins.level_l))
        days = (seen.bins.time_s[-1] - seen.bins.time_s[0]) / 86400
        rises = [
            c
            for c in clusters
            if 0 < c.litres < 0.05 * capacity
            and c.litres > 5 * c.var_l2**0.5
            and c.outside_l < 0.5 * c.litres + 2 * c.outside_l2**0.5
        ]
        stops = max(int(seen.spells.still.sum()), days * 4)
        quiet = [c.litres for c in rises if not c.busy]
        busy = [c.litres for c in rises if c.busy]
        size = (sum(quiet) + KNOWN_RISES * QUIET_PART * capacity) / (len(quiet) + KNOWN_RISES)
        rough_l2 = BUSY_PART**2 * seen.manner.rough_l2
        return cls(
            (len(quiet) + 1) / (stops + 10),
            size,
            (len(busy) + 0.5) / (stops + 20),
            (sum(x * x for x in busy) + 5 * rough_l2) / (len(busy) + 5),
            np.minimum(DRAINS_PER_DAY * drain_parts(seen) * days, MOST_CHANCE),
            capacity,
            seen.bins.moves,
            2 * seen.manner.slope_l2,
        )

    def score(self, change: Change) -> float:
        """Return the log odds of fuel against noise and shift."""
        size, v = change.litres, change.var_l2 * NOISE_TIMES + 0.02
        out, vo = change.outside_l, change.outside_l2
        fuel = float(self.drain_chances[change.stop]) * self._fuel(change, out, v + vo)
        none = normal(size, v) + 0.02 * normal(size, 4 * v) + ODD_CHANCE * normal(size, v + 4.0)
        if change.fewest == 1 and change.between < 2:
            none += ALONE_CHANCE / self.capacity_l
        none = (none + self._shift(change, v)) * heavy(out, vo)
        odds: float = log(max(fuel, 1e-300)) - log(max(none, 1e-300))
        return odds

    def _fuel(self, change: Change, outside_l: float, var_l2: float) -> float:
        """Return how likely the two views are if fuel went or came. [1/L²]

        At a stop's edge the inside may show any part of what the outside shows.
        """
        size = change.litres
        whole = size_density(size, self.capacity_l) * heavy(size - outside_l, var_l2)
        cut = CUT_CHANCE if change.fewest <= EDGE_BINS else 0.02
        part = 0.0
        if size * outside_l > 0 and abs(size) < abs(outside_l):
            part = size_density(outside_l, self.capacity_l) / abs(outside_l)
        return (1 - cut) * whole + cut * part

    def _shift(self, change: Change, var_l2: float) -> float:
        """Return how likely a shift of the reading by as much is. [1/L]"""
        size = change.litres
        if change.crept:
            return CREPT_CHANCE * normal(size, var_l2 + CREPT_TIMES * self.place_l2)
        if change.busy:
            chance = max(self.busy_chance, BLUR_CHANCE) if change.blurred else self.busy_chance
            near = normal(size, var_l2 + self.busy_l2)
            return chance * (0.93 * near + 0.07 * normal(size, var_l2 + 4 * self.busy_l2))
        far = 0.01 if change.between > MOST_BETWEEN or not self.moves else FAR_CHANCE
        scale = self.quiet_l + min(var_l2**0.5, 2 * self.quiet_l)
        near = laplace(size, scale)
        wide = far * laplace(size, FAR_TIMES * scale)
        other = PLACE_CHANCE * normal(size, var_l2 + self.place_l2) if self.moves else 0.0
        return self.quiet_chance * ((1 - far - PLACE_CHANCE) * near + wide + other)


def drain_parts(seen: Seen) -> Floats:
    """Return the chance that a drain is in each spell: most where the vehicle stands for long. [1]

    The others come in any stop, however short.
    """
    still, time_s = seen.spells.still, seen.bins.time_s
    first = np.maximum(seen.spells.low - 1, 0)
    last = np.minimum(seen.spells.high, time_s.size - 1)
    lasting_s = np.where(still, time_s[last] - time_s[first], 0.0)
    stops = max(float(still.sum()), 1.0)
    parts: Floats = LASTING_PART * lasting_s / max(float(lasting_s.sum()), 1.0)
    return parts + (1.0 - LASTING_PART) * still / stops


def laplace(x: float, scale: float) -> float:
    """Return the density of a Laplace distribution of this mean distance at ``x``."""
    return 0.5 / scale * exp(-abs(x) / scale)


def normal(x: float, var: float) -> float:
    """Return the density of a normal distribution of this variance at ``x``."""
    return exp(-0.5 * x * x / var) / sqrt(2 * pi * var)


def heavy(x: float, var: float) -> float:
    """Return the density of a normal distribution with wide tails at ``x``.

    Of 2 and of 5 times the standard deviation are 3.8 % and 0.2 % of it.
    """
    half = 0.5 * x * x / var
    parts = 0.96 * exp(-half) + 0.038 / 2 * exp(-half / 4) + 0.002 / 5 * exp(-half / 25)
    return parts / sqrt(2 * pi * var)


def size_density(litres: float, capacity_l: float) -> float:
    """Return how dense events of this size are: evenly by the logarithm, none below 2 L. [1/L]"""
    size = max(abs(litres), 1.0)
    rare = 1.0 if abs(litres) > 2 else 1e-3
    return rare / (size * log(capacity_l / 2))
