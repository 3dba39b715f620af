"""What each refuel ended at, beyond the probe's end too: what the checks of the brim go by."""

from dataclasses import dataclass

import numpy as np

from gaugewright.watch.health.blocks import BLOCK_S, MOVING, OFF
from gaugewright.watch.health.case import HOUR_S, Case, evenly
from gaugewright.watch.health.records import litres_per_hour
from gaugewright.watch.health.table import usual_rates
from gaugewright.watch.middles import median
from gaugewright.watch.values import Event, EventKind, Floats, Undecided

MOST_FILLS = 100
MOST_SHIFT = 0.16
"""A fill further above the table's end is not believed. Share of the span."""
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
    moving, running = usual_rates(case) or 2 * (litres_per_hour(case) or 0.0,)
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
