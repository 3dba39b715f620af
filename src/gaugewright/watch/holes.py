"""Falls across odd holes of the record, too unsure to be weighed: named, not passed over."""

from collections.abc import Sequence

import numpy as np

from gaugewright.watch.look import Seen
from gaugewright.watch.values import Undecided

PLAIN_L, PLAIN_PART, PLAIN_Z = 3.0, 0.01, 6.0
"""A fall is plain from so many litres, this part of the tank, so many deviations. [L, 1, 1]"""
USE_TIMES = 1.5
"""Up to so many times its usual rate an engine that runs before and after went on running. [1]"""
BESIDE = 3
_SIGMAS = 1.96


def across_holes(
    vehicle: str, seen: Seen, told: Sequence[tuple[float, float]], capacity_l: float
) -> list[Undecided]:
    """Return plain falls across odd holes in stops, in which nothing that is ``told`` lies.

    ``told`` are the starts and ends of what is an event or undecided already. [s]
    """
    bins, spells, manner = seen.bins, seen.spells, seen.manner
    time_s, level = bins.time_s, seen.level_l - seen.burnt_l
    hours = np.diff(time_s) / 3600.0
    parked = (spells.inside[1:] == spells.inside[:-1]) & spells.still[spells.inside[1:]]
    sd = (2.0 * max(manner.still_l2, manner.single_l2)) ** 0.5
    plain_l = max(PLAIN_L, PLAIN_PART * capacity_l, PLAIN_Z * sd)
    odd = np.flatnonzero(parked & (hours > seen.odd_h) & (level[:-1] - level[1:] > plain_l))
    found = []
    for i in odd.tolist():
        stop = int(spells.inside[i])
        low, high = int(spells.low[stop]), int(spells.high[stop])
        before = float(np.median(level[max(low, i + 1 - BESIDE) : i + 1]))
        after = float(np.median(level[i + 1 : min(high, i + 1 + BESIDE)]))
        fell, h = before - after, float(hours[i])
        ran = bins.running[i] > 0.5 and bins.running[i + 1] > 0.5
        if fell < plain_l or (ran and fell < USE_TIMES * manner.idle_l_h * h):
            continue
        start_s, end_s = float(time_s[i]), float(time_s[i + 1])
        if any(start < end_s and end > start_s for start, end in told):
            continue
        found.append(
            Undecided(
                vehicle, start_s, end_s, -fell, _SIGMAS * sd,
                f"the level fell by {fell:.1f} L across a hole of {h:.1f} h in the record: use, a "
                "slope or fuel taken",
            )
        )  # fmt: skip
    return found
