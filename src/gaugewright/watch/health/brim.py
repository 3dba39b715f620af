"""Health of the zero: does the full tank read what it always read?

A zero that drifts and a probe that was moved shift every reading alike, so that the brim reads
otherwise than before. A refuel goes to the brim or ends anywhere below it, which nobody says;
the brim is taken as level, as sliding, or as stepped, and the likelihoods are compared.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from gaugewright.watch.health.case import Case, HealthKind, HealthNote, day_of, moment_of
from gaugewright.watch.health.fills import MOST_SHIFT, Fills, fills_of
from gaugewright.watch.health.loops import shifted_likelihood
from gaugewright.watch.health.noise import lag_of
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Event, EventKind, Floats, Undecided

LEAST_FILLS, LEAST_SIDE = 5, 2
BRIMS = 60
"""Places of the brim that are tried."""
FULL_CHANCE = 0.5
"""How many refuels go to the brim (common practice, no source)."""
BRIM_SCATTERS = np.array([0.003, 0.006, 0.011])
"""Scatter of the brim's reading from fill to fill: slope, warmth, the pump's cut-off. Share."""
LEAST_SHIFT = 0.018
DRIFTS = np.linspace(-MOST_SHIFT, MOST_SHIFT, 49)
"""Drifts over the log that are tried. Share of the span."""
LEAST_FOR_DRIFT, LEAST_FOR_STEP, LEAST_FOR_CHANGE = 6.0, 11.0, 4.5
"""Logarithm of the likelihood ratio that is asked of a drift, of a step between any two refuels,
and of a step by just what the reading changed at one moment (tuned on simulated logs)."""
ANYWHERE = 3.0
"""A step that may be anywhere fits better by so much without being one (tuned)."""
RECEIPT_S = 5400.0
"""A refuel with a receipt so near to it was one. [s]"""
ALIKE = 1.0
"""Steps whose ratios differ by less fit alike."""


@dataclass(frozen=True)
class Step:
    """A shift of the brim at a moment, or between two. [s, share of the span]"""

    start_s: float
    end_s: float
    size: float
    ratio: float
    """Logarithm of the likelihood ratio."""
    change: Event | Undecided | None


def brim(case: Case) -> Iterator[HealthNote]:
    """Where the full tank reads, over time: level (well), sliding (drift) or stepped (moved)."""
    fills = fills_of(case, lag_of(case) or 0.0)
    if fills.size < LEAST_FILLS:
        return
    drift, slope = _sliding(fills)
    step, anywhere = _changed(case, fills), _stepped(fills)
    is_step = anywhere.ratio >= LEAST_FOR_STEP and abs(anywhere.size) >= LEAST_SHIFT
    if is_step and (step is None or anywhere.ratio > step.ratio + ANYWHERE):
        step = anywhere
    if step is not None and step.ratio > drift + (ANYWHERE if step.change is None else 0.0):
        yield _moved(case, fills, step)
    elif drift >= LEAST_FOR_DRIFT and abs(slope) >= LEAST_SHIFT:
        yield _drifted(case, fills, slope, drift)


def _moved(case: Case, fills: Fills, step: Step) -> HealthNote:
    counts = step.size * case.span
    litres = abs(counts) * case.litres_per_count(case.low + 0.6 * case.span)
    way = "higher" if step.size > 0 else "lower"
    before = int(np.count_nonzero(fills.time_s <= step.start_s))
    jump = ""
    if isinstance(step.change, Event):
        jump = (
            f" The {step.change.kind.value} of {step.change.litres:.0f} L at "
            f"{moment_of(step.start_s)} is of just that size and may have been no fuel."
        )
    elif step.change is not None:
        jump = f" The reading changed by just that at {moment_of(step.start_s)}."
    return case.note(
        HealthKind.PROBE_MOVED,
        step.start_s,
        step.end_s,
        f"Since {day_of(step.end_s)} the full tank reads {abs(counts):.0f} counts {way} than "
        f"before ({before} refuels before, {fills.size - before} after; about {litres:.0f} L; log "
        f"of the likelihood ratio {step.ratio:.1f}).{jump}",
        "The probe or its tip was moved, or its scale set anew. Look at its seal and flange, check "
        "zero and span, and make a new table if it was moved.",
    )


def _drifted(case: Case, fills: Fills, slope: float, ratio: float) -> HealthNote:
    counts = slope * case.span
    litres = abs(counts) * case.litres_per_count(case.low + 0.6 * case.span)
    days = (fills.time_s[-1] - fills.time_s[0]) / 86400
    way = "up" if slope > 0 else "down"
    return case.note(
        HealthKind.ZERO_DRIFT,
        fills.time_s[0],
        fills.time_s[-1],
        f"The full tank's reading drifts {way}: {abs(counts):.0f} counts in {days:.0f} days, about "
        f"{litres:.0f} L, over {fills.size} refuels (log of the likelihood ratio {ratio:.1f}).",
        "Check the probe's zero and span in the empty tank or in air; clean the tubes; if the fuel "
        "changed, its permittivity may have.",
    )


def _ratio(fills: Fills, shape: Floats, shifts: Floats) -> tuple[float, float]:
    """Log of the likelihood ratio of the best shift against none, and that shift."""
    tried = fills.share, fills.rough, shape
    none, _ = shifted_likelihood(*tried, np.zeros(1), BRIMS, BRIM_SCATTERS, FULL_CHANCE)
    best, size = shifted_likelihood(*tried, shifts, BRIMS, BRIM_SCATTERS, FULL_CHANCE)
    return best - none, size


def _sliding(fills: Fills) -> tuple[float, float]:
    when = (fills.time_s - fills.time_s[0]) / max(fills.time_s[-1] - fills.time_s[0], 1.0)
    return _ratio(fills, when, DRIFTS)


def _changed(case: Case, fills: Fills) -> Step | None:
    """The best step by just what the reading changed at one moment, event or not.

    Of two that fit alike the quicker: a probe moves at once, fuel takes its time.
    """
    found: list[tuple[Step, float]] = []
    changes: list[Event | Undecided] = [*case.watched.events, *case.watched.undecided]
    for change in changes:
        size, reach = _size(case, change)
        if not LEAST_SHIFT <= abs(size) <= MOST_SHIFT or _is_paid(case, change):
            continue
        others = fills.without(change)
        after = (others.time_s > change.start_s).astype(np.float64)
        if not LEAST_SIDE <= int(after.sum()) <= others.size - LEAST_SIDE:
            continue
        ratio, best = _ratio(others, after, size + reach * np.linspace(-1.0, 1.0, 5))
        if abs(best) < LEAST_SHIFT:
            continue
        pace = abs(size) / max(change.end_s - change.start_s, 1.0)
        found.append((Step(change.start_s, change.end_s, best, ratio, change), pace))
    least = max([LEAST_FOR_CHANGE, *(step.ratio - ALIKE for step, _ in found)])
    likely = [one for one in found if one[0].ratio >= least]
    return max(likely, key=lambda one: one[1])[0] if likely else None


def _is_paid(case: Case, change: Event | Undecided) -> bool:
    """Whether a receipt says that this was fuel."""
    return (
        isinstance(change, Event)
        and change.kind == EventKind.REFUEL
        and any(
            abs(delivery.time_s - change.end_s) < RECEIPT_S
            and delivery.litres > 0.5 * change.litres
            for delivery in case.deliveries
        )
    )


def _size(case: Case, change: Event | Undecided) -> tuple[float, float]:
    """By how much the reading changed, and how well that is known. Shares of the span."""
    blocks = case.blocks
    litres = change.litres
    if isinstance(change, Event):
        before_l = change.before_l
        litres = litres if change.kind == EventKind.REFUEL else -litres
    else:
        at = int(np.searchsorted(blocks.end_s, change.start_s))
        near = blocks.mean[max(at - 2, 0) : at]
        near = near[np.isfinite(near)]
        before_l = float(case.litres(median(near))) if near.size else float("nan")
    ends = np.interp([before_l, before_l + litres], case.table.litres, case.table.counts)
    size = float(ends[1] - ends[0]) / case.span
    return size, 0.004 + 0.1 * abs(size)


def _stepped(fills: Fills) -> Step:
    """Best step of the brim between any two fills, by any size."""
    share = fills.share
    best, place, size = -np.inf, LEAST_SIDE, 0.0
    brims = np.linspace(quantile(share, 0.2), float(share.max()) + 0.01, 2 * BRIMS)
    reach = max(1, int(MOST_SHIFT / (brims[1] - brims[0])))
    level = -np.inf
    for scatter in BRIM_SCATTERS:
        sums = np.cumsum(_densities(fills, brims, scatter), axis=0)
        level = max(level, float(sums[-1].max()))
        afters = sums[-1] - sums
        most = (sums.max(axis=1) + afters.max(axis=1)).tolist()
        for at in range(LEAST_SIDE, share.size - LEAST_SIDE + 1):
            if most[at - 1] <= best:
                continue
            before, after = sums[at - 1], afters[at - 1]
            both = before + _highest_near(after, reach)
            first = int(np.argmax(both))
            if both[first] > best:
                best, place = float(both[first]), at
                near = slice(max(first - reach, 0), first + reach + 1)
                size = float(brims[near][np.argmax(after[near])] - brims[first])
    start_s, end_s = fills.time_s[place - 1], fills.time_s[place]
    return Step(float(start_s), float(end_s), size, best - level, None)


def _densities(fills: Fills, brims: Floats, scatter: float) -> Floats:
    """Log density of each fill for each brim: to the brim, or anywhere below it."""
    own = np.sqrt(scatter**2 + fills.rough**2)[:, None]
    away = (fills.share[:, None] - brims) / own
    full = np.exp(-0.5 * away**2) / (own * np.sqrt(2 * np.pi))
    below = np.where(away < 2.5, 1.0 / np.maximum(brims, 0.3), 1e-2)
    result: Floats = np.log(FULL_CHANCE * full + (1 - FULL_CHANCE) * below)
    return result


def _highest_near(values: Floats, reach: int) -> Floats:
    """Return the highest of the values up to ``reach`` places away from each."""
    wide = np.pad(values, reach, constant_values=-np.inf)
    highest: Floats = sliding_window_view(wide, 2 * reach + 1).max(axis=1)
    return highest
