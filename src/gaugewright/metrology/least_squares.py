"""Generalised linear least squares, with or without what was known before.

One solver for everything that is linear in its unknowns: the calibration table,
the pour check, a straight calibration line.  Source of the method: JCGM 100:2008,
H.3, and its matrix form in ISO/TS 28037:2010, 6; prior knowledge enters as further
observations (Bayes' theorem for normal distributions).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Estimate:
    """What a least-squares adjustment found."""

    mean: Floats
    """The unknowns, shape (p,)."""
    covariance: Floats
    """Their covariance, shape (p, p)."""
    residuals: Floats
    """Observed minus adjusted, shape (n,)."""
    chi_squared: float
    """Weighted sum of squared residuals, the prior's pull included."""
    log_evidence: float | None
    """Logarithm of the probability density of the observations; ``None`` without a prior."""

    @property
    def u(self) -> Floats:
        """Standard uncertainties of the unknowns, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))


def adjust(
    design: npt.ArrayLike,
    observed: npt.ArrayLike,
    covariance: npt.ArrayLike,
    prior_u: npt.ArrayLike | None = None,
) -> Estimate:
    """Return the unknowns ``x`` that best explain ``observed = design @ x + error``.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Effect of each unknown on each observation.
    observed : array_like, shape (n,)
        In any one unit.
    covariance : array_like, shape (n, n) or (n,)
        Covariance matrix of the errors, or their variances.
    prior_u : array_like, shape (p,), optional
        Standard uncertainties of the unknowns before, about zero and independent.
        Without it nothing is assumed and at least p observations are needed.

    Raises
    ------
    InputError
        If the shapes disagree or the unknowns cannot be told apart.

    Examples
    --------
    JCGM 100 H.3 in small: a line through three points with equal errors.

    >>> line = adjust([[1, 0], [1, 1], [1, 2]], [1.0, 3.0, 5.0], [1, 1, 1])
    >>> line.mean.round(9)
    array([1., 2.])
    >>> line.u.round(6)
    array([0.912871, 0.707107])
    """
    a = np.asarray(design, dtype=np.float64)
    y = np.asarray(observed, dtype=np.float64)
    r = np.asarray(covariance, dtype=np.float64)
    if a.ndim != 2 or y.shape != a.shape[:1] or r.shape[0] != len(y):
        raise InputError(
            f"design {a.shape}, observed {y.shape} and covariance {r.shape} do not belong together"
        )
    if r.ndim == 1:
        root = np.sqrt(r)
        white_a, white_y = a / root[:, None], y / root
        log_noise = 2.0 * float(np.log(root).sum())
    else:
        lower = np.linalg.cholesky(r)
        white = solve_triangular(lower, np.column_stack([a, y]), lower=True)
        white_a, white_y = white[:, :-1], white[:, -1]
        log_noise = 2.0 * float(np.log(np.diag(lower)).sum())
    return _solve(a, y, white_a, white_y, log_noise, prior_u)


def _solve(
    a: Floats,
    y: Floats,
    white_a: Floats,
    white_y: Floats,
    log_noise: float,
    prior_u: npt.ArrayLike | None,
) -> Estimate:
    n, p = a.shape
    if prior_u is not None:
        u = np.asarray(prior_u, dtype=np.float64)
        white_a = np.vstack([white_a, np.diag(1.0 / u)])
        white_y = np.concatenate([white_y, np.zeros(p)])
    elif n < p:
        raise InputError(f"{n} observations cannot fix {p} unknowns")
    q, upper = np.linalg.qr(white_a)
    pivots = np.abs(np.diag(upper))
    if pivots.min() <= 1e-12 * pivots.max():
        raise InputError("the observations cannot tell the unknowns apart")
    mean = solve_triangular(upper, q.T @ white_y)
    inverse = solve_triangular(upper, np.eye(p))
    misfit = white_y - white_a @ mean
    chi_squared = float(misfit @ misfit)
    log_evidence = None
    if prior_u is not None:
        log_prior = 2.0 * float(np.log(u).sum())
        log_evidence = -0.5 * (
            n * np.log(2 * np.pi)
            + log_noise
            + log_prior
            + 2.0 * float(np.log(pivots).sum())
            + chi_squared
        )
    return Estimate(mean, inverse @ inverse.T, y - a @ mean, chi_squared, log_evidence)


def log_density(observed: Floats, covariance: Floats) -> float:
    """Return the log density of ``observed`` about zero with this covariance.

    >>> round(log_density(np.array([0.0]), np.array([[1.0]])), 6)
    -0.918939
    """
    factor = cho_factor(covariance, lower=True)
    log_det = 2.0 * float(np.log(np.diag(factor[0])).sum())
    chi_squared = float(observed @ cho_solve(factor, observed))
    return -0.5 * (len(observed) * float(np.log(2 * np.pi)) + log_det + chi_squared)
