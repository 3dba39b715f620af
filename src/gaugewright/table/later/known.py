"""What is known of a tank's litres before new pours, as curves with what is left open.

The state of knowledge after a fill becomes the state before the next one: its mean is the
new curve, its covariance the new columns.  So pours made later go through the same
equations as those of the first fill, and there is no second model.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Column, Curves, Described, curves_of
from gaugewright.table.departure import unit_process
from gaugewright.table.fill import Fill, Pour
from gaugewright.table.fit import Component, Fit, Trust, average, components_of
from gaugewright.table.later.assumptions import REACHES
from gaugewright.table.later.left import Left, starts_again
from gaugewright.table.rows import Doubts
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

MOST_PARTS = 3
LEAST_WEIGHT = 0.01
"""Degrees of distrust that weigh less after the fill are let go."""
AGAIN = (Trust(1.0, 1.0, 1.0),)
"""The walls are known by now, as far as the columns say."""
K95 = 1.96


@dataclass(frozen=True, eq=False)
class Part:
    """One degree of distrust that the first fill left, as curves for later pours."""

    curves: Curves
    log_worth: float


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of one tank and its probe before new pours."""

    parts: tuple[Part, ...]
    left: Left | None = None
    """What was left in the drained tank before the first fill, where that is known."""

    @property
    def probe(self) -> Probe:
        """The probe in whose counts the curves are."""
        return self.parts[0].curves.probe

    @property
    def capacity_l(self) -> float:
        """Litres of the full tank. [L]"""
        return self.parts[0].curves.capacity_l

    def components(
        self, fill: Fill, assumed: Assumptions | None = None, doubts: Doubts | None = None
    ) -> list[Component]:
        """Solve later pours on top of what was known."""
        assumed = Assumptions() if assumed is None else assumed
        found: list[Component] = []
        for part in self.parts:
            for start in starts_again(fill, None):
                share = part.log_worth + start.log_worth
                found += components_of(start.fill, part.curves, assumed, share, doubts, AGAIN)
        return found

    def table_fit(self) -> Fit:
        """Return the table as it is known before any new pour."""
        nothing = Fill((Pour(0, 0.0, 0.0),), residual_l=0.0, u_residual_l=1.0)
        return average(self.components(nothing, doubts=Doubts(readings=frozenset({0}))))


def known_from_fit(result: Fit, left: Left | None = None) -> Known:
    """Return what a fill taught, for the same probe in the same place.

    ``left`` is what it taught of the drained tank (`left_in`).
    """
    parts = []
    for weight, component in weighty(result):
        base = component.curves
        design = component.equations.table_design
        columns = merged_columns(design @ component.posterior.estimate.covariance @ design.T)
        curves = with_litres(base, base.wetted_mm, component.posterior.litres, columns)
        parts.append(Part(curves, float(np.log(weight))))
    return Known(tuple(parts), left)


def known_from_table(table: Table, probe: Probe | None = None, tank: Tank | None = None) -> Known:
    """Return what a table says of which nothing but the band is kept.

    How the errors of its rows hang together is not in a table, so a short and a long reach
    are taken at once.  Without ``probe`` the scale is in thousandths of the table's counts.

    Raises `InputError` if the table has no band.
    """
    if table.u_litres is None:
        raise InputError(
            said("has no column u_litres: without its band nothing can be held against the table")
        )
    base = None
    if probe is None:
        probe = Probe(0.0, 0.0, 0.0, 1000.0, float(table.counts[0]), float(table.counts[-1]))
    elif tank is not None:
        base = curves_of(tank, probe, Assumptions())
    low, high = (float(v) for v in probe.wetted_mm(table.counts[[0, -1]]))
    if high <= low:
        raise InputError(said("the probe's counts must rise with the fuel, as those of a table do"))
    wetted = grid_of(low, high, base)
    counts = probe.counts_of(wetted)
    litres = _below_first_row(np.interp(counts, table.counts, table.litres), counts, table, base)
    spread = np.interp(counts, table.counts, table.u_litres) / K95
    parts = []
    for reach in REACHES:
        shapes = unit_process((wetted - wetted[0]) / (wetted[-1] - wetted[0]), reach)
        columns = tuple(Column(f"known_{i}", "known", row * spread) for i, row in enumerate(shapes))
        if base is None:
            curves = _bare_curves(wetted, litres, columns, probe)
        else:
            curves = with_litres(base, wetted, litres, columns)
        parts.append(Part(curves, float(np.log(1.0 / len(REACHES)))))
    return Known(tuple(parts))


def weighty(result: Fit) -> list[tuple[float, Component]]:
    """Return the degrees of distrust that count, the weightiest first, weights adding to 1."""
    order = np.argsort(-result.weights)[:MOST_PARTS]
    kept = [int(i) for i in order if result.weights[i] >= LEAST_WEIGHT]
    total = float(sum(result.weights[i] for i in kept))
    return [(float(result.weights[i]) / total, result.components[i]) for i in kept]


def merged_columns(covariance: Floats, name: str = "known") -> tuple[Column, ...]:
    """Return independent columns that together have this covariance along the grid.

    What is left out is below a millionth of the largest variance.

    >>> columns = merged_columns(np.array([[4.0, 2.0], [2.0, 1.0]]))
    >>> len(columns), np.abs(columns[0].effect_l).round(9)
    (1, array([2., 1.]))
    """
    values, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    most = float(values.max())
    if most <= 0:
        return ()
    keep = values > 1e-6 * most
    rows = (vectors[:, keep] * np.sqrt(values[keep])).T[::-1]
    return tuple(Column(f"{name}_{i}", "known", row) for i, row in enumerate(rows))


def with_litres(
    base: Curves, wetted: Floats, litres: Floats, columns: tuple[Column, ...]
) -> Curves:
    """Return curves with other litres and columns in front of the same tank.

    The plate has had its say in the first fill and is not heard twice.
    """
    described = base.described
    if described is not None:
        described = without_plate(described)
    return replace(
        base,
        wetted_mm=wetted,
        litres=litres,
        per_mm_l=slope_of(litres, wetted),
        columns=columns,
        described=described,
    )


def without_plate(described: Described) -> Described:
    """Return the same tank without its rated capacity."""
    return replace(described, tank=replace(described.tank, rated_capacity_l=None))


def slope_of(litres: Floats, wetted: Floats) -> Floats:
    """Litres per mm along the grid, nowhere below a fiftieth of the mean. [L/mm]"""
    mean = float(litres[-1] - litres[0]) / float(wetted[-1] - wetted[0])
    result: Floats = np.maximum(np.gradient(litres, wetted), 0.02 * mean)
    return result


def grid_of(low: float, high: float, base: Curves | None) -> Floats:
    """A grid from the tank's bottom, where it is known, over all that a table shows. [mm]"""
    above = np.linspace(max(low, 0.0), high, 64)
    if base is None:
        return above
    below = base.wetted_mm[base.wetted_mm < above[0] - 1e-6]
    return np.concatenate([below, above])


def _below_first_row(litres: Floats, counts: Floats, table: Table, base: Curves | None) -> Floats:
    """Let litres below the first row run down to none as the described tank does."""
    under = counts < table.counts[0]
    if base is None or not under.any():
        return litres
    first = float(np.interp(table.counts[0], base.counts, base.litres))
    share = np.interp(counts[under], base.counts, base.litres) / max(first, 1e-9)
    result = litres.copy()
    result[under] = table.litres[0] * np.minimum(share, 1.0)
    return result


def _bare_curves(
    wetted: Floats, litres: Floats, columns: tuple[Column, ...], probe: Probe
) -> Curves:
    top = float(wetted[-1])
    per_mm = slope_of(litres, wetted)
    return Curves(wetted, litres, per_mm, columns, float(litres[-1]), probe, top, None)
