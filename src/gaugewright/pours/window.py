"""The last seconds of a reading: mean, noise, slope, swing, and whether they can be told.

A window as short as asked for, or up to four times as long where the noise leaves more
in doubt than may be missing.
"""

from dataclasses import dataclass
from math import ceil, isfinite, sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from gaugewright.errors import InputError
from gaugewright.pours.noise import (
    Swing,
    detrended,
    noise_sd,
    r_statistic,
    swing_of,
    thin_by,
    without_swing,
)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SteadySettings:
    """What counts as steady.  The defaults suit a reading of whole counts at 10 per second."""

    window_s: float = 8.0
    """Stretch over which the reading must be steady, and over which the mean is taken. [s]"""
    history_s: float = 120.0
    """Stretch that is kept, to see slow changes. [s]"""
    tolerance_counts: float = 1.0
    """What may still be missing of the end value, or the noise if that is larger. [counts]"""
    resolution_counts: float = 1.0
    """Smallest step of the reading. [counts]"""
    averaging_s: float = 0.01
    """Time over which the sensor averages, if it is known to be long. [s]

    The memory of the noise is measured; but one of more than a tenth of the window
    cannot be told from a slow drift, unless it is said.
    """
    least_samples: int = 20
    """Readings needed, however long a slow instrument takes to send them."""
    most_samples: int = 4096
    """Samples kept; the history is shorter if they come faster than that allows."""
    swing_limit_counts: float = 10.0
    """Amplitude of a swing above which nothing is recorded. [counts]"""
    slow_s: float = 30.0
    """Time constant from which an approach is called very slow. [s]"""

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        for name in self.__slots__:
            value = getattr(self, name)
            if not (isfinite(value) and value > 0):
                raise InputError(f"must be above 0, found {value}", field=name)
        if self.history_s < self.window_s:
            raise InputError(
                f"must be at least window_s ({self.window_s:g} s), found {self.history_s:g} s",
                field="history_s",
            )


SURE = 0.9975
"""Probability up to which a slope or a step is put down to noise, on each side. [1]"""

SURE_OF_STEP = 0.9995
"""The same for each of the four steps that are looked for. [1]"""

LEAST_INDEPENDENT = 10
"""Independent readings from which the ratio of variances means something."""

DEFAULTS = SteadySettings()


@dataclass(frozen=True, slots=True)
class Window:
    """What the last seconds show."""

    seconds: float
    mean: float
    sd_mean: float
    noise: float
    slope: float
    u_slope: float
    lag: int
    step_s: float
    swing: Swing | None
    is_flat: bool
    is_drifting: bool
    """The slope is more than the noise makes once in two hundred windows."""
    has_step: bool


def latest(t: Floats, seconds: float, settings: SteadySettings) -> npt.NDArray[np.bool_]:
    """Mark the readings of the last seconds, or as many as are needed if they come slowly."""
    inside: npt.NDArray[np.bool_] = t >= min(
        t[-1] - seconds, t[-min(len(t), settings.least_samples)]
    )
    return inside


def window_of(t: Floats, x: Floats, settings: SteadySettings) -> Window:
    """Look at the window, and at a longer one where noise leaves too much in doubt."""
    for times in (1, 2, 4):
        inside = latest(t, times * settings.window_s, settings)
        before = (t >= t[-1] - 2 * times * settings.window_s) & ~inside
        window = _window(t[inside], x[inside], x[before], settings)
        is_all = inside.all()
        # What the slope could still hide, against what may be missing.
        hidden = window.u_slope * window.seconds
        if is_all or hidden <= 0.75 * max(settings.tolerance_counts, window.noise):
            break
    return window


def _window(t: Floats, x: Floats, before: Floats, settings: SteadySettings) -> Window:
    step_s = float(t[-1] - t[0]) / (len(t) - 1)
    residuals = detrended(x)
    swing = _swing(residuals, before, step_s, settings)
    calm = x
    if swing is not None:
        calm = without_swing(x, residuals, swing, step_s)
        residuals = detrended(calm)
    lag = max(thin_by(residuals), min(ceil(settings.averaging_s / step_s), len(x) // 4))
    noise = noise_sd(residuals, lag, settings.resolution_counts)
    slope, u_slope = line_of(t, calm, lag)
    sd_mean = noise * sqrt(lag / len(t))
    if noise < 0.5 * settings.resolution_counts:
        # Noise that does not reach the next count cannot average the rounding away.
        sd_mean = sqrt(sd_mean**2 + settings.resolution_counts**2 / 12)
    return Window(
        float(t[-1] - t[0]),
        float(calm.mean()),
        sd_mean,
        noise,
        slope,
        u_slope,
        lag,
        step_s,
        swing,
        bool((x == x[0]).all()),
        abs(slope) > float(stdtrit(_free(len(t), lag), SURE)) * u_slope,
        _has_step(calm, noise, lag),
    )


def _swing(
    residuals: Floats, before: Floats, step_s: float, settings: SteadySettings
) -> Swing | None:
    """Return a swing that the window before shows too, or one too large to be noise.

    Noise that hangs together makes a wave now and then, but not the same one twice.
    """
    swing = swing_of(residuals, step_s, settings.resolution_counts)
    if swing is None or swing.amplitude_counts > settings.swing_limit_counts:
        return swing
    if len(before) < 0.8 * len(residuals):
        return None
    earlier = swing_of(detrended(before), step_s, 0.5 * swing.amplitude_counts)
    if earlier is None or abs(earlier.hz - swing.hz) > 1 / (len(residuals) * step_s):
        return None
    return swing


def line_of(t: Floats, x: Floats, lag: int) -> tuple[float, float]:
    """Slope by least squares and its standard uncertainty, independent every ``lag``."""
    dt = t - t.mean()
    squares = float(dt @ dt)
    slope = float(dt @ x) / squares
    left = x - x.mean() - slope * dt
    return slope, sqrt(float(left @ left) / _free(len(x), lag) / squares)


def _free(samples: int, lag: int) -> float:
    """Degrees of freedom of a line through samples that are independent every ``lag``."""
    return max(samples / lag - 2, 1.0)


def _has_step(x: Floats, noise: float, lag: int) -> bool:
    """Whether the end of the window lies elsewhere than the rest."""
    sure = float(stdtrit(_free(len(x), lag), SURE_OF_STEP))
    for share in (4, 8, 16, 32):
        last = len(x) // share
        if last < max(3, lag // 2):
            return False
        gap = abs(float(x[-last:].mean() - x[:-last].mean()))
        if gap > sure * noise * sqrt(lag / last + lag / (len(x) - last)):
            return True
    return False


def ratio_of(t: Floats, x: Floats, window: Window) -> float | None:
    """R over the last readings, thinned until they are independent."""
    if window.swing is not None:
        # A swing is not noise: R would measure it and nothing else.
        return None
    inside = x[t >= t[-1] - window.seconds]
    thinned = inside[::-1][:: window.lag][::-1]
    if len(thinned) < LEAST_INDEPENDENT or window.noise == 0:
        return None
    return float(r_statistic(thinned, start_sd=window.noise)[-1])
