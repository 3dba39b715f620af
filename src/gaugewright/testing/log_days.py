"""Invented working days: what a vehicle does, when it is filled and when fuel is taken.

Four kinds of work, each a list of spells one after the other. Everything here is common
practice, no source: it stands for no vehicle in particular.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np


class Doing(IntEnum):
    """What the vehicle is at."""

    OFF = 0
    IDLE = 1
    DRIVE = 2
    WORK = 3


@dataclass(frozen=True)
class Spell:
    """A stretch of one activity; ``place`` tells which stand it is, -1 on the move. [s, km/h]"""

    doing: Doing
    seconds: float
    speed_kmh: float
    place: int
    shifts: bool = False


KINDS = ("long_haul", "city", "excavator", "generator")
DAY_S = 86400.0


@dataclass
class _Diary:
    """Spells as they are written down."""

    rng: np.random.Generator
    spells: list[Spell]
    seconds: float = 0.0
    places: int = 0

    def add(self, doing: Doing, low_min: float, high_min: float, speed_kmh: float = 0.0) -> None:
        seconds = 60.0 * self.rng.uniform(low_min, high_min)
        place = -1 if doing == Doing.DRIVE else self.places
        shifts = doing != Doing.DRIVE and self.rng.random() < 0.03
        self.spells.append(Spell(doing, seconds, speed_kmh, place, shifts))
        self.seconds += seconds

    def move(self, low_min: float, high_min: float, speed_kmh: float) -> None:
        self.add(Doing.DRIVE, low_min, high_min, speed_kmh)
        self.places += 1

    def until(self, time_s: float) -> None:
        minutes = (time_s - self.seconds) / 60.0
        if minutes > 1:
            self.add(Doing.OFF, minutes, minutes)


def spells_of(kind: str, days: int, rng: np.random.Generator) -> list[Spell]:
    """Return the spells of ``days`` days of one kind of work, from midnight."""
    diary = _Diary(rng, [])
    for day in range(days):
        _DAYS[kind](diary, day * DAY_S, day % 7 >= 5)
    diary.until(days * DAY_S)
    return diary.spells


def _long_haul(diary: _Diary, start_s: float, weekend: bool) -> None:
    rng = diary.rng
    if weekend and rng.random() < 0.7:
        return
    diary.until(start_s + 3600 * rng.uniform(4, 7))
    diary.add(Doing.IDLE, 3, 15)
    for leg in range(int(rng.integers(3, 6))):
        if leg:
            diary.add(Doing.IDLE if rng.random() < 0.3 else Doing.OFF, 10, 50)
            if rng.random() < 0.4:
                diary.add(Doing.IDLE, 1, 8)
        diary.move(50, 170, rng.uniform(60, 84))


def _city(diary: _Diary, start_s: float, weekend: bool) -> None:
    rng = diary.rng
    if weekend and rng.random() < 0.6:
        return
    diary.until(start_s + 3600 * rng.uniform(6, 8))
    diary.add(Doing.IDLE, 1, 6)
    for stop in range(int(rng.integers(12, 28))):
        if stop:
            diary.add(Doing.IDLE if rng.random() < 0.35 else Doing.OFF, 2, 18)
        if stop == 8:
            diary.add(Doing.OFF, 25, 60)
        diary.move(4, 25, rng.uniform(18, 40))


def _excavator(diary: _Diary, start_s: float, weekend: bool) -> None:
    rng = diary.rng
    if weekend:
        return
    diary.until(start_s + 3600 * rng.uniform(6, 7.5))
    diary.add(Doing.IDLE, 3, 12)
    for spell in range(int(rng.integers(4, 8))):
        diary.add(Doing.WORK, 25, 110)
        diary.places += 1
        if spell == 2:
            diary.add(Doing.OFF, 30, 60)
        else:
            diary.add(Doing.OFF if rng.random() < 0.5 else Doing.IDLE, 4, 30)
        if rng.random() < 0.4:
            diary.move(1, 6, rng.uniform(2, 4))


def _generator(diary: _Diary, start_s: float, weekend: bool) -> None:
    rng = diary.rng
    if rng.random() < 0.25:
        return
    diary.until(start_s + 3600 * rng.uniform(0, 8))
    for _ in range(int(rng.integers(1, 4))):
        diary.add(Doing.WORK, 60, 400)
        diary.add(Doing.OFF, 5, 120)


_DAYS = {
    "long_haul": _long_haul,
    "city": _city,
    "excavator": _excavator,
    "generator": _generator,
}
