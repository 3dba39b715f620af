"""Readings at the probe, records at the other end, and when the ignition was off."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]


def _frozen(values: npt.ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class Near:
    """Readings at the probe by this computer's clock, in the unit that the records should show.

    >>> Near(np.array([0.0, 0.5]), np.array([100.0, 101.0])).duration_s
    0.5
    """

    times_s: Floats
    values: Floats
    """What the other end should show at that moment, if it showed it at once."""

    def __post_init__(self) -> None:
        """Refuse unlike lengths and times that do not rise."""
        object.__setattr__(self, "times_s", _frozen(self.times_s))
        object.__setattr__(self, "values", _frozen(self.values))
        if self.times_s.shape != self.values.shape or self.times_s.ndim != 1:
            raise InputError(f"{self.times_s.size} times but {self.values.size} readings")
        if (np.diff(self.times_s) <= 0).any():
            raise InputError("the readings' times must rise strictly")

    @property
    def duration_s(self) -> float:
        """From the first to the last reading. [s]"""
        return float(self.times_s[-1] - self.times_s[0]) if len(self.times_s) else 0.0


@dataclass(frozen=True, eq=False)
class Far:
    """Records at the other end, in the order in which they were seen here."""

    seen_s: Floats
    """When each was seen, by this computer's clock. [s]"""
    values: Floats
    stamped_s: Floats | None = None
    """The time that each record says of itself; ``None`` if records carry none. [s]"""
    are_polls: bool = False
    """Each was asked for and not sent: then how often they come says nothing."""

    def __post_init__(self) -> None:
        """Refuse unlike lengths."""
        object.__setattr__(self, "seen_s", _frozen(self.seen_s))
        object.__setattr__(self, "values", _frozen(self.values))
        if self.stamped_s is not None:
            object.__setattr__(self, "stamped_s", _frozen(self.stamped_s))
        for each in (self.values, self.stamped_s):
            if each is not None and each.shape != self.seen_s.shape:
                raise InputError(f"{self.seen_s.size} records but {each.size} values of them")

    @property
    def times_s(self) -> Floats:
        """Each record's time on this computer's clock, the journey's jitter taken out. [s]

        What a record says of itself is moved by the middle of the journeys, so a clock
        that is hours off does no harm.
        """
        if self.stamped_s is None or not len(self.seen_s):
            return self.seen_s
        return self.stamped_s + self.journey_s

    @property
    def journey_s(self) -> float:
        """Middle of seen less stamped: the journey and their clock's error together. [s]"""
        if self.stamped_s is None or not len(self.seen_s):
            return 0.0
        return float(np.median(self.seen_s - self.stamped_s))

    def ordered(self) -> "Far":
        """Return the records by their own time, each once."""
        order = np.argsort(self.times_s, kind="stable")
        times, values = self.times_s[order], self.values[order]
        again = np.zeros(len(order), dtype=np.bool_)
        if self.stamped_s is not None:
            again[1:] = (np.diff(times) == 0) & (np.diff(values) == 0)
        kept = order[~again]
        stamped = None if self.stamped_s is None else self.stamped_s[kept]
        return Far(self.seen_s[kept], self.values[kept], stamped, self.are_polls)


@dataclass(frozen=True, slots=True)
class Off:
    """A stretch with the ignition off. [s]"""

    from_s: float
    to_s: float


@dataclass(frozen=True, eq=False)
class Check:
    """All that was gathered for one verdict."""

    near: Near
    far: Far
    until_s: float
    """When the check ended, by this computer's clock. [s]"""
    off: tuple[Off, ...] = ()
    others: dict[str, Near] = field(default_factory=dict)
    """Readings of other probes on the vehicle, by name."""
    full_scale: float = 4095.0
    """The figure at the top of the scale that the records should have."""
    unit: str = "counts"
    """Unit of the values: counts or a unit of volume."""
    least_step: float = 1.0
    """Least step of the records' figures."""
    hz: float | None = None
    """Samples that the probe takes each second, ``None``: not known."""
    every_s: float | None = None
    """How often records were promised; ``None``: told by the records. [s]"""
    is_off_wanted: bool = True
    """Whether data must arrive with the ignition off too."""
