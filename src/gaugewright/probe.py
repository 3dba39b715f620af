"""The probe: counts to level, dead stock below the tip, the blind part above."""

from dataclasses import dataclass
from math import isfinite

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Probe:
    """Where a probe stands and how its counts follow the level.

    The reading is linear in the wetted length: ``counts_empty`` dry, ``counts_full``
    when ``active_length_mm`` is wet.  Levels are heights above the tip.

    >>> probe = Probe(x_mm=600, y_mm=300, tip_clearance_mm=20, active_length_mm=500)
    >>> float(probe.wetted_mm(2047.5))
    250.0
    >>> float(probe.counts_of(250))
    2047.5
    """

    x_mm: float
    y_mm: float
    tip_clearance_mm: float
    """From the lowest inside point under the probe to its tip. [mm]"""
    active_length_mm: float
    """Wetted length at full scale. [mm]"""
    counts_empty: float = 0.0
    counts_full: float = 4095.0

    def __post_init__(self) -> None:
        """Refuse a probe that cannot be."""
        for name in self.__slots__:
            if not isfinite(getattr(self, name)):
                raise InputError(f"{getattr(self, name)} is not a finite number", field=name)
        if self.tip_clearance_mm < 0:
            raise InputError(
                f"must not be negative, found {self.tip_clearance_mm:g} mm",
                field="probe.tip_clearance_mm",
            )
        if self.active_length_mm <= 0:
            raise InputError(
                f"must be above 0, found {self.active_length_mm:g} mm",
                field="probe.active_length_mm",
            )
        if self.counts_full == self.counts_empty:
            raise InputError(
                f"must differ from probe.counts_empty, both are {self.counts_full:g}",
                field="probe.counts_full",
            )

    @property
    def mm_per_count(self) -> float:
        """Level change that moves the reading by one count. [mm]"""
        return self.active_length_mm / (self.counts_full - self.counts_empty)

    def wetted_mm(self, counts: npt.ArrayLike) -> Floats:
        """Return the wetted length above the tip, unclipped. [mm]"""
        result: Floats = (
            np.asarray(counts, dtype=np.float64) - self.counts_empty
        ) * self.mm_per_count
        return result

    def counts_of(self, wetted_mm: npt.ArrayLike) -> Floats:
        """Return the counts at a wetted length, unclipped. [counts]"""
        result: Floats = (
            np.asarray(wetted_mm, dtype=np.float64) / self.mm_per_count + self.counts_empty
        )
        return result
