"""Records in minutes: one robust level for each minute that has any.

Everything after works on these bins, so that the record interval matters only through the
number of records in a bin. A bin never mixes moving and still records.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.compiled import NO, ZERO, compiled
from gaugewright.watch.values import Floats, Track

BIN_S = 60.0
MOVING_KMH = 3.0
"""Above this a vehicle is on the move; satellite speed of one that stands stays below it."""
_MOST = 64
_FEW = 8
_MOST_WHOLE = 1 << 16


@dataclass(frozen=True, eq=False)
class Bins:
    """One vehicle's minutes, all arrays of one length. [s, L, km/h]

    ``level_l`` is the mean of the middle third of the bin's litres, ``scatter_l`` the mean
    bend between three records that follow one another, which no steady flow makes (NaN with
    fewer), ``records`` how many there are, ``moving`` whether on the move, ``running`` the
    share of records with ignition on (NaN: unknown), ``first`` and ``last`` the numbers of its
    records in the track.
    """

    time_s: Floats
    level_l: Floats
    scatter_l: Floats
    records: npt.NDArray[np.int64]
    moving: npt.NDArray[np.bool_]
    running: Floats
    first: npt.NDArray[np.int64]
    last: npt.NDArray[np.int64]

    @cached_property
    def moves(self) -> bool:
        """Whether the vehicle ever moves."""
        return bool(self.moving.any())


def only(bins: Bins, keep: npt.NDArray[np.bool_]) -> Bins:
    """Return the bins to keep; the same ones where none is left out."""
    if keep.all():
        return bins
    places = np.flatnonzero(keep)
    return Bins(**{name: getattr(bins, name).take(places) for name in Bins.__dataclass_fields__})


def bins_of(track: Track, table: Table) -> Bins:
    """Return the track in minutes, counts outside the table's range by a tenth left out."""
    most = track.time_s.size
    time_s, level, scatter, running = (np.empty(most) for _ in range(4))
    records, first, last = (np.empty(most, np.int64) for _ in range(3))
    moving = np.empty(most, np.bool_)
    size = _fill(
        track.time_s, track.counts, track.speed_kmh, track.ignition, table.counts, table.litres,
        time_s, level, scatter, running, records, first, last, moving,
    )  # fmt: skip
    kept = slice(0, size)
    return Bins(
        time_s[kept], level[kept], scatter[kept], records[kept], moving[kept], running[kept],
        first[kept], last[kept],
    )  # fmt: skip


@compiled
def _fill(
    time_s: Floats,
    counts: Floats,
    speed: Floats,
    ignition: Floats,
    rows: Floats,
    litres: Floats,
    out_time: Floats,
    out_level: Floats,
    out_scatter: Floats,
    out_running: Floats,
    out_records: npt.NDArray[np.int64],
    out_first: npt.NDArray[np.int64],
    out_last: npt.NDArray[np.int64],
    out_moving: npt.NDArray[np.bool_],
) -> int:
    span = rows[-1] - rows[0]
    lowest, highest = rows[0] - 0.1 * span, rows[-1] + 0.1 * span
    sorted_l = np.empty(_MOST)
    whole_from = np.floor(lowest)
    # Counts are mostly whole and come again and again: their litres are worked out once.
    whole_l = np.empty(int(min(highest - whole_from + 1, _MOST_WHOLE, time_s.size)))
    row = 0
    for k in range(whole_l.size):
        row = _row_of(whole_from + k, rows, row)
        whole_l[k] = _litres(whole_from + k, rows, litres, row)
    size = held = row = first = last = ZERO
    moving = NO
    start = -1e300
    total_t = steps = before = before2 = on = known = 0.0
    for i in range(time_s.size):
        c = counts[i]
        if not (c >= lowest and c <= highest):
            continue
        t = time_s[i]
        moves = speed[i] > MOVING_KMH
        if held and (t - start >= BIN_S or moves != moving or held == _MOST):
            size = _close(
                size, held, total_t, steps, on, known, sorted_l, moving, first, last,
                out_time, out_level, out_scatter, out_running, out_records, out_first, out_last,
                out_moving,
            )  # fmt: skip
            held = 0
        if held == 0:
            start = np.floor(t / BIN_S) * BIN_S
            moving, first = moves, i
            total_t = steps = on = known = 0.0
        place = int(c - whole_from)
        if place < whole_l.size and c == whole_from + place:
            y = whole_l[place]
        else:
            row = _row_of(c, rows, row)
            y = _litres(c, rows, litres, row)
        if held > 1:
            steps += abs(y - 2.0 * before + before2)
        before2, before = before, y
        total_t += t
        if ignition[i] == ignition[i]:
            known += 1
            on += ignition[i]
        if held < _FEW:
            # Passed through all of them without a turn of the way: the processor guesses none.
            low = y
            for j in range(held):
                other = sorted_l[j]
                sorted_l[j] = low if low < other else other
                low = other if low < other else low
            sorted_l[held] = low
        else:
            j = held
            while j > 0 and sorted_l[j - 1] > y:
                sorted_l[j] = sorted_l[j - 1]
                j -= 1
            sorted_l[j] = y
        held += 1
        last = i
    if held:
        size = _close(
            size, held, total_t, steps, on, known, sorted_l, moving, first, last,
            out_time, out_level, out_scatter, out_running, out_records, out_first, out_last,
            out_moving,
        )  # fmt: skip
    return size


@compiled
def _row_of(c: float, rows: Floats, row: int) -> int:
    """Return the row of the table from which these counts are read, sought from the last one."""
    while row + 2 < rows.size and c > rows[row + 1]:
        row += 1
    while row > 0 and c < rows[row]:
        row -= 1
    return row


@compiled
def _litres(c: float, rows: Floats, litres: Floats, row: int) -> float:
    part = (c - rows[row]) / (rows[row + 1] - rows[row])
    level: float = litres[row] + min(max(part, 0.0), 1.0) * (litres[row + 1] - litres[row])
    return level


@compiled
def _close(
    size: int,
    held: int,
    total_t: float,
    steps: float,
    on: float,
    known: float,
    sorted_l: Floats,
    moving: bool,
    first: int,
    last: int,
    out_time: Floats,
    out_level: Floats,
    out_scatter: Floats,
    out_running: Floats,
    out_records: npt.NDArray[np.int64],
    out_first: npt.NDArray[np.int64],
    out_last: npt.NDArray[np.int64],
    out_moving: npt.NDArray[np.bool_],
) -> int:
    """Write one bin and return how many there are now."""
    cut = (held - 1) // 2 if held < 6 else held // 3
    total = 0.0
    for j in range(cut, held - cut):
        total += sorted_l[j]
    out_time[size] = total_t / held
    out_level[size] = total / (held - 2 * cut)
    out_scatter[size] = steps / (held - 2) if held > 2 else np.nan
    out_running[size] = on / known if known else np.nan
    out_records[size] = held
    out_first[size] = first
    out_last[size] = last
    out_moving[size] = moving
    return size + 1
