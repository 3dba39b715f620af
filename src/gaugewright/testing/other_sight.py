"""What a probe and a tracking unit make of a month, for the second simulator of logs.

`gaugewright.testing.other_logs` tells what it is for. All figures are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.signal import lfilter

from gaugewright.table.table import Table
from gaugewright.testing.other_course import STEP_S, Bools, Course, smoothed, wander
from gaugewright.testing.other_work import Machine
from gaugewright.watch.values import Floats, Track

Whole = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Shape:
    """A tank upright: how much of it is filled below each height, both as parts of 1."""

    heights: Floats
    filled: Floats

    @classmethod
    def drawn(cls, name: str, rng: np.random.Generator) -> "Shape":
        """Draw a tank: box with rounded edges, lying cylinder, D, or box with a step."""
        h = np.linspace(0.0, 1.0, 801)
        chord = 2 * np.sqrt(np.maximum(h * (1 - h), 0.0))
        if name == "round":
            area = chord + 0.02
        elif name == "d":
            area = 0.45 + 0.55 * chord
        elif name == "step":
            at, deep = rng.uniform(0.2, 0.5), rng.uniform(0.2, 0.45)
            area = 1 - deep / (1 + np.exp((h - at) / 0.012))
        else:
            edge = rng.uniform(0.05, 0.2)
            near = np.clip(1 - np.minimum(h, 1 - h) / edge, 0.0, 1.0)
            area = 1 - 0.35 * (1 - np.sqrt(1 - near**2))
        filled = np.concatenate([[0.0], np.cumsum(0.5 * (area[1:] + area[:-1]))])
        return cls(h, filled / filled[-1])


@dataclass(frozen=True)
class Sight:
    """One probe, its table and its unit, drawn once.

    ``bottom`` and ``top`` are the ends of the probe, ``noise`` and ``slosh`` standard deviations,
    ``drift_per_c`` what warm electronics add, all in parts of the tank's height; ``table_error``
    is in parts of the tank. [mm, s, counts]
    """

    height_mm: float
    along_mm: float
    across_mm: float
    bottom: float
    top: float
    noise: float
    slosh: float
    foam: float
    drift_per_c: float
    lag_s: float
    by_median: bool
    counts_full: int
    counts_empty: int
    table_rows: int
    table_error: float
    table_has_band: bool
    period_s: int
    told: str
    parked: str
    lost: float
    spikes: float
    restarts: float
    loses_power: float
    speed_jitters: bool

    @classmethod
    def drawn(cls, machine: Machine, rng: np.random.Generator) -> "Sight":
        """Draw a probe and a unit for a machine."""
        full = int(rng.choice([4095, 1023, 1000, 200]))
        told = str(rng.choice(["both", "both", "both", "ignition", "speed", "neither"]))
        parked = str(rng.choice(["same", "same", "every 300 s", "sleeps"]))
        if not machine.has_speed:
            told = "ignition" if rng.random() < 0.7 else "neither"
            parked = str(rng.choice(["same", "same", "every 300 s"]))
        return cls(
            height_mm=machine.height_mm * rng.uniform(0.85, 1.15),
            along_mm=rng.normal(0, machine.off_middle_mm),
            across_mm=rng.normal(0, 40),
            bottom=rng.uniform(0.015, 0.04),
            top=rng.uniform(0.955, 0.995),
            noise=rng.uniform(0.0002, 0.0008),
            slosh=machine.slosh * rng.uniform(0.5, 1.5),
            foam=float(rng.choice([0, 0, 0.003, 0.01])),
            drift_per_c=rng.uniform(-0.0004, 0.0004),
            lag_s=float(rng.choice([0, 5, 15, 30, 60])),
            by_median=bool(rng.random() < 1 / 3),
            counts_full=full,
            counts_empty=int(rng.choice([0, 0, 20])) if full > 300 else 0,
            table_rows=int(rng.choice([12, 20, 30, 40])),
            table_error=rng.uniform(0.0015, 0.005),
            table_has_band=bool(rng.random() < 0.75),
            period_s=int(rng.choice([10, 30, 60, 120])),
            told=told,
            parked=parked,
            lost=float(rng.choice([0, 0.005, 0.02])),
            spikes=float(rng.choice([0, 0, 2e-4, 1e-3])),
            restarts=float(rng.choice([0, 0, 0.2])),
            loses_power=float(rng.choice([0, 0, 0.15])),
            speed_jitters=bool(rng.random() < 0.3),
        )

    def table(self, shape: Shape, capacity_l: float, rng: np.random.Generator) -> Table:
        """Return the table as calibrated, smoothly wrong. [counts, L]"""
        span = self.counts_full - self.counts_empty
        even = np.linspace(0, 1, self.table_rows) ** rng.uniform(0.9, 1.1)
        counts = np.unique(np.round(even * span + self.counts_empty))
        part = (counts - self.counts_empty) / span
        height = self.bottom + part * (self.top - self.bottom)
        rough = rng.standard_normal(400)
        error = gaussian_filter1d(rough, rng.uniform(25, 60), mode="nearest")
        at = (height * 300).astype(np.int64) + 40
        wrong = error[at] / error.std() * self.table_error
        raw = (np.interp(height, shape.heights, shape.filled) + wrong) * capacity_l
        litres: Floats = np.maximum.accumulate(np.maximum(raw, 0.0)).round(2)
        band = np.full(counts.size, round(2 * self.table_error * capacity_l, 2))
        return Table(counts, litres, band if self.table_has_band else None)

    def counts(
        self,
        height: Floats,
        course: Course,
        pours: list[tuple[int, int]],
        rng: np.random.Generator,
    ) -> Floats:
        """Return what the probe sends at each step, whole only when it is recorded. [counts]

        ``height`` is that of the level fuel as a part of the tank's, ``pours`` the first and the
        last step of each refuel.
        """
        size = height.size
        lean = np.tan(np.radians(course.pitch_deg)) * self.along_mm
        lean += np.tan(np.radians(course.roll_deg)) * self.across_mm
        seen = height + lean / self.height_mm
        waves = wander(size, 4, rng) + 0.7 * wander(size, 15, rng)
        seen += course.shake * self.slosh * waves
        seen += self.foam * _foam(size, pours, rng)
        seen += rng.normal(0, self.noise, size)
        seen = self._averaged(seen)
        part = (seen - self.bottom) / (self.top - self.bottom)
        part += self.drift_per_c * (course.air_c - 15)
        span = self.counts_full - self.counts_empty
        counts: Floats = np.clip(part, 0, 1) * span + self.counts_empty
        return counts

    def _averaged(self, seen: Floats) -> Floats:
        """Return the readings as the probe averages them: by a time constant, or a middle."""
        if self.lag_s == 0:
            return seen
        if not self.by_median:
            return smoothed(seen, self.lag_s)
        width = int(2 * self.lag_s / STEP_S) | 1
        late: Floats = np.concatenate([np.full(width // 2, seen[0]), median_filter(seen, width)])
        return late[: seen.size]

    def recorded(
        self,
        seconds: float,
        course: Course,
        holes: list[tuple[float, float]],
        rng: np.random.Generator,
    ) -> Floats:
        """Return when there are records, from the first midnight on. [s]

        ``holes`` are times without power.
        """
        times = np.arange(rng.uniform(0, self.period_s), seconds - 1, self.period_s)
        times = times + rng.normal(0, 0.5 if self.period_s > 10 else 0.2, times.size)
        times = np.unique(np.clip(times, 0, seconds - 1))
        kept = np.ones(times.size, bool)
        if self.parked != "same":
            kept = self._awake(course)[_step(times)]
            if self.parked == "every 300 s":
                kept |= np.arange(times.size) % max(1, round(300 / self.period_s)) == 0
        if self.lost:
            kept &= rng.random(times.size) > self.lost
            for _ in range(int(rng.integers(0, 12))):
                start = rng.uniform(0, seconds)
                holes = [*holes, (start, start + rng.exponential(600))]
        for start, end in holes:
            kept &= (times <= start) | (times >= end)
        return times[kept]

    def _awake(self, course: Course) -> Bools:
        """Return when the unit sends: while the machine works, and a minute more."""
        works = (course.engine | ~course.at_rest).astype(np.float64)
        awake: Bools = lfilter(np.ones(13), [1], works) > 0.5
        return awake

    def track(
        self,
        vehicle: str,
        start_s: float,
        times: Floats,
        counts: Floats,
        course: Course,
        rng: np.random.Generator,
    ) -> Track:
        """Return the records, with what goes wrong in them and without what is not told."""
        at = _step(times)
        nothing = np.full(times.size, np.nan)
        speed = course.speed_kmh[at]
        if self.speed_jitters:
            jitters = (speed < 0.1) & (rng.random(at.size) < 0.05)
            speed = np.where(jitters, rng.uniform(0.3, 2.5, at.size), speed)
        engine = course.engine[at].astype(np.float64)
        return Track(
            vehicle,
            start_s + np.round(times, 3),
            self._spoilt(np.round(counts[at]), engine, rng),
            np.round(speed, 1) if self.told in ("both", "speed") else nothing,
            engine if self.told in ("both", "ignition") else nothing,
        )

    def _spoilt(self, counts: Floats, engine: Floats, rng: np.random.Generator) -> Floats:
        """Return the counts with spikes, and wrong ones where the engine is started. [counts]"""
        size = counts.size
        anything = rng.uniform(self.counts_empty, self.counts_full, size).round()
        ends = np.where(rng.random(size) < 0.6, self.counts_empty, self.counts_full)
        wrong = np.where(rng.random(size) < 0.64, ends, anything)
        out = np.where(rng.random(size) < self.spikes, wrong, counts)
        starts = np.flatnonzero(np.diff(engine) > 0) + 1
        for record in starts[rng.random(starts.size) < self.restarts]:
            out[record] = rng.choice(
                [self.counts_empty, counts[record] * 0.9 // 1, self.counts_full]
            )
        return out


def _step(times: Floats) -> Whole:
    return (times / STEP_S).astype(np.int64)


def _foam(size: int, pours: list[tuple[int, int]], rng: np.random.Generator) -> Floats:
    """Return the foam of each refuel, which goes by and by: 1 is the most."""
    foam = np.zeros(size)
    for first, last in pours:
        most, going_s = rng.uniform(0.2, 1.0), rng.uniform(30, 120)
        foam[first:last] = most
        after = foam[last : last + 200]
        after[:] = most * np.exp(-np.arange(after.size) * STEP_S / going_s)
    return foam
