"""A long history cut into tasks: its rows laid down anew, block by block with their margins."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.app.spool import Rows, Spool, joined_columns
from gaugewright.watch.blocks import BLOCK_RECORDS, MARGIN_S, cuts
from gaugewright.watch.order import EARLIEST_S, TWICE_S, Arrival, settled

_PARTS = 3
"""Rows of a block in the second spool: before it, its own, after it."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Where a vehicle's history is cut, and the rows of each block and its margins.

    ``arrival`` holds what can only be told of the whole: the late and the misdated.
    """

    at_s: tuple[float, ...]
    rows: tuple[tuple[tuple[Rows, ...], tuple[Rows, ...], tuple[Rows, ...]], ...]
    arrival: Arrival


def in_blocks(
    stretches: Sequence[Rows],
    records: int,
    folder: Path,
    *,
    latest_s: float,
    most: int = BLOCK_RECORDS,
    margin_s: float = MARGIN_S,
) -> Blocks:
    """Return a vehicle's rows in blocks of about ``most`` records.

    Never more than one stretch is in memory.  A history that fits one block is left as it is.
    """
    if records <= most:
        return Blocks((), (((), tuple(stretches), ()),), Arrival(0))
    arrival, first_s, last_s, once_s = _survey(stretches, latest_s)
    at_s = cuts(first_s, last_s, records, most=most)
    if not at_s:
        return Blocks((), (((), tuple(stretches), ()),), Arrival(0))
    spool = Spool(folder, memory_records=max(most, 1))
    for stretch in stretches:
        columns = stretch.read()
        time_s = columns["time_s"] = columns["time_s"].copy()
        doubtful = np.flatnonzero(time_s < TWICE_S / 2)
        time_s[doubtful], once_s = once_s[: doubtful.size], once_s[doubtful.size :]
        block = np.searchsorted(at_s, time_s, side="right").astype(np.int32)
        usable = (time_s >= EARLIEST_S) & (time_s <= latest_s)
        bounds = np.array([-np.inf, *at_s, np.inf])
        into = [np.where(usable, block * _PARTS + 1, -1)]
        places = [np.arange(time_s.size)]
        near_end = np.flatnonzero(usable & (time_s >= bounds[block + 1] - margin_s))
        near_start = np.flatnonzero(usable & (time_s < bounds[block] + margin_s))
        for near, code in (
            (near_end, (block[near_end] + 1) * _PARTS),
            (near_start, (block[near_start] - 1) * _PARTS + 2),
        ):
            places.append(near)
            into.append(code)
        order = np.concatenate(places)
        spool.add(
            np.concatenate(into).astype(np.int32),
            joined_columns([{name: values[order] for name, values in columns.items()}]),
        )
    spool.close(on_disk=True)
    rows = tuple(
        (
            spool.stretches(k * _PARTS),
            spool.stretches(k * _PARTS + 1),
            spool.stretches(k * _PARTS + 2),
        )
        for k in range(len(at_s) + 1)
    )
    return Blocks(tuple(at_s), rows, arrival)


def _survey(
    stretches: Sequence[Rows], latest_s: float
) -> tuple[Arrival, float, float, npt.NDArray[np.float64]]:
    """Return how many records are late and misdated, and the first and last time. [s]

    At last the times of the hours that a clock had twice, in order of arrival. [s]
    """
    doubtful: list[npt.NDArray[np.floating[Any]]] = [np.empty(0)]
    late = misdated = 0
    worst_s, first_s, last_s = 0.0, np.inf, -np.inf
    for stretch in stretches:
        time_s = stretch.read()["time_s"]
        good = time_s[(time_s >= EARLIEST_S) & (time_s <= latest_s)]
        misdated += time_s.size - good.size
        doubtful.append(time_s[time_s < TWICE_S / 2])
        if not good.size:
            continue
        reached = np.maximum(np.maximum.accumulate(good), last_s)
        late += int((reached > good).sum())
        worst_s = max(worst_s, float((reached - good).max()))
        first_s, last_s = min(first_s, float(good.min())), float(reached[-1])
    once_s, twice = settled(np.concatenate(doubtful).astype(np.float64))
    arrival = Arrival(0, late, worst_s, misdated=misdated - once_s.size, twice=twice)
    return arrival, first_s, last_s, once_s
