"""The noise of a reading: how large, how it hangs together, does it swing, does it drift.

Pure functions over evenly sampled counts, oldest first.
"""

from dataclasses import dataclass
from math import ceil, inf, log, nan, sqrt

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]

MAD_TO_SD = 1.4826
"""Median absolute deviation to standard deviation, for normal noise."""

LAMBDAS = (0.2, 0.1, 0.1)
R_CRITICAL = {0.95: 1.440, 0.99: 1.730, 0.999: 2.157}
"""Critical values of R for `LAMBDAS`; 1.44 is published, the others were simulated.

176,000 values of white noise after burn-in; see `r_statistic` for the source.
"""


def r_statistic(
    counts: npt.ArrayLike,
    lambdas: tuple[float, float, float] = LAMBDAS,
    *,
    start_sd: float = 0.0,
) -> Floats:
    r"""Ratio of two estimates of the noise variance, from the second value on. [1]

    One estimate is the spread about a running mean, which a drift enlarges; the other
    comes from successive differences, which it hardly moves.  The ratio is near 1 when
    the process is steady.  Samples must be independent: `thin_by` says by how much to
    thin them.  ``start_sd`` starts both estimates at this noise, the running mean at the
    mean of the first five, so that few samples are enough.  Where nothing has ever
    changed the ratio is NaN, not 0 by 0.

    References
    ----------
    S. Cao, R. R. Rhinehart, "An efficient method for on-line identification of steady
    state", J. Process Control 5(6), 1995, 363-374.

    Examples
    --------
    >>> r_statistic([10.0, 10.2, 9.9, 10.1]).round(6)
    array([1.8     , 0.794286, 0.678039])
    >>> r_statistic([7, 7, 7])
    array([nan, nan])
    """
    x = np.asarray(counts, dtype=np.float64)
    if x.ndim != 1 or len(x) < 2:
        raise InputError(f"the ratio needs a row of at least 2 values, found {x.size}")
    l1, l2, l3 = lambdas
    filtered = float(x[:5].mean()) if start_sd else float(x[0])
    spread, steps = start_sd**2 * 2 / (2 - l1), 2 * start_sd**2
    ratios = np.empty(len(x) - 1)
    for n in range(1, len(x)):
        now, before = float(x[n]), float(x[n - 1])
        spread = l2 * (now - filtered) ** 2 + (1 - l2) * spread
        # In this form a value that stays puts no rounding error into the spread.
        filtered += l1 * (now - filtered)
        steps = l3 * (now - before) ** 2 + (1 - l3) * steps
        if steps > 0:
            ratios[n - 1] = (2 - l1) * spread / steps
        else:
            ratios[n - 1] = inf if spread > 0 else nan
    return ratios


def detrended(counts: Floats) -> Floats:
    """Return what is left after a line and the best exponential are taken away. [counts]

    A settling reading is both; a polynomial would leave a part of the bend, which
    would then look like noise with a long memory.

    >>> t = np.arange(80)
    >>> bool(abs(detrended(5 + 0.1 * t - 50 * np.exp(-t / 15.8))).max() < 1e-9)
    True
    """
    place = np.linspace(0.0, 1.0, len(counts))
    best = np.full(len(counts), inf)
    for tau in (0.05, 0.1, 0.2, 0.4, 0.8):
        basis = np.stack([np.ones_like(place), place, np.exp(-place / tau)], axis=1)
        fit, *_ = np.linalg.lstsq(basis, counts, rcond=None)
        left = counts - basis @ fit
        if float(left @ left) < float(best @ best):
            best = left
    return best


def thin_by(residuals: Floats, threshold: float = 0.2) -> int:
    """Return every how manieth sample is independent enough of the one before.

    That is the first lag at which the autocorrelation is under ``threshold``.  A sensor
    that averages 8 samples and sends each new one hangs together over about 7.

    >>> rng = np.random.default_rng(1)
    >>> thin_by(rng.normal(size=300))
    1
    >>> 6 <= thin_by(np.convolve(rng.normal(size=300), np.ones(8) / 8, "valid")) <= 10
    True
    """
    n = len(residuals)
    variance = float(residuals @ residuals)
    if n < 4 or variance <= 0:
        return 1
    most = max(2, n // 4)
    for lag in range(1, most):
        if float(residuals[lag:] @ residuals[:-lag]) / variance < threshold:
            # Taking a curve away hides some of the memory: leave a margin.
            return lag if lag == 1 else min(most, ceil(1.25 * lag))
    return most


def noise_sd(residuals: Floats, lag: int, resolution_counts: float) -> float:
    """Standard deviation of single readings, from what a smooth curve leaves. [counts]

    By the median, so that a few wild readings do not move it.  What the curve took from
    noise that hangs together over ``lag`` samples is given back.

    >>> rng = np.random.default_rng(1)
    >>> bool(abs(noise_sd(rng.normal(scale=2, size=4000), 1, 1.0) - 2) < 0.1)
    True
    """
    n = len(residuals)
    given_back = sqrt(n / max(n - 4 * lag, n / 3))
    robust = MAD_TO_SD * float(np.median(np.abs(residuals - np.median(residuals))))
    # With few counts of noise the median falls between two counts and says nothing.
    near = residuals[np.abs(residuals) <= 4 * max(robust, resolution_counts)]
    plain = float(np.std(near)) if len(near) > n // 2 else float(np.std(residuals))
    return given_back * (robust if robust >= 1.5 * resolution_counts else plain)


@dataclass(frozen=True, slots=True)
class Swing:
    """A periodic part of the reading."""

    hz: float
    amplitude_counts: float


def swing_of(residuals: Floats, step_s: float, least_counts: float) -> Swing | None:
    """Return the strongest periodic part, if it stands out of the noise.

    A peak must rise so far over the median of the spectrum around it that noise does it
    once in 10,000 windows, and have an amplitude of at least ``least_counts``.
    Frequencies above half the sampling rate are seen folded down, as with any sampling.

    >>> t = np.arange(80) * 0.1
    >>> noise = np.random.default_rng(1).normal(size=80)
    >>> swing = swing_of(5 * np.sin(2 * np.pi * 1.3 * t) + noise, 0.1, 1.0)
    >>> round(swing.hz, 1), round(swing.amplitude_counts)
    (1.3, 5)
    >>> swing_of(noise, 0.1, 1.0) is None
    True
    """
    n = len(residuals)
    if n < 32:
        return None
    power = np.abs(np.fft.rfft(residuals * np.hanning(n), 4 * n)) ** 2
    # Fewer than three periods cannot be told from a curve.
    first = 4 * 3
    best = first + int(np.argmax(power[first:]))
    near = np.abs(np.arange(len(power)) - best)
    around = power[(near > 12) & (near < max(48, len(power) // 3)) & (np.arange(len(power)) >= 8)]
    # Power of noise is exponential about its mean, which is the median over ln 2.
    enough = float(np.median(around)) / log(2) * log(len(power) / 4 / 1e-4)
    hz = best / (4 * n * step_s)
    amplitude = _amplitude(residuals, hz * step_s)
    if power[best] <= enough or amplitude < least_counts:
        return None
    return Swing(hz, amplitude)


def _wave(n: int, turns_per_sample: float) -> Floats:
    turn = 2 * np.pi * turns_per_sample * np.arange(n)
    result: Floats = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    return result


def _amplitude(residuals: Floats, turns_per_sample: float) -> float:
    fit, *_ = np.linalg.lstsq(_wave(len(residuals), turns_per_sample), residuals, rcond=None)
    return float(np.hypot(*fit))


def without_swing(counts: Floats, residuals: Floats, swing: Swing, step_s: float) -> Floats:
    """Return the counts with the periodic part taken away. [counts]"""
    wave = _wave(len(counts), swing.hz * step_s)
    fit, *_ = np.linalg.lstsq(wave, residuals, rcond=None)
    result: Floats = counts - wave @ fit
    return result
