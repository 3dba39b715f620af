"""Is the probe still healthy? Everything its own records say against it, with what to do."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.health.blocks import blocks_of
from gaugewright.watch.health.brim import brim
from gaugewright.watch.health.case import ABOVE, Case, Delivery, HealthKind, HealthNote
from gaugewright.watch.health.clock import clock
from gaugewright.watch.health.level import water
from gaugewright.watch.health.noise import averaging, growing
from gaugewright.watch.health.records import (
    below_tip,
    frozen,
    missing,
    out_of_scale,
    past_top,
    supply,
)
from gaugewright.watch.health.table import wrong_table
from gaugewright.watch.middles import median
from gaugewright.watch.values import Track, Watched

__all__ = ["Delivery", "HealthKind", "HealthNote", "health"]

Check = Callable[[Case], Iterator[HealthNote]]
OF_RECORDS: tuple[Check, ...] = (clock, missing, supply, out_of_scale)
OF_READINGS: tuple[Check, ...] = (
    frozen,
    past_top,
    below_tip,
    growing,
    averaging,
    brim,
    water,
    wrong_table,
)
MOVED = {HealthKind.PROBE_MOVED, HealthKind.ZERO_DRIFT}
EXPLAINS = {
    HealthKind.WATER: MOVED,
    HealthKind.AVERAGING_HEAVY: MOVED | {HealthKind.WRONG_TABLE},
    HealthKind.SUPPLY_LOST: {HealthKind.WRONG_TABLE, HealthKind.PROBE_MOVED},
    HealthKind.NOISE_GROWING: {HealthKind.PROBE_MOVED},
    HealthKind.CLOCK_JUMP: {HealthKind.WRONG_TABLE},
}
"""What a finding brings about by itself, so that only the cause is named."""
BELOW = 0.02
"""Counts so far below the table's first row are still readings. Share of its span."""
LEAST_RECORDS = 50
MOST_STEPS = 100_000


def health(
    track: Track, table: Table, watched: Watched, deliveries: Sequence[Delivery] = ()
) -> tuple[HealthNote, ...]:
    """Return what is wrong with a probe, its wiring, its table or its records.

    ``watched`` is what the watch made of the same track; ``deliveries`` are receipts, which
    show a table of the wrong size.  Every note carries the figures that show it and what to
    do; nothing is noted where the records are too few to say.  In order of time.

    >>> from gaugewright.watch.values import Noise
    >>> time = np.arange(0.0, 86400.0, 60.0)
    >>> counts = np.where(np.arange(1440) % 10 == 0, 65535.0, 2000.0 - np.arange(1440) % 7)
    >>> track = Track("T-7", time, counts, np.full(1440, 60.0), np.ones(1440))
    >>> table = Table(np.array([0.0, 4095.0]), np.array([2.0, 400.0]), None)
    >>> seen = Watched("T-7", (), (), Noise(1, 4, 2, 0.2, 20), 1440, 86340.0, 5.0, 20.0)
    >>> for note in health(track, table, seen):
    ...     print(note.kind.value, "-", note.evidence)
    out_of_scale - 144 records (10.0 %) are outside the table's 0 to 4095 counts, most often 65535.
    """
    if track.time_s.size < LEAST_RECORDS:
        return ()
    low, high = float(table.counts[0]), float(table.counts[-1])
    span = high - low
    every = max(1, (track.time_s.size - 1) // MOST_STEPS)
    period_s = median(track.time_s[1::every] - track.time_s[:-1:every])
    blocks, runs = blocks_of(track, low - BELOW * span, high + ABOVE * span, period_s)
    case = Case(track, table, watched, blocks, runs, period_s, deliveries)
    checks = OF_RECORDS + (OF_READINGS if np.isfinite(blocks.mean).any() else ())
    found = [note for check in checks for note in check(case)]
    explained = {kind for note in found for kind in EXPLAINS.get(note.kind, ())}
    kept = [note for note in found if note.kind not in explained]
    return tuple(sorted(kept, key=lambda note: note.start_s))
