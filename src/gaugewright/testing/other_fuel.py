"""The fuel of a month, for the second simulator of logs: used, filled and taken.

`gaugewright.testing.other_logs` tells what it is for. All figures are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from gaugewright.testing.logs import START_S, TrueEvent
from gaugewright.testing.other_course import STEP_S, Course
from gaugewright.testing.other_work import AT_REST, HOUR_S, Machine, Mode, Stretch
from gaugewright.watch.values import EventKind, Floats

EXPANSION_PER_C = 0.00083
"""Thermal expansion of diesel fuel, common practice, no source. [1/°C]"""
WAYS = ("fast", "fast", "slow", "idling", "several", "after_refuel", "no_power", "leaving")
LEAST_DRAIN_L = 3.0


@dataclass(frozen=True)
class Tanks:
    """The probe's tank, and the second one that levels out with it where there is a pipe.

    [L, s, L/s, part of the tank]
    """

    first_l: float
    second_l: float
    levels_out_s: float
    fill_l_s: float
    low: float
    begins: float

    @classmethod
    def drawn(cls, machine: Machine, rng: np.random.Generator) -> "Tanks":
        """Draw the tanks of a machine, and when they are filled."""
        first = machine.capacity_l * rng.uniform(0.85, 1.15)
        second = first * rng.uniform(0.7, 1.0)
        return cls(
            first,
            second if machine.has_pipe else 0.0,
            60 * rng.uniform(3, 20),
            machine.fill_l_s * rng.uniform(0.7, 1.2),
            rng.uniform(0.2, 0.4) + machine.early,
            rng.uniform(0.5, 0.9),
        )

    @property
    def total_l(self) -> float:
        """What all tanks hold. [L]"""
        return self.first_l + self.second_l


@dataclass(frozen=True)
class Rest:
    """A time at one place, of one or more stretches. [s]"""

    start_s: float
    end_s: float
    stretches: tuple[Stretch, ...]

    @property
    def seconds(self) -> float:
        """How long it lasts. [s]"""
        return self.end_s - self.start_s


def rests(kind: str, stretches: tuple[Stretch, ...]) -> list[Rest]:
    """Return the times at rest; a generator, which never moves, has one for each stretch."""
    rests: list[Rest] = []
    for s in stretches:
        if s.mode not in AT_REST:
            continue
        if rests and rests[-1].end_s == s.start_s and kind != "generator":
            last = rests.pop()
            rests.append(Rest(last.start_s, s.end_s, (*last.stretches, s)))
        else:
            rests.append(Rest(s.start_s, s.end_s, (s,)))
    return rests


def _is_long(rest: Rest) -> bool:
    return rest.seconds > 2.5 * HOUR_S


def power_cuts(
    stretches: tuple[Stretch, ...], kind: str, chance: float, rng: np.random.Generator
) -> list[tuple[float, float]]:
    """Return the times at which a unit has no power in a long rest. [s]"""
    cuts = []
    for rest in rests(kind, stretches):
        if _is_long(rest) and rng.random() < chance:
            seconds = HOUR_S * rng.uniform(0.5, 6)
            start = rest.start_s + rng.uniform(0, max(1.0, rest.seconds - seconds))
            cuts.append((start, start + seconds))
    return cuts


class Month:
    """The fuel of one month: used, filled and taken."""

    def __init__(self, kind: str, tanks: Tanks, course: Course, thirst: float) -> None:
        self.kind = kind
        self.tanks = tanks
        self.course = course
        self.swell: Floats = 1 + EXPANSION_PER_C * (course.fuel_c - 15)
        self.use_l: Floats = course.use_l_h * thirst / HOUR_S * STEP_S
        self.used_l: Floats = np.cumsum(self.use_l)
        self.begins_l = tanks.begins * tanks.total_l
        self.into_first_l = np.zeros(self.use_l.size)
        self.into_all_l = np.zeros(self.use_l.size)
        self.events: list[TrueEvent] = []
        self.pours: list[tuple[int, int]] = []
        self.holes: list[tuple[float, float]] = []
        self._plan: dict[float, str] = {}
        self._after_refuel = 0

    def live(
        self,
        rests: list[Rest],
        drains: int,
        filling: np.random.Generator,
        taking: np.random.Generator,
    ) -> None:
        """Go through the rests; at each there is a refuel, or a drain that was planned, or none."""
        self._plan_drains(rests, drains, taking)
        for rest in rests:
            starts_month = self.kind == "generator" and rest.start_s == 0
            if rest.start_s < 1800 and not starts_month:
                continue
            if self._wants_fuel(rest, filling) and self._refuel(rest, filling, taking):
                continue
            if rest.start_s in self._plan:
                self._drain(rest, self._plan[rest.start_s], taking)

    def litres(self) -> tuple[Floats, Floats]:
        """Return what is in the probe's tank and in all at each step, at 15 °C. [L]"""
        tanks = self.tanks
        total: Floats = self.begins_l + np.cumsum(self.into_all_l) - self.used_l
        if tanks.second_l == 0:
            return total, total
        flow = tanks.first_l / tanks.levels_out_s * STEP_S
        keep = 1 - flow * (1 / tanks.first_l + 1 / tanks.second_l)
        before = np.concatenate([[self.begins_l], total[:-1]])
        gain = self.into_first_l - self.use_l + flow / tanks.second_l * before
        begins = self.begins_l * tanks.first_l / tanks.total_l
        first: Floats = lfilter([1], [1, -keep], gain, zi=[keep * begins])[0]
        return first, total

    def _level(self, time_s: float) -> float:
        """Return the litres in all tanks at a time, at the fuel's own temperature. [L]"""
        step = min(int(time_s / STEP_S), self.swell.size - 1)
        net = sum(
            e.litres_at_15_c * (1 if e.kind == EventKind.REFUEL else -1)
            for e in self.events
            if e.end_s <= START_S + time_s
        )
        return float(self.swell[step] * (self.begins_l - self.used_l[step] + net))

    def _happen(
        self, kind: EventKind, start_s: float, end_s: float, litres: float, how: str,
        part_into_first: float = 1.0,
    ) -> None:  # fmt: skip
        first = int(start_s / STEP_S)
        last = max(int(end_s / STEP_S), first + 1)
        at_15 = litres / float(self.swell[(first + last) // 2])
        flow = at_15 / (last - first) * (1 if kind == EventKind.REFUEL else -1)
        self.into_all_l[first:last] += flow
        self.into_first_l[first:last] += flow * part_into_first
        if kind == EventKind.REFUEL:
            self.pours.append((first, last))
        start, end = START_S + first * STEP_S, START_S + last * STEP_S
        self.events.append(TrueEvent(kind, start, end, litres, how, at_15))

    def _wants_fuel(self, rest: Rest, rng: np.random.Generator) -> bool:
        """Return whether this is a place to refuel at and the tank is low."""
        ready = rest.seconds > 200 and any(s.mode != Mode.HALT for s in rest.stretches)
        if self.kind == "bus":
            ready = ready and rest.seconds >= 3 * HOUR_S
        elif self.kind == "van":
            ready = ready and rng.random() > 0.6
        elif self.kind == "excavator":
            ready = ready and rng.random() > 0.5
        return ready and self._level(rest.start_s) < self.tanks.low * self.tanks.total_l

    def _refuel(
        self, rest: Rest, filling: np.random.Generator, taking: np.random.Generator
    ) -> bool:
        """Fill the tank in one go or in two, up or in part; ``False`` where time is too short."""
        total, level = self.tanks.total_l, self._level(rest.start_s)
        if filling.random() < 0.55:
            wanted = total * filling.uniform(0.93, 0.99)
        else:
            wanted = min(level + total * filling.uniform(0.15, 0.6), 0.97 * total)
        litres = round(wanted - level, 1)
        lasts = litres / self.tanks.fill_l_s
        start = rest.start_s + filling.uniform(20, 400)
        if self.kind == "generator" and rest.seconds > 2 * HOUR_S:
            start = rest.start_s + filling.uniform(0.05, 0.5) * rest.seconds
        if filling.random() < 0.3 and rest.seconds < 5400:
            start = rest.end_s - lasts - filling.uniform(10, 45)
        if start < rest.start_s + 15 or start + lasts > rest.end_s - 8:
            start = rest.start_s + 15
        end = start + lasts
        if end > rest.end_s - 8:
            return False
        only_first = (
            filling.random() < 0.5 and litres < self.tanks.first_l * (1 - level / total) * 0.9
        )
        into_first = 1.0 if only_first else self.tanks.first_l / total
        if filling.random() < 0.15 and end + 700 < rest.end_s:
            part, pause = filling.uniform(0.2, 0.8), filling.uniform(120, 500)
            middle = start + part * lasts
            self._happen(EventKind.REFUEL, start, middle, part * litres, "first", into_first)
            start, end = middle + pause, end + pause
            litres *= 1 - part
        self._happen(EventKind.REFUEL, start, end, litres, "refuel", into_first)
        if self._after_refuel and rest.end_s - end > 1000:
            self._drain_after(rest, end, wanted, taking)
        return True

    def _plan_drains(self, rests: list[Rest], drains: int, rng: np.random.Generator) -> None:
        """Choose where fuel is taken, and in what way."""
        idles = [r for r in rests if r.seconds > 480 and _idles(r)]
        suited = {
            "idling": idles,
            "leaving": [r for r in rests if 600 < r.seconds <= 2.5 * HOUR_S],
        }
        long = [r for r in rests if _is_long(r)]
        for _ in range(drains):
            way = str(rng.choice(WAYS))
            if way == "idling" and self.kind == "generator":
                way = "fast"
            places = suited.get(way, long)
            if way == "after_refuel":
                self._after_refuel += 1
            elif places:
                self._plan.setdefault(places[int(rng.integers(len(places)))].start_s, way)

    def _size(self, level_l: float, rng: np.random.Generator) -> float:
        """Return how much is taken, 0 where there is not so much. [L]"""
        most = min(100.0, 0.45 * self.tanks.first_l)
        litres = float(np.exp(rng.uniform(np.log(LEAST_DRAIN_L), np.log(most))))
        return litres if litres < 0.9 * (level_l - 0.05 * self.tanks.total_l) else 0.0

    def _take(self, start_s: float, end_s: float, litres: float, how: str) -> None:
        self._happen(EventKind.DRAIN, start_s, end_s, litres, how)

    def _drain_after(
        self, rest: Rest, end_s: float, level_l: float, rng: np.random.Generator
    ) -> None:
        """Take back some of what was just filled."""
        litres = self._size(level_l, rng)
        lasts = min(litres / rng.uniform(0.08, 0.3), rest.end_s - end_s - 400)
        latest = max(min(1200.0, rest.end_s - end_s - lasts - 100), 150.0)
        start = end_s + rng.uniform(150, latest)
        if litres:
            self._take(start, start + lasts, litres, "after_refuel")
            self._after_refuel -= 1

    def _drain(self, rest: Rest, way: str, rng: np.random.Generator) -> None:
        """Take fuel at a rest in one of the ways, where there is fuel and time enough."""
        level = self._level(rest.start_s)
        if way == "several":
            self._drain_again_and_again(rest, level, rng)
            return
        litres = self._size(level, rng)
        if not litres:
            return
        start = rest.start_s + rng.uniform(0.1, 0.75) * rest.seconds
        lasts = litres / rng.uniform(0.08, 0.35)
        latest = rest.end_s - 60
        if way == "slow":
            lasts = HOUR_S * rng.uniform(0.5, 1.3)
            start = min(start, rest.end_s - lasts - 300)
        elif way == "no_power":
            hole = lasts + HOUR_S * rng.uniform(0.3, 4)
            start = rest.start_s + rng.uniform(0.05, 0.4) * rest.seconds + 0.5 * (hole - lasts)
            edge = 0.5 * (hole - lasts)
            latest = rest.end_s - edge
            if start + lasts < latest:
                self.holes.append((start - edge, start + lasts + edge))
        elif way == "idling":
            places = _idles(rest)
            place = places[int(rng.integers(len(places)))]
            start = place.start_s + rng.uniform(30, max(place.seconds - lasts - 20, 31))
            latest = place.end_s - 10
        elif way == "leaving":
            lasts = litres / rng.uniform(0.15, 0.5)
            start = rest.end_s - lasts - rng.uniform(5, 120)
            latest = rest.end_s
        if rest.start_s < start and start + lasts < latest:
            self._take(start, start + lasts, litres, way)

    def _drain_again_and_again(self, rest: Rest, level_l: float, rng: np.random.Generator) -> None:
        """Take fuel two or three times in one rest."""
        start = rest.start_s + rng.uniform(0.05, 0.2) * rest.seconds
        for _ in range(int(rng.integers(2, 4))):
            litres = self._size(level_l, rng)
            if not litres or start + litres / 0.1 > rest.end_s:
                return
            self._take(start, start + litres / rng.uniform(0.1, 0.3), litres, "several")
            level_l -= litres
            start += litres / 0.1 + HOUR_S * rng.uniform(0.6, 1.5)


def _idles(rest: Rest) -> list[Stretch]:
    """Return the stretches of a rest that last long with the engine on."""
    return [s for s in rest.stretches if s.mode in (Mode.IDLE, Mode.COOL) and s.seconds > 420]
