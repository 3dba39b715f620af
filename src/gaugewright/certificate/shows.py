"""What the litres of a table can show and what they cannot, in figures of this tank."""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from gaugewright.certificate.writing import Writer
from gaugewright.errors import InputError
from gaugewright.fuel import thermal_expansion_per_k
from gaugewright.journal.state import FillState
from gaugewright.planning.misread import misread_per_degree
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.words import Said, said, together

DENSITY_15_KG_M3 = 840.0
"""Diesel for road vehicles has 820 to 845 kg/m³ at 15 °C (EN 590)."""
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Limits:
    """How far a table's litres go. [L]"""

    noise_counts: float
    is_noise_measured: bool
    least_visible_l: float
    most_visible_l: float
    """The smallest change that two readings tell apart, where it is finest and coarsest. [L]"""
    per_kelvin_l: float
    """How much the full tank grows with each kelvin. [L/K]"""
    pitch_l: float | None
    roll_l: float | None
    """Misread for each degree of slope along and across, at its worst. [L]"""


def limits_of(
    table: Table, fill: FillState | None, tank: Tank | None, probe: Probe | None
) -> Limits:
    """Return what a table's litres can show.

    Two readings differ visibly from 1.96 sqrt(2) of a reading's uncertainty on, rounding
    to whole counts (1/sqrt(12)) included; the noise is the median of what the pours' steady
    readings had, and where none was measured the figure that the model assumes.
    """
    noises = [
        kept.event.counts_sd
        for kept in (() if fill is None else fill.standing)
        if kept.event.counts_sd is not None
    ]
    scale = 1.0 if probe is None else abs(probe.counts_full - probe.counts_empty) / 4095
    noise = float(np.median(noises)) if noises else Assumptions().u_counts * scale
    slopes = np.diff(table.litres) / np.diff(table.counts)
    visible = COVERAGE * sqrt(2) * hypot(noise, 1 / sqrt(12)) * slopes[slopes > 0]
    pitch, roll = _per_degree(tank, probe)
    return Limits(
        noise,
        bool(noises),
        float(visible.min()) if len(visible) else 0.0,
        float(visible.max()) if len(visible) else 0.0,
        float(table.litres[-1]) * thermal_expansion_per_k(DENSITY_15_KG_M3),
        pitch,
        roll,
    )


def _per_degree(tank: Tank | None, probe: Probe | None) -> tuple[float | None, float | None]:
    if tank is None or probe is None:
        return None, None
    try:
        found = misread_per_degree(tank, probe.x_mm, probe.y_mm)
    except InputError:
        return None, None  # a slope that would spill: said as "not worked out"
    return float(np.abs(found.pitch_l).max()), float(np.abs(found.roll_l).max())


def shown_and_not(table: Table, limits: Limits, write: Writer) -> tuple[str, ...]:
    """Return the sentences that stand on the certificate."""
    band = (
        said("Its band is not known.")
        if table.u_litres is None
        else said(
            "The band is {band} at its widest; the true {litres} lie within it with 95 % "
            "probability.",
            band=write.band(float(table.u_litres.max())),
            litres=write.litres,
        )
    )
    level = said(
        "The {litres} are all the fuel in the tank standing level, engine off, surface at rest.",
        litres=write.litres,
    )
    return (
        together(level, band),
        said(
            "The smallest change that two steady readings tell apart is {finest} where the tank is "
            "finest and {coarsest} where it is coarsest (noise {noise} counts, {measured}; 95 %). "
            "A smaller drain or refuel cannot be shown by one pair of readings.",
            finest=write.volume(limits.least_visible_l, 2),
            coarsest=write.volume(limits.most_visible_l, 2),
            noise=write.figure(limits.noise_counts, 1),
            measured=said("as measured in the pours")
            if limits.is_noise_measured
            else said("assumed, not measured"),
        ),
        _slope(limits, write),
        said(
            "The {litres} are those of the fuel at its own temperature: the full tank grows by "
            "{grows} (diesel of {density:.0f} kg/m³). A change of the kind of fuel also moves the "
            "reading; no figure for it is in the band.",
            litres=write.litres,
            grows=write.per_degree(limits.per_kelvin_l),
            density=DENSITY_15_KG_M3,
        ),
        said(
            "Below {lowest} and above {highest} the probe does not see the fuel.",
            lowest=write.volume(float(table.litres[0])),
            highest=write.volume(float(table.litres[-1])),
        ),
    )


def _slope(limits: Limits, write: Writer) -> Said:
    if limits.pitch_l is None or limits.roll_l is None:
        return said(
            "On a slope the reading is wrong by an amount that was not worked out for this tank; "
            "read it on level ground."
        )
    return said(
        "On a slope the reading is wrong by up to {along} for each degree along the vehicle and "
        "{across} for each degree across it; the band holds for level ground.",
        along=write.volume(limits.pitch_l),
        across=write.volume(limits.roll_l),
    )
