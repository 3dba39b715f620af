"""Allan deviation: how far neighbouring averages of a reading differ, for each averaging time.

Source of all formulas: W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST
Special Publication 1065, 2008, section 5; what is called frequency there is any reading
here. A gap is a NaN: what would reach across it is left out, nothing is filled in.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import comb, sqrt
from typing import Final

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

EXPONENTS: Final = (2, 1, 0, -1, -2)
"""Noise by the exponent of its spectrum: white and flicker phase, white reading, flicker
reading, random walk of the reading (SP 1065, 3.1)."""
_LEAST_TO_IDENTIFY: Final = 30
"""Fewest averages from which the exponent can be told (SP 1065, 5.5.3)."""


class AllanKind(StrEnum):
    """Which of the handbook's deviations."""

    PLAIN = "plain"
    OVERLAPPING = "overlapping"
    MODIFIED = "modified"
    TIME = "time"
    HADAMARD = "hadamard"
    OVERLAPPING_HADAMARD = "overlapping hadamard"

    @property
    def order(self) -> int:
        """Of the differences of the summed readings: a drift falls out of the third."""
        is_third = self in (AllanKind.HADAMARD, AllanKind.OVERLAPPING_HADAMARD)
        return 3 if is_third else 2

    @property
    def is_averaged(self) -> bool:
        """Whether the differences are averaged over the averaging time once more."""
        return self in (AllanKind.MODIFIED, AllanKind.TIME)

    @property
    def is_overlapping(self) -> bool:
        """Whether the averages start at every reading, not only where the last one ended."""
        return self not in (AllanKind.PLAIN, AllanKind.HADAMARD)


@dataclass(frozen=True, slots=True)
class Deviation:
    """One point of an Allan curve."""

    tau_s: float
    """Averaging time. [s]"""
    deviation: float
    """In the unit of the readings; times seconds for the time deviation."""
    low: float
    high: float
    """Ends of the confidence interval."""
    exponent: int
    """Kind of noise that the interval is for, one of `EXPONENTS`."""
    degrees_of_freedom: float
    terms: int
    """Differences that it is the mean of."""


def allan_deviation(
    readings: npt.ArrayLike,
    period_s: float,
    averaging: int,
    kind: AllanKind = AllanKind.OVERLAPPING,
    *,
    exponent: int | None = None,
    probability: float = 0.95,
) -> Deviation | None:
    """Return the deviation of averages of ``averaging`` readings each.

    Parameters
    ----------
    readings : array_like, shape (n,)
        At even times in any unit; NaN where there is none.
    period_s : float
        From one reading to the next. [s]
    averaging : int
        Readings in one average.
    kind : AllanKind
        Which of the deviations.
    exponent : int, optional
        Kind of noise; identified from the readings where it is not given.
    probability : float
        Of the confidence interval (chi-squared: SP 1065, eq. 46).

    Returns
    -------
    Deviation or None
        None where no stretch without a gap is long enough.

    Examples
    --------
    The nine points of SP 1065's small test suite.

    >>> nine = [892, 809, 823, 798, 671, 644, 883, 903, 677]
    >>> round(allan_deviation(nine, 1.0, 2).deviation, 5)
    85.95287
    >>> gap = nine[:4] + [float("nan")] + nine[5:]
    >>> allan_deviation(gap, 1.0, 2).terms
    2
    """
    values = _checked(readings, period_s, averaging, exponent, probability)
    terms, is_whole = _terms(values, averaging, kind)
    found = terms[is_whole]
    if found.size == 0:
        return None
    tau_s = averaging * period_s
    variance = float(np.mean(found * found)) / comb(2 * kind.order - 2, kind.order - 1)
    deviation = sqrt(variance) / averaging
    scale = tau_s / sqrt(3.0) if kind is AllanKind.TIME else 1.0
    told = noise_exponent(values, averaging) if exponent is None else exponent
    told = 0 if told is None else told
    freedom = _freedom(is_whole, averaging, kind, told)
    low, high = _interval(deviation, freedom, probability)
    return Deviation(
        tau_s, scale * deviation, scale * low, scale * high, told, freedom, int(found.size)
    )


def allan_curve(
    readings: npt.ArrayLike,
    period_s: float,
    kind: AllanKind = AllanKind.OVERLAPPING,
    *,
    per_octave: int = 1,
    probability: float = 0.95,
) -> tuple[Deviation, ...]:
    """Return the deviation at averaging times that double, up to a quarter of the readings.

    Where too few averages are left to identify the noise, it is taken to be what it was at
    the last time at which it could be (SP 1065, 5.5.3).

    >>> rng = np.random.default_rng(1)
    >>> curve = allan_curve(rng.normal(0, 1, 4096), 10.0)
    >>> [round(point.deviation, 1) for point in curve[:5]]
    [1.0, 0.7, 0.5, 0.4, 0.2]
    """
    values = _checked(readings, period_s, 1, None, probability)
    longest = values.size // 4
    if longest < 1:
        return ()
    octaves = int(np.log2(longest) * per_octave + 1e-9)
    steps = np.unique(np.rint(2.0 ** (np.arange(octaves + 1) / per_octave)).astype(int))
    points = []
    exponent: int | None = None
    for averaging in steps.tolist():
        identified = noise_exponent(values, averaging)
        exponent = exponent if identified is None else identified
        point = allan_deviation(
            values, period_s, averaging, kind, exponent=exponent or 0, probability=probability
        )
        if point is not None:
            points.append(point)
    return tuple(points)


def noise_exponent(readings: npt.ArrayLike, averaging: int = 1) -> int | None:
    """Return the kind of noise from the lag-one autocorrelation (SP 1065, 5.5.3).

    None where fewer than 30 averages are left, or where they do not scatter at all.

    >>> rng = np.random.default_rng(2)
    >>> white = rng.normal(0, 1, 5000)
    >>> noise_exponent(white), noise_exponent(np.cumsum(white)), noise_exponent(np.diff(white))
    (0, -2, 2)
    """
    values = np.asarray(readings, dtype=np.float64)
    whole = values.size // averaging
    z = values[: whole * averaging].reshape(whole, averaging).mean(axis=1)
    for differences in range(2):
        if np.isfinite(z).sum() < _LEAST_TO_IDENTIFY:
            return None
        z = z - np.nanmean(z)
        power = np.nansum(z * z)
        both = np.isfinite(z[1:]) & np.isfinite(z[:-1])
        if power <= 0.0 or not both.any():
            return None
        # With gaps fewer products than squares are there: each is compared by its mean.
        share = np.isfinite(z).sum() / (both.sum() + 1)
        r = float(np.sum(z[1:][both] * z[:-1][both]) * share / power)
        delta = r / (1.0 + r)
        if delta < 0.25 or differences == 1:
            return int(np.clip(-round(2.0 * delta) - 2 * differences, -2, 2))
        z = np.diff(z)
    return None


def _checked(
    readings: npt.ArrayLike,
    period_s: float,
    averaging: int,
    exponent: int | None,
    probability: float,
) -> Floats:
    values = np.asarray(readings, dtype=np.float64)
    if values.ndim != 1:
        raise InputError(f"one row of readings was wanted, found shape {values.shape}")
    if not period_s > 0:
        raise InputError(f"must be above 0 s, found {period_s:g}", field="period_s")
    if averaging < 1:
        raise InputError(f"must be at least 1 reading, found {averaging}", field="averaging")
    if exponent is not None and exponent not in EXPONENTS:
        raise InputError(f"must be one of {EXPONENTS}, found {exponent}", field="exponent")
    if not 0 < probability < 1:
        raise InputError(f"must be between 0 and 1, found {probability:g}", field="probability")
    return values


def _terms(values: Floats, averaging: int, kind: AllanKind) -> tuple[Floats, Bools]:
    """Differences of the summed readings at the averaging time, and which are whole."""
    is_gap = ~np.isfinite(values)
    centre = float(np.mean(values[~is_gap])) if not is_gap.all() else 0.0
    summed = np.concatenate([[0.0], np.cumsum(np.where(is_gap, 0.0, values - centre))])
    gaps = np.concatenate([[0], np.cumsum(is_gap)])
    reach = kind.order * averaging
    count = values.size - reach + 1
    if count < 1:
        return np.zeros(0), np.zeros(0, dtype=np.bool_)
    terms = np.zeros(count)
    for j, factor in enumerate(_difference(kind.order)):
        terms += factor * summed[j * averaging : j * averaging + count]
    if kind.is_averaged:
        count -= averaging - 1
        if count < 1:
            return np.zeros(0), np.zeros(0, dtype=np.bool_)
        running = np.concatenate([[0.0], np.cumsum(terms)])
        terms = (running[averaging:] - running[:-averaging]) / averaging
        reach += averaging - 1
    is_whole = gaps[reach : reach + count] == gaps[:count]
    if kind.is_overlapping:
        return terms, is_whole
    return terms[::averaging], is_whole[::averaging]


def _difference(order: int) -> list[int]:
    """Factors of a difference of this order: 1 -2 1, -1 3 -3 1."""
    return [(-1) ** (order - j) * comb(order, j) for j in range(order + 1)]


def _freedom(is_whole: Bools, averaging: int, kind: AllanKind, exponent: int) -> float:
    """Equivalent degrees of freedom: 2 mean² / variance of the estimate, for normal noise.

    The exact sum over all pairs of terms behind the closed forms of SP 1065, table 5 (C. A.
    Greenhall and W. J. Riley, Uncertainty of stability variances based on finite
    differences, PTTI 2003); with gaps the pairs that are there are counted.
    """
    correlation = _correlation(is_whole.size, averaging, kind, exponent)
    size = 1 << int(np.ceil(np.log2(2 * is_whole.size)))
    spectrum = np.fft.rfft(is_whole.astype(np.float64), size)
    pairs = np.fft.irfft(np.abs(spectrum) ** 2, size)[: is_whole.size]
    weights = np.where(np.arange(is_whole.size) == 0, 1.0, 2.0) * np.rint(pairs)
    total = float(is_whole.sum())
    return max(1.0, total * total / float(np.sum(weights * correlation**2)))


def _correlation(count: int, averaging: int, kind: AllanKind, exponent: int) -> Floats:
    """Autocorrelation of the terms at each lag, shape (count,)."""
    stride = 1 if kind.is_overlapping else averaging
    margin = averaging - 1 if kind.is_averaged else 0
    lags = np.arange(-margin, (count - 1) * stride + margin + 1, dtype=np.float64)
    order = kind.order
    found = np.zeros(lags.size)
    for j, factor in enumerate(_difference(2 * order)):
        found += (-1) ** order * factor * _structure(lags + (j - order) * averaging, exponent)
    if margin:
        triangle = np.convolve(np.ones(averaging), np.ones(averaging)) / averaging**2
        found = np.convolve(found, triangle, mode="valid")
    else:
        found = found[::stride]
    result: Floats = found / found[0]
    return result


def _structure(lag: Floats, exponent: int) -> Floats:
    """Generalised autocovariance of the summed readings, up to a factor (Greenhall 2003)."""
    t = np.abs(lag)
    if exponent == 2:
        return np.asarray(t == 0.0, dtype=np.float64)
    if exponent == 0:
        return -t
    if exponent == -2:
        return t**3
    logs = np.log(np.where(t > 0.0, t, 1.0))
    if exponent == -1:
        return t * t * logs
    # Flicker of the sum has no finite value at lag 0; one reading's width stands for it.
    return np.where(t > 0.0, -logs, 1.0)


def _interval(deviation: float, freedom: float, probability: float) -> tuple[float, float]:
    from scipy.special import gammaincinv  # loaded late: the watch seldom asks for a curve

    tail = 0.5 * (1.0 - probability)
    most, least = (2.0 * float(gammaincinv(0.5 * freedom, p)) for p in (1.0 - tail, tail))
    return deviation * sqrt(freedom / most), deviation * sqrt(freedom / least)
