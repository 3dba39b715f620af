"""Two series laid over each other: by how much one lags, averages and stretches the other.

The records are taken to be ``a + b * mean of the readings over [t - delay - width,
t - delay]``: a moving average of so many samples, seen late.  For every delay and width the
two straight-line coefficients follow by least squares; the best pair has the least sum of
squares, and its band is the profile likelihood interval (Bates and Watts, Nonlinear
Regression Analysis and Its Applications, 1988, chapter 6): all delays whose best sum is at
most ``1 + F(1, n - 4; 0.95) / (n - 4)`` times the least.  ``n`` is made smaller by the memory
that is left in what does not fit, ``n (1 - r) / (1 + r)`` for a lag-one correlation r > 0
(Bayley and Hammersley 1946, first order).
"""

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import fdtri, stdtrit

from gaugewright.pours.arrives.series import Far, Near

Floats = npt.NDArray[np.float64]

FEWEST: Final = 8
"""Records under which nothing is laid over."""
EARLIEST_S: Final = -5.0
"""Clocks of one moment may differ by so much: a record may seem to come before. [s]"""
WIDTHS_S: Final = (0.0, *np.geomspace(0.4, 160.0, 25).tolist())
"""Widths of the average that are tried. [s]"""
CLOCKS_S: Final = 0.7
"""What the records cannot tell, 95 %: when a reading was taken, and the average that the
readings themselves have, such as 8 samples at 10 each second (common practice). [s]"""
ROUNDING_95: Final = 1.96 / sqrt(12.0)
"""95 % half-width of a rounding, for each step of it (JCGM 100, 4.3.7)."""
_PARAMETERS: Final = 4


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with the ends of its 95 % band."""

    value: float
    low: float
    high: float

    @property
    def half(self) -> float:
        """Half the width of the band."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Alignment:
    """How the records follow the readings."""

    delay_s: Estimate
    """From a reading to the record that begins to show it. [s]"""
    width_s: Estimate
    """Width of the moving average beyond what the readings have. [s]"""
    slope: Estimate
    """Records' figure for each one of the readings'. [1]"""
    offset: Estimate
    """Records less readings at the middle of what was seen, in their unit."""
    r2: float
    """Share of the records' variance that the readings explain. [1]"""
    records: int
    """Records that lie within the readings."""
    effective: float
    """So many as if each told something new."""
    residual_sd: float


def align(near: Near, far: Far, most_delay_s: float) -> Alignment | None:
    """Lay records over readings; ``None`` where too few of them can be.

    >>> t = np.arange(0.0, 300.0, 0.5)
    >>> level = 100 + 50 * np.clip((t - 60) / 40, 0, 1) + np.sin(t)
    >>> far_t = np.arange(50.0, 300.0, 5.0)
    >>> far = Far(far_t, np.interp(far_t - 20.0, t, level))
    >>> found = align(Near(t, level), far, 120.0)
    >>> round(found.delay_s.value, 1), round(found.slope.value, 3)
    (20.0, 1.0)
    """
    if len(near.times_s) < FEWEST or len(far.values) < FEWEST:
        return None
    mean = _Mean(near)
    delays = np.arange(EARLIEST_S, most_delay_s + 1.0, 1.0)
    rough = _best(mean, far, delays, np.array(WIDTHS_S[::4]))
    if rough is None:
        return None
    for reach_s, fineness_s in ((6.0, 0.25), (1.0, 0.05)):
        near_by = np.arange(rough.delay_s - reach_s, rough.delay_s + reach_s, fineness_s)
        rough = _best(mean, far, near_by, _widths_near(rough.width_s)) or rough
    return _told(mean, far, rough, most_delay_s)


class _Mean:
    """The mean of the readings over any stretch, by one running sum."""

    def __init__(self, near: Near) -> None:
        t, v = near.times_s, near.values
        self.first_s, self.last_s = float(t[0]), float(t[-1])
        self._t, self._v = t, v
        self._sum = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(t))])

    def over(self, until_s: Floats, width_s: float) -> Floats:
        """Return the mean over ``[until - width, until]``, NaN where readings are missing."""
        if width_s <= 0:
            found = np.interp(until_s, self._t, self._v)
        else:
            found = (self._area(until_s) - self._area(until_s - width_s)) / width_s
        inside = (until_s - width_s >= self.first_s) & (until_s <= self.last_s)
        result: Floats = np.where(inside, found, np.nan)
        return result

    def _area(self, at_s: Floats) -> Floats:
        # Between two readings the running sum is a parabola.
        k = np.clip(np.searchsorted(self._t, at_s) - 1, 0, len(self._t) - 2)
        into = at_s - self._t[k]
        slope = (self._v[k + 1] - self._v[k]) / (self._t[k + 1] - self._t[k])
        result: Floats = self._sum[k] + into * (self._v[k] + 0.5 * slope * into)
        return result


@dataclass(frozen=True, slots=True)
class _Fit:
    """The least squares of one delay and width."""

    delay_s: float
    width_s: float
    share: float
    """Sum of squares left for each record."""


def _widths_near(width_s: float) -> Floats:
    """Return widths around one, finely."""
    if width_s <= 0:
        return np.concatenate([[0.0], np.geomspace(0.1, 2.0, 8)])
    found: Floats = np.concatenate([[0.0], width_s * np.geomspace(0.6, 1.6, 15)])
    return found


def _best(mean: _Mean, far: Far, delays: Floats, widths: Floats) -> _Fit | None:
    shares = _shares(mean, far, delays, widths)
    if not np.isfinite(shares).any():
        return None
    d, w = np.unravel_index(np.nanargmin(shares), shares.shape)
    return _Fit(float(delays[d]), float(widths[w]), float(shares[d, w]))


def _shares(mean: _Mean, far: Far, delays: Floats, widths: Floats) -> Floats:
    """Return the mean square that is left for each delay and width; NaN: too few records.

    A delay that leaves out most of what moved is not looked at: where nothing moves, any
    delay seems to explain everything.
    """
    moved = 0.5 * float(((far.values - far.values.mean()) ** 2).sum())
    shares = np.full((len(delays), len(widths)), np.nan)
    until = far.times_s[None, :] - delays[:, None]
    y = np.broadcast_to(far.values, until.shape)
    for place, width in enumerate(widths):
        x = mean.over(until, float(width))
        known = np.isfinite(x)
        n = known.sum(axis=1)
        enough = n >= np.maximum(FEWEST, 0.5 * len(far.values))
        with np.errstate(invalid="ignore", divide="ignore"):
            x0 = np.where(known, x, 0.0)
            y0 = np.where(known, y, 0.0)
            mx, my = x0.sum(axis=1) / n, y0.sum(axis=1) / n
            dx = np.where(known, x - mx[:, None], 0.0)
            dy = np.where(known, y - my[:, None], 0.0)
            sxx, sxy, syy = (dx * dx).sum(1), (dx * dy).sum(1), (dy * dy).sum(1)
            left = syy - np.where(sxx > 0, sxy * np.maximum(sxy, 0.0) / sxx, 0.0)
            enough &= syy >= moved
            shares[:, place] = np.where(enough, np.maximum(left, 0.0) / n, np.nan)
    return shares


def _told(mean: _Mean, far: Far, best: _Fit, most_delay_s: float) -> Alignment | None:
    """Return the best fit with the bands of all that it says."""
    x = mean.over(far.times_s - best.delay_s, best.width_s)
    known = np.isfinite(x)
    x, y = x[known], far.values[known]
    n = len(x)
    if n < FEWEST:
        return None
    dx, dy = x - x.mean(), y - y.mean()
    sxx, syy = float(dx @ dx), float(dy @ dy)
    slope = float(dx @ dy) / sxx if sxx > 0 else 0.0
    left = dy - slope * dx
    effective = max(n * _news(left), _PARAMETERS + 1.0)
    free = effective - _PARAMETERS
    spread = float(left @ left) / n * effective / free
    # Rounding to whole figures is never less than this, however well a line fits.
    floor = 1e-12 + 1e-9 * syy / n
    ratio = 1 + float(fdtri(1, free, 0.95)) / free
    delay, width = _profile(mean, far, best, max(best.share, floor) * ratio, most_delay_s)
    t95 = float(stdtrit(free, 0.975))
    rounding = ROUNDING_95 * _step_of(y)
    # While the fuel stands, rounding errs alike in every record: it does not average out.
    lever = 0.5 * float(np.ptp(x))
    u_slope = u_offset = float("inf")
    if sxx > 0:
        u_slope = hypot(t95 * sqrt(spread / sxx * n / effective), rounding / lever)
        u_offset = hypot(t95 * sqrt(spread / effective), rounding)
    middle = float(y.mean() - x.mean())
    return Alignment(
        delay_s=delay,
        width_s=width,
        slope=Estimate(slope, slope - u_slope, slope + u_slope),
        offset=Estimate(middle, middle - u_offset, middle + u_offset),
        r2=1 - float(left @ left) / syy if syy > 0 else 0.0,
        records=n,
        effective=effective,
        residual_sd=sqrt(spread),
    )


def _step_of(values: Floats) -> float:
    """Return the least step between figures that occur, 0 if there is but one."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if len(steps) else 0.0


def _news(left: Floats) -> float:
    """Return the share of records that tell something new, by their lag-one correlation."""
    square = float(left @ left)
    if len(left) < 3 or square <= 0:
        return 1.0
    r = float(left[1:] @ left[:-1]) / square
    return (1 - r) / (1 + r) if r > 0 else 1.0


def _profile(
    mean: _Mean, far: Far, best: _Fit, limit: float, most_delay_s: float
) -> tuple[Estimate, Estimate]:
    """Return the bands of delay and width: all whose best sum of squares is within the limit."""
    widths = np.unique([best.width_s, *WIDTHS_S[::2], *_widths_near(best.width_s)[::2]])
    found: set[tuple[float, float]] = {(best.delay_s, best.width_s)}
    # Narrow first and finely; wide only if the narrow reach does not hold the whole band.
    for reach_s in (1.0, 5.0, 30.0, 150.0):
        low = max(EARLIEST_S, best.delay_s - reach_s)
        delays = np.linspace(low, min(best.delay_s + reach_s, most_delay_s + 1.0), 41)
        within = _shares(mean, far, delays, widths) <= limit
        found |= {(float(delays[d]), float(widths[w])) for d, w in np.argwhere(within)}
        if not (within[0].any() or within[-1].any()):
            break
    by_delay, by_width = [d for d, _ in found], [w for _, w in found]
    return (
        _ends(best.delay_s, min(by_delay), max(by_delay), CLOCKS_S, EARLIEST_S),
        _ends(best.width_s, min(by_width), max(by_width), CLOCKS_S, 0.0),
    )


def _ends(value: float, low: float, high: float, beside: float, least: float) -> Estimate:
    """Return a band with what else is not known added in squares."""
    return Estimate(
        value,
        max(value - sqrt((value - low) ** 2 + beside**2), least),
        value + sqrt((high - value) ** 2 + beside**2),
    )
