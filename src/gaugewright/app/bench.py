"""The probe on the bench: zero, span and a second dip, from the live reading or typed."""

from dataclasses import dataclass
from datetime import datetime

from gaugewright.app.instruments import TYPED_BY_HAND, heard
from gaugewright.app.live_values import Heard
from gaugewright.app.yard import Stamp, UnsteadyError, Yard
from gaugewright.errors import InputError
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Recorded
from gaugewright.journal.state import TankState
from gaugewright.pours.bench import (
    BenchFinding,
    check_repeatability,
    check_rise,
    check_signals,
    check_usual,
)
from gaugewright.words import said

BARE_SHARE = 0.2
"""Zero over span from which on the signals are those of bare electrodes (common practice)."""
USUAL_TOP = 4095.0
"""The top of a scale that nobody described, as everywhere else."""
DIESEL_PERMITTIVITY = 2.1
"""Diesel fuel at 15 °C, between its alkanes and its aromatics (CRC Handbook)."""


@dataclass(frozen=True, slots=True)
class Late:
    """What a device without a line sends when it is back: typed when, and what was shown then."""

    typed_at: datetime
    """By the clock of that device."""
    shown: Heard | None = None
    """The reading that stood on its screen, live; ``None`` if none did."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Where the counts of a recording come from."""

    counts: float | None = None
    """Typed by hand; ``None`` takes the live steady reading."""
    is_unsteady_kept: bool = False
    """Take a live reading although it is not steady; it is marked as such."""
    heard: Heard | None = None
    """A reading that was taken already."""
    late: Late | None = None
    """Only for what was kept on a device: the reading of now is not that of then."""


def reading_of(yard: Yard, job: str, tank_id: str, taken: Taken) -> Heard:
    """Return the reading to record.  Raises `UnsteadyError` as `instruments.heard`."""
    if taken.heard is not None:
        return taken.heard
    if taken.counts is not None:
        return Heard(taken.counts, None, False, "", None, None, TYPED_BY_HAND)
    if taken.late is not None:
        return _shown_then(taken.late, is_unsteady_kept=taken.is_unsteady_kept)
    return heard(yard, job, tank_id, is_unsteady_kept=taken.is_unsteady_kept)


def _shown_then(late: Late, *, is_unsteady_kept: bool) -> Heard:
    """Return the reading that a person saw when they pressed; never the one of the arrival."""
    at = late.typed_at.strftime("%H:%M:%S")
    if late.shown is None:
        raise UnsteadyError(
            said(
                "this was typed at {at} without a live reading, and the reading of now is "
                "another one; look, and record it again",
                at=at,
            )
        )
    if not (late.shown.is_steady or is_unsteady_kept):
        raise UnsteadyError(
            said(
                "the reading shown when this was typed at {at} was not steady: {steadiness}",
                at=at,
                steadiness=late.shown.steadiness,
            )
        )
    return late.shown


def record_zero(yard: Yard, job: str, stamp: Stamp, tank_id: str, taken: Taken) -> Recorded:
    """Record the reading of the dry probe in air."""
    if taken.counts is None and (before := yard.repeated(job, stamp)):
        return before
    got = reading_of(yard, job, tank_id, taken)
    event = k.BenchZeroRecorded(
        tank_id, got.counts, counts_sd=got.counts_sd, duration_s=got.duration_s
    )
    return yard.record(job, stamp, event)


def record_span(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    taken: Taken,
    *,
    fuel: str,
    fuel_c: float | None = None,
) -> Recorded:
    """Record the reading of the probe immersed to its full length."""
    if taken.counts is None and (before := yard.repeated(job, stamp)):
        return before
    got = reading_of(yard, job, tank_id, taken)
    event = k.BenchSpanRecorded(
        tank_id,
        got.counts,
        fuel,
        counts_sd=got.counts_sd,
        duration_s=got.duration_s,
        fuel_c=got.temperature_c if fuel_c is None else fuel_c,
    )
    return yard.record(job, stamp, event)


def record_repeat(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, taken: Taken, *, point: str
) -> Recorded:
    """Record a second dip to ``zero`` or ``span``."""
    if taken.counts is None and (before := yard.repeated(job, stamp)):
        return before
    got = reading_of(yard, job, tank_id, taken)
    _require_own_point(yard.tank(job, tank_id)[1], point, got.counts)
    event = k.BenchRepeatRecorded(
        tank_id, point, got.counts, counts_sd=got.counts_sd, duration_s=got.duration_s
    )
    return yard.record(job, stamp, event)


def _require_own_point(tank: TankState, point: str, counts: float) -> None:
    """Refuse a second dip that is nearer to the other point: it was taken for the wrong one."""
    if tank.zero is None or tank.span is None:
        return
    zero, span = tank.zero.event.counts, tank.span.event.counts
    own, other = (zero, span) if point == "zero" else (span, zero)
    if abs(counts - other) < abs(counts - own):
        raise InputError(
            said(
                "{counts:.1f} counts is nearer to the other point ({other:.1f}) than to this one "
                "({own:.1f}): choose the point that was read",
                counts=counts,
                other=other,
                own=own,
            ),
            field="point",
        )


def void_reading(yard: Yard, job: str, stamp: Stamp, entry: int, reason: str) -> Recorded:
    """Void a bench reading; it stays visible, struck through."""
    return yard.record(job, stamp, k.BenchReadingVoided(entry, reason))


def bench_findings(tank: TankState) -> tuple[BenchFinding, ...]:
    """Hold what stands of the bench readings against the fuel, common practice and each other.

    A zero of more than a fifth of the span is a bare signal, whose scale is not set yet:
    then the ratio of span to zero is held against the fuel's permittivity.
    """
    zero, span = tank.zero, tank.span
    found: tuple[BenchFinding, ...] = ()
    if zero is not None:
        air, full = zero.event.counts, None if span is None else span.event.counts
        top = _scale_top(tank, air, full)
        is_bare = full is not None and air > BARE_SHARE * full
        if full is not None and full <= air < top:
            found += check_rise(air, full)
        elif full is not None and (is_bare or max(air, full) >= top):
            found += check_signals(max(air, 1.0), full, DIESEL_PERMITTIVITY, top)
        elif full is not None and air < min(0.0, _described_counts(tank, "empty", 0.0)):
            found += check_signals(air, full, DIESEL_PERMITTIVITY, top)
        if not is_bare and air < top and (full is None or full > air):
            found += check_usual(air, full, scale_top=top)
    for point, first in (("zero", zero), ("span", span)):
        if first is None:
            continue
        dips = [first.event.counts]
        spreads = [_sd_of_mean(first.event.counts_sd)]
        for kept in tank.repeats:
            if kept.voided is None and kept.event.point == point:
                dips.append(kept.event.counts)
                spreads.append(_sd_of_mean(kept.event.counts_sd))
        if len(dips) > 1:
            found += check_repeatability(dips, spreads)
    return found


def _sd_of_mean(noise: float | None) -> float:
    """Spread of the mean of a steady stretch of some 80 readings, 0 if nobody knows."""
    return 0.0 if noise is None else noise / 9.0


def _described_counts(tank: TankState, end: str, usual: float) -> float:
    """Return what the probe is described to read dry (``empty``) or immersed (``full``)."""
    told = None if tank.described is None else tank.described.event.probe.get(f"counts_{end}")
    return float(told) if isinstance(told, int | float) else usual


def _scale_top(tank: TankState, *counts: float | None) -> float:
    """Return the top of the probe's scale: as described, else the usual one if it holds the counts.

    A low reading says nothing of the scale: it may be a probe that is half immersed.
    """
    described = max(_described_counts(tank, end, 0.0) for end in ("empty", "full"))
    if described > 0:
        return described
    most = max(each for each in counts if each is not None)
    return next((top for top in (USUAL_TOP, 65535.0) if most <= top), most)
