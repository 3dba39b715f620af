"""A table as text for people and as a record for programs."""

from typing import Any

from gaugewright.table.table import Table


def table_lines(table: Table, decimals: int = 1) -> list[str]:
    r"""Return the rows as text, with the band where it is known.

    >>> import numpy as np
    >>> table = Table(np.array([0, 4000]), np.array([4.5, 400]), np.array([0.5, 2]))
    >>> print("\n".join(table_lines(table)))
        counts      litres    ± litres
             0         4.5         0.5
          4000       400.0         2.0
    """
    band = table.u_litres
    lines = [f"{'counts':>10}{'litres':>12}" + ("" if band is None else f"{'± litres':>12}")]
    for row, (counts, litres) in enumerate(zip(table.counts, table.litres, strict=True)):
        line = f"{counts:>10.10g}{litres:>12.{decimals}f}"
        lines.append(line if band is None else f"{line}{band[row]:>12.{decimals}f}")
    return lines


def table_record(table: Table) -> dict[str, Any]:
    """Return the table's rows for programs; ``u_litres`` is null where it is unknown."""
    band = table.u_litres
    return {
        "table": [
            {
                "counts": float(counts),
                "litres": float(litres),
                "u_litres": None if band is None else float(band[row]),
            }
            for row, (counts, litres) in enumerate(zip(table.counts, table.litres, strict=True))
        ]
    }
