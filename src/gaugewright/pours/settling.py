"""How a reading settles after a pour: towards what, how fast, and how far it still is.

The fuel in a probe's tube runs after the fuel in the tank through a small hole, and
reaches it exponentially; a second, slower exponential is a second tank behind a pipe.
"""

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import erfc

from gaugewright.pours.noise import MAD_TO_SD

Floats = npt.NDArray[np.float64]

SHORTEST_S, LONGEST_S = 6.0, 120.0
_BINS = 48
_STEPS = 12
_TAUS = 16
_REFINEMENTS = 2
LEAST_NOISE = 0.05
"""Below this, rounding and not noise decides whether a curve fits. [counts]"""


@dataclass(frozen=True, slots=True)
class Settling:
    """An exponential approach, seen over the last ``window_s``."""

    window_s: float
    tau_s: float
    """Time constant; the longer one if there are two. [s]"""
    fast_tau_s: float | None
    """The shorter time constant, if there are two. [s]"""
    remaining_counts: float
    """How far the reading still has to go, negative if down. [counts]"""
    span_counts: float
    """How far the approach has brought it within the window. [counts]"""
    noise_counts: float
    """Noise of the averages that were fitted. [counts]"""
    share_beyond: float
    """Probability that more than the tolerance remains. [1]"""


def settling_of(
    time_s: Floats,
    counts: Floats,
    apart_s: float,
    noise_counts: float,
    tolerance_counts: float,
) -> Settling | None:
    """Fit the longest stretch up to now that one or two exponentials explain.

    ``apart_s`` is the time after which two readings are independent, ``noise_counts``
    the noise of one.  None if there are too few readings, or if no stretch is explained.

    >>> t = np.arange(0, 30, 0.1)
    >>> noise = np.random.default_rng(1).normal(size=300)
    >>> s = settling_of(t, 1000 - 200 * np.exp(-t / 10) + noise, 0.1, 1.0, 1.0)
    >>> 9 < s.tau_s < 11, 7 < s.remaining_counts < 13, s.share_beyond > 0.99
    (True, True, True)
    """
    age_s = time_s[-1] - time_s
    longest_s = min(float(age_s[0]), LONGEST_S)
    if longest_s < SHORTEST_S:
        return None
    best: Settling | None = None
    misfits = 0
    for window_s in np.geomspace(SHORTEST_S, longest_s, _STEPS):
        inside = age_s <= window_s
        width_s = max(apart_s, window_s / _BINS)
        expected = noise_counts * sqrt(apart_s / width_s)
        binned = _binned(age_s[inside], counts[inside], width_s, expected)
        if binned is None:
            continue
        found = _fit(*binned, float(window_s), tolerance_counts)
        best = found or best
        misfits = 0 if found else misfits + 1
        if misfits == 3 and best is not None:
            # What went before is another process; longer stretches hold it too.
            break
    return best


def _binned(
    age_s: Floats, counts: Floats, width_s: float, expected: float
) -> tuple[Floats, Floats, float] | None:
    """Average into bins; return their ages, means and noise, never less than expected."""
    place = (age_s / width_s).astype(np.intp)
    size = np.bincount(place)
    full = size >= max(1, int(size.max()) // 2)
    if full.sum() < 10:
        return None
    age = np.bincount(place, age_s)[full] / size[full]
    mean = np.bincount(place, counts)[full] / size[full]
    # Second differences are blind to a drift and nearly so to a bend.
    bend = mean[2:] - 2 * mean[1:-1] + mean[:-2]
    seen = MAD_TO_SD * float(np.median(np.abs(bend))) / sqrt(6)
    noise = max(seen, expected, LEAST_NOISE)
    return age, mean, noise


def _decays(age_s: Floats, taus: Floats) -> Floats:
    """Exponentials that are 1 at the old end, so that their size is the span."""
    result: Floats = np.exp((age_s[None, :] - age_s.max()) / taus[:, None])
    return result


def _fit(
    age_s: Floats, counts: Floats, noise: float, window_s: float, tolerance_counts: float
) -> Settling | None:
    coarse = _geometric(0.6, 2 * window_s, _TAUS)
    one = _solve_one(age_s, counts, coarse)
    for _ in range(_REFINEMENTS):
        # A large approach tells the time constant far better than the first steps do.
        k = int(one.squares.argmin())
        ends = one.taus[max(k - 1, 0)], one.taus[min(k + 1, len(one.taus) - 1)]
        one = one.and_(_solve_one(age_s, counts, _geometric(*ends, 10)[1:-1]))
    k = int(one.squares.argmin())
    if not _explains(float(one.squares[k]), len(counts) - 3, noise):
        return _fit_two(coarse, age_s, counts, noise, window_s, tolerance_counts)
    logs = np.log(one.taus)
    shares = np.gradient(logs) * np.exp(-(one.squares - one.squares[k]) / (2 * noise**2))
    shares /= shares.sum()
    left = np.exp(-age_s.max() / one.taus)
    remaining = -one.size * left
    root = sqrt(2) * noise * one.size_sd * left
    beyond = 0.5 * sum(
        erfc((tolerance_counts + side * remaining) / np.maximum(root, np.finfo(float).tiny))
        for side in (-1, 1)
    )
    return Settling(
        window_s,
        exp(float(shares @ logs)),
        None,
        float(shares @ remaining),
        float(abs(one.size[k])),
        noise,
        float(shares @ beyond),
    )


def _geometric(first: float, last: float, number: int) -> Floats:
    """So many steps from first to last, each as many times the one before.

    >>> _geometric(1, 8, 4)
    array([1., 2., 4., 8.])
    """
    steps: Floats = first * (last / first) ** (np.arange(number) / (number - 1))
    return steps


@dataclass(frozen=True, slots=True)
class _Approaches:
    """One exponential each, for many time constants in rising order."""

    taus: Floats
    squares: Floats
    """Sum of squares that each leaves. [counts²]"""
    size: Floats
    """Their sizes. [counts]"""
    size_sd: Floats
    """The standard deviations of those for noise of 1."""

    def and_(self, more: "_Approaches") -> "_Approaches":
        """Return both, in order."""
        taus = np.concatenate([self.taus, more.taus])
        order = taus.argsort()
        return _Approaches(
            taus[order],
            np.concatenate([self.squares, more.squares])[order],
            np.concatenate([self.size, more.size])[order],
            np.concatenate([self.size_sd, more.size_sd])[order],
        )


def _solve_one(age_s: Floats, counts: Floats, taus: Floats) -> _Approaches:
    decays = _decays(age_s, taus)
    decays -= decays.mean(axis=1)[:, None]
    y = counts - counts.mean()
    # The least keeps a decay over before the first bin solvable and moves nothing else.
    spread = np.maximum((decays**2).sum(axis=1), 1e-10)
    size = decays @ y / spread
    left = y - size[:, None] * decays
    return _Approaches(taus, (left**2).sum(axis=1), size, 1 / np.sqrt(spread))


def _fit_two(
    coarse: Floats,
    age_s: Floats,
    counts: Floats,
    noise: float,
    window_s: float,
    tolerance_counts: float,
) -> Settling | None:
    fast, slow = (side.ravel() for side in np.meshgrid(coarse, coarse, indexing="ij"))
    ratio = coarse[1] / coarse[0]
    for turn in range(_REFINEMENTS + 1):
        apart = slow > 3 * fast
        fast, slow = fast[apart], slow[apart]
        if len(fast) == 0:
            return None
        terms = [np.ones((len(fast), len(age_s))), _decays(age_s, fast), _decays(age_s, slow)]
        two = _least_squares(np.stack(terms, axis=2), counts)
        k = int(np.argmin(two.squares))
        pair = np.array([fast[k], slow[k]])
        if turn < _REFINEMENTS:
            steps = ratio ** (np.linspace(-1, 1, 7) / 3**turn)
            fast, slow = (s.ravel() for s in np.meshgrid(pair[0] * steps, pair[1] * steps))
    amplitudes = two.last[k]
    free = len(counts) - 5
    is_pipe = amplitudes[0] * amplitudes[1] > 0 and (np.abs(amplitudes) > 4 * noise).all()
    if free < 5 or not is_pipe or not _explains(float(two.squares[k]), free, noise):
        return None
    if _least_hinged(_decays(age_s, coarse), len(counts), counts) <= two.squares[k]:
        # The end of the pour itself, a straight line, and then one exponential.
        return None
    left = np.exp(-age_s.max() / pair)
    remaining = float(-(amplitudes * left).sum())
    sd = noise * float(np.hypot(*(two.last_sd[k] * left)))
    return Settling(
        window_s,
        float(pair[1]),
        float(pair[0]),
        remaining,
        float(np.abs(amplitudes).sum()),
        noise,
        _outside(remaining, sd, tolerance_counts),
    )


def _least_hinged(decays: Floats, n: int, counts: Floats) -> float:
    """Sum of squares for the best exponential that follows a straight line."""
    rank = np.arange(n, dtype=np.float64)  # bins are ordered by age
    hinges = np.maximum(rank[None, :] - np.linspace(0.3, 0.9, 9)[:, None] * n, 0.0)
    ones = np.ones((len(decays), len(hinges), n))
    terms = [
        ones,
        np.broadcast_to(decays[:, None, :], ones.shape),
        np.broadcast_to(hinges[None, :, :], ones.shape),
    ]
    basis = np.stack(terms, axis=3).reshape(-1, n, 3)
    return float(_least_squares(basis, counts).squares.min())


def _explains(squares: float, free: int, noise: float) -> bool:
    """Whether the residuals are noise, at three standard deviations of chi-square."""
    return squares <= (free + 3 * sqrt(2 * free)) * noise**2


@dataclass(frozen=True, slots=True)
class _Solutions:
    squares: Floats
    last: Floats
    """Coefficients after the first, shape (models, terms - 1)."""
    last_sd: Floats
    """Their standard deviations for noise of 1."""


def _least_squares(basis: Floats, counts: Floats) -> _Solutions:
    """Solve many small problems at once; basis has shape (models, samples, terms)."""
    middle = counts.mean()
    y = counts - middle
    normal = basis.transpose(0, 2, 1) @ basis
    # A ridge of 1e-10 keeps nearly equal terms solvable and moves nothing else.
    normal += 1e-10 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(basis.shape[2])
    inverse = np.linalg.inv(normal)
    fit = (inverse @ (basis.transpose(0, 2, 1) @ y)[:, :, None])[:, :, 0]
    left = y[None, :] - (basis @ fit[:, :, None])[:, :, 0]
    sd = np.sqrt(np.maximum(np.diagonal(inverse, axis1=1, axis2=2), 0.0))
    return _Solutions((left**2).sum(axis=1), fit[:, 1:], sd[:, 1:])


def _outside(mean: float, sd: float, tolerance: float) -> float:
    """Probability that a normal quantity is beyond the tolerance, either way."""
    if sd <= 0:
        return float(abs(mean) > tolerance)
    root = sd * sqrt(2)
    return float(0.5 * (erfc((tolerance - mean) / root) + erfc((tolerance + mean) / root)))


def seconds_more(settling: Settling, tolerance_counts: float) -> float:
    """Time until less than the tolerance remains, if it goes on like this. [s]"""
    left = abs(settling.remaining_counts)
    return settling.tau_s * log(left / tolerance_counts) if left > tolerance_counts else 0.0
