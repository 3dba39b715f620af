"""What is assumed about a fill where nobody measured: each figure in one place.

All are standard uncertainties unless the name says otherwise.  They are common
practice without a published source, except where a source is named; a user who
knows better gives the measured value instead.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Assumptions:
    """The state of knowledge before the first pour."""

    u_delivery_l: float = 0.1
    """One delivery: meter resolution and drips. [L]"""
    u_meter: float = 0.003
    """Meter factor, common to all deliveries.  A fuel dispenser of accuracy class 0.5 may
    be 0.5 % wrong (2014/32/EU annex VII, table 2); taken as rectangular, 0.29 %."""
    residue_l: float = 1.4
    u_residue_l: float = 0.9
    """Fuel left in a drained tank, 0 to 3 L. [L]"""
    u_slope_deg: float = 0.87
    """Unmeasured slope of a vehicle on a yard, 1.5° either way as rectangular. [°]"""
    u_slope_measured_deg: float = 0.1
    """The same read from an inclinometer. [°]"""
    u_move_deg: float = 1.3
    """How far a vehicle that moved changes its slope. [°]"""
    u_tip_mm: float = 2.0
    """Tip clearance from the bottom, 3 mm either way. [mm]"""
    u_joined_mm: float = 10.0
    """Height of a tank behind a balance pipe against the first, where nobody measured it. [mm]"""
    u_counts: float = 2.2
    """A steady reading on a scale of 4095 counts; other scales in proportion. [counts]"""
    u_scale: float = 0.0016
    """Bow of the probe's scale, as a share of full scale."""
    u_inner_parts: float = 0.003
    """Volume of baffles and pipes nobody described, as a share of the capacity."""
    u_side: float = 0.008
    """Bulge: slow departure of the cross-section from the description, as a share of it."""
    side_reach: float = 0.5
    """Share of the height over which that departure changes."""
    u_local: float = 0.011
    """Dents, baffles, pipes: quick departure of the cross-section."""
    local_reach: float = 0.1
    u_sump: float = 0.002
    """Volume in or missing from the very bottom, as a share of the capacity."""
    u_plate: float = 0.02
    """Rated capacity on the tank's plate, as a share of it."""
    u_dip_mm: float = 0.6
    """Dip of the drained tank with a stick, 1 mm either way. [mm]"""
    u_can: float = 0.0005
    """A measured can, as a share of its volume."""
    u_check_l: float = 0.05
    """Reading meter and can in a meter check. [L]"""
    u_warming_k: float = 1.0
    """Fuel at the meter against fuel in the tank, if temperatures are unknown. [K]"""
