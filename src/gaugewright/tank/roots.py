"""Where a rising function is zero, for many targets at once."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def rising_root(
    excess: Callable[[Floats], Floats],
    low: tuple[Floats, Floats],
    high: tuple[Floats, Floats],
) -> Floats:
    """Roots of a rising function, all at once, each bracketed by (place, value) pairs.

    T. R. Chandrupatla, Advances in Engineering Software 28 (1997) 145-149: inverse
    quadratic steps where they are safe, bisection where they are not.  Places are found
    to 1e-14 of themselves, or as well as the function's own digits allow.

    >>> def excess(x):
    ...     return x**3 - np.array([8.0, 27.0])
    >>> zero, four = np.zeros(2), np.full(2, 4.0)
    >>> rising_root(excess, (zero, excess(zero)), (four, excess(four))).round(12)
    array([2., 3.])
    """
    (a, fa), (b, fb) = high, low
    share = np.where(fa - fb > 0, fa / np.where(fa - fb > 0, fa - fb, 1.0), 0.5)
    share = np.clip(share, 1e-3, 1 - 1e-3)
    for _ in range(100):
        x = a + share * (b - a)
        fx = excess(x)
        same = (fx >= 0) == (fa >= 0)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        is_a_best = np.abs(fa) < np.abs(fb)
        width = np.abs(b - a)
        least = 1e-14 * (np.abs(a) + np.abs(b)) + 1e-300
        if ((width <= 2 * least) | (fa == 0) | (fb == 0)).all():
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            step = fa / (fb - fa) * fc / (fb - fc)
            step += (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            is_safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi) & np.isfinite(step)
            margin = np.minimum(least / width, 0.5)
        share = np.clip(np.where(is_safe, step, 0.5), margin, 1 - margin)
        share = np.where(np.isfinite(share), share, 0.5)
    root = np.where(is_a_best, a, b)
    return np.where(low[1] >= 0, low[0], root)
