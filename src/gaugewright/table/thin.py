"""Fewer rows for a table at the least error, whole counts and rounded litres included."""

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from typing import Final

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.table import Table

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

MOST_DECIMALS: Final = 3
RESOLUTION_L: Final = 1e-4
"""The least maximum error is found to this. [L]"""
_SLACK_L: Final = 1e-9
"""Rounding errors of the arithmetic must not shut out a row that touches the limit. [L]"""
_CHUNK: Final = 1_000_000


@dataclass(frozen=True, eq=False)
class Thinned:
    """A thinned table and what thinning cost."""

    table: Table
    max_error_l: float
    """Largest departure from the full table anywhere in its range. [L]"""
    at_counts: float
    """Where that is. [counts]"""
    decimals: int
    """Decimals of the litres in the thinned table."""


def thin(
    table: Table, *, rows: int | None = None, within_l: float | None = None, decimals: int = 1
) -> Thinned:
    """Return the best table of ``rows`` rows, or of the fewest rows within ``within_l``.

    The search is over all tables whose rows stand at counts of the full table, first
    and last row included, with litres of ``decimals`` decimals that never fall; the end
    rows keep their rounded litres, the others may hold any litres.  So a row between may
    lie beside the curve where that halves the error of the straight lines next to it.
    The result has the least maximum error of all of these, to `RESOLUTION_L`.  The error
    of straight lines against straight lines is greatest at a row, so rows are enough
    to look at.

    The band of a thinned row is the full table's there, plus the most by which the band
    plus the loss through thinning sticks out above the straight line of the band in the
    two segments that meet there: everywhere it is at least band plus loss.

    Parameters
    ----------
    table : Table
        With whole counts.
    rows : int, optional
        How many rows to keep, at least 2.  A table that has fewer keeps all of them.
    within_l : float, optional
        The largest error allowed; the fewest rows are then found, and their least error.
        Exactly one of ``rows`` and ``within_l`` is given. [L]
    decimals : int
        Decimals of the litres, 0 to 3.

    Raises
    ------
    InputError
        If the counts are not whole, or if rounding alone breaks ``within_l``.

    Examples
    --------
    >>> full = Table(np.arange(0, 4001, 500), np.array([0, 3, 12, 27, 48, 75, 108, 147, 192]), None)
    >>> small = thin(full, rows=4)
    >>> small.table.counts.tolist(), small.table.litres.tolist(), round(small.max_error_l, 3)
    ([0.0, 1000.0, 2500.0, 4000.0], [0.0, 7.5, 70.5, 192.0], 4.5)
    """
    if (rows is None) == (within_l is None):
        raise InputError("give either rows or within_l")
    if not 0 <= decimals <= MOST_DECIMALS:
        raise InputError(f"must be 0 to {MOST_DECIMALS}, found {decimals}", field="decimals")
    if (table.counts != np.round(table.counts)).any():
        raise InputError("the table's counts must be whole numbers to be thinned")
    search = _Search(table, decimals)
    if rows is not None:
        if rows < 2:
            raise InputError(f"must be at least 2, found {rows}", field="rows")
        return search.best(min(rows, len(table.counts)))
    limit_l = float(within_l or 0.0)
    if not (isfinite(limit_l) and limit_l > 0):
        raise InputError(f"must be above 0 L, found {within_l}", field="within_l")
    return search.best(search.fewest(limit_l), limit_l)


States = tuple[Whole, Whole]
"""Rows, and for each its litres in steps of the last decimal."""


class _Tunnel:
    """The full table with a tolerance about it, and the straight lines that stay inside.

    Litres are in steps of the last decimal, so that those of kept rows are whole.
    """

    def __init__(self, counts: Floats, low: Floats, high: Floats) -> None:
        self.counts = counts
        self.low = low
        self.high = high
        self.first_step = np.ceil(low).astype(np.int64)
        self.widest = max(int((np.floor(high) - self.first_step).max()) + 1, 0)

    def turned(self) -> "_Tunnel":
        """Return the tunnel turned by half a turn, so that its end is its start.

        What never falls in one never falls in the other.
        """
        return _Tunnel(-self.counts[::-1], -self.high[::-1], -self.low[::-1])

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
        batch = max(_CHUNK // (last - int(row.min()) + 1), 1)
        for at in range(0, len(row), batch):
            states = slice(at, at + batch)
            low, high = self.windows(row[states], step[states], first, last)
            low = np.maximum(low, step[states, None])  # litres never fall
            is_open = low <= high
            spans += np.bincount((low + offset)[is_open], minlength=len(spans))
            spans -= np.bincount((high + 1 + offset)[is_open], minlength=len(spans))
        reached: Flags = (np.cumsum(spans[:-1]) > 0).reshape(-1, width)
        return reached


class _Search:
    """The least error of ``n`` rows, and the fewest rows for an error."""

    def __init__(self, table: Table, decimals: int) -> None:
        self.table = table
        self.scale = 10**decimals
        self.decimals = decimals
        self.steps = table.litres * self.scale
        self.ends = np.round(self.steps[[0, -1]])

    def tunnel(self, error_l: float, slack_l: float = _SLACK_L) -> _Tunnel | None:
        """Return the tunnel of half-width ``error_l``, ``None`` if an end row is outside."""
        half = (error_l + slack_l) * self.scale
        low, high = self.steps - half, self.steps + half
        if (self.ends < low[[0, -1]]).any() or (self.ends > high[[0, -1]]).any():
            return None
        low = np.maximum(low, -slack_l)  # litres are not negative
        low[[0, -1]] = self.ends - slack_l
        high[[0, -1]] = self.ends + slack_l
        return _Tunnel(self.table.counts, low, high)

    def fewest(self, within_l: float) -> int:
        """Return the fewest rows that stay within ``within_l``, by breadth-first search."""
        tunnel = self.tunnel(within_l)
        last = len(self.table.counts) - 1
        if tunnel is not None:
            seen = np.zeros((last + 1, tunnel.widest + 1), dtype=np.bool_)
            row, step = np.array([0]), self.ends[:1].astype(np.int64)
            rows = 1
            while len(row):
                first, stop = int(row[0]) + 1, tunnel.farthest(int(row[-1]), 16)
                if first > last:
                    break
                rows += 1
                row, step = _advance(tunnel, (row, step), first, stop)
                new = ~seen[row, step - tunnel.first_step[row]]
                row, step = row[new], step[new]
                seen[row, step - tunnel.first_step[row]] = True
                if seen[last].any():
                    return rows
        raise InputError(
            f"{within_l:g} L cannot be held with litres of {self.decimals} decimals: "
            "allow more decimals or a larger error",
            field="within_l",
        )

    def best(self, rows: int, within_l: float | None = None) -> Thinned:
        """Return the table of ``rows`` rows with the least maximum error."""
        low_l = self._floor(rows)
        result = self._attempt(rows, within_l) if within_l is not None else None
        reach_l = 0.5 / self.scale
        while result is None:
            result = self._attempt(rows, low_l + reach_l)
            if result is None:
                low_l, reach_l = low_l + reach_l, 2 * reach_l
        while result.max_error_l - low_l > RESOLUTION_L:
            middle = 0.5 * (low_l + result.max_error_l)
            better = self._attempt(rows, middle)
            if better is None:
                low_l = middle
            else:
                result = better
        return result

    def _floor(self, rows: int) -> float:
        """Return an error that ``rows`` rows surely cannot better, by unjoined lines. [L]"""
        low_l, high_l = 0.0, 1.0 / self.scale
        while not self._is_hopeful(rows, high_l):
            low_l, high_l = high_l, 2 * high_l
        while high_l - low_l > 0.02 * high_l + RESOLUTION_L:
            middle = 0.5 * (low_l + high_l)
            if self._is_hopeful(rows, middle):
                high_l = middle
            else:
                low_l = middle
        return low_l

    def _is_hopeful(self, rows: int, error_l: float) -> bool:
        tunnel = self.tunnel(error_l)
        return tunnel is not None and tunnel.hops(rows - 1)[-1] == len(self.table.counts) - 1

    def _attempt(self, rows: int, error_l: float) -> Thinned | None:
        """Return a table of ``rows`` rows within ``error_l``, ``None`` if there is none."""
        tunnel = self.tunnel(error_l)
        zones = None if tunnel is None else _zones(tunnel, rows)
        if tunnel is None or zones is None:
            return None
        turned = tunnel.turned()
        last = len(self.table.counts) - 1
        ahead = [(np.array([0]), self.ends[:1].astype(np.int64))]
        behind = [(np.array([0]), -self.ends[1:].astype(np.int64))]
        while len(ahead) + len(behind) <= rows:  # until both have reached the same kept row
            if len(ahead[-1][0]) <= len(behind[-1][0]):
                ahead.append(_advance(tunnel, ahead[-1], *zones[len(ahead)]))
            else:
                first, stop = zones[rows - 1 - len(behind)]
                behind.append(_advance(turned, behind[-1], last - stop, last - first))
            if not len(ahead[-1][0]) or not len(behind[-1][0]):
                return None
        there = set(zip((last - behind[-1][0]).tolist(), (-behind[-1][1]).tolist(), strict=True))
        here = zip(ahead[-1][0].tolist(), ahead[-1][1].tolist(), strict=True)
        row, step = next((state for state in here if state in there), (-1, 0))
        if row < 0:
            return None
        # Looser by one slack: the same line, seen from its other end, rounds otherwise.
        looser = self.tunnel(error_l, 2 * _SLACK_L)
        assert looser is not None
        before = _trace(looser.turned(), ahead[:-1], last - row, -step)
        after = _trace(looser, behind[:-1], row, step)
        kept = [last - r for r, _ in before[::-1]] + [row] + [r for r, _ in after]
        steps = [-s for _, s in before[::-1]] + [step] + [s for _, s in after]
        return self._finish(kept, steps)

    def _finish(self, kept: list[int], steps: list[int]) -> Thinned:
        full = self.table
        counts, litres = full.counts[kept], np.array(steps) / self.scale
        loss = np.abs(np.interp(full.counts, counts, litres) - full.litres)
        worst = int(np.argmax(loss))
        band = None if full.u_litres is None else _grown_band(full, kept, loss)
        return Thinned(
            Table(counts, litres, band),
            max_error_l=float(loss[worst]),
            at_counts=float(full.counts[worst]),
            decimals=self.decimals,
        )


def _zones(tunnel: _Tunnel, rows: int) -> list[tuple[int, int]] | None:
    """Return the rows among which each kept row must lie, ``None`` if one has none."""
    last = len(tunnel.counts) - 1
    ahead = tunnel.hops(rows - 1)
    behind = tunnel.turned().hops(rows - 1)
    zones = [
        (max(last - behind[rows - 1 - k], k), min(ahead[k], last - (rows - 1 - k)))
        for k in range(rows)
    ]
    return zones if all(first <= stop for first, stop in zones) else None


def _advance(tunnel: _Tunnel, states: States, first: int, last: int) -> States:
    """Return the states of rows ``first`` to ``last`` that are one line from given states."""
    row, step = np.nonzero(tunnel.step_on(*states, first, last))
    row += first
    return row, step + tunnel.first_step[row]


def _trace(tunnel: _Tunnel, layers: list[States], row: int, step: int) -> list[tuple[int, int]]:
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


def _grown_band(full: Table, kept: list[int], loss: Floats) -> Floats:
    """Return the band of kept rows so that, between them too, it holds band plus loss. [L]"""
    assert full.u_litres is not None
    band = full.u_litres[kept]
    sticks_out = full.u_litres + loss - np.interp(full.counts, full.counts[kept], band)
    worst = [sticks_out[a : b + 1].max() for a, b in pairwise(kept)]
    grown: Floats = band + np.maximum([0, *worst], [*worst, 0])
    return grown
