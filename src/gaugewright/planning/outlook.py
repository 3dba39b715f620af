"""What a fill that has not been poured yet would leave open, by the fit's own equations.

In a linear model the band after a fill depends on which readings are taken, not on
what they turn out to be.  So a fill can be imagined, its equations written down, and
the error it would leave foretold, before a litre is poured.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.equations import equations_of
from gaugewright.table.fill import Fill, MeterCheck, Pour
from gaugewright.table.fit import DESCRIBED, Trust
from gaugewright.table.posterior import solve

Floats = npt.NDArray[np.float64]

TRUSTS = DESCRIBED[:3]
"""Degrees of trust over which an outlook averages: the others are rare before a fill."""
U_JUG_L = 0.3
"""What is left in a tank, caught in a measured jug: film and jug.  Common practice, no source."""
DRAWS = 400
"""Imagined tanks from which the typical largest error is taken."""


@dataclass(frozen=True, slots=True)
class Checks:
    """What will be checked beside the pours."""

    slope: bool = False
    meter: bool = False
    dip: bool = False
    temperatures: bool = False
    residue: bool = False
    """What is left in the drained tank is caught in a measured jug and poured back."""


@dataclass(frozen=True, eq=False)
class Outlook:
    """What an imagined fill would leave open."""

    largest_error_l: float
    """Median over imagined tanks of the largest error anywhere on the scale. [L]"""
    half_width_l: float
    """Largest half-width of the 95 % band. [L]"""


def imagined(
    curves: Curves, stops_l: tuple[float, ...], checks: Checks, assumed: Assumptions
) -> Fill:
    """Return the fill that stops at some total litres poured, each landing as expected. [L]"""
    inside = curves.litres - assumed.residue_l
    slope_deg = 0.0 if checks.slope else None
    fuel_c = 15.0 if checks.temperatures else None
    probe = curves.probe
    pours = []
    before = 0.0
    for step, total in enumerate((0.0, *stops_l)):
        wetted = float(np.interp(total, inside, curves.wetted_mm))
        counts = float(np.rint(probe.counts_of(max(wetted, 0.0))))
        pours.append(
            Pour(
                step,
                total - before,
                counts,
                fuel_c=fuel_c,
                meter_c=fuel_c,
                pitch_deg=slope_deg,
                roll_deg=slope_deg,
            )
        )
        before = total
    dip_mm = None
    if checks.dip and curves.described is not None:
        at = float(np.interp(assumed.residue_l, curves.litres, curves.wetted_mm))
        dip_mm = max(at + probe.tip_clearance_mm, 0.0)
    can = (MeterCheck(100.0, 100.0),) if checks.meter else ()
    return Fill(
        tuple(pours),
        meter_checks=can,
        residual_l=assumed.residue_l if checks.residue else None,
        u_residual_l=U_JUG_L if checks.residue else None,
        dip_empty_mm=dip_mm,
    )


def outlook(fill: Fill, curves: Curves, assumed: Assumptions, trusts: tuple[Trust, ...]) -> Outlook:
    """Return what a fill leaves open, averaged over degrees of distrust.

    ``fill`` may hold real pours followed by imagined ones.
    """
    equations = equations_of(fill, curves, assumed)
    above = slice(curves.tip_index, None)
    variance = np.zeros((len(curves.litres[above]),) * 2)
    total = sum(trust.worth for trust in trusts)
    for trust in trusts:
        posterior = solve(equations, trust.prior_u(equations.groups), curves.litres)
        design = equations.table_design[above]
        share = trust.worth / total
        variance += share * (design @ posterior.estimate.covariance @ design.T)
    return Outlook(largest_error(variance), float(1.96 * np.sqrt(np.diag(variance)).max()))


def largest_error(variance: Floats) -> float:
    """Return the median over imagined tanks of the largest error, for a covariance (g, g). [L]

    For one place it is the median of a half-normal, 0.674 of its standard deviation.

    >>> 0.6 < largest_error(np.array([[1.0]])) < 0.75
    True
    """
    lower = np.linalg.cholesky(variance + 1e-9 * np.eye(len(variance)) * variance.max())
    draws = lower @ _standard(len(variance))
    return float(np.median(np.max(np.abs(draws), axis=0)))


def _standard(size: int) -> Floats:
    """The same draws every time, so that two plans differ by the plans alone."""
    return np.random.default_rng(20_261).standard_normal((size, DRAWS))


def with_checks_done(fill: Fill, more: Checks, curves: Curves, assumed: Assumptions) -> Fill:
    """Return a fill as if these checks were made too."""
    seen = imagined(curves, (), more, assumed)
    pours = fill.pours
    if more.slope:
        pours = tuple(
            replace(p, pitch_deg=p.pitch_deg or 0.0, roll_deg=p.roll_deg or 0.0) for p in pours
        )
    if more.temperatures:
        pours = tuple(replace(p, fuel_c=15.0, meter_c=15.0) for p in pours)
    return replace(
        fill,
        pours=pours,
        meter_checks=(*fill.meter_checks, *seen.meter_checks),
        dip_empty_mm=fill.dip_empty_mm if seen.dip_empty_mm is None else seen.dip_empty_mm,
        residual_l=fill.residual_l if seen.residual_l is None else seen.residual_l,
        u_residual_l=fill.u_residual_l if seen.residual_l is None else seen.u_residual_l,
    )
