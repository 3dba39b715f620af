"""What the probe and the tracking unit make of the true litres: records, not truth.

Tilt, warmth, slosh, the probe's own averaging, whole counts, and what goes wrong with a log.
All figures are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from gaugewright.table.table import Table
from gaugewright.testing.log_days import Doing, Spell
from gaugewright.watch.values import Floats, Track

EXPANSION_PER_C = 0.00083
"""Thermal expansion of diesel fuel, common practice, no source. [1/°C]"""


@dataclass(frozen=True)
class Sight:
    """One vehicle's probe and unit, drawn once. [L, L/°, s, °C, counts]"""

    capacity_l: float
    noise_l: float
    slosh_l: float
    work_l: float
    along_l: float
    across_l: float
    lag_s: float
    daily_c: float
    heating_c: float
    electronics_l_per_c: float
    counts_full: int
    sleeps_s: float
    dies_parked: bool
    tilt_seen: bool
    counter_seen: bool
    roundness: float
    top_part: float
    balance: bool
    plain: bool

    @classmethod
    def drawn(cls, kind: str, capacity_l: float, rng: np.random.Generator, plain: bool) -> "Sight":
        """Draw a probe and a unit."""
        still = kind == "generator"
        draw = rng.random()
        return cls(
            capacity_l=capacity_l,
            noise_l=capacity_l * rng.uniform(0.0004, 0.0025),
            slosh_l=capacity_l * rng.uniform(0.006, 0.025),
            work_l=capacity_l * (0.001 if still else rng.uniform(0.004, 0.015)),
            along_l=0.0 if still else capacity_l * rng.uniform(0.0005, 0.007),
            across_l=0.0 if still else capacity_l * rng.uniform(0.0005, 0.005),
            lag_s=rng.uniform(0, 60),
            daily_c=rng.uniform(1, 7),
            heating_c=rng.uniform(0, 9),
            electronics_l_per_c=capacity_l * rng.normal(0, 0.0001),
            counts_full=4095 if draw < 0.75 else 1023 if draw < 0.95 else 250,
            sleeps_s=float(rng.choice([0, 0, 0, 300, 600])),
            dies_parked=not plain and rng.random() < 0.12,
            tilt_seen=not still and rng.random() < 0.2,
            counter_seen=rng.random() < 0.25,
            roundness=rng.uniform(0, 1),
            top_part=rng.uniform(0.95, 1.02),
            balance=not plain and kind == "long_haul" and rng.random() < 0.06,
            plain=plain,
        )

    def counts_of(self, litres: Floats) -> Floats:
        """Return the counts of a perfectly level tank holding ``litres``; whole only later."""
        part = np.clip(litres / self.capacity_l, 0.0, self.top_part)
        heights = np.linspace(0, 1, 400)
        lying = np.arccos(1 - 2 * heights) / np.pi - (1 - 2 * heights) * 2 / np.pi * np.sqrt(
            heights - heights**2
        )
        filled = self.roundness * lying + (1 - self.roundness) * heights
        counts: Floats = np.interp(part, filled, heights) * self.counts_full / self.top_part
        return np.clip(counts, 0, self.counts_full)

    def table(self, rng: np.random.Generator) -> Table:
        """Return the table as calibrated: smoothly wrong, within its band."""
        litres = np.linspace(0.01, 0.999 * min(self.top_part, 1.0), 24) * self.capacity_l
        counts = self.counts_of(litres)
        counts, kept = np.unique(np.round(counts, 1), return_index=True)
        litres = litres[kept]
        part = litres / self.capacity_l
        u = self.capacity_l * (0.0025 + 0.0035 * part)
        waves = np.zeros(part.size)
        for k in (0, 1, 2):
            waves += rng.normal() * np.cos(np.pi * k * part + rng.uniform(0, 6)) / (1 + k)
        error = u / 1.96 * waves / np.sqrt(0.5 * (1 + 1 / 4 + 1 / 9))
        wrong = np.maximum.accumulate(np.maximum(litres + error, 0))
        return Table(counts, np.round(wrong, 2).astype(np.float64), np.round(u, 2))


def records_of(
    vehicle: str,
    litres: Floats,
    used: Floats,
    doing: npt.NDArray[np.int64],
    spell: npt.NDArray[np.int64],
    spells: list[Spell],
    sight: Sight,
    start_s: float,
    step_s: float,
    period_s: float,
    rng: np.random.Generator,
) -> tuple[Track, dict[str, Floats], Table, Floats, Floats]:
    """Return the track in order, the same as it arrived, the table, true litres and warmth.

    ``litres`` and those returned are at 15 °C; the warmth is the fuel's at every step. [L, °C]
    """
    seconds: Floats = np.arange(litres.size, dtype=np.float64) * step_s
    tilt = _tilt(doing, spell, spells, step_s, rng)
    warmth = _warmth(seconds, doing, sight, step_s, rng)
    true_l = litres
    seen = _balanced(litres, step_s) if sight.balance else litres
    part = seen / sight.capacity_l
    lever = 0.6 + 1.6 * np.clip(part * (1 - part), 0, None)
    level = seen * (1 + EXPANSION_PER_C * (warmth - 15))
    level = level + lever * (sight.along_l * tilt[0] + sight.across_l * tilt[1])
    level = level + sight.electronics_l_per_c * (warmth - 15)
    level = level + _slosh(doing, sight, step_s, rng)
    counts = sight.counts_of(level) + rng.normal(
        0, sight.noise_l / sight.capacity_l * sight.counts_full, level.size
    )
    keep = np.exp(-step_s / max(sight.lag_s, 0.1))
    counts = lfilter([1 - keep], [1, -keep], counts, zi=[keep * counts[0]])[0]
    counts = np.clip(np.round(counts), 0, sight.counts_full)
    speed = _speed(doing, spell, spells, rng)
    every = max(1, round(period_s / step_s))
    at = np.arange(int(rng.integers(0, every)), litres.size, every)
    table = sight.table(rng)
    at, counts = _faults(at, counts, doing, sight, period_s, step_s, rng)
    counter = 1234.0 + used * rng.normal(1.0, 0.01)
    track = Track(
        vehicle,
        start_s + seconds[at],
        counts,
        speed[at],
        (doing[at] > 0).astype(np.float64),
        fuel_c=None,
        pitch_deg=_seen(tilt[0], at, rng) if sight.tilt_seen else None,
        roll_deg=_seen(tilt[1], at, rng) if sight.tilt_seen else None,
        engine_fuel_l=np.floor(2 * counter[at]) / 2 if sight.counter_seen else None,
    )
    return track, _arrival(track, sight, rng), table, true_l[at], warmth


def _seen(tilt: Floats, at: npt.NDArray[np.int64], rng: np.random.Generator) -> Floats:
    return np.round(tilt[at] + rng.normal(0, 0.05, at.size), 2)


def _wander(size: int, step_s: float, time_s: float, rng: np.random.Generator) -> Floats:
    """Return a first-order random process of standard deviation 1."""
    keep = np.exp(-step_s / time_s)
    noise = rng.normal(0, np.sqrt(1 - keep**2), size)
    result: Floats = lfilter([1], [1, -keep], noise)
    return result


def _tilt(
    doing: npt.NDArray[np.int64],
    spell: npt.NDArray[np.int64],
    spells: list[Spell],
    step_s: float,
    rng: np.random.Generator,
) -> Floats:
    """Return pitch and roll at each step. [°]"""
    places: dict[int, tuple[float, float]] = {}
    still = np.zeros((2, len(spells)))
    for number, one in enumerate(spells):
        if one.place >= 0:
            if one.place not in places:
                places[one.place] = (rng.normal(0, 1.1), rng.normal(0, 0.8))
            still[:, number] = places[one.place]
    tilt = still[:, spell]
    size = doing.size
    for row, sd in ((0, 1.5), (1, 0.9)):
        road = _wander(size, step_s, 70.0, rng) * sd
        work = _wander(size, step_s, 35.0, rng) * 1.6
        tilt[row] = np.where(doing == Doing.DRIVE, road, tilt[row])
        tilt[row] += np.where(doing == Doing.WORK, work, 0.0)
    for number, one in enumerate(spells):
        if one.shifts and one.seconds > 300:
            inside = np.flatnonzero(spell == number)
            if inside.size > 20:
                cut = inside[int(rng.integers(5, inside.size - 5)) :]
                tilt[0, cut] += rng.normal(0, 0.5)
    return tilt


def _warmth(
    seconds: Floats,
    doing: npt.NDArray[np.int64],
    sight: Sight,
    step_s: float,
    rng: np.random.Generator,
) -> Floats:
    """Return the fuel's temperature: the day, the weather, and the engine's return. [°C]"""
    day = 12 + sight.daily_c * np.sin(2 * np.pi * (seconds / 86400 - 0.4))
    weather = 3 * _wander(seconds.size, step_s, 2 * 86400, rng)
    keep = np.exp(-step_s / 7000.0)
    driven = (doing == Doing.DRIVE) | (doing == Doing.WORK)
    heated = lfilter([1 - keep], [1, -keep], driven * sight.heating_c)
    warmth: Floats = day + weather + heated
    return warmth


def _slosh(
    doing: npt.NDArray[np.int64], sight: Sight, step_s: float, rng: np.random.Generator
) -> Floats:
    """Return the slosh at each step, quick and slower. [L]"""
    sd = np.zeros(4)
    sd[Doing.DRIVE] = sight.slosh_l
    sd[Doing.WORK] = sight.work_l
    sd[Doing.IDLE] = 0.04 * sight.slosh_l
    return sd[doing] * (
        0.8 * _wander(doing.size, step_s, 6.0, rng) + 0.6 * _wander(doing.size, step_s, 25.0, rng)
    )


def _balanced(litres: Floats, step_s: float) -> Floats:
    """Return the litres read where the probe's tank and a second one level out by a pipe.

    What is poured or drained goes to the probe's tank at once and to the other by and by.
    """
    change = np.diff(litres, prepend=litres[0])
    keep = np.exp(-step_s / 240.0)
    extra: Floats = lfilter([1], [1, -keep], change)
    return litres + extra


def _speed(
    doing: npt.NDArray[np.int64],
    spell: npt.NDArray[np.int64],
    spells: list[Spell],
    rng: np.random.Generator,
) -> Floats:
    mean = np.array([s.speed_kmh for s in spells])[spell]
    moving = doing == Doing.DRIVE
    speed = np.where(moving, mean * (1 + 0.3 * rng.normal(size=doing.size)), 0.0)
    halts = moving & (rng.random(doing.size) < 0.04)
    speed = np.where(halts, 0.0, np.maximum(speed, 0))
    crawl = (doing == Doing.WORK) & (rng.random(doing.size) < 0.1)
    crawling = np.where(crawl, rng.uniform(0, 2.5, doing.size), speed)
    shown: Floats = np.round(crawling, 1).astype(np.float64)
    return shown


def _faults(
    at: npt.NDArray[np.int64],
    counts: Floats,
    doing: npt.NDArray[np.int64],
    sight: Sight,
    period_s: float,
    step_s: float,
    rng: np.random.Generator,
) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return which steps were recorded, and the counts that were, faults and all."""
    parked = doing[at] == Doing.OFF
    kept = np.ones(at.size, dtype=bool)
    if sight.sleeps_s:
        every = max(1, round(sight.sleeps_s / period_s))
        settled = parked & (np.arange(at.size) - _since(parked) > 300 / period_s)
        kept &= ~settled | (np.arange(at.size) % every == 0)
    if sight.dies_parked:
        kept &= ~parked
    out = counts[at]
    if sight.plain:
        return at[kept], out[kept]
    kept &= rng.random(at.size) > 0.004
    days = at.size * period_s / 86400
    for _ in range(rng.poisson(0.2 * days)):
        first = int(rng.integers(0, at.size))
        kept[first : first + int(rng.exponential(1200) / period_s)] = False
    for _ in range(rng.poisson(0.03 * days)):
        first = int(rng.integers(0, at.size))
        frozen = slice(first, first + int(rng.uniform(600, 7200) / period_s))
        out[frozen] = out[first]
    spikes = rng.random(at.size) < rng.uniform(0, 0.0006)
    out = np.where(spikes, rng.choice([0.0, sight.counts_full, -1.0], at.size), out)
    out = np.where(out < 0, rng.uniform(0, sight.counts_full, at.size).round(), out)
    starts = np.flatnonzero(np.diff(parked.astype(int)) == -1) + 1
    if rng.random() < 0.15:
        for start in starts[rng.random(starts.size) < 0.5]:
            out[start : start + max(1, int(20 / period_s))] = 0
    return at[kept], out[kept]


def _since(state: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Return, for each place, where the present run of ``state`` began."""
    number = np.arange(state.size)
    began = np.where(np.diff(state, prepend=not state[0]), number, 0)
    return np.maximum.accumulate(began)


def _arrival(track: Track, sight: Sight, rng: np.random.Generator) -> dict[str, Floats]:
    """Return the records as they arrived: some late in blocks, some twice."""
    delay = np.zeros(track.time_s.size)
    if not sight.plain and delay.size:
        for _ in range(6):
            first = int(rng.integers(0, delay.size))
            delay[first : first + 200] += rng.uniform(0, 4000)
    order = np.argsort(track.time_s + delay + rng.uniform(0, 0.5, delay.size), kind="stable")
    if not sight.plain:
        twice = np.flatnonzero(rng.random(order.size) < 0.003)
        order = np.insert(order, np.minimum(twice + 3, order.size), order[twice])
    names = ("time_s", "counts", "speed_kmh", "ignition", "pitch_deg", "roll_deg", "engine_fuel_l")
    columns = {name: getattr(track, name) for name in names}
    return {name: column[order] for name, column in columns.items() if column is not None}
