"""Thinning a table of 400 rows, beside what a person would pick: every so-manyth row.

Run ``python benchmarks/thin.py``; it prints the time and the largest error in litres.
"""

import time
from itertools import combinations

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.table.thin import thin

Floats = npt.NDArray[np.float64]


def lying_cylinder(rows: int) -> Table:
    """Return the table of a lying cylinder of 400 L with a band of 1 L."""
    h = np.linspace(0, 1, rows)
    share = (np.arccos(1 - 2 * h) - (1 - 2 * h) * 2 * np.sqrt(h - h * h)) / np.pi
    return Table(np.round(np.linspace(0, 4000, rows)), 4 + 400 * share, np.ones(rows))


def loss_l(table: Table, kept: npt.ArrayLike) -> float:
    """Return the largest error of the plain rows ``kept``. [L]"""
    rows = np.asarray(kept)
    line = np.interp(table.counts, table.counts[rows], table.litres[rows])
    return float(np.abs(line - table.litres).max())


def best_plain_loss_l(table: Table, rows: int) -> float:
    """Return the least error of any choice of plain rows, by minimax paths. [L]"""
    n = len(table.counts)
    cost = np.full((n, n), np.inf)
    for a, b in combinations(range(n), 2):
        c, v = table.counts[a : b + 1], table.litres[a : b + 1]
        cost[a, b] = np.abs(v[0] + (v[-1] - v[0]) / (c[-1] - c[0]) * (c - c[0]) - v).max()
    reach = cost[0]
    for _ in range(rows - 2):
        reach = np.maximum(reach[:, None], cost).min(axis=0)
    return float(reach[-1])


def main() -> None:
    """Print the comparison."""
    table = lying_cylinder(400)
    print(f"{'rows':>5} {'thin':>9} {'error':>8} {'every nth':>10} {'best plain rows':>16}")
    for rows in (8, 10, 15, 20, 30):
        start = time.perf_counter()
        small = thin(table, rows=rows)
        span_ms = 1e3 * (time.perf_counter() - start)
        even = loss_l(table, np.linspace(0, 399, rows).round().astype(int))
        plain = best_plain_loss_l(table, rows)
        print(
            f"{rows:5d} {span_ms:6.0f} ms {small.max_error_l:6.2f} L {even:8.2f} L {plain:14.2f} L"
        )


if __name__ == "__main__":
    main()
