"""What the watch takes in and gives out: one vehicle's records, and what they show."""

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]

COLUMNS = ("fuel_c", "supply_v", "pitch_deg", "roll_deg", "engine_fuel_l")
"""Columns that a log may carry beside the four it must."""


@dataclass(frozen=True, eq=False)
class Track:
    """The records of one vehicle, in order of time, each moment once.

    ``time_s`` are seconds since 1970-01-01 UTC, ``counts`` what the probe sent (NaN: nothing),
    ``speed_kmh`` and ``ignition`` (1 on, 0 off) are NaN where unknown. The other columns are
    ``None`` where the log has no such column. [s, counts, km/h, °C, V, °, L]

    >>> Track("T-7", np.array([0.0, 10.0]), np.array([800.0, 801.0]),
    ...       np.zeros(2), np.zeros(2)).period_s
    10.0
    """

    vehicle: str
    time_s: Floats
    counts: Floats
    speed_kmh: Floats
    ignition: Floats
    fuel_c: Floats | None = None
    supply_v: Floats | None = None
    pitch_deg: Floats | None = None
    roll_deg: Floats | None = None
    engine_fuel_l: Floats | None = None

    def __post_init__(self) -> None:
        """Hold the promise of order and of one length."""
        size = self.time_s.shape
        for name in ("counts", "speed_kmh", "ignition", *COLUMNS):
            column = getattr(self, name)
            if column is not None and column.shape != size:
                raise InputError(f"{self.vehicle}: {column.size} {name} for {size[0]} times")
        late = self.time_s[1:] <= self.time_s[:-1]
        if late.any():
            raise InputError(f"{self.vehicle}: record {int(np.argmax(late)) + 2} is not in order")

    @property
    def period_s(self) -> float:
        """The usual time between records, the median. [s]"""
        return float(np.median(np.diff(self.time_s))) if self.time_s.size > 1 else float("nan")


class EventKind(StrEnum):
    """What may happen to the fuel beside being used."""

    REFUEL = "refuel"
    DRAIN = "drain"


@dataclass(frozen=True)
class Event:
    """Fuel put in, or taken out other than by the engine.

    ``litres`` is positive, ``u_litres`` the half-width of its 95 % band. ``score`` rises with
    confidence and means the same for every vehicle. ``first`` and ``last`` are the numbers of
    the records of the track it rests on. Times are seconds since 1970-01-01 UTC. [s, L]
    """

    vehicle: str
    kind: EventKind
    start_s: float
    end_s: float
    litres: float
    u_litres: float
    before_l: float
    after_l: float
    score: float
    reason: str
    first: int
    last: int


@dataclass(frozen=True)
class Undecided:
    """A change of the level that these records cannot attribute, and why. [s, L]"""

    vehicle: str
    start_s: float
    end_s: float
    litres: float
    u_litres: float
    reason: str


@dataclass(frozen=True)
class Noise:
    """How this vehicle's own readings scatter; each a standard deviation. [L, s]

    ``still_l``: one record at rest. ``moving_l``: one record while driving.
    ``slope_l``: the shift of the level from one place to the next.
    ``wander_l``: what the level does by itself over an hour at rest.
    ``lag_s``: the time constant of the probe's own averaging.
    """

    still_l: float
    moving_l: float
    slope_l: float
    wander_l: float
    lag_s: float


@dataclass(frozen=True, eq=False)
class Watched:
    """What one vehicle's records show."""

    vehicle: str
    events: tuple[Event, ...]
    undecided: tuple[Undecided, ...]
    noise: Noise
    records: int
    span_s: float
    provable_parked_l: float
    provable_moving_l: float
    notes: tuple[str, ...] = field(default=())
