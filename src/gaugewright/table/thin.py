"""Fewer rows for a table at the least error, whole counts and rounded litres included."""

from dataclasses import dataclass
from itertools import pairwise
from math import isfinite
from typing import Final

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.table.tunnel import (
    Span,
    States,
    Tunnel,
    advance,
    corridor,
    limits,
    trace,
    turned_span,
    within,
    zones_of,
)

Floats = npt.NDArray[np.float64]

MOST_DECIMALS: Final = 3
RESOLUTION_L: Final = 1e-4
"""The least maximum error is found to this. [L]"""
_SLACK_L: Final = 1e-9
"""Rounding errors of the arithmetic must not shut out a row that touches the limit. [L]"""
_FEW: Final = 200
"""So many states are tried first."""


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


Met = tuple[list[States], list[States], int, int]
"""The layers from the start, those of the turned tunnel from the end, row, step."""


class _Search:
    """The least error of ``n`` rows, and the fewest rows for an error."""

    def __init__(self, table: Table, decimals: int) -> None:
        self.table = table
        self.scale = 10**decimals
        self.decimals = decimals
        self.steps = table.litres * self.scale
        self.ends = np.round(self.steps[[0, -1]])

    def tunnel(self, error_l: float, slack_l: float = _SLACK_L) -> Tunnel | None:
        """Return the tunnel of half-width ``error_l``, ``None`` if an end row is outside."""
        half = (error_l + slack_l) * self.scale
        low, high = self.steps - half, self.steps + half
        if (self.ends < low[[0, -1]]).any() or (self.ends > high[[0, -1]]).any():
            return None
        low = np.maximum(low, -slack_l)  # litres are not negative
        low[[0, -1]] = self.ends - slack_l
        high[[0, -1]] = self.ends + slack_l
        return Tunnel(self.table.counts, low, high)

    def fewest(self, within_l: float) -> int:
        """Return the fewest rows that stay within ``within_l``."""
        tunnel = self.tunnel(within_l)
        last = len(self.table.counts) - 1
        if tunnel is not None:
            bound = 1 + tunnel.fewest_hops()
            # Nearly always one of these is it; each is cheap beside the search below.
            for rows in range(bound, min(bound + 4, last + 2)):
                if self._attempt(rows, within_l) is not None:
                    return rows
            fewest = self._fewest_by_breadth(tunnel)
            if fewest is not None:
                return fewest
        raise InputError(
            f"{within_l:g} L cannot be held with litres of {self.decimals} decimals: "
            "allow more decimals or a larger error",
            field="within_l",
        )

    def _fewest_by_breadth(self, tunnel: Tunnel) -> int | None:
        last = len(self.table.counts) - 1
        seen = np.zeros((last + 1, tunnel.widest + 1), dtype=np.bool_)
        row, step = np.array([0]), self.ends[:1].astype(np.int64)
        rows = 1
        while len(row) and int(row[0]) < last:
            rows += 1
            first, stop = int(row[0]) + 1, tunnel.farthest(int(row[-1]), 16)
            row, step = advance(tunnel, (row, step), first, stop)
            new = ~seen[row, step - tunnel.first_step[row]]
            row, step = row[new], step[new]
            seen[row, step - tunnel.first_step[row]] = True
            if seen[last].any():
                return rows
        return None

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
        zones = None if tunnel is None else zones_of(tunnel, rows)
        if tunnel is None or zones is None:
            return None
        spans = corridor(tunnel, zones, self.ends.astype(np.int64))
        if spans is None:
            return None
        # Through few states a path is found fast, but only all of them show that none is.
        met = self._meet(tunnel, spans, _FEW) or self._meet(tunnel, spans, None)
        if met is None:
            return None
        ahead, behind, row, step = met
        # Looser by one slack: the same line, seen from its other end, rounds otherwise.
        looser = self.tunnel(error_l, 2 * _SLACK_L)
        assert looser is not None
        last = len(self.table.counts) - 1
        before = [(last - r, -s) for r, s in trace(looser.turned(), ahead, last - row, -step)]
        path = [*before[::-1], (row, step), *trace(looser, behind, row, step)]
        return self._finish([r for r, _ in path], [s for _, s in path])

    def _meet(self, tunnel: Tunnel, spans: list[Span], few: int | None) -> Met | None:
        """Walk from both ends until they meet in a state of the same kept row."""
        turned = tunnel.turned()
        last = len(self.table.counts) - 1
        ahead = [(np.array([0]), self.ends[:1].astype(np.int64))]
        behind = [(np.array([0]), -self.ends[1:].astype(np.int64))]
        while len(ahead) + len(behind) <= len(spans):
            is_ahead = len(ahead[-1][0]) <= len(behind[-1][0])
            walk, layers = (tunnel, ahead) if is_ahead else (turned, behind)
            span = (
                spans[len(ahead)] if is_ahead else turned_span(spans[len(spans) - 1 - len(behind)])
            )
            if few is not None and len(layers[-1][0]) > few:
                chosen = np.linspace(0, len(layers[-1][0]) - 1, few).astype(np.int64)
                layers[-1] = layers[-1][0][chosen], layers[-1][1][chosen]
            layers.append(within(span, *advance(walk, layers[-1], *limits(span))))
            if not len(layers[-1][0]):
                return None
        there = set(zip((last - behind[-1][0]).tolist(), (-behind[-1][1]).tolist(), strict=True))
        here = zip(ahead[-1][0].tolist(), ahead[-1][1].tolist(), strict=True)
        row, step = next((state for state in here if state in there), (-1, 0))
        return None if row < 0 else (ahead[:-1], behind[:-1], row, step)

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


def _grown_band(full: Table, kept: list[int], loss: Floats) -> Floats:
    """Return the band of kept rows so that, between them too, it holds band plus loss. [L]"""
    assert full.u_litres is not None
    band = full.u_litres[kept]
    sticks_out = full.u_litres + loss - np.interp(full.counts, full.counts[kept], band)
    worst = [sticks_out[a : b + 1].max() for a, b in pairwise(kept)]
    grown: Floats = band + np.maximum([0, *worst], [*worst, 0])
    return grown
