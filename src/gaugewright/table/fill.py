"""One fill: the pours that were written down, and what was checked beside them."""

from dataclasses import dataclass, field
from datetime import datetime

from gaugewright.units import VolumeUnit


@dataclass(frozen=True, slots=True)
class Pour:
    """One line of a pour record.  Step 0 is the drained tank.

    ``None`` means that nobody measured it; it never means zero.
    """

    step: int
    added_l: float
    """What this pour added by the meter; what it took out in a draining record. [L]"""
    counts: float
    counts_sd: float | None = None
    """Standard deviation of the steady reading, if it was seen. [counts]"""
    fuel_c: float | None = None
    """Temperature of the fuel in the tank when the probe was read. [°C]"""
    meter_c: float | None = None
    """Temperature of the fuel at the meter. [°C]"""
    pitch_deg: float | None = None
    """Slope along the length, positive with the front end up. [°]"""
    roll_deg: float | None = None
    """Slope across the width, positive with the left side up. [°]"""
    at: datetime | None = None
    note: str = ""
    planned_l: float | None = None
    """What the fitter said they would pour, if they said so. [L]"""


METER_FACTORS = (0.8, 1.25)
"""True litres for each litre shown: beyond these it is no meter's error but a slip. [1]"""
STEEPEST_DEG = 45.0
"""No vehicle is filled on a steeper slope. [°]"""


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """A delivery into a measured can: what the meter said and what was in the can. [L]"""

    indicated_l: float
    true_l: float


@dataclass(frozen=True, slots=True)
class Fill:
    """A pour record with the checks made beside it.

    ``is_draining`` says that the record runs down: step 0 is the filled tank and
    ``added_l`` what was then taken out, as a positive number.
    """

    pours: tuple[Pour, ...]
    is_draining: bool = False
    meter_checks: tuple[MeterCheck, ...] = ()
    residual_l: float | None = None
    """Fuel known to be left in the drained tank. [L]"""
    u_residual_l: float | None = None
    """Its standard uncertainty. [L]"""
    dip_empty_mm: float | None = None
    """Depth of fuel in the drained tank, measured at the probe's place. [mm]"""
    unit: VolumeUnit = "L"
    """Unit in which a person typed the volumes, for words and for what may have been meant."""
    notes: tuple[str, ...] = field(default=())
    """What the reader of the file had to decide, for the person to see."""
