"""What nine kinds of machine do in a month, for the second simulator of logs.

`gaugewright.testing.other_logs` tells what it is for. Each month is a list of stretches, one
after the other, each in one mode. All figures are common practice, no source: they stand for no
vehicle in particular.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

DAY_S = 86400.0
HOUR_S = 3600.0


class Mode(StrEnum):
    """What a machine is at; the engine of a cooled trailer is that of its cooler."""

    OFF = "off"
    IDLE = "idle"
    HALT = "halt"
    DRIVE = "drive"
    DIG = "dig"
    CRAWL = "crawl"
    FIELD = "field"
    RUN = "run"
    COOL = "cool"
    COOL_ON_ROAD = "cool on the road"
    TOWED = "towed"
    SAIL = "sail"


WITHOUT_ENGINE = frozenset({Mode.OFF, Mode.TOWED})
MOVING = frozenset(
    {Mode.DRIVE, Mode.FIELD, Mode.CRAWL, Mode.COOL_ON_ROAD, Mode.TOWED, Mode.SAIL},
)
AT_REST = frozenset({Mode.OFF, Mode.IDLE, Mode.COOL, Mode.RUN, Mode.HALT})


@dataclass(frozen=True)
class Stretch:
    """A time in one mode, from the first midnight. [s]"""

    start_s: float
    end_s: float
    mode: Mode

    @property
    def seconds(self) -> float:
        """How long it lasts. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Machine:
    """A kind of machine: its tank, its thirst, its pump, how its fuel moves.

    ``early`` is how much sooner than others it is filled, in parts of the tank; ``off_middle_mm``
    how far its probe stands from the tank's middle, and ``stands_deg`` how steep the places are
    where it stands, both as a standard deviation. [L, mm, L/h, km/h, L/s, °, part of the height]
    """

    capacity_l: float
    height_mm: float
    shapes: tuple[str, ...]
    use_l_h: dict[Mode, float]
    speed_kmh: float
    fill_l_s: float
    slosh: float
    early: float = 0.0
    off_middle_mm: float = 90.0
    stands_deg: float = 1.0
    has_pipe: bool = False
    has_speed: bool = True


_HAUL = {Mode.DRIVE: 28.0, Mode.HALT: 3.0, Mode.IDLE: 2.5}
MACHINES = {
    "long_haul": Machine(600, 620, ("box", "d"), _HAUL, 78, 1.6, 0.012),
    "long_haul_pipe": Machine(600, 620, ("box", "d"), _HAUL, 78, 1.8, 0.012, has_pipe=True),
    "van": Machine(
        80, 260, ("step", "box"), {Mode.DRIVE: 4.5, Mode.HALT: 1.0, Mode.IDLE: 0.9},
        35, 0.6, 0.015, early=0.15, off_middle_mm=40,
    ),
    "bus": Machine(
        300, 480, ("box", "round"), {Mode.DRIVE: 14.0, Mode.HALT: 3.0, Mode.IDLE: 2.5},
        28, 1.5, 0.015, early=0.35, off_middle_mm=80,
    ),
    "excavator": Machine(
        400, 700, ("step", "box"), {Mode.DIG: 16.0, Mode.CRAWL: 15.0, Mode.IDLE: 4.0},
        2.5, 0.9, 0.016, early=0.2, off_middle_mm=60, stands_deg=2.0,
    ),
    "tractor": Machine(
        300, 600, ("step", "d"), {Mode.DRIVE: 12.0, Mode.FIELD: 20.0, Mode.IDLE: 3.0},
        25, 0.8, 0.014, early=0.15, off_middle_mm=70, stands_deg=2.5,
    ),
    "generator": Machine(
        1000, 550, ("box",), {Mode.RUN: 12.0},
        0, 2.0, 0.005, early=0.3, stands_deg=0.0, has_speed=False,
    ),
    "cooled_trailer": Machine(
        230, 500, ("round", "d"), {Mode.COOL: 2.8, Mode.COOL_ON_ROAD: 3.0},
        70, 0.9, 0.015, has_speed=False,
    ),
    "boat": Machine(
        500, 700, ("step", "d"), {Mode.SAIL: 30.0, Mode.IDLE: 4.0},
        14, 1.0, 0.016, early=0.15, off_middle_mm=60, stands_deg=0.3,
    ),
}  # fmt: skip
"""Every kind of machine by its name."""


@dataclass(frozen=True)
class Habits:
    """How one machine is used all month: the load of a generator, the days of a cooler."""

    load: str
    cycles: bool
    rests_days: bool

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Habits":
        """Draw the habits of one machine."""
        load = str(rng.choice(["steady", "following", "shifts"]))
        return cls(load, bool(rng.random() < 0.6), bool(rng.random() < 0.4))


@dataclass
class _Diary:
    """Stretches as they are written down."""

    rng: np.random.Generator
    habits: Habits
    now_s: float = 0.0
    stretches: list[Stretch] = field(default_factory=list)

    def add(self, mode: Mode, seconds: float) -> None:
        if seconds > 0:
            self.stretches.append(Stretch(self.now_s, self.now_s + seconds, mode))
            self.now_s += seconds

    def between(self, mode: Mode, low_s: float, high_s: float) -> None:
        self.add(mode, self.rng.uniform(low_s, high_s))

    def minutes(self, mode: Mode, low_min: float, high_min: float) -> None:
        self.between(mode, 60 * low_min, 60 * high_min)

    def until(self, time_s: float, mode: Mode = Mode.OFF) -> None:
        self.add(mode, time_s - self.now_s)

    def hour(self, midnight_s: float, low_h: float, high_h: float) -> float:
        return midnight_s + HOUR_S * self.rng.uniform(low_h, high_h)

    def off_or_idle(self, low_min: float, high_min: float, off: float) -> None:
        mode = Mode.OFF if self.rng.random() < off else Mode.IDLE
        self.minutes(mode, low_min, high_min)


def stretches_of(
    kind: str, days: int, habits: Habits, rng: np.random.Generator
) -> tuple[Stretch, ...]:
    """Return the stretches of ``days`` days from a Monday's midnight, without a gap.

    >>> rng = np.random.default_rng(1)
    >>> month = stretches_of("van", 30, Habits.drawn(rng), rng)
    >>> month[0].mode.value, all(a.end_s == b.start_s for a, b in zip(month, month[1:]))
    ('off', True)
    """
    diary = _Diary(rng, habits)
    for day in range(days):
        _DAYS[kind](diary, day, day * DAY_S)
    diary.until(days * DAY_S)
    end_s = days * DAY_S
    inside = (s for s in diary.stretches if s.start_s < end_s)
    return tuple(Stretch(s.start_s, min(s.end_s, end_s), s.mode) for s in inside)


def _long_haul(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if day % 7 == 6 or (day % 7 == 5 and rng.random() < 0.5):
        return
    diary.until(diary.hour(midnight_s, 4.5, 8))
    for _ in range(int(rng.integers(2, 4))):
        left = HOUR_S * rng.uniform(2.2, 4.5)
        while left > 0:
            leg = min(left, rng.exponential(2400) + 200)
            diary.add(Mode.DRIVE, leg)
            left -= leg
            if left > 0:
                diary.between(Mode.HALT, 20, 240)
        diary.off_or_idle(8, 75, off=0.75)


def _van(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if day % 7 == 6:
        return
    diary.until(diary.hour(midnight_s, 7, 8.5))
    end_s = diary.hour(midnight_s, 15.5, 18.5)
    while diary.now_s < end_s:
        for _ in range(int(rng.integers(2, 8))):
            diary.between(Mode.DRIVE, 30, 240)
            diary.between(Mode.HALT, 5, 70)
        diary.off_or_idle(2, 25, off=0.8)


def _bus(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    diary.until(diary.hour(midnight_s, 4.7, 6.2))
    end_s = diary.hour(midnight_s, 20, 23)
    while diary.now_s < end_s:
        for _ in range(int(rng.integers(18, 28))):
            diary.between(Mode.DRIVE, 60, 130)
            diary.between(Mode.HALT, 12, 45)
        diary.off_or_idle(3, 14, off=0.4)
    diary.add(Mode.IDLE, 600)


def _excavator(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if day % 7 == 6 or (day % 7 == 5 and rng.random() < 0.6):
        return
    diary.until(diary.hour(midnight_s, 6.5, 7.7))
    end_s = diary.hour(midnight_s, 15.5, 18)
    diary.minutes(Mode.IDLE, 3, 12)
    has_eaten = False
    while diary.now_s < end_s:
        diary.minutes(Mode.DIG, 5, 50)
        next_is = rng.random()
        if next_is < 0.35:
            diary.between(Mode.CRAWL, 40, 300)
        elif next_is < 0.75:
            diary.minutes(Mode.IDLE, 1, 15)
        if not has_eaten and diary.now_s > midnight_s + 12 * HOUR_S:
            diary.minutes(Mode.OFF, 30, 60)
            has_eaten = True
    diary.add(Mode.IDLE, 120)


def _tractor(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if rng.random() < 0.3:
        return
    start_s = diary.hour(midnight_s, 6, 10)
    diary.until(start_s)
    end_s = diary.hour(start_s, 4, 12)
    while diary.now_s < end_s:
        diary.minutes(Mode.DRIVE, 5, 25)
        left = 60 * rng.uniform(40, 180)
        while left > 0:
            row = rng.uniform(80, 260)
            diary.add(Mode.FIELD, row)
            left -= row
        diary.off_or_idle(2, 40, off=0.6)
    diary.minutes(Mode.DRIVE, 5, 20)


def _generator(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if diary.habits.load == "shifts":
        if day % 7 == 6:
            return
        diary.until(diary.hour(midnight_s, 6, 7.5))
        diary.between(Mode.RUN, 8 * HOUR_S, 12 * HOUR_S)
        return
    stops = rng.random() < 0.15
    diary.until(midnight_s + DAY_S - (2 * HOUR_S if stops else 0), Mode.RUN)
    if stops:
        diary.minutes(Mode.OFF, 30, 120)


def _cooled_trailer(diary: _Diary, day: int, midnight_s: float) -> None:
    if diary.habits.rests_days and day % 9 in (3, 4):
        diary.until(midnight_s + DAY_S)
        return
    rng = diary.rng
    _cooled(diary, diary.hour(midnight_s, 4, 8), on_road=False)
    for _ in range(3):
        _cooled(diary, diary.hour(diary.now_s, 1, 3.5), on_road=True)
        _cooled(diary, diary.now_s + HOUR_S * rng.uniform(0.4, 1.5), on_road=False)


def _cooled(diary: _Diary, until_s: float, on_road: bool) -> None:
    """Cool all the time, or on and off by a thermostat."""
    on = Mode.COOL_ON_ROAD if on_road else Mode.COOL
    off = Mode.TOWED if on_road else Mode.OFF
    if not diary.habits.cycles:
        diary.until(until_s, on)
    while diary.now_s < until_s:
        for mode, low_min, high_min in ((on, 8, 25), (off, 5, 30)):
            if diary.now_s < until_s:
                seconds = 60 * diary.rng.uniform(low_min, high_min)
                diary.add(mode, min(seconds, max(until_s - diary.now_s, 60)))


def _boat(diary: _Diary, day: int, midnight_s: float) -> None:
    rng = diary.rng
    if rng.random() < 0.35:
        return
    diary.until(diary.hour(midnight_s, 4, 9))
    for _ in range(int(rng.integers(1, 4))):
        diary.minutes(Mode.IDLE, 5, 12)
        diary.minutes(Mode.SAIL, 60, 180)
        diary.minutes(Mode.OFF, 20, 180)


_DAYS: dict[str, Callable[[_Diary, int, float], None]] = {
    "long_haul": _long_haul,
    "long_haul_pipe": _long_haul,
    "van": _van,
    "bus": _bus,
    "excavator": _excavator,
    "tractor": _tractor,
    "generator": _generator,
    "cooled_trailer": _cooled_trailer,
    "boat": _boat,
}
