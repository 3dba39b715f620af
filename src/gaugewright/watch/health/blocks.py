"""A year of records in one pass: blocks of five minutes, and runs of one and the same value.

The health checks work on these. A block holds counts, not litres, because a check of the
table must not lean on the table; it never mixes rest, running and motion.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled
from gaugewright.watch.values import Floats, Track

Ints = npt.NDArray[np.int64]

BLOCK_S = 300.0
HOLD_S = 60.0
"""Still on the move this long after the last record of motion: a halt in traffic. [s]"""
MOVING_KMH = 3.0
OFF, RUNNING, MOVING = 0, 1, 2
"""Ignition off and standing; running and standing; on the move."""
SPIKE_SHARE = 0.04
"""A record this far from both neighbours, on one side, stands for nothing. Share of the span."""
LEAST_RUN = 12
"""Shortest run of equal values that is kept. [records]"""


@dataclass(frozen=True, eq=False)
class Blocks:
    """All arrays of one length, one entry a block. [s, counts]"""

    start_s: Floats
    end_s: Floats
    records: Ints
    state: Ints
    mean: Floats
    """Mean of the counts, spikes left out. [counts]"""
    squares: Floats
    """Sum of squared steps between records that follow one another. [counts²]"""
    steps: Ints
    """How many such steps."""
    changes: Ints
    """How many of them are not zero."""
    spikes: Ints
    first: Ints
    """Number of the block's first record in the track."""

    def seen(self, state: int) -> npt.NDArray[np.bool_]:
        """Return which blocks are of this state."""
        at: npt.NDArray[np.bool_] = self.state == state
        return at

    @cached_property
    def change_share(self) -> tuple[float, float, float]:
        """Share of steps that are not zero, by state; NaN where there are none."""
        shares = []
        for state in (OFF, RUNNING, MOVING):
            at = self.seen(state)
            steps = int(self.steps[at].sum())
            shares.append(float(self.changes[at].sum()) / steps if steps else float("nan"))
        return shares[0], shares[1], shares[2]


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of equal counts, one entry a run."""

    start_s: Floats
    end_s: Floats
    value: Floats
    by_state: Ints
    """Records of each state in the run, shape (runs, 3)."""


def blocks_of(
    track: Track, low: float, high: float, period_s: float | None = None
) -> tuple[Blocks, Runs]:
    """Return a track's blocks and runs; counts outside ``low`` to ``high`` are left out.

    ``period_s`` is the track's, where it is known already.

    >>> time = np.arange(0.0, 1200.0, 10.0)
    >>> track = Track("T", time, 500.0 + np.arange(120) % 2, np.zeros(120), np.zeros(120))
    >>> blocks, runs = blocks_of(track, 0.0, 4095.0)
    >>> blocks.records.tolist(), float(blocks.mean[0]), runs.value.size
    ([30, 30, 30, 30], 500.5, 0)
    """
    most = track.time_s.size
    period = track.period_s if period_s is None else period_s
    period = period if period > 0 else BLOCK_S
    start, end, mean, squares = (np.empty(most) for _ in range(4))
    records, state, steps, changes, spikes, first = (np.empty(most, np.int64) for _ in range(6))
    room = most // LEAST_RUN + 2
    run_start, run_end, value = (np.empty(room) for _ in range(3))
    by_state = np.zeros((room, 3), np.int64)
    size, runs = _fill(
        track.time_s, track.counts, track.speed_kmh, track.ignition, low, high,
        SPIKE_SHARE * (high - low), 1.5 * period, start, end, mean, squares,
        records, state, steps, changes, spikes, first, run_start, run_end, value, by_state,
    )  # fmt: skip
    start, end, mean, squares = (a[:size].copy() for a in (start, end, mean, squares))
    wholes = (records, state, steps, changes, spikes, first)
    records, state, steps, changes, spikes, first = (a[:size].copy() for a in wholes)
    run_start, run_end, value = (a[:runs].copy() for a in (run_start, run_end, value))
    return (
        Blocks(start, end, records, state, mean, squares, steps, changes, spikes, first),
        Runs(run_start, run_end, value, by_state[:runs].copy()),
    )


@compiled
def _fill(
    time_s: Floats,
    counts: Floats,
    speed: Floats,
    ignition: Floats,
    low: float,
    high: float,
    spike: float,
    near_s: float,
    out_start: Floats,
    out_end: Floats,
    out_mean: Floats,
    out_squares: Floats,
    out_records: Ints,
    out_state: Ints,
    out_steps: Ints,
    out_changes: Ints,
    out_spikes: Ints,
    out_first: Ints,
    run_start: Floats,
    run_end: Floats,
    run_value: Floats,
    run_states: Ints,
) -> tuple[int, int]:
    n = time_s.size
    block = -1
    total = squares = 0.0
    records = steps = changes = spikes = 0
    block_end = -1e300
    state_before = -1
    moved_s = -1e300
    before, before_s = np.nan, -1e300
    runs = 0
    held, held_from, held_to = np.nan, 0.0, 0.0
    seen_s = 0.0
    a = b = d = 0
    for i in range(n):
        c = counts[i]
        if not (c >= low and c <= high):
            continue
        t = time_s[i]
        if speed[i] > MOVING_KMH:
            moved_s = t
        state = MOVING if t - moved_s <= HOLD_S else (RUNNING if ignition[i] > 0.5 else OFF)
        # Runs of one value.
        if c == held:
            held_to = t
        else:
            if a + b + d >= LEAST_RUN:
                run_start[runs], run_end[runs], run_value[runs] = held_from, held_to, held
                run_states[runs, 0], run_states[runs, 1], run_states[runs, 2] = a, b, d
                runs += 1
            held, held_from, held_to = c, t, t
            a = b = d = 0
        a += state == OFF
        b += state == RUNNING
        d += state == MOVING
        # Blocks.
        if state != state_before or t >= block_end:
            if block >= 0:
                _close(
                    block, records, seen_s, total, squares, steps, changes, spikes,
                    out_records, out_end, out_mean, out_squares, out_steps, out_changes, out_spikes,
                )  # fmt: skip
            block += 1
            block_end = t + BLOCK_S
            state_before = state
            total = squares = 0.0
            records = steps = changes = spikes = 0
            out_start[block], out_state[block], out_first[block] = t, state, i
        seen_s = t
        records += 1
        following = counts[i + 1] if i + 1 < n else c
        step, ahead = c - before, following - c
        if abs(step) > spike and abs(ahead) > spike and step * ahead < 0.0:
            spikes += 1
            continue
        total += c
        if t - before_s <= near_s and records > 1:
            squares += step * step
            steps += 1
            changes += step != 0.0
        before, before_s = c, t
    if a + b + d >= LEAST_RUN:
        run_start[runs], run_end[runs], run_value[runs] = held_from, held_to, held
        run_states[runs, 0], run_states[runs, 1], run_states[runs, 2] = a, b, d
        runs += 1
    if block >= 0:
        _close(
            block, records, seen_s, total, squares, steps, changes, spikes,
            out_records, out_end, out_mean, out_squares, out_steps, out_changes, out_spikes,
        )  # fmt: skip
    return block + 1, runs


@compiled
def _close(
    block: int,
    records: int,
    end_s: float,
    total: float,
    squares: float,
    steps: int,
    changes: int,
    spikes: int,
    out_records: Ints,
    out_end: Floats,
    out_mean: Floats,
    out_squares: Floats,
    out_steps: Ints,
    out_changes: Ints,
    out_spikes: Ints,
) -> None:
    """Write one block."""
    used = records - spikes
    out_records[block] = records
    out_end[block] = end_s
    out_mean[block] = total / used if used > 0 else np.nan
    out_squares[block] = squares
    out_steps[block], out_changes[block], out_spikes[block] = steps, changes, spikes
