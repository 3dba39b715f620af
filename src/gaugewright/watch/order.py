"""From records as they arrived to a vehicle's track: in order of time, each moment once.

Records come late (a tracker without a network keeps them), doubled (it sends them again) and
with a clock that is plainly wrong.  Nothing is changed but the order; what is left out is
counted in `Arrival`, so that it can be said.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.util import find_spec
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.watch.values import COLUMNS as EXTRA_COLUMNS
from gaugewright.watch.values import Track

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Kept = tuple[npt.NDArray[np.integer[Any]], npt.NDArray[np.integer[Any]], int]
"""Runs of places that follow each other: the first ones, those after the last, how many in all."""
Numbers = npt.NDArray[np.floating[Any]]

EARLIEST_S = 946_684_800.0
"""2000-01-01 UTC: before it no tracker's clock was ever right. [s since 1970]"""
CLOCK_AHEAD_S = 86_400.0
"""How far a tracker's clock may be ahead of ours. [s]"""

TWICE_S = -1e11
"""Added to the earlier of two moments that one clock time stands for, until `settled`. [s]"""
SET_BACK_S = 3600.0
"""How far clocks are set back at the end of summer time. [s]"""
_DAY_S = 86_400.0
_TURN_S = 1800.0
"""So far back the clock jumps at least between the two passes of an hour. [s]"""

HAS_COMPILER = find_spec("numba") is not None
"""Without numba (no wheel for some old machines) NumPy does the same, several times slower."""


@dataclass(frozen=True)
class Arrival:
    """How one vehicle's records came in.

    ``late`` came after a record of a later time, at most ``worst_late_s`` behind it [s];
    ``doubled`` were left out because their moment was there already, and at ``contradicting``
    of these moments the counts differed; ``misdated`` were left out because no clock that is
    right shows their time, ``twice`` because a clock that was set back shows it twice.
    """

    records: int
    late: int = 0
    worst_late_s: float = 0.0
    doubled: int = 0
    contradicting: int = 0
    misdated: int = 0
    twice: int = 0

    def __add__(self, other: "Arrival") -> "Arrival":
        """Return both together."""
        return Arrival(
            self.records + other.records,
            self.late + other.late,
            max(self.worst_late_s, other.worst_late_s),
            self.doubled + other.doubled,
            self.contradicting + other.contradicting,
            self.misdated + other.misdated,
            self.twice + other.twice,
        )


@dataclass(frozen=True, eq=False)
class Ordered:
    """A vehicle's track, how its records came in, and the counts of its further probes."""

    track: Track
    arrival: Arrival
    further: Mapping[str, Floats]
    """``counts_2`` and so on, a figure for each record of the track."""


def ordered(vehicle: str, columns: Mapping[str, Numbers], *, latest_s: float = np.inf) -> Ordered:
    """Return a vehicle's records in order of time, each moment once, and how they came in.

    ``columns`` are those of `Track` by name, in order of arrival; ``time_s`` and ``counts``
    must be there.  ``latest_s`` is the latest time that can be true [s since 1970], normally
    now and `CLOCK_AHEAD_S`.  Of several records of one moment the first to arrive that carries
    counts stands.  Counts that are not finite are no counts (NaN).

    >>> found = ordered("T-7", {
    ...     "time_s": np.array([1e9, 1e9 + 20, 1e9 + 10, 1e9 + 20]),
    ...     "counts": np.array([800.0, 802.0, 801.0, 802.0])})
    >>> found.track.counts.tolist(), found.arrival.late, found.arrival.doubled
    ([800.0, 801.0, 802.0], 1, 1)
    """
    time_s = _own(columns["time_s"])
    for name, values in columns.items():
        if values.shape != time_s.shape:
            raise InputError(f"{vehicle}: {values.size} {name} for {time_s.size} times")
    kept, arrival = _kept(time_s, columns["counts"], latest_s)
    if arrival.misdated:
        once_s, twice = settled(time_s)
        if once_s is not time_s:
            time_s = once_s
            kept, arrival = _kept(time_s, columns["counts"], latest_s)
            arrival = replace(arrival, misdated=arrival.misdated - twice, twice=twice)

    def column(name: str) -> Floats | None:
        values = columns.get(name)
        if values is None:
            return None
        return _own(values) if kept is None else _taken(values, kept)

    def needed(name: str) -> Floats:
        found = column(name)
        return np.full(time_s.size if kept is None else kept[2], np.nan) if found is None else found

    track = Track(
        vehicle=vehicle,
        time_s=time_s if kept is None else _taken(time_s, kept),
        counts=_finite(needed("counts")),
        speed_kmh=needed("speed_kmh"),
        ignition=needed("ignition"),
        **{name: column(name) for name in EXTRA_COLUMNS},
    )
    further = {name: _finite(needed(name)) for name in columns if name.startswith("counts_")}
    return Ordered(track, arrival, further)


def settled(time_s: Floats) -> tuple[Floats, int]:
    """Return the times of one vehicle with the hour that a clock had twice put where it was.

    A time of that hour comes as the earlier moment plus `TWICE_S`, in order of arrival.  Where
    these times jump back once, by half an hour or more, into what was there already, those before
    it are of the first pass and those after it of the second.  (Late records that fill a hole
    jump back too.)  What this does not settle becomes NaN and is counted.

    >>> hour = np.array([600.0, 3000.0, 600.0, 3000.0]) + 1_792_886_400
    >>> times, left_out = settled(hour + TWICE_S)
    >>> (times - hour[0]).tolist(), left_out
    ([0.0, 2400.0, 3600.0, 6000.0], 0)
    >>> settled(hour[:2] + TWICE_S)
    (array([nan, nan]), 2)
    """
    doubtful = np.flatnonzero(time_s < TWICE_S / 2)
    if not doubtful.size:
        return time_s, 0
    result, earlier_s = time_s.copy(), np.round(time_s[doubtful] - TWICE_S, 3)
    result[doubtful] = np.nan
    in_time = np.argsort(earlier_s, kind="stable")
    years = np.split(in_time, np.flatnonzero(np.diff(earlier_s[in_time]) > _DAY_S) + 1)
    for places in map(np.sort, years):
        times = earlier_s[places]
        turns = np.flatnonzero(np.diff(times) <= -_TURN_S)
        is_second = np.arange(times.size) > turns[0] if turns.size == 1 else np.zeros(0, bool)
        if is_second.size and times[is_second].max() >= times[~is_second].min():
            result[doubtful[places]] = times + np.where(is_second, SET_BACK_S, 0.0)
    return result, int(np.isnan(result[doubtful]).sum())


def _own(values: Numbers) -> Floats:
    """Return figures in one piece that may be written to, as the simulated logs have them.

    The loops of the watch would be compiled once more for what a file's reader only lends.
    """
    return np.require(values, np.float64, ["C", "W"])


def _finite(counts: Floats) -> Floats:
    infinite = np.isinf(counts)
    return np.where(infinite, np.nan, counts) if infinite.any() else counts


def by_code(
    codes: npt.NDArray[np.int32], size: int, columns: Mapping[str, Numbers]
) -> tuple[dict[str, Numbers], Places]:
    """Return the columns sorted by code, and where each of the ``size`` codes begins.

    Records of one code keep their order; those with a negative code are left out.

    >>> columns, starts = by_code(np.array([1, 0, 1], np.int32), 2, {"x": np.array([5., 6., 7.])})
    >>> columns["x"].tolist(), starts.tolist()
    ([6.0, 5.0, 7.0], [0, 1, 3])
    """
    if codes.size and codes[0] >= 0 and (codes == codes[0]).all():
        # A file of one vehicle: nothing is to be moved.
        starts = np.where(np.arange(size + 1) > codes[0], codes.size, 0).astype(np.int64)
        return dict(columns), starts
    if HAS_COMPILER:
        from gaugewright.watch.order_kernels import places_by_code, scatter

        places, starts = places_by_code(codes, size)
        result: dict[str, Numbers] = {}
        for name, values in columns.items():
            result[name] = np.empty(int(starts[-1]), values.dtype)
            scatter(np.ascontiguousarray(values), places, result[name])
        return result, starts
    order = np.argsort(codes, kind="stable")
    order = order[int((codes < 0).sum()) :]
    starts = np.searchsorted(codes[order], np.arange(size + 1)).astype(np.int64)
    return {name: values[order] for name, values in columns.items()}, starts


def _kept(time_s: Floats, counts: Numbers, latest_s: float) -> tuple[Kept | None, Arrival]:
    """Return the places of the records that stay, in order; ``None``: all as they are."""
    n = time_s.size
    kept: Kept
    if HAS_COMPILER:
        from gaugewright.watch.order_kernels import is_rising, late_places, one_of_each

        if is_rising(time_s, EARLIEST_S, latest_s):
            return None, Arrival(n)
        aside, worst_s, fallen = late_places(time_s, EARLIEST_S, latest_s)
        late = aside[aside >= 0]
        kept, contradicting = one_of_each(
            time_s, counts, aside, late[np.argsort(time_s[late], kind="stable")]
        )
        late_n = late.size
    else:
        if not n or (
            time_s[0] >= EARLIEST_S and time_s[-1] <= latest_s and (np.diff(time_s) > 0).all()
        ):
            return None, Arrival(n)
        order, late_n, worst_s, fallen = _merged_order(time_s, latest_s)
        kept, contradicting = _one_of_each(time_s, counts, order)
    doubled = int(n - fallen - kept[2])
    return kept, Arrival(n, int(late_n), float(worst_s), doubled, int(contradicting), int(fallen))


def _taken(values: Numbers, kept: Kept) -> Floats:
    if HAS_COMPILER:
        from gaugewright.watch.order_kernels import taken

        compiled: Floats = taken(values, kept)
        return compiled
    runs = zip(kept[0].tolist(), kept[1].tolist(), strict=True)
    parts = [values[first:end] for first, end in runs]
    return np.concatenate([values[:0], *parts]).astype(np.float64, copy=False)


def by_table(table: npt.NDArray[np.int32], places: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Return the entries of a table at many places."""
    if HAS_COMPILER:
        from gaugewright.watch.order_kernels import looked_up

        compiled: npt.NDArray[np.int32] = looked_up(table, places)
        return compiled
    return table[places]


def _merged_order(time_s: Floats, latest_s: float) -> tuple[Places, int, float, int]:
    """As the compiled `merged_order`, in NumPy."""
    here = np.flatnonzero((time_s >= EARLIEST_S) & (time_s <= latest_s))
    times = time_s[here]
    behind_s = np.maximum.accumulate(times) - times if times.size else times
    order = here[np.argsort(times, kind="stable")]
    return (
        order,
        int((behind_s > 0).sum()),
        float(behind_s.max(initial=0.0)),
        int(time_s.size - here.size),
    )


def _one_of_each(time_s: Floats, counts: Numbers, order: Places) -> tuple[Kept, int]:
    """As the compiled `one_of_each`, in NumPy."""
    if not order.size:
        return (order, order, 0), 0
    times, sent = time_s[order], counts[order].astype(np.float64)
    begins = np.flatnonzero(np.r_[True, np.diff(times) > 0])
    place = np.arange(order.size)
    with_counts = np.where(np.isfinite(sent), place, order.size)
    first = np.minimum.reduceat(with_counts, begins)
    chosen = np.where(first < order.size, first, begins)
    low = np.minimum.reduceat(np.where(np.isfinite(sent), sent, np.inf), begins)
    high = np.maximum.reduceat(np.where(np.isfinite(sent), sent, -np.inf), begins)
    kept: Places = order[chosen]
    ends = np.append(np.diff(kept) != 1, True)
    begin_runs, end_runs = kept[np.roll(ends, 1)], kept[ends] + 1
    return (begin_runs, end_runs, kept.size), int((low < high).sum())
