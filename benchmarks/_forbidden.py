"""Which drains of a simulated log no reading of its records could show: from the truth alone."""

import numpy as np

from gaugewright.testing.logs import SimulatedLog, TrueEvent
from gaugewright.watch.values import Floats

LEAST_PART = 0.005
"""Below this part of the tank a level says nothing of fuel: a slope does as much. [1]"""
ONE_HOLE = "in one hole of the record with another event"
HIDDEN_PART = 0.5
"""So much of a drain at least must be out of sight. [1]"""


def forbidden(log: SimulatedLog, true: TrueEvent) -> str | None:
    """Return what hides a drain, ``None`` where nothing does.

    Below half a percent of the tank; no record before its end, or none after its start; no
    record while it lasts that reads anything else than the one before, and another drain or
    refuel before the next that does; half of it or more above what the probe can see.

    >>> from gaugewright.testing.logs import simulate_log
    >>> log = simulate_log("city", 1, days=10, period_s=60.0)
    >>> drains = [true for true in log.truth if true.kind.value == "drain"]
    >>> sum(forbidden(log, true) is None for true in drains) > 0
    True
    """
    if true.litres < LEAST_PART * log.capacity_l:
        return "below half a percent of the tank"
    time_s = log.track.time_s
    first, last = np.searchsorted(time_s, [true.start_s, true.end_s])
    if last == 0 or first == time_s.size:
        return "before the first record or after the last"
    before_s = time_s[first - 1] if first > 0 else -np.inf
    last = _reads_anew(log.track.counts, first)
    after_s = time_s[last] if last < time_s.size else np.inf
    between = [
        other
        for other in log.truth
        if other is not true and other.start_s < after_s and other.end_s > before_s
    ]
    if after_s >= true.end_s and between:
        hole = time_s[first] >= true.end_s
        return ONE_HOLE if hole else "under a probe that was frozen, with another event"
    if first > 0:
        top_l = min(log.sight.top_part * log.capacity_l, float(log.table.litres[-1]))
        if log.true_l[first - 1] - top_l >= HIDDEN_PART * true.litres:
            return "above what the probe can see"
    return None


def _reads_anew(counts: Floats, first: int) -> int:
    """Return the place of the first record from one on that reads else than the one before it."""
    place = first
    while first > 0 and place < counts.size and counts[place] == counts[first - 1]:
        place += 1
    return place
