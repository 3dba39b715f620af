"""What every health check is given, and what it gives back."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.health.blocks import MOVING, Blocks, Runs
from gaugewright.watch.health.loops import work_in
from gaugewright.watch.values import Event, EventKind, Floats, Track, Watched

DAY_S = 86400.0
HOUR_S = 3600.0
STOP_S = 1200.0
"""From here a time without work is a stop. [s]"""
ABOVE = 0.12
"""Counts so far above the table's last row are still readings: a full tank reads there where the
probe was moved or its zero drifts. Share of the table's span."""
HOLE_PERIODS = 2.5
"""From so many usual periods a step between two records is a hole."""


class HealthKind(StrEnum):
    """What may be wrong with a probe, its wiring, its table or its records."""

    ZERO_DRIFT = "zero_drift"
    PROBE_MOVED = "probe_moved"
    WATER = "water_at_bottom"
    PAST_TOP = "past_probe_top"
    BELOW_TIP = "below_probe_tip"
    NOISE_GROWING = "noise_growing"
    AVERAGING_LIGHT = "averaging_too_light"
    AVERAGING_HEAVY = "averaging_too_heavy"
    WRONG_TABLE = "wrong_table"
    SUPPLY_LOST = "supply_lost_parked"
    FROZEN = "frozen"
    OUT_OF_SCALE = "out_of_scale"
    CLOCK_JUMP = "clock_jump"
    RECORDS_MISSING = "records_missing"


@dataclass(frozen=True, slots=True)
class HealthNote:
    """One thing found: the figures that show it, and what to do. [s since 1970 UTC]"""

    vehicle: str
    kind: HealthKind
    start_s: float
    end_s: float
    evidence: str
    advice: str

    @property
    def message(self) -> str:
        """Evidence and advice in one line."""
        return f"{self.evidence} {self.advice}"


@dataclass(frozen=True, slots=True)
class Delivery:
    """Fuel that a receipt says was put in. [s since 1970 UTC, L]"""

    time_s: float
    litres: float


@dataclass(frozen=True, eq=False)
class Work:
    """The records at work: how many, the holes among them, the stops between them.

    A hole is told by the number of the record before it, a stop by those of the last record at
    work before it and of the first after it.
    """

    records: int
    holes: npt.NDArray[np.int64]
    stop_after: npt.NDArray[np.int64]
    stop_until: npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Case:
    """One vehicle's records, its table and what the watch made of them."""

    track: Track
    table: Table
    watched: Watched
    blocks: Blocks
    runs: Runs
    period_s: float
    """Usual time between records. [s]"""
    deliveries: Sequence[Delivery] = field(default=())
    kept: dict[str, Any] = field(default_factory=dict)
    """What one check has worked out and another asks for."""

    @property
    def low(self) -> float:
        """Lowest counts of the table."""
        return float(self.table.counts[0])

    @property
    def high(self) -> float:
        """Highest counts of the table."""
        return float(self.table.counts[-1])

    @property
    def span(self) -> float:
        """Counts from the table's first row to its last."""
        return self.high - self.low

    @property
    def capacity_l(self) -> float:
        """Litres from the table's first row to its last. [L]"""
        return float(self.table.litres[-1] - self.table.litres[0])

    @cached_property
    def work(self) -> Work:
        """Records with the ignition on or on the move, and what is between them."""
        track = self.track
        found = work_in(
            track.time_s, track.speed_kmh, track.ignition, HOLE_PERIODS * self.period_s, STOP_S
        )
        return Work(*found)

    @property
    def span_s(self) -> tuple[float, float]:
        """First and last moment. [s]"""
        return float(self.track.time_s[0]), float(self.track.time_s[-1])

    @cached_property
    def active(self) -> npt.NDArray[np.bool_]:
        """Blocks in which the engine is thought to run."""
        return self.blocks.state > 0

    @cached_property
    def moving(self) -> npt.NDArray[np.bool_]:
        """Blocks on the move."""
        on_the_move: npt.NDArray[np.bool_] = self.blocks.state == MOVING
        return on_the_move

    def litres(self, counts: npt.ArrayLike) -> Floats:
        """Litres by the table; beyond its ends, those of the ends. [L]"""
        result: Floats = np.interp(
            np.asarray(counts, dtype=np.float64), self.table.counts, self.table.litres
        )
        return result

    def litres_per_count(self, counts: float) -> float:
        """Slope of the table over a twentieth of its span about these counts. [L]"""
        reach = self.span / 40
        low, high = max(counts - reach, self.low), min(counts + reach, self.high)
        ends = self.litres(np.array([low, high]))
        return float(ends[1] - ends[0]) / max(high - low, 1e-9)

    def events(self, kind: EventKind | None = None) -> list[Event]:
        """Events in order of time, of one kind or of both."""
        found = [e for e in self.watched.events if kind is None or e.kind == kind]
        return sorted(found, key=lambda e: e.start_s)

    def note(
        self, kind: HealthKind, start_s: float, end_s: float, evidence: str, advice: str
    ) -> HealthNote:
        """Return a note about this vehicle."""
        return HealthNote(self.track.vehicle, kind, float(start_s), float(end_s), evidence, advice)


T = TypeVar("T")


def evenly(items: Sequence[T], most: int) -> list[T]:
    """Return at most so many items, evenly out of all.

    >>> evenly(range(100), 5)
    [0, 25, 50, 74, 99]
    """
    if len(items) <= most:
        return list(items)
    return [items[int(k)] for k in np.linspace(0, len(items) - 1, most).round()]


def day_of(time_s: float) -> str:
    """Return the day of a moment in UTC, as people write it in a report.

    >>> day_of(1_772_323_200.0)
    '2026-03-01'
    """
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%d")


def moment_of(time_s: float) -> str:
    """Return a moment in UTC to the minute.

    >>> moment_of(1_772_323_200.0)
    '2026-03-01 00:00 UTC'
    """
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%d %H:%M UTC")


def span_of(seconds: float) -> str:
    """Return a length of time in the unit in which it is read at a glance.

    >>> span_of(45), span_of(1500), span_of(9000), span_of(200_000)
    ('45 s', '25 min', '2.5 h', '2.3 days')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 2 * HOUR_S:
        return f"{seconds / 60:.0f} min"
    if seconds < 2 * DAY_S:
        return f"{seconds / HOUR_S:.1f} h"
    return f"{seconds / DAY_S:.1f} days"
