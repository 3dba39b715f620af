"""A month of one machine step by step, for the second simulator: speed, tilt, use, warmth.

`gaugewright.testing.other_logs` tells what it is for. All figures are common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from gaugewright.testing.other_work import (
    AT_REST,
    DAY_S,
    HOUR_S,
    MACHINES,
    MOVING,
    WITHOUT_ENGINE,
    Habits,
    Mode,
    Stretch,
)
from gaugewright.watch.values import Floats

STEP_S = 5.0
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Course:
    """What goes on at each step of 5 s.

    ``shake`` is how much of the slosh of the road there is, 0 to 1; ``use_l_h`` is at 15 °C.
    [km/h, L/h, °, °C]
    """

    engine: Bools
    at_rest: Bools
    speed_kmh: Floats
    shake: Floats
    use_l_h: Floats
    pitch_deg: Floats
    roll_deg: Floats
    air_c: Floats
    fuel_c: Floats


def wander(size: int, time_s: float, rng: np.random.Generator) -> Floats:
    """Return a first-order random process of standard deviation 1, a value each step."""
    keep = np.exp(-STEP_S / time_s)
    noise = rng.normal(0.0, np.sqrt(1 - keep * keep), size)
    result: Floats = lfilter([1], [1, -keep], noise)
    return result


def smoothed(values: Floats, time_s: float) -> Floats:
    """Return values followed with a time constant, beginning at the first."""
    keep = np.exp(-STEP_S / time_s)
    result: Floats = lfilter([1 - keep], [1, -keep], values, zi=[keep * values[0]])[0]
    return result


def course_of(
    kind: str, stretches: tuple[Stretch, ...], habits: Habits, rng: np.random.Generator
) -> Course:
    """Return the course of one machine through its stretches."""
    size = int(stretches[-1].end_s / STEP_S)
    engine, at_rest = np.zeros(size, bool), np.ones(size, bool)
    for s, part in _steps(stretches):
        engine[part] = s.mode not in WITHOUT_ENGINE
        at_rest[part] = s.mode in AT_REST
    pitch, roll = _tilt(kind, stretches, size, rng)
    air, fuel = _warmth(kind, engine, rng)
    return Course(
        engine, at_rest, _speed(kind, stretches, size, rng), _shake(stretches, size),
        _use(kind, stretches, habits, size, rng), pitch, roll, air, fuel,
    )  # fmt: skip


def _steps(stretches: tuple[Stretch, ...]) -> Iterator[tuple[Stretch, slice]]:
    for s in stretches:
        first, last = int(s.start_s / STEP_S), int(s.end_s / STEP_S)
        if last > first:
            yield s, slice(first, last)


def _speed(
    kind: str, stretches: tuple[Stretch, ...], size: int, rng: np.random.Generator
) -> Floats:
    """Return the speed, with a start and a stop. [km/h]"""
    traffic = wander(size, 120, rng)
    speed = np.zeros(size)
    for s, part in _steps(stretches):
        if s.mode in MOVING:
            usual = 9.0 if s.mode == Mode.FIELD else MACHINES[kind].speed_kmh
            slowest = 0.5 if s.mode == Mode.CRAWL else 3.0
            since = np.arange(part.stop - part.start) * STEP_S
            left = since[::-1] + STEP_S
            ramp = np.minimum(1.0, np.minimum((since + STEP_S) / 25, left / 20))
            speed[part] = np.maximum(slowest, usual * (1 + 0.15 * traffic[part])) * ramp
    return speed


def _shake(stretches: tuple[Stretch, ...], size: int) -> Floats:
    """Return how much the fuel is shaken, which goes on for a while after a stop."""
    still = {Mode.IDLE: 0.03, Mode.HALT: 0.12, Mode.COOL: 0.02, Mode.RUN: 0.03, Mode.OFF: 0.0}
    shake = np.zeros(size)
    for s, part in _steps(stretches):
        shake[part] = still.get(s.mode, 1.0)
    return smoothed(shake, 25)


def _use(
    kind: str,
    stretches: tuple[Stretch, ...],
    habits: Habits,
    size: int,
    rng: np.random.Generator,
) -> Floats:
    """Return what the engine uses: more or less from trip to trip and within each. [L/h]"""
    effort = np.exp(0.25 * wander(size, 300, rng))
    load = _load(habits, size, rng) if kind == "generator" else np.ones(size)
    use = np.zeros(size)
    thirst, trip = rng.uniform(0.8, 1.2), 1.0
    varies = (Mode.DRIVE, Mode.DIG, Mode.FIELD, Mode.SAIL)
    for s, part in _steps(stretches):
        rate = MACHINES[kind].use_l_h.get(s.mode, 0.0) * thirst * trip
        use[part] = rate * (effort[part] if s.mode in varies else load[part])
        if s.mode in MOVING and rng.random() < 0.1:
            trip = rng.uniform(0.8, 1.3)
    return use


def _load(habits: Habits, size: int, rng: np.random.Generator) -> Floats:
    """Return the load of a generator: level, or following the day of those it feeds."""
    if habits.load != "following":
        return np.ones(size)
    day = np.arange(size) * STEP_S / DAY_S
    surges = 0.25 * np.abs(wander(size, 1800, rng))
    load: Floats = 0.4 + 0.9 * (0.5 - 0.5 * np.cos(2 * np.pi * (day - 0.15))) + surges
    return load


def _tilt(
    kind: str, stretches: tuple[Stretch, ...], size: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return pitch and roll: of the road, of the work, of the place where it stands. [°]"""
    machine = MACHINES[kind]
    road = np.array([1.5 * wander(size, 90, rng), 1.2 * wander(size, 60, rng)])
    tilt = np.zeros((2, size))
    stands, slope, side = rng.normal(0, 1, 2) * (1.0, 0.7), rng.uniform(2, 8), 1
    for s, part in _steps(stretches):
        if s.mode in MOVING:
            if s.mode == Mode.FIELD:
                side = -side
                tilt[0, part] = side * slope + 0.6 * road[0, part]
                tilt[1, part] = 1.3 * road[1, part]
            elif s.mode == Mode.SAIL:
                tilt[0, part] = 2 + 0.3 * road[0, part]
                tilt[1, part] = 2 * road[1, part]
            else:
                tilt[:, part] = road[:, part]
                slope = rng.uniform(0.5, 8)
            stands = rng.normal(0, machine.stands_deg, 2) * (1.0, 0.7)
        elif s.mode == Mode.DIG:
            turns = np.arange(part.stop - part.start) * STEP_S / rng.uniform(18, 32)
            phase = 2 * np.pi * (turns + rng.random())
            swing = 0.8 * np.array([np.sin(phase), np.cos(phase)])
            swing *= rng.uniform(0.3, 1.5, (2, 1))
            tilt[:, part] = stands[:, None] + swing + 0.5 * road[:, part]
            stands = stands + rng.normal(0, 0.4, 2)
        else:
            tilt[:, part] = stands[:, None]
            if _is_loaded(kind, s) and rng.random() < 0.25:
                middle = int(part.start + rng.uniform(0.2, 0.8) * (part.stop - part.start))
                stands = stands + np.array([rng.normal(0, 0.25), 0.0])
                tilt[:, middle : part.stop] = stands[:, None]
    if kind == "boat":
        sea = 0.4 + 0.6 * np.abs(wander(size, 6 * HOUR_S, rng))
        tilt += sea * rng.normal(0, 1, (2, size)) * [[0.5], [1.0]]
    return tilt[0], tilt[1]


def _is_loaded(kind: str, stretch: Stretch) -> bool:
    """Return whether a stop is one at which goods are put in or taken out."""
    return kind in ("long_haul", "van") and stretch.mode == Mode.OFF and stretch.seconds < 5400


def _warmth(kind: str, engine: Bools, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return the warmth of the air and of the fuel, which the engine's return heats. [°C]"""
    days = np.arange(engine.size) * STEP_S / DAY_S
    weather = 6 * np.sin(2 * np.pi * days / 11 + rng.uniform(0, 6))
    air: Floats = 12 + weather + rng.uniform(3, 9) * np.sin(2 * np.pi * (days - 0.4))
    heats = 3.0 if kind == "cooled_trailer" else rng.uniform(3, 15)
    return air, smoothed(air + heats * engine, HOUR_S * rng.uniform(3, 7))
