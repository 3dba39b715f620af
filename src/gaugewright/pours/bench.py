"""The probe on the bench: zero in air and span immersed, before it goes into the tank.

Pure functions over figures that were read; which instrument gave them does not matter.
Thresholds named 'common practice' have no published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from gaugewright.errors import InputError
from gaugewright.fuel import AIR_RELATIVE_PERMITTIVITY
from gaugewright.words import said

DRIP_WAIT_S = 15.0
"""From taking the probe out of fuel to reading its zero (common practice, no source). [s]"""

AVERAGING_SETTING_UP, AVERAGING_IN_SERVICE = 8, 64
"""Samples averaged (common practice, no source)."""

EMPTY_BELOW_SHARE, FULL_SHARE, FULL_WITHIN_SHARE = 50 / 4096, 3600 / 4096, 0.06
"""On a 12-bit scale an empty tank reads under 50 and a full one about 3,600
(common practice, no source); as shares of the scale."""

LEAST_RATIO = 1.3
"""Span over zero below which the electrodes hardly feel the fuel (common practice)."""


class BenchKind(StrEnum):
    """What a bench check can find."""

    DRIPPING = "dripping"
    NOT_REPEATABLE = "not_repeatable"
    TOUCHING = "touching"
    SHORT_CIRCUIT = "short_circuit"
    OPEN_CIRCUIT = "open_circuit"
    NOT_RISING = "not_rising"
    RATIO_TOO_HIGH = "ratio_too_high"
    RATIO_TOO_LOW = "ratio_too_low"
    EMPTY_UNUSUAL = "empty_unusual"
    FULL_UNUSUAL = "full_unusual"
    AVERAGING_UNUSUAL = "averaging_unusual"


@dataclass(frozen=True, slots=True)
class BenchFinding:
    """One thing that is not as it should be, in one sentence."""

    kind: BenchKind
    message: str


def drip_wait_s(out_since_s: float, wait_s: float = DRIP_WAIT_S) -> float:
    """Return how long still to wait before the zero may be read. [s]

    ``out_since_s`` is the time since the probe came out of the fuel.

    >>> drip_wait_s(4.0), drip_wait_s(20.0)
    (11.0, 0.0)
    """
    _finite(out_since_s=out_since_s, wait_s=wait_s)
    if out_since_s < 0:
        raise InputError(
            said("must not be negative, found {out_since_s:g} s", out_since_s=out_since_s),
            field="out_since_s",
        )
    return max(wait_s - out_since_s, 0.0)


def check_drips(out_since_s: float) -> tuple[BenchFinding, ...]:
    """Say if a zero was read while fuel still dripped from the probe.

    >>> check_drips(6)[0].message
    'the zero was read 6 s after the probe came out of the fuel; wait 15 s until it has dripped off'
    """
    if drip_wait_s(out_since_s) == 0:
        return ()
    message = said(
        "the zero was read {out_since_s:.0f} s after the probe came out of the "
        "fuel; wait {drip_wait_s:.0f} s until it has dripped off",
        out_since_s=out_since_s,
        drip_wait_s=DRIP_WAIT_S,
    )
    return (BenchFinding(BenchKind.DRIPPING, message),)


def check_repeatability(
    dips: Sequence[float], sd_of_each: Sequence[float], tolerance_counts: float = 2.0
) -> tuple[BenchFinding, ...]:
    """Say if two or more dips to the same depth do not give the same counts.

    ``sd_of_each`` is the standard deviation of each dip's mean.  Dips agree within the
    tolerance, or within three standard deviations of their difference if that is more.

    >>> check_repeatability([3601, 3602], [0.2, 0.2])
    ()
    >>> check_repeatability([3601, 3615], [0.2, 0.2])[0].message
    'two dips differ by 14 counts, 2 are allowed: dip again to the same mark'
    """
    if len(dips) < 2 or len(dips) != len(sd_of_each):
        raise InputError(
            said(
                "two dips or more with their spreads are needed, found {number} and {number_2}",
                number=len(dips),
                number_2=len(sd_of_each),
            ),
            field="dips",
        )
    _finite(**{f"dip_{n}": v for n, v in enumerate(dips, 1)})
    low, high = (
        min(range(len(dips)), key=dips.__getitem__),
        max(range(len(dips)), key=dips.__getitem__),
    )
    gap = dips[high] - dips[low]
    noise = 3 * (sd_of_each[low] ** 2 + sd_of_each[high] ** 2) ** 0.5
    allowed = max(tolerance_counts, noise)
    if gap <= allowed:
        return ()
    message = said(
        "{word} dips differ by {gap:.0f} counts, {allowed:.0f} are allowed: dip "
        "again to the same mark",
        word=said("two") if len(dips) == 2 else said("the"),
        gap=gap,
        allowed=allowed,
    )
    return (BenchFinding(BenchKind.NOT_REPEATABLE, message),)


def check_rise(zero: float, span: float) -> tuple[BenchFinding, ...]:
    """Say if the reading does not rise from dry to immersed, whatever the scale.

    >>> check_rise(31, 3650)
    ()
    >>> check_rise(3650, 31)[0].message
    'dry reads 3650 counts and immersed 31: it must rise. Are the two swapped, is the probe \
immersed, is a wire broken or shorted?'
    """
    _finite(zero=zero, span=span)
    if span > zero:
        return ()
    message = said(
        "dry reads {zero:.0f} counts and immersed {span:.0f}: it must rise. Are the two "
        "swapped, is the probe immersed, is a wire broken or shorted?",
        zero=zero,
        span=span,
    )
    return (BenchFinding(BenchKind.NOT_RISING, message),)


def check_signals(
    zero: float, span: float, relative_permittivity: float, scale_top: float
) -> tuple[BenchFinding, ...]:
    """Hold the sensor's bare signals in air and in fuel against what the fuel can do.

    ``zero`` and ``span`` are proportional to capacitance, as a capacitive probe gives
    them before its scale is set; ``scale_top`` is the most that the sensor can give.
    Fully immersed bare electrodes multiply by the fuel's relative permittivity; what
    does not get wet (head, cable) brings the ratio down, nothing brings it up.

    >>> [f.kind.value for f in check_signals(1000, 2050, 2.1, 65535)]
    []
    >>> check_signals(1000, 3400, 2.1, 65535)[0].message
    'span over zero is 3.40; fuel of permittivity 2.10 gives at most 2.10: water in the fuel, \
another fuel, or a zero read with the wrong cut length'
    """
    _finite(zero=zero, span=span, scale_top=scale_top)
    if not relative_permittivity > AIR_RELATIVE_PERMITTIVITY:
        raise InputError(
            said(
                "a fuel's is above that of air, found {relative_permittivity:g}",
                relative_permittivity=relative_permittivity,
            ),
            field="relative_permittivity",
        )
    dead = _check_circuit(zero, span, scale_top)
    if dead:
        return dead
    ratio, most = span / zero, relative_permittivity / AIR_RELATIVE_PERMITTIVITY
    if ratio > most * 1.03:
        message = said(
            "span over zero is {ratio:.2f}; fuel of permittivity "
            "{relative_permittivity:.2f} gives at most {most:.2f}: water in the "
            "fuel, another fuel, or a zero read with the wrong cut length",
            ratio=ratio,
            relative_permittivity=relative_permittivity,
            most=most,
        )
        return (BenchFinding(BenchKind.RATIO_TOO_HIGH, message),)
    if ratio < LEAST_RATIO:
        message = said(
            "span over zero is only {ratio:.2f}; {most:.2f} is what the fuel can "
            "give: is the probe fully immersed, and is its vent open?",
            ratio=ratio,
            most=most,
        )
        return (BenchFinding(BenchKind.RATIO_TOO_LOW, message),)
    return ()


def _check_circuit(zero: float, span: float, scale_top: float) -> tuple[BenchFinding, ...]:
    if min(zero, span) >= scale_top:
        message = said(
            "the signal stands at the top of its scale in air and in fuel: short circuit"
        )
        return (BenchFinding(BenchKind.SHORT_CIRCUIT, message),)
    if zero >= scale_top:
        message = said(
            "the signal stands at the top of its scale in air: the electrodes touch, "
            "look for swarf or a bend at the cut"
        )
        return (BenchFinding(BenchKind.TOUCHING, message),)
    if span >= scale_top:
        message = said(
            "the signal stands at the top of its scale in fuel only: water, or "
            "electrodes that touch when the probe hangs"
        )
        return (BenchFinding(BenchKind.TOUCHING, message),)
    if zero <= 0:
        message = said(
            "the signal in air is {zero:g}: a broken wire to the inner electrode", zero=zero
        )
        return (BenchFinding(BenchKind.OPEN_CIRCUIT, message),)
    return ()


def check_usual(
    empty_counts: float,
    full_counts: float | None = None,
    *,
    scale_top: float = 4095.0,
    averaging: int | None = None,
    in_service: bool = False,
) -> tuple[BenchFinding, ...]:
    """Say what departs from common practice; a departure is a question, not a mistake.

    >>> [f.message for f in check_usual(180, 3610)]
    ['empty reads 180 counts; under 50 of 4095 is usual']
    >>> [f.kind.value for f in check_usual(10, 2400, averaging=64)]
    ['full_unusual', 'averaging_unusual']
    """
    _finite(empty_counts=empty_counts, scale_top=scale_top)
    found: list[BenchFinding] = []
    size = scale_top + 1
    if empty_counts >= EMPTY_BELOW_SHARE * size:
        usual = said(
            "under {empty_below_share:.0f} of {scale_top:.0f} is usual",
            empty_below_share=EMPTY_BELOW_SHARE * size,
            scale_top=scale_top,
        )
        message = said(
            "empty reads {empty_counts:.0f} counts; {usual}", empty_counts=empty_counts, usual=usual
        )
        found.append(BenchFinding(BenchKind.EMPTY_UNUSUAL, message))
    if full_counts is not None:
        _finite(full_counts=full_counts)
        if abs(full_counts / size - FULL_SHARE) > FULL_WITHIN_SHARE:
            usual = said(
                "about {full_share:.0f} of {scale_top:.0f} is usual",
                full_share=FULL_SHARE * size,
                scale_top=scale_top,
            )
            message = said(
                "full reads {full_counts:.0f} counts; {usual}", full_counts=full_counts, usual=usual
            )
            found.append(BenchFinding(BenchKind.FULL_UNUSUAL, message))
    usual_averaging = AVERAGING_IN_SERVICE if in_service else AVERAGING_SETTING_UP
    if averaging is not None and averaging != usual_averaging:
        when = said("in service") if in_service else said("while setting up")
        message = said(
            "averages {averaging} samples; {usual_averaging} are usual {when}",
            averaging=averaging,
            usual_averaging=usual_averaging,
            when=when,
        )
        found.append(BenchFinding(BenchKind.AVERAGING_UNUSUAL, message))
    return tuple(found)


def _finite(**figures: float) -> None:
    for name, value in figures.items():
        if not isfinite(value):
            raise InputError(said("{value} is not a finite number", value=value), field=name)
