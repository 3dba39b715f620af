"""One degree of distrust: the equations solved, the one-sided readings included."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from gaugewright.metrology.least_squares import Estimate, adjust
from gaugewright.table.equations import Equations, Limit

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Posterior:
    """What one degree of distrust makes of a fill."""

    estimate: Estimate
    log_evidence: float
    litres: Floats
    """On the curves' grid, tank standing level, shape (g,). [L]"""
    u_litres: Floats
    """Standard uncertainty there. [L]"""


def solve(equations: Equations, prior_u: Floats, base_l: Floats) -> Posterior:
    """Return the state of knowledge after a fill, for one prior.

    ``prior_u`` scales each unknown's column (1: as described).  A reading below the
    tip or past the top says that the fuel is on one side of a limit; it enters
    through the mean and variance of the cut normal distribution (expectation
    propagation: Minka, UAI 2001), the most telling one of each side.
    """
    design, observed, noise = equations.design, equations.observed, equations.noise
    if len(observed) == 0:
        estimate = _prior_only(prior_u)
    else:
        estimate = adjust(design, observed, noise, prior_u)
    log_evidence = estimate.log_evidence or 0.0
    for limit in equations.limits:
        site = _site(limit, estimate)
        log_evidence += site.log_mass
        if site.variance is None:
            continue
        design = np.vstack([design, limit.design])
        observed = np.append(observed, site.mean)
        size = len(noise)
        grown = np.zeros((size + 1, size + 1))
        grown[:size, :size] = noise
        grown[size, size] = site.variance
        noise = grown
        estimate = adjust(design, observed, noise, prior_u)
    g = equations.table_design
    litres = base_l + g @ estimate.mean
    variance = np.einsum("ij,jk,ik->i", g, estimate.covariance, g)
    return Posterior(estimate, log_evidence, litres, np.sqrt(np.maximum(variance, 0.0)))


def _prior_only(prior_u: Floats) -> Estimate:
    zero = np.zeros(len(prior_u))
    return Estimate(zero, np.diag(prior_u**2), np.zeros(0), 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class _Site:
    """A one-sided reading as an equivalent observation of the unknowns."""

    mean: float
    variance: float | None
    log_mass: float


def _site(limit: Limit, estimate: Estimate) -> _Site:
    row = limit.design
    centre = limit.margin_l + float(row @ estimate.mean)
    known = float(row @ estimate.covariance @ row)
    spread = known + limit.variance_l2
    t = limit.sign * centre / np.sqrt(spread)
    log_mass = float(log_ndtr(t))
    if t > 4.0 or known < 1e-9:
        return _Site(0.0, None, log_mass)
    ratio = float(np.exp(-0.5 * t * t - 0.5 * np.log(2 * np.pi) - log_mass))
    shrink = ratio * (ratio + t)
    # Moments of the cut distribution of the difference without its own noise.
    new_mean = centre + limit.sign * known / np.sqrt(spread) * ratio
    new_variance = known * (1.0 - known / spread * shrink)
    precision = 1.0 / new_variance - 1.0 / known
    if precision <= 1e-12:
        return _Site(0.0, None, log_mass)
    site_mean = (new_mean / new_variance - centre / known) / precision
    return _Site(site_mean - limit.margin_l, 1.0 / precision, log_mass)
