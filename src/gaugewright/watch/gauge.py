"""Several probes in one vehicle, read as one: litres summed, bands combined.

Two tanks, or one long tank with a probe at each end, give two counts and have two tables.
What comes out is one track whose counts *are* litres, and the table that says so; the rest of
the watch then sees one tank.  A vehicle with one probe never comes here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.values import Floats, Track

BEYOND = 0.1
"""Counts further outside a table than this share of its span are no reading of that probe."""
_STEPS = 64


@dataclass(frozen=True, eq=False)
class Gauge:
    """One track for all probes of a vehicle.

    ``track.counts`` are the litres of all tanks together, NaN where one probe says nothing;
    ``table`` gives the same litres with the combined band.  ``below_tip`` and ``above_top``
    say for each record whether a probe is below its lowest or above its highest row, where
    its litres stand still whatever the fuel does. [L]
    """

    track: Track
    table: Table
    below_tip: np.ndarray[tuple[int], np.dtype[np.bool_]]
    above_top: np.ndarray[tuple[int], np.dtype[np.bool_]]


def together(track: Track, further: Sequence[Floats], tables: Sequence[Table]) -> Gauge:
    """Return the probes of one vehicle read as one.

    ``further`` are the counts of the probes beside the first, ``tables`` one for each probe.
    The bands of the tables add: tables of one vehicle are mostly poured with one dispenser,
    whose error they share.  With one unknown band the whole is unknown.  The combined band
    stands by total litres: the middle of the bands of the records with about that total.

    >>> track = Track("T-7", np.arange(2) * 10.0, np.array([0.0, 100.0]), np.zeros(2), np.zeros(2))
    >>> table = Table(np.array([0, 100]), np.array([5.0, 105.0]), np.array([1.0, 2.0]))
    >>> both = together(track, [np.array([100.0, 100.0])], [table, table])
    >>> both.track.counts.tolist(), both.table.band_at([110, 210]).tolist()
    ([110.0, 210.0], [3.0, 4.0])
    """
    if len(tables) != len(further) + 1:
        raise InputError(f"{track.vehicle}: {len(tables)} tables for {len(further) + 1} probes")
    litres = np.zeros(track.time_s.size)
    bands: Floats | None = np.zeros(track.time_s.size)
    below = np.zeros(track.time_s.size, dtype=bool)
    above = np.zeros(track.time_s.size, dtype=bool)
    for counts, table in zip([track.counts, *further], tables, strict=True):
        low, high = table.counts[0], table.counts[-1]
        room = BEYOND * (high - low)
        inside = np.where((counts >= low - room) & (counts <= high + room), counts, np.nan)
        below |= inside <= low
        above |= inside >= high
        # Just outside, the reading's own noise is meant; the flags say that it is an end.
        at_most = np.clip(inside, low, high)
        litres = litres + np.interp(at_most, table.counts, table.litres)
        litres[np.isnan(at_most)] = np.nan
        if bands is not None:
            bands = None if table.u_litres is None else bands + np.interp(
                np.nan_to_num(at_most, nan=low), table.counts, table.u_litres
            )  # fmt: skip
    whole = _table(tables, litres, bands)
    return Gauge(replace(track, counts=litres), whole, below, above)


def _table(tables: Sequence[Table], litres: Floats, bands: Floats | None) -> Table:
    """Return the table whose counts are litres, with the band that records of that total have."""
    low = float(sum(table.litres[0] for table in tables))
    high = float(sum(table.litres[-1] for table in tables))
    rows = np.linspace(low, high, _STEPS + 1)
    if bands is None:
        return Table(rows, rows, None)
    ends = [
        sum(float(table.u_litres[at]) for table in tables if table.u_litres is not None)
        for at in (0, -1)
    ]
    known = np.isfinite(litres)
    place = np.rint((litres[known] - low) / (high - low) * _STEPS).astype(np.int64)
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(_STEPS + 2))
    sorted_bands = bands[known][order]
    middles = np.array(
        [np.median(sorted_bands[a:b]) if b > a else np.nan for a, b in pairwise(starts)]
    )
    for at, end in zip((0, -1), ends, strict=True):
        if np.isnan(middles[at]):
            middles[at] = end
    seen = np.isfinite(middles)
    return Table(rows, rows, np.interp(rows, rows[seen], middles[seen]))
