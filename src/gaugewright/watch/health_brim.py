"""Health of the zero: does the full tank read what it always read?

A zero that drifts and a probe that was moved shift every reading alike, so that the brim reads
otherwise than before. A refuel goes to the brim or ends anywhere below it, which nobody says;
the brim is taken as level, as sliding, or as stepped, and the likelihoods are compared.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from gaugewright.watch.health_blocks import BLOCK_S, MOVING, OFF
from gaugewright.watch.health_case import (
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    day_of,
    evenly,
    moment_of,
)
from gaugewright.watch.health_loops import shifted_likelihood
from gaugewright.watch.health_noise import lag_of
from gaugewright.watch.health_records import litres_per_hour
from gaugewright.watch.health_table import usual_rates
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Event, EventKind, Floats, Undecided

LEAST_FILLS, MOST_FILLS = 5, 100
LEAST_SIDE = 2
BRIMS = 60
"""Places of the brim that are tried."""
FULL_CHANCE = 0.5
"""How many refuels go to the brim (common practice, no source)."""
BRIM_SCATTERS = np.array([0.003, 0.006, 0.011])
"""Scatter of the brim's reading from fill to fill: slope, warmth, the pump's cut-off. Share."""
LEAST_SHIFT, MOST_SHIFT = 0.018, 0.16
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
READ_S = 1680.0
"""A fill is read so long after it at most. [s]"""
TOP_SHARE = 0.012
"""So near to its highest value the probe may stand at its end. Share of the span."""
END_SHARE = 0.05
"""The table goes on beyond its end as it is so far below it. Share of the span."""
U_USED = 0.12
"""What is used in one stretch, by the usual rates, is known to this share of itself."""


@dataclass(frozen=True, eq=False)
class Fills:
    """Readings after refuels, all of one length. [s, shares of the span]"""

    time_s: Floats
    share: Floats
    rough: Floats
    """Scatter of each by itself: what was used above the probe's top is known by hours only."""

    @property
    def size(self) -> int:
        """How many."""
        return self.time_s.size

    def without(self, event: Event | Undecided) -> "Fills":
        """Return all but the fill that this event is."""
        kept = self.time_s != event.end_s
        return Fills(self.time_s[kept], self.share[kept], self.rough[kept])


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


def fills_of(case: Case, lag_s: float) -> Fills:
    """Return what each refuel of a twelfth of the tank and more ended at, read at rest.

    What the engine used until the reading is added, at the vehicle's usual rates.  So a probe
    that stands at its end after a refuel still tells how far above it the fuel was: by what was
    used until the reading came down.
    """
    blocks = case.blocks
    used_l = _used(case)
    found = []
    events = case.events()
    wait_s = max(120.0, 2.5 * lag_s)
    top = float(blocks.mean[np.isfinite(blocks.mean)].max()) - TOP_SHARE * case.span
    refuels = [
        k
        for k, event in enumerate(events)
        if event.kind == EventKind.REFUEL and event.litres >= 0.08 * case.capacity_l
    ]
    for number in evenly(refuels, MOST_FILLS):  # so many say enough
        event = events[number]
        until_s = events[number + 1].start_s if number + 1 < len(events) else np.inf
        first = _filled(case, event, min(event.end_s + wait_s + READ_S, until_s))
        if first is None:
            continue
        full_s = float(blocks.start_s[first])
        low, high, last = np.searchsorted(
            blocks.start_s,
            [full_s + wait_s, min(full_s + wait_s + READ_S, until_s), until_s],
        )
        near = np.arange(low, high)
        rest = blocks.state[near] != MOVING
        # At rest where there is rest; else the first quarter of an hour on the move.
        near = near[rest][:4] if rest[:1].any() else near[:4]
        near = near[np.isfinite(blocks.mean[near])]
        if not near.size:
            continue
        if median(blocks.mean[near]) >= top:
            below = blocks.mean[low:last] < top - TOP_SHARE * case.span
            near = low + np.flatnonzero(below[:-1] & below[1:])[:1]
        if near.size:
            since_l = used_l[near] - used_l[first]
            share = _share(case, median(case.litres(blocks.mean[near]) + since_l))
            if share <= 1.0 + MOST_SHIFT:
                rough = U_USED * median(since_l) / case.capacity_l
                found.append((event.end_s, share, rough))
    return Fills(*np.array(found).reshape(-1, 3).T)


def _used(case: Case) -> Floats:
    """Litres used up to each block, at the usual rates, zero where none is known; without holes.

    A hole may be work or not; a fill read too low for it passes for one not to the brim.
    """
    blocks = case.blocks
    any_hour = litres_per_hour(case) or 0.0
    moving, running = usual_rates(case) or (any_hour, any_hour)
    rate = np.where(case.moving, moving, np.where(blocks.state == OFF, 0.0, running))
    length_s = np.minimum(np.diff(blocks.start_s), 2 * BLOCK_S)
    return np.append(0.0, np.cumsum(rate[:-1] * length_s / HOUR_S))


def _filled(case: Case, refuel: Event, until_s: float) -> int | None:
    """The block in which a refuel was done; a probe at its end makes the event look longer."""
    low, high = np.searchsorted(case.blocks.start_s, [refuel.start_s, until_s])
    means = case.blocks.mean[low:high]
    if not np.isfinite(means).any():
        return None
    return int(low) + int(np.argmax(means >= np.nanmax(means) - TOP_SHARE * case.span))


def _share(case: Case, litres: float) -> float:
    """Share of the span at which these litres read; beyond the table it goes on as it ends."""
    slope = max(case.litres_per_count(case.high - END_SHARE * case.span), 1e-9)
    beyond = max(litres - float(case.table.litres[-1]), 0.0) / slope
    counts = float(np.interp(litres, case.table.litres, case.table.counts)) + beyond
    return (counts - case.low) / case.span


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
