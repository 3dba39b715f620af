"""Straight lines inside a tunnel about a table: what `thin` searches with."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_CHUNK: Final = 1_000_000
_NARROW: Final = 10
"""With so few litres to choose from at a row, bounding them costs more than it saves."""

States = tuple[Whole, Whole]
"""Rows, and for each its litres in steps of the last decimal."""


Span = tuple[Whole, Whole]
"""For each row of the full table the lowest and highest litres, in steps; else `_EMPTY`."""
_EMPTY: Final = (2**60, -(2**60))


class Tunnel:
    """The full table with a tolerance about it, and the straight lines that stay inside.

    Litres are in steps of the last decimal, so that those of kept rows are whole.
    """

    def __init__(self, counts: Floats, low: Floats, high: Floats) -> None:
        self.counts = counts
        self.low = low
        self.high = high
        self.first_step = np.ceil(low).astype(np.int64)
        self.widest = max(int((np.floor(high) - self.first_step).max()) + 1, 0)

    def turned(self) -> "Tunnel":
        """Return the tunnel turned by half a turn, so that its end is its start.

        What never falls in one never falls in the other.
        """
        return Tunnel(-self.counts[::-1], -self.high[::-1], -self.low[::-1])

    def farthest(self, start: int, guess: int) -> int:
        """Return the last row to which some straight line, free at both ends, runs inside.

        A line exists if the steepest slope that any two rows ask for is not above the
        least that any two allow.
        """
        reach = max(guess, 4)
        last = len(self.counts) - 1
        while True:
            stop = min(start + reach, last)
            run = slice(start, stop + 1)
            counts, low, high = self.counts[run], self.low[run], self.high[run]
            with np.errstate(divide="ignore", invalid="ignore"):
                gap = counts - counts[:, None]
                asked = (low - high[:, None]) / gap
                allowed = (high - low[:, None]) / gap
            later = gap > 0
            asked = np.where(later, asked, -np.inf).max(axis=0)
            allowed = np.where(later, allowed, np.inf).min(axis=0)
            fits = np.maximum.accumulate(asked) <= np.minimum.accumulate(allowed)
            if not fits.all():
                return start + int(np.argmin(fits)) - 1
            if stop == last:
                return last
            reach *= 2

    def hops(self, links: int) -> list[int]:
        """Return the farthest row that 0, 1, ... ``links`` lines reach, unjoined lines allowed.

        No joined lines get farther, so this bounds the search without losing anything.
        """
        rows = [0]
        last = len(self.counts) - 1
        guess = 3 * last // (2 * links) + 2
        for _ in range(links):
            rows.append(last if rows[-1] == last else self.farthest(rows[-1], guess))
        return rows

    def fewest_hops(self) -> int:
        """Return how many lines, joined or not, reach the end at least."""
        row, hops = 0, 0
        while row < len(self.counts) - 1:
            row, hops = self.farthest(row, 16), hops + 1
        return hops

    def windows(self, row: Whole, step: Whole, first: int, last: int) -> tuple[Whole, Whole]:
        """Return the lowest and highest litres that lines from each state reach inside.

        A state is a row and its litres; shape of the answer: states × rows ``first``
        to ``last``.  Rows at or before the state get an empty window.
        """
        begin = int(row.min()) + 1
        rows = np.arange(begin, last + 1)
        ahead = rows > row[:, None]
        gap = np.where(ahead, self.counts[rows] - self.counts[row][:, None], 1.0)
        start = step[:, None].astype(np.float64)
        least = np.where(ahead, (self.low[rows] - start) / gap, -np.inf)
        most = np.where(ahead, (self.high[rows] - start) / gap, np.inf)
        skip = max(first - begin, 0)
        least = np.maximum.accumulate(least, axis=1)[:, skip:]
        most = np.minimum.accumulate(most, axis=1)[:, skip:]
        gap, ahead = gap[:, skip:], ahead[:, skip:]
        low = np.where(ahead, np.ceil(start + least * gap), 1).astype(np.int64)
        high = np.where(ahead, np.floor(start + most * gap), 0).astype(np.int64)
        if begin > first:
            empty = np.ones((len(row), begin - first), dtype=np.int64)
            low, high = np.hstack([empty, low]), np.hstack([0 * empty, high])
        return low, high

    def step_on(self, row: Whole, step: Whole, first: int, last: int) -> Flags:
        """Return which states of rows ``first`` to ``last`` are one line from given states.

        Shape of the answer: rows × litres counted from ``first_step`` of the row.
        """
        width = self.widest + 1
        spans = np.zeros((last - first + 1) * width + 1, dtype=np.int64)
        offset = np.arange(last - first + 1) * width - self.first_step[first : last + 1]
        for states in _batches(row, last):
            low, high = self.windows(row[states], step[states], first, last)
            low = np.maximum(low, step[states, None])  # litres never fall
            is_open = low <= high
            spans += np.bincount((low + offset)[is_open], minlength=len(spans))
            spans -= np.bincount((high + 1 + offset)[is_open], minlength=len(spans))
        reached: Flags = (np.cumsum(spans[:-1]) > 0).reshape(-1, width)
        return reached

    def spread(self, span: Span, first: int, last: int) -> Span:
        """Return bounds of what is one line from spans of litres, nothing left out.

        The higher a line starts, the lower it can get inside the tunnel, and the other
        way round: so the ends of each span bound what it reaches.
        """
        bottom = np.full(len(self.counts), _EMPTY[0])
        top = np.full(len(self.counts), _EMPTY[1])
        row = np.flatnonzero(span[0] <= span[1])
        for states in _batches(row, last):
            at = row[states]
            low, _ = self.windows(at, span[1][at], first, last)
            _, high = self.windows(at, span[0][at], first, last)
            low = np.maximum(low, span[0][at, None])  # litres never fall
            is_open = low <= high
            low, high = np.where(is_open, low, _EMPTY[0]), np.where(is_open, high, _EMPTY[1])
            reached = slice(first, last + 1)
            bottom[reached] = np.minimum(bottom[reached], low.min(axis=0))
            top[reached] = np.maximum(top[reached], high.max(axis=0))
        return bottom, top


def zones_of(tunnel: Tunnel, rows: int) -> list[tuple[int, int]] | None:
    """Return the rows among which each kept row must lie, ``None`` if one has none."""
    last = len(tunnel.counts) - 1
    ahead = tunnel.hops(rows - 1)
    behind = tunnel.turned().hops(rows - 1)
    zones = [
        (max(last - behind[rows - 1 - k], k), min(ahead[k], last - (rows - 1 - k)))
        for k in range(rows)
    ]
    return zones if all(first <= stop for first, stop in zones) else None


def corridor(tunnel: Tunnel, zones: list[tuple[int, int]], ends: Whole) -> list[Span] | None:
    """Return bounds of the litres of each kept row, ``None`` if a row has none left.

    Every table within the tolerance lies in them: they are spread from the start to the
    end, and from the end back again.
    """
    n = len(tunnel.counts)
    if tunnel.widest <= _NARROW:
        return [_zone_span(tunnel, *zone) for zone in zones]
    spans = [_single(n, 0, int(ends[0]))]
    for first, last in zones[1:]:
        spans.append(tunnel.spread(spans[-1], first, last))
        if not (spans[-1][0] <= spans[-1][1]).any():
            return None
    turned = tunnel.turned()
    back = _single(n, 0, -int(ends[1]))
    for k in range(len(zones) - 2, 0, -1):
        first, last = zones[k]
        low, high = turned_span(turned.spread(back, n - 1 - last, n - 1 - first))
        spans[k] = np.maximum(low, spans[k][0]), np.minimum(high, spans[k][1])
        back = turned_span(spans[k])
        if not (spans[k][0] <= spans[k][1]).any():
            return None
    return spans


def _zone_span(tunnel: Tunnel, first: int, last: int) -> Span:
    low, high = np.full(len(tunnel.counts), _EMPTY[0]), np.full(len(tunnel.counts), _EMPTY[1])
    zone = slice(first, last + 1)
    low[zone] = tunnel.first_step[zone]
    high[zone] = np.floor(tunnel.high[zone])
    # A row may be narrower than a step; it still bounds the zone.
    high[zone] = np.maximum(high[zone], low[zone])
    return low, high


def _single(rows: int, row: int, step: int) -> Span:
    low, high = np.full(rows, _EMPTY[0]), np.full(rows, _EMPTY[1])
    low[row] = high[row] = step
    return low, high


def turned_span(span: Span) -> Span:
    """Return a span as the turned tunnel has it."""
    return -span[1][::-1], -span[0][::-1]


def limits(span: Span) -> tuple[int, int]:
    """Return the first and the last row that has litres."""
    rows = np.flatnonzero(span[0] <= span[1])
    return int(rows[0]), int(rows[-1])


def within(span: Span, row: Whole, step: Whole) -> States:
    """Return the states that lie in a span."""
    inside = (span[0][row] <= step) & (step <= span[1][row])
    return row[inside], step[inside]


def _batches(row: Whole, last: int) -> Iterator[slice]:
    """Part states so that a batch's windows fit into little memory."""
    if len(row):
        batch = max(_CHUNK // (last - int(row.min()) + 1), 1)
        yield from (slice(at, at + batch) for at in range(0, len(row), batch))


def advance(tunnel: Tunnel, states: States, first: int, last: int) -> States:
    """Return the states of rows ``first`` to ``last`` that are one line from given states."""
    row, step = np.nonzero(tunnel.step_on(*states, first, last))
    row += first
    return row, step + tunnel.first_step[row]


def trace(tunnel: Tunnel, layers: list[States], row: int, step: int) -> list[tuple[int, int]]:
    """Return one path from a state back through the layers that led to it.

    The layers are those of the turned tunnel, the path is told in this one.
    """
    last = len(tunnel.counts) - 1
    path = []
    for rows, steps in reversed(layers):
        rows, steps = last - rows, -steps  # seen from this end
        first = int(rows.min())
        low, high = tunnel.windows(np.array([row]), np.array([step]), first, int(rows.max()))
        at = rows - first
        joined = (np.maximum(low[0][at], step) <= steps) & (steps <= high[0][at])
        chosen = int(np.argmax(joined))
        if not joined[chosen]:
            raise ArithmeticError("a reached row cannot be traced back")
        row, step = int(rows[chosen]), int(steps[chosen])
        path.append((row, step))
    return path
