"""The described tank on another scale: a probe set before its cut, a length mistyped.

A share by which the whole scale or the whole tank is off is one figure, where a departure of
the walls that imitates it takes many.  So it is tried as such where the description fails, and
found by the pours: roughly from what each of them added, then by the equations of the fit.
"""

from dataclasses import replace
from math import log, pi, sqrt

import numpy as np

from gaugewright.probe import LENGTHS_MM, Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Column, Curves, Stretch, curves_of
from gaugewright.table.equations import equations_of
from gaugewright.table.fill import Fill
from gaugewright.table.posterior import solve
from gaugewright.table.rows import Doubts
from gaugewright.tank.description import Tank

MOST_FACTOR = 12.0
"""A scale may be off by a decimal place and a little, either way. [1]"""
USUAL_FACTOR = 1.3
"""Every other one is off by no more than this, either way: common practice, no source. [1]"""
U_NEAR = 0.03
"""How far around a factor the equations are taken as straight lines. [1]"""
STEPS = 2
EDGE = 0.01
"""Readings nearer to the scale's ends than this share of it tell of no level."""


def stretched_curves(
    fill: Fill, tank: Tank, probe: Probe, assumed: Assumptions, doubts: Doubts | None
) -> list[tuple[Curves, float]]:
    """Return the tank with its probe's scale, and with its own size, as the pours have them.

    With each stands the logarithm of what that was worth before any pour.
    """
    found = []
    for kind in ("span", "size"):
        factor = _roughly(fill, tank, probe, kind, assumed, doubts)
        curves = None if factor is None else _stretched(tank, probe, kind, factor, assumed)
        for _ in range(STEPS):
            if curves is None or curves.stretch is None:
                break
            equations = equations_of(fill, curves, assumed, doubts)
            posterior = solve(equations, np.ones(len(equations.groups)), curves.litres)
            off = U_NEAR * float(posterior.estimate.mean[equations.names.index(kind)])
            factor = curves.stretch.factor * float(np.exp(np.clip(off, -0.1, 0.1)))
            curves = _stretched(tank, probe, kind, factor, assumed)
        if curves is not None and curves.stretch is not None:
            found.append((curves, _log_worth(curves.stretch.factor)))
    return found


def _log_worth(factor: float) -> float:
    """Return what a factor was worth before, where the equations give it a spread of `U_NEAR`.

    >>> [round(_log_worth(factor), 1) for factor in (1.1, 5.0)]
    [-2.5, -4.9]
    """
    is_usual = abs(log(factor)) <= log(USUAL_FACTOR)
    density = 0.25 / log(MOST_FACTOR) + (0.25 / log(USUAL_FACTOR) if is_usual else 0.0)
    return log(U_NEAR * sqrt(2.0 * pi) * density)


def _roughly(
    fill: Fill, tank: Tank, probe: Probe, kind: str, assumed: Assumptions, doubts: Doubts | None
) -> float | None:
    """Return the factor that leaves the least between each pour and what it should have raised."""
    counts = np.array([pour.counts for pour in fill.pours])
    added = np.abs([pour.added_l for pour in fill.pours])[1:]
    share = (counts - probe.counts_empty) / (probe.counts_full - probe.counts_empty)
    usable = (share > EDGE) & (share < 1.0 - EDGE)
    if doubts is not None:
        usable[list(doubts.readings)] = False
        added[[k - 1 for k in doubts.litres if k > 0]] = np.nan
    both = usable[1:] & usable[:-1] & np.isfinite(added)
    described = curves_of(tank, probe, assumed).described
    if both.sum() < 2 or described is None:
        return None
    wetted = probe.wetted_mm(counts)

    def left_l(factor: float) -> float:
        stretch = factor if kind == "span" else 1.0
        rise = np.abs(np.diff(described.litres_on_slope(stretch * wetted, 0.0, 0.0)))
        rise *= factor / stretch
        return float(np.abs(rise - added)[both].sum())

    factors = np.geomspace(1.0 / MOST_FACTOR, MOST_FACTOR, 121)
    return float(min(factors, key=left_l))


def _stretched(
    tank: Tank, probe: Probe, kind: str, factor: float, assumed: Assumptions
) -> Curves | None:
    """Return the curves on that scale, ``None`` where no probe is so long or short."""
    factor = float(f"{factor:.3g}")  # the equations have the rest; and such curves are kept
    if kind == "size":
        curves = curves_of(tank, probe, assumed)
        described = curves.described
        scaled = [
            replace(c, effect_l=factor * c.effect_l, total_l=factor * c.total_l)
            for c in curves.columns
        ]
        curves = replace(
            curves,
            litres=factor * curves.litres,
            per_mm_l=factor * curves.per_mm_l,
            columns=tuple(scaled),
            capacity_l=factor * curves.capacity_l,
            described=described and replace(described, share=factor * described.share),
        )
        own = Column(kind, "dimensions", U_NEAR * curves.litres, U_NEAR * curves.capacity_l)
    else:
        length = factor * probe.active_length_mm
        if not LENGTHS_MM[0] <= length <= LENGTHS_MM[1]:
            return None
        curves = curves_of(tank, replace(probe, active_length_mm=length), assumed)
        effect = U_NEAR * curves.per_mm_l * np.maximum(curves.wetted_mm, 0.0)
        own = Column(kind, "dimensions", effect)
    stretch = Stretch(kind, factor)
    return replace(curves, columns=(*curves.columns, own), stretch=stretch)
