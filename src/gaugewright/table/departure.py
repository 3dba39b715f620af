"""The smooth departure of a real tank from its description.

The cross-section at each height is taken to depart from the described one by a
share that is a stationary Gaussian process of the height (squared-exponential
covariance: Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006,
eq. 4.9).  Its integral over the height is the departure of the litres.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def departure_basis(wetted_mm: Floats, per_mm_l: Floats, reach: float) -> Floats:
    """Return independent unit departures of the litres along the grid.

    Parameters
    ----------
    wetted_mm : ndarray, shape (g,)
        Rising grid. [mm]
    per_mm_l : ndarray, shape (g,)
        Litres per mm of the described tank. [L/mm]
    reach : float
        Correlation length of the departure as a share of the grid's span.

    Returns
    -------
    ndarray, shape (k, g)
        Each row is the change of litres for one standard deviation of one
        independent component of a departure of 100 % of the cross-section. [L]

    Examples
    --------
    >>> z = np.linspace(0.0, 100.0, 11)
    >>> rows = departure_basis(z, np.full(11, 2.0), 0.5)
    >>> rows.shape[1], float(rows[0, 0])
    (11, 0.0)
    """
    span = wetted_mm[-1] - wetted_mm[0]
    middles = 0.5 * (wetted_mm[1:] + wetted_mm[:-1])
    share = (middles - wetted_mm[0]) / span
    shapes = unit_process(share, reach)
    area = 0.5 * (per_mm_l[1:] + per_mm_l[:-1]) * np.diff(wetted_mm)
    rows: Floats = np.zeros((len(shapes), len(wetted_mm)))
    rows[:, 1:] = np.cumsum(shapes * area, axis=1)
    return rows


def unit_process(share: Floats, reach: float) -> Floats:
    """Return independent components of a process of unit variance at ``share``, shape (k, size).

    ``share`` (size,) runs along the grid from 0 to 1; ``reach`` is the correlation length.

    >>> rows = unit_process(np.linspace(0.0, 1.0, 11), 0.5)
    >>> bool(np.allclose((rows**2).sum(axis=0), 1.0, atol=1e-2))
    True
    """
    return _unit_process(share.tobytes(), len(share), reach)


@lru_cache(maxsize=64)
def _unit_process(share_bytes: bytes, size: int, reach: float) -> Floats:
    """Return the process's leading components (k, size); what is left out is below 0.1 %."""
    share = np.frombuffer(share_bytes, dtype=np.float64, count=size)
    distance = share[:, None] - share[None, :]
    values, vectors = np.linalg.eigh(np.exp(-0.5 * (distance / reach) ** 2))
    keep = values > 1e-3 * values.max()
    shapes: Floats = (vectors[:, keep] * np.sqrt(values[keep])).T[::-1]
    return shapes
