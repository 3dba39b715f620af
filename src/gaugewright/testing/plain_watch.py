"""A watch of the plainest kind, for tests of everything around it: a step is an event.

It looks at two neighbouring records at a time, so that what it finds cannot depend on how a
history is cut.  Being in the package, it can be sent to other processes.
"""

from collections.abc import Sequence

import numpy as np

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.health.case import Delivery, HealthKind, HealthNote
from gaugewright.watch.values import Event, EventKind, Noise, Track, Watched

STEP_L = 15.0
"""A change between two records that is an event. [L]"""


def steps(track: Track, table: Table) -> Watched:
    """Return every step above `STEP_L` as an event, its band 1 L."""
    if track.vehicle == "refused":
        raise InputError("refused: this vehicle cannot be looked at")
    known = np.flatnonzero(np.isfinite(track.counts))
    litres = np.interp(track.counts[known], table.counts, table.litres)
    events = []
    for k in np.flatnonzero(np.abs(np.diff(litres)) > STEP_L):
        a, b = int(known[k]), int(known[k + 1])
        change = float(litres[k + 1] - litres[k])
        events.append(
            Event(
                track.vehicle, EventKind.REFUEL if change > 0 else EventKind.DRAIN,
                float(track.time_s[a]), float(track.time_s[b]), abs(change), 1.0,
                float(litres[k]), float(litres[k + 1]), abs(change), "a step", a, b,
            )
        )  # fmt: skip
    span = float(track.time_s[-1] - track.time_s[0])
    return Watched(
        track.vehicle, tuple(events), (), Noise(1, 1, 1, 1, 1), track.time_s.size, span, 3.0, 9.0
    )


def frozen_note(
    track: Track, table: Table, watched: Watched, deliveries: Sequence[Delivery]
) -> tuple[HealthNote, ...]:
    """Return one note for each receipt, to see that they come through."""
    return tuple(
        HealthNote(
            track.vehicle, HealthKind.FROZEN, one.time_s, one.time_s, f"{one.litres:g} L.", "Look."
        )
        for one in deliveries
    )
