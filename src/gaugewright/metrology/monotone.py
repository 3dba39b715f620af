"""The most probable never-falling curve, given a Gaussian belief about its values."""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve_triangular

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]

JITTER: Final = 1e-10
"""Added to a full covariance's diagonal, as a share of its largest variance.

A smooth covariance of 100 points is singular in double precision.  This much more
is a standard deviation of 1e-5 of the widest point's: far under any reading, and
enough for the factorisation.  Variances alone are used as they are.
"""


def monotone_mode(
    mean: npt.ArrayLike, covariance: npt.ArrayLike, *, lower: float | None = None
) -> Floats:
    r"""Return the never-falling curve of highest density under a Gaussian.

    .. math:: \min_v\ (v-m)^T S^{-1} (v-m) \quad\text{with}\quad
              v_{i+1} \ge v_i,\ v_0 \ge \text{lower}

    The dual is solved: one multiplier per rise that the mean breaks, found by
    non-negative least squares, so that few broken rises cost little.  A mean that
    is already as wanted comes back unchanged.

    Parameters
    ----------
    mean : array_like, shape (n,)
        The belief's centre, in any unit.
    covariance : array_like, shape (n,) or (n, n)
        Variances of independent values, each above 0, or the full covariance, which
        may be singular: `JITTER` is added to its diagonal. [unit of ``mean``, squared]
    lower : float, optional
        The least value allowed. [unit of ``mean``]

    Raises
    ------
    InputError
        If something is not finite, the shapes differ, a variance is not positive, or
        the covariance is not symmetric and positive semidefinite.

    References
    ----------
    .. [1] C. L. Lawson, R. J. Hanson, "Solving Least Squares Problems", ch. 23 (from memory):
       least distance programming through non-negative least squares.

    Examples
    --------
    Two values in the wrong order are pooled, the surer one counting more.

    >>> monotone_mode([1.0, 5.0, 3.0, 9.0], [1.0, 1.0, 0.25, 1.0]).round(9).tolist()
    [1.0, 3.4, 3.4, 9.0]
    >>> monotone_mode([-2.0, 1.0], [1.0, 1.0], lower=0.0).round(9).tolist()
    [0.0, 1.0]
    """
    m = np.asarray(mean, dtype=np.float64)
    if m.ndim != 1 or m.size == 0:
        raise InputError(f"mean must be a list of numbers, found shape {m.shape}")
    if not np.isfinite(m).all() or not (lower is None or np.isfinite(lower)):
        raise InputError("mean and lower must be finite numbers")
    factor = _factor(np.asarray(covariance, dtype=np.float64), m.size)
    if (np.diff(m) >= 0).all() and (lower is None or m[0] >= lower):
        return m.copy()
    base = m[0] if lower is None else lower
    rises = np.diff(np.eye(m.size), axis=0)
    if lower is not None:
        rises = np.vstack([np.eye(1, m.size), rises])
    # Here, because loading scipy.optimize takes longer than a fit, and few means need it.
    from scipy.optimize import lsq_linear, nnls

    # Moreau: what is left of the whitened mean after its part in the polar cone.
    whitened = solve_triangular(factor, m - base, lower=True)
    cone = factor.T @ rises.T
    multipliers, _ = nnls(cone, -whitened, maxiter=30 * m.size)
    values = base + factor @ (whitened + cone @ multipliers)
    if not _is_close(_never_falling(values, lower), values, m):
        # Ties make that solver stop too early, once in a thousand means full of equal values.
        bounded = lsq_linear(cone, -whitened, bounds=(0, np.inf), method="bvls", tol=1e-15)
        values = base + factor @ (whitened + cone @ bounded.x)
    exact = _never_falling(values, lower)
    if not _is_close(exact, values, m):
        raise ArithmeticError("the monotone solver did not converge")
    return exact


def _factor(covariance: Floats, n: int) -> Floats:
    """Return the lower Cholesky factor of variances or of a covariance."""
    if not np.isfinite(covariance).all():
        raise InputError("a variance is not a finite number")
    if covariance.shape == (n,):
        if (covariance <= 0).any():
            raise InputError(f"variances must be above 0, found {covariance.min():g}")
        return np.diag(np.sqrt(covariance))
    if covariance.shape != (n, n):
        raise InputError(f"{n} values but a covariance of shape {covariance.shape}")
    largest = float(np.diag(covariance).max())
    if largest <= 0:
        raise InputError(f"variances must be above 0, the largest is {largest:g}")
    if np.abs(covariance - covariance.T).max() > 1e-8 * largest:
        raise InputError("the covariance is not symmetric")
    padded = covariance + JITTER * largest * np.eye(n)
    try:
        return np.asarray(np.linalg.cholesky(padded), dtype=np.float64)
    except np.linalg.LinAlgError:
        least = float(np.linalg.eigvalsh(covariance)[0])
        raise InputError(
            f"the covariance is not positive semidefinite: least eigenvalue {least:g}"
        ) from None


def _never_falling(values: Floats, lower: float | None) -> Floats:
    """Make pooled values exactly equal; they differ by rounding errors of the solver."""
    exact: Floats = np.maximum.accumulate(values)
    return exact if lower is None else np.maximum(exact, lower)


def _is_close(exact: Floats, values: Floats, mean: Floats) -> bool:
    """Tell whether no more than rounding errors were taken away."""
    scale = float(np.ptp(mean)) + float(np.abs(mean).max())
    return bool(np.abs(exact - values).max() <= 1e-6 * scale)
