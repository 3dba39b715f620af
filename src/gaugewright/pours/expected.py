"""What the pours before each pour foretell of its reading.

The rows of the equations are correlated; their triangular factor holds, row by row,
what each adds to all rows before it (innovations: Kailath, IEEE Trans. Automatic
Control 13(6), 1968).  So one factor of the fit's own covariance gives the forecast of
every pour from the pours before it, for every degree of distrust, and how each degree
has done so far.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve_triangular
from scipy.special import logsumexp

from gaugewright.table.fit import Component

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Expected:
    """The forecast of one reading from what was known before it."""

    pour: int
    """Index in the fill."""
    counts: float
    u95_counts: float
    """Half-width of its 95 % band. [counts]"""
    litres_off: float
    """Reading against forecast, as litres: positive if the probe shows too much. [L]"""
    u95_litres: float


def expectations(
    components: list[Component], weights: Floats | None = None
) -> tuple[Expected, ...]:
    """Return the forecast of every reading that the probe can see.

    Each degree of distrust counts as well as it did on the readings before.  ``weights``
    (c,) says instead how much each is to count, where more is known by now: a mistake that
    was found since must not speak for a wrong tank.
    """
    eq = components[0].equations
    count = len(eq.pours)
    if count == 0:
        return ()
    shared = [c for c in components if c.equations.pours == eq.pours]
    means, spreads, logs = [], [], []
    for component in shared:
        mean, spread, log = _forecast(component)
        means.append(mean)
        spreads.append(spread)
        logs.append(log)
    if weights is None:
        before = np.column_stack([_prior(shared), np.array(logs)])
        shares = np.cumsum(before, axis=1)[:, :count]
        shares = np.exp(shares - logsumexp(shares, axis=0))
    else:
        known = zip(weights, components, strict=True)
        kept = np.array([weight for weight, c in known if c.equations.pours == eq.pours])
        shares = np.repeat(kept[:, None] / kept.sum(), count, axis=1)
    mean = (shares * np.array(means)).sum(axis=0)
    second = (shares * (np.array(spreads) ** 2 + np.array(means) ** 2)).sum(axis=0)
    spread = np.sqrt(np.maximum(second - mean**2, 1e-12))
    curves = components[0].curves
    order = np.argsort(curves.counts)
    scale, litres = curves.counts[order], curves.litres[order]
    per_count = np.maximum(np.gradient(litres, scale), 1e-9)
    found = []
    for row, pour in enumerate(eq.pours):
        # observed = poured + start - litres(counts): too small a value is too high a reading.
        off = float(mean[row] - eq.observed[row])
        here = float(np.interp(eq.counts[row], scale, litres))
        counts = float(np.interp(here - off, litres, scale))
        slope = float(np.interp(counts, scale, per_count))
        u = 1.96 * float(spread[row])
        found.append(Expected(pour, counts, u / slope, off, u))
    return tuple(found)


def _prior(components: list[Component]) -> Floats:
    """Log weight of each component before any reading, shape (c,)."""
    return np.array([c.log_weight - (c.posterior.estimate.log_evidence or 0.0) for c in components])


def _forecast(component: Component) -> tuple[Floats, Floats, Floats]:
    """Mean and spread of each reading row given those before, and its log density."""
    eq = component.equations
    count = len(eq.pours)
    # Checks made before the first pour are known before it; what ends a fill is not.
    before = [i for i in range(count, len(eq.observed)) if eq.after[i] < 0]
    order = [*before, *range(count)]
    scaled = eq.design[order] * component.prior_u
    total = scaled @ scaled.T + eq.noise[np.ix_(order, order)]
    lower = np.linalg.cholesky(total)
    observed = eq.observed[order]
    white = solve_triangular(lower, observed, lower=True)
    spread = np.diag(lower)
    mean = observed - spread * white
    log = -0.5 * white**2 - np.log(spread)
    checks = len(before)
    first = float(log[:checks].sum())
    readings = log[checks:].copy()
    if count:
        readings[0] += first
    return mean[checks:], spread[checks:], readings
