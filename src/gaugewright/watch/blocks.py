"""A long history in blocks that overlap: where they are cut, and what belongs to which.

Each block is looked at together with a margin of the records on both sides.  An event near a
cut is seen by both blocks; it is kept once.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TypeVar

import numpy as np

from gaugewright.errors import InputError
from gaugewright.watch.values import Event, Noise, Undecided, Watched

T = TypeVar("T", Event, Undecided)

BLOCK_RECORDS = 5_000_000
"""A vehicle with more records than this is looked at in blocks.

A year at one record each 10 s is 3.2 million: nearly every vehicle is one block, so that
its manner is learnt from its whole history. A block of so many takes about 350 MB."""
MARGIN_S = 5 * 86_400.0
"""Records on each side that a block is looked at with. [s]"""
NEAR_CUT_S = 86_400.0
"""How far two blocks may differ over where an event at the cut begins. [s]"""


def cuts(first_s: float, last_s: float, records: int, *, most: int = BLOCK_RECORDS) -> list[float]:
    """Return the inner cuts of a history into even stretches of time of about ``most`` records.

    Cuts are at midnight UTC, so that a record more or less moves none. [s since 1970]

    >>> cuts(0.0, 10 * 86_400.0, 100, most=60)
    [432000.0]
    """
    if records <= most or last_s <= first_s:
        return []
    parts = -(-records // most)
    inner = np.linspace(first_s, last_s, parts + 1)[1:-1]
    days = np.unique(np.round(inner / 86_400.0)) * 86_400.0
    return [float(day) for day in days if first_s < day < last_s]


def joined(
    parts: Sequence[Watched],
    at_s: Sequence[float],
    firsts: Sequence[int],
    *,
    records: int,
    span_s: float,
) -> Watched:
    """Return what the blocks of one vehicle show as one whole.

    ``at_s`` are the inner cuts, ``firsts`` the number in the whole history of each block's
    first record, margins counted.  The left block keeps what begins up to `NEAR_CUT_S` beyond
    the cut; the right one adds what the left has not.  ``records`` and ``span_s`` are those of
    the whole history.
    """
    if len(parts) != len(at_s) + 1 or len(parts) != len(firsts):
        raise InputError(f"{len(parts)} blocks for {len(at_s)} cuts")
    if len(parts) == 1:
        return parts[0]
    events: list[Event] = []
    undecided: list[Undecided] = []
    bounds = [-np.inf, *at_s, np.inf]
    for part, first, (low, high) in zip(parts, firsts, pairwise(bounds), strict=True):
        mine = [_shifted(event, first) for event in part.events]
        events += _added(events, mine, low, high)
        undecided += _added(undecided, list(part.undecided), low, high)
    longest = max(parts, key=lambda part: part.records)
    return Watched(
        vehicle=parts[0].vehicle,
        events=tuple(sorted(events, key=lambda event: (event.start_s, event.kind))),
        undecided=tuple(sorted(undecided, key=lambda one: one.start_s)),
        noise=_usual([part.noise for part in parts], [part.records for part in parts]),
        records=records,
        span_s=span_s,
        provable_parked_l=longest.provable_parked_l,
        provable_moving_l=longest.provable_moving_l,
        notes=tuple(dict.fromkeys(note for part in parts for note in part.notes)),
    )


def _shifted(event: Event, by: int) -> Event:
    return replace(event, first=event.first + by, last=event.last + by)


def _added(kept: list[T], mine: list[T], low_s: float, high_s: float) -> list[T]:
    """Return what a block adds to what the blocks before it have kept."""
    return [
        one
        for one in mine
        if low_s - NEAR_CUT_S <= one.start_s < high_s + NEAR_CUT_S
        and not (one.start_s < low_s + MARGIN_S and any(_is_same(one, other) for other in kept))
    ]


def _is_same(one: Event | Undecided, other: Event | Undecided) -> bool:
    """Return whether two blocks saw the same: of one kind, at one time."""
    kinds = getattr(one, "kind", None), getattr(other, "kind", None)
    return kinds[0] == kinds[1] and one.start_s <= other.end_s and other.start_s <= one.end_s


def _usual(noises: Sequence[Noise], records: Sequence[int]) -> Noise:
    """Return the noise of the blocks together, each weighing by its records."""
    weights = np.array(records, dtype=np.float64)

    def together(name: str) -> float:
        values = np.array([getattr(noise, name) for noise in noises])
        known = np.isfinite(values) & (weights > 0)
        if not known.any():
            return float("nan")
        return float(np.sqrt(np.average(values[known] ** 2, weights=weights[known])))

    return Noise(**{name: together(name) for name in Noise.__dataclass_fields__})
