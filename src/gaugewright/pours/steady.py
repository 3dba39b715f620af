"""Is the reading steady, and if not, why not and for how long.

The published test for steady state is the ratio of variances (`noise.r_statistic`).  It
sees a change within its memory of some ten samples; a slow approach hides from it, so
the slope over the window and the exponential approach over the last minutes are looked
at as well.  Everything is measured against the reading's own noise.
"""

from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.pours.noise import R_CRITICAL
from gaugewright.pours.settling import Settling, seconds_more, settling_of
from gaugewright.pours.window import (
    DEFAULTS,
    SteadySettings,
    Window,
    latest,
    line_of,
    ratio_of,
    window_of,
)
from gaugewright.words import said

__all__ = [
    "DEFAULTS",
    "Note",
    "NoteKind",
    "Steadiness",
    "SteadySettings",
    "SteadyWatch",
    "Verdict",
    "steadiness",
]

Floats = npt.NDArray[np.float64]


MOST_HIDDEN = 1.25
"""Drift over the window that noise may hide, in tolerances, for a verdict of steady. [1]"""


class Verdict(StrEnum):
    """What the reading is."""

    STEADY = "steady"
    NOT_STEADY = "not_steady"
    TOO_EARLY = "too_early"


class NoteKind(StrEnum):
    """What else is seen."""

    VENT_BLOCKED = "vent_blocked"
    BALANCE_PIPE = "balance_pipe"
    PERIODIC = "periodic"
    FROZEN = "frozen"


@dataclass(frozen=True, slots=True)
class Note:
    """Something that the person should know, in one sentence."""

    kind: NoteKind
    message: str
    hz: float | None = None
    """Frequency of a periodic disturbance. [Hz]"""
    tau_s: float | None = None
    """Time constant of a slow approach. [s]"""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """The verdict and everything it rests on; None where too little has been seen."""

    verdict: Verdict
    reason: str
    mean_counts: float | None = None
    sd_mean_counts: float | None = None
    """Standard deviation of the mean, with the noise's memory counted. [counts]"""
    noise_sd_counts: float | None = None
    """Standard deviation of one reading. [counts]"""
    slope_counts_s: float | None = None
    u_slope_counts_s: float | None = None
    seconds_more: float | None = None
    """About how long until it is steady, where that can be said. [s]"""
    r: float | None = None
    """Ratio of variances over the thinned readings. [1]"""
    thinned_by: int | None = None
    notes: tuple[Note, ...] = ()


def steadiness(
    time_s: npt.ArrayLike,
    counts: npt.ArrayLike,
    settings: SteadySettings = DEFAULTS,
    *,
    was_steady: bool | None = None,
) -> Steadiness:
    """Judge a stretch of readings at its end.

    ``time_s`` rises, on a clock that does not jump; ``counts`` has the same length.
    ``was_steady`` is the judgement before this one: between the critical values of 95 %
    and 99.9 % the ratio of variances changes nothing.

    Raises `InputError` for lengths that differ, times that fall, or values not finite.

    >>> rng = np.random.default_rng(4)
    >>> t = np.arange(0, 20, 0.1)
    >>> steadiness(t, (2512 + rng.normal(size=200)).round()).reason
    'steady: 2512.2 ± 0.2 counts, noise 1.0 counts'
    >>> steadiness(t, (2512 + 3 * t + rng.normal(size=200)).round()).reason
    'still rising 2.9 counts/s'
    >>> steadiness(t[:30], 2512 + rng.normal(size=30)).reason
    'too early: 2.9 s of readings, 8 s are needed'
    """
    t, x = _checked(time_s, counts)
    if len(t):
        kept = latest(t, settings.history_s, settings)
        t, x = t[kept], x[kept]
    # The last reading closes its own interval: 80 readings at 10 per second are 8 s.
    seen_s = float(t[-1] - t[0]) if len(t) else 0.0
    needed_s = settings.window_s * (1 - 1e-9) * (1 - 1 / max(len(t), 2))
    if len(t) < settings.least_samples or seen_s < min(needed_s, settings.window_s * 0.99):
        return _too_early(t, x, seen_s, settings)
    window = window_of(t, x, settings)
    tolerance = max(settings.tolerance_counts, window.noise)
    settling = settling_of(t, x, 1.5 * window.lag * window.step_s, window.noise, tolerance)
    r = ratio_of(t, x, window)
    reason, more_s = _why_not(window, settling, r, tolerance, was_steady, settings)
    if not reason:
        # Pours one soon after the other look like a swing or noise; the last seconds do not.
        last = latest(t, settings.window_s, settings)
        moving, _ = _plain_slope(t[last], x[last], settings)
        reason, more_s = ("", more_s) if moving is None else (_moving(moving, None), None)
    notes = _notes(window, settling, settings)
    verdict = Verdict.NOT_STEADY if reason else Verdict.STEADY
    hidden = window.u_slope * window.seconds
    if not reason and hidden > MOST_HIDDEN * tolerance:
        verdict, more_s = Verdict.TOO_EARLY, None
        reason = said(
            "too early: noise of {noise:.1f} counts hides too much, wait longer", noise=window.noise
        )
    elif not reason:
        reason = said(
            "steady: {mean:.1f} ± {sd_mean:.1f} counts, noise {noise:.1f} counts",
            mean=window.mean,
            sd_mean=2 * window.sd_mean,
            noise=window.noise,
        )
    return Steadiness(
        verdict,
        reason,
        window.mean,
        window.sd_mean,
        window.noise,
        window.slope,
        window.u_slope,
        more_s,
        r,
        window.lag,
        notes,
    )


def _checked(time_s: npt.ArrayLike, counts: npt.ArrayLike) -> tuple[Floats, Floats]:
    t = np.asarray(time_s, dtype=np.float64)
    x = np.asarray(counts, dtype=np.float64)
    if t.shape != x.shape or t.ndim != 1:
        raise InputError(
            said(
                "times and counts must be rows of one length, found {size} and {size_2}",
                size=t.size,
                size_2=x.size,
            )
        )
    if not (np.isfinite(t).all() and np.isfinite(x).all()):
        raise InputError(said("times and counts must be finite numbers"))
    if (np.diff(t) < 0).any():
        at = int(np.argmax(np.diff(t) < 0)) + 1
        raise InputError(said("time runs back from {t:g} s to {t_2:g} s", t=t[at - 1], t_2=t[at]))
    return t, x


def _too_early(t: Floats, x: Floats, seen_s: float, settings: SteadySettings) -> Steadiness:
    """Say that too little was seen, but call a plain slope by its name."""
    slope, u_slope = _plain_slope(t, x, settings)
    if slope is not None:
        reason = _moving(slope, None)
        return Steadiness(
            Verdict.NOT_STEADY, reason, slope_counts_s=slope, u_slope_counts_s=u_slope
        )
    wanted_s = max(settings.window_s - seen_s, 0.0)
    if len(t) < settings.least_samples and wanted_s == 0:
        reason = said(
            "too early: {number} readings, {least_samples} are needed",
            number=len(t),
            least_samples=settings.least_samples,
        )
    else:
        reason = said(
            "too early: {seen_s:.1f} s of readings, {window_s:g} s are needed",
            seen_s=seen_s,
            window_s=settings.window_s,
        )
    return Steadiness(Verdict.TOO_EARLY, reason, seconds_more=wanted_s)


def _plain_slope(
    t: Floats, x: Floats, settings: SteadySettings
) -> tuple[float, float] | tuple[None, None]:
    """Return a slope that nobody would take for noise, and its standard uncertainty."""
    seen_s = float(t[-1] - t[0]) if len(t) else 0.0
    if len(t) < 10 or seen_s < 1.0:
        return None, None
    slope, u_slope = line_of(t, x, 1)
    if abs(slope) * seen_s > 10 * settings.tolerance_counts and abs(slope) > 8 * u_slope:
        return slope, u_slope
    return None, None


def _why_not(
    window: Window,
    settling: Settling | None,
    r: float | None,
    tolerance: float,
    was_steady: bool | None,
    settings: SteadySettings,
) -> tuple[str, float | None]:
    """Say why the reading is not steady, or nothing; and how long it will take."""
    more_s = None if settling is None else seconds_more(settling, tolerance)
    drift = window.slope * window.seconds
    if window.is_drifting and abs(drift) > 0.75 * tolerance:
        # Two windows of this are the pour itself, not its settling.
        known = settling is not None and settling.tau_s < settling.window_s and more_s
        return _moving(window.slope, more_s if known else None), more_s if known else None
    if window.swing and window.swing.amplitude_counts > settings.swing_limit_counts:
        swing = window.swing
        return (
            said(
                "swinging ±{amplitude_counts:.0f} counts at {hz:.1f} Hz; wait until the "
                "fuel is still",
                amplitude_counts=swing.amplitude_counts,
                hz=swing.hz,
            ),
            None,
        )
    if settling is not None and settling.share_beyond > 0.5 and more_s:
        return _moving(settling.remaining_counts / settling.tau_s, more_s), more_s
    if window.has_step:
        return said("the reading has just moved"), None
    critical = R_CRITICAL[0.99 if was_steady is None else 0.999 if was_steady else 0.95]
    if r is not None and r > critical:
        return said("not settled yet: its spread is {r:.1f} times that of its noise", r=r), None
    return "", 0.0


def _moving(slope: float, more_s: float | None) -> str:
    about = (
        "" if more_s is None else said(", about {more_s} s more", more_s=_figure(max(more_s, 1.0)))
    )
    return said(
        "still {way} {speed} counts/s{about}",
        way=_way(slope),
        speed=_figure(abs(slope)),
        about=about,
    )


def _way(slope: float) -> str:
    return said("rising") if slope > 0 else said("falling")


def _figure(value: float) -> str:
    """Two digits: 3.0, 0.25, 21.

    >>> [_figure(v) for v in (3, 0.251, 21.4, 140)]
    ['3.0', '0.25', '21', '140']
    """
    return f"{value:.0f}" if value >= 9.95 else f"{value:#.2g}"


def _notes(window: Window, settling: Settling | None, settings: SteadySettings) -> tuple[Note, ...]:
    notes: list[Note] = []
    if window.is_flat:
        notes.append(
            Note(
                NoteKind.FROZEN,
                said(
                    "exactly {mean:g} counts for {seconds:.0f} s: very quiet, or the reading "
                    "is stuck",
                    mean=window.mean,
                    seconds=window.seconds,
                ),
            )
        )
    if window.swing is not None:
        swing = window.swing
        notes.append(
            Note(
                NoteKind.PERIODIC,
                said(
                    "swings ±{amplitude_counts:.1f} counts at {hz:.1f} Hz: is the engine "
                    "running, or is somebody walking on the vehicle?",
                    amplitude_counts=swing.amplitude_counts,
                    hz=swing.hz,
                ),
                hz=swing.hz,
            )
        )
    if settling is not None and settling.span_counts > 6 * settling.noise_counts:
        notes += _slow(settling, settings)
    return tuple(notes)


def _slow(settling: Settling, settings: SteadySettings) -> list[Note]:
    tau_s = settling.tau_s
    if settling.fast_tau_s is not None:
        message = said(
            "settles in two steps, {fast_tau_s} s and {tau_s} s: is there a second "
            "tank behind a balance pipe?",
            fast_tau_s=_figure(settling.fast_tau_s),
            tau_s=_figure(tau_s),
        )
        return [Note(NoteKind.BALANCE_PIPE, message, tau_s=tau_s)]
    # A straight line is a very slow approach too: only a bend that was seen is one.
    if tau_s >= settings.slow_s and tau_s < settling.window_s * 1.2:
        message = said(
            "settles very slowly, {tau_s} s to a third: is the vent of the probe blocked?",
            tau_s=_figure(tau_s),
        )
        return [Note(NoteKind.VENT_BLOCKED, message, tau_s=tau_s)]
    return []


class SteadyWatch:
    """Judges a live stream; keeps the last ``history_s``, or as many readings as are needed.

    >>> watch = SteadyWatch()
    >>> watch.add(0.0, 2512)
    >>> watch.judge().verdict
    <Verdict.TOO_EARLY: 'too_early'>
    """

    def __init__(self, settings: SteadySettings = DEFAULTS) -> None:
        self.settings = settings
        self._readings: deque[tuple[float, float]] = deque(maxlen=settings.most_samples)
        self._was_steady: bool | None = None

    def __len__(self) -> int:
        """Return how many readings are kept."""
        return len(self._readings)

    def add(self, time_s: float, counts: float) -> None:
        """Take one reading.  Raises `InputError` if time runs back or a value is not finite."""
        if not (isfinite(time_s) and isfinite(counts)):
            raise InputError(
                said(
                    "a finite time and counts are wanted, found {time_s}, {counts}",
                    time_s=time_s,
                    counts=counts,
                )
            )
        if self._readings and time_s < self._readings[-1][0]:
            raise InputError(
                said(
                    "time runs back from {readings:g} s to {time_s:g} s",
                    readings=self._readings[-1][0],
                    time_s=time_s,
                )
            )
        self._readings.append((time_s, counts))
        while (
            len(self._readings) > self.settings.least_samples
            and time_s - self._readings[0][0] > self.settings.history_s
        ):
            self._readings.popleft()

    def restart(self) -> None:
        """Forget everything: the line was gone, or another tank is read."""
        self._readings.clear()
        self._was_steady = None

    def judge(self) -> Steadiness:
        """Judge what has come so far."""
        rows = np.array(self._readings, dtype=np.float64).reshape(-1, 2)
        result = steadiness(rows[:, 0], rows[:, 1], self.settings, was_steady=self._was_steady)
        if result.verdict is not Verdict.TOO_EARLY:
            self._was_steady = result.verdict is Verdict.STEADY
        return result
