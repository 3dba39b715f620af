"""A track for the eye: lowest, mean and highest litres of any stretch of time at once.

The records are halved three times over, again and again, into blocks of 8, 64, 512, ...
A stretch is then put together from the largest blocks that lie wholly in it and the few
records at its ends.  So what is given is exact at every zoom, and a view of so many pixels
costs about the same for a minute as for a year.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.values import Track

Floats = npt.NDArray[np.float64]
Column = npt.NDArray[np.floating]
Places = npt.NDArray[np.int64]

BLOCK = 8
"""Records, or blocks, in a block of the next size."""
MOST_PIXELS = 4000
GAP_PERIODS = 6.0
LEAST_GAP_S = 90.0
"""No line is drawn over a time without records of so many usual periods, at least so long."""


Levels = tuple[Column, ...]
"""A column of records, then its blocks, the smallest first."""


@dataclass(frozen=True, eq=False)
class Sums:
    """What a mean is made of, block by block."""

    total: Levels
    known: Levels | None
    """How many records say something; ``None``: all of them."""


@dataclass(frozen=True, eq=False)
class View:
    """What is drawn of a stretch of time, one point for each pixel that has records.

    Shape (n,) each. ``is_apart`` says that no records stand between the point before and
    this one for longer than ``gap_s``. ``u_l`` is ``None`` where the table's band is unknown.
    A point without litres (NaN) has records, but none on the table. [s, L, km/h]
    """

    from_s: float
    to_s: float
    time_s: Floats
    low_l: Floats
    mean_l: Floats
    high_l: Floats
    u_l: Floats | None
    speed_kmh: Floats
    """The highest in the pixel; NaN: unknown."""
    ignition: Floats
    """Share of the pixel's records with the ignition on, 0 to 1; NaN: unknown."""
    is_apart: npt.NDArray[np.bool_]
    gap_s: float


@dataclass(frozen=True, eq=False)
class Thinned:
    """A track laid out so that any stretch of it is drawn at once."""

    vehicle: str
    time_s: Floats
    low_l: Levels
    high_l: Levels
    litres: Sums
    speed_kmh: Levels
    ignition: Sums
    band: tuple[Floats, Floats] | None
    """Half-width of the table's 95 % band over litres. [L]"""
    off_table: int
    """Records whose counts lie outside the table, and so have no litres."""
    silent: int
    """Records without counts."""
    gap_s: float

    @property
    def from_s(self) -> float:
        """Time of the first record. [s]"""
        return float(self.time_s[0])

    @property
    def to_s(self) -> float:
        """Time of the last record. [s]"""
        return float(self.time_s[-1])


def thin_track(track: Track, table: Table) -> Thinned:
    """Lay a track out for drawing; `InputError` if it has no records.

    >>> table = Table(np.array([0, 1000]), np.array([0.0, 500.0]), None)
    >>> track = Track("T-7", np.arange(3.0), np.array([200, 204, 1200.0]), *np.zeros((2, 3)))
    >>> thin_track(track, table).off_table
    1
    """
    if track.time_s.size == 0:
        raise InputError(f"{track.vehicle}: there are no records to draw")
    counts = track.counts
    with np.errstate(invalid="ignore"):  # NaN: no counts, counted below
        is_off = (counts < table.counts[0]) | (counts > table.counts[-1])
    litres = np.interp(counts, table.counts, table.litres)
    litres[is_off] = np.nan
    period_s = track.period_s
    return Thinned(
        vehicle=track.vehicle,
        time_s=track.time_s,
        low_l=_levels(litres, np.fmin),
        high_l=_levels(litres, np.fmax),
        litres=_sums(litres),
        speed_kmh=_levels(track.speed_kmh, np.fmax),
        ignition=_sums(track.ignition),
        band=_band(table),
        off_table=int(is_off.sum()),
        silent=int(np.isnan(counts).sum()),
        gap_s=max(LEAST_GAP_S, GAP_PERIODS * period_s) if period_s > 0 else LEAST_GAP_S,
    )


def view(thinned: Thinned, from_s: float, to_s: float, pixels: int) -> View:
    """Return what is drawn between two times in so many pixels.

    The record before and the one after the stretch come with it, so that the line runs to
    the edges.  Raises `InputError` for a stretch or a width that cannot be drawn.
    """
    if not (np.isfinite(from_s) and np.isfinite(to_s) and to_s > from_s):
        raise InputError(f"must be later than from_s, found {from_s:g} to {to_s:g}", field="to_s")
    if not 1 <= pixels <= MOST_PIXELS:
        raise InputError(f"must be 1 to {MOST_PIXELS}, found {pixels}", field="pixels")
    edges = np.linspace(from_s, to_s, pixels + 1)
    edges[-1] = np.nextafter(to_s, np.inf)  # the last record belongs to the last pixel
    ends = np.searchsorted(thinned.time_s, edges)
    first, last = ends[:-1], ends[1:]
    size = thinned.time_s.size
    if ends[0] > 0:
        first, last = np.r_[ends[0] - 1, first], np.r_[ends[0], last]
    if ends[-1] < size:
        first, last = np.r_[first, ends[-1]], np.r_[last, ends[-1] + 1]
    has_records = last > first
    first, last = first[has_records], last[has_records]
    begin, end = thinned.time_s[first], thinned.time_s[last - 1]
    is_apart = np.r_[False, begin[1:] - end[:-1] > thinned.gap_s][: first.size]
    spans = _spans(first, last, len(thinned.low_l))
    mean_l = _mean(thinned.litres, spans, last - first)
    return View(
        from_s=from_s,
        to_s=to_s,
        time_s=0.5 * (begin + end),
        low_l=_extreme(thinned.low_l, spans, np.fmin, first.size),
        mean_l=mean_l,
        high_l=_extreme(thinned.high_l, spans, np.fmax, first.size),
        u_l=None if thinned.band is None else np.interp(mean_l, *thinned.band),
        speed_kmh=_extreme(thinned.speed_kmh, spans, np.fmax, first.size),
        ignition=_mean(thinned.ignition, spans, last - first),
        is_apart=is_apart,
        gap_s=thinned.gap_s,
    )


def _band(table: Table) -> tuple[Floats, Floats] | None:
    """Return the band over litres; where counts rise and litres do not, the widest."""
    if table.u_litres is None:
        return None
    litres, places = np.unique(table.litres, return_index=True)
    return litres, np.maximum.reduceat(table.u_litres, places)


def _levels(values: Column, put_together: np.ufunc) -> Levels:
    """Return a column with its blocks up to one that holds all."""
    levels = [values]
    while levels[-1].size > 1:
        starts = np.arange(0, levels[-1].size, BLOCK)
        levels.append(put_together.reduceat(levels[-1], starts))
    return tuple(levels)


def _sums(values: Floats) -> Sums:
    is_known = ~np.isnan(values)
    if is_known.all():
        return Sums(_levels(values, np.add), None)
    return Sums(
        _levels(np.where(is_known, values, 0.0), np.add),
        _levels(is_known.astype(np.float64), np.add),
    )


@dataclass(frozen=True, eq=False)
class _Span:
    """Blocks of one size: which stretches take one more of them, and which blocks those are."""

    level: int
    stretch: Places
    block: Places


def _spans(first: Places, last: Places, levels: int) -> list[_Span]:
    """Part every stretch [first, last) of records into the fewest blocks that lie in it."""
    spans: list[_Span] = []
    stretch = np.arange(first.size)
    for level in range(levels):
        is_top = level == levels - 1
        head = last if is_top else np.minimum(last, -(-first // BLOCK) * BLOCK)
        tail = last if is_top else np.maximum(head, last // BLOCK * BLOCK)
        for start, stop in ((first, head), (tail, last)):
            for step in range(int((stop - start).max(initial=0))):
                takes = start + step < stop
                spans.append(_Span(level, stretch[takes], (start + step)[takes]))
        goes_on = tail > head
        stretch = stretch[goes_on]
        first, last = head[goes_on] // BLOCK, tail[goes_on] // BLOCK
        if not stretch.size:
            break
    return spans


def _extreme(levels: Levels, spans: list[_Span], put_together: np.ufunc, size: int) -> Floats:
    found: Floats = np.full(size, np.nan)
    for span in spans:
        found[span.stretch] = put_together(found[span.stretch], levels[span.level][span.block])
    return found


def _sum(levels: Levels, spans: list[_Span], size: int) -> Floats:
    found: Floats = np.zeros(size)
    for span in spans:
        found[span.stretch] += levels[span.level][span.block]
    return found


def _mean(sums: Sums, spans: list[_Span], records: Places) -> Floats:
    total = _sum(sums.total, spans, records.size)
    known = records if sums.known is None else _sum(sums.known, spans, records.size)
    found: Floats = np.full(records.size, np.nan)
    np.divide(total, known, out=found, where=known > 0)
    return found
