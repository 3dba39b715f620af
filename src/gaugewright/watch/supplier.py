"""A supplier who delivers short, seen over many refuels: his meter's factor with its band.

One refuel says little: the table may be wrong, and the readings scatter.  Over many refuels of
several vehicles the table's error of each vehicle and the factor of each supplier part, because
a supplier's factor follows him from vehicle to vehicle and a table's error does not:

    tank = receipt · (1 + supplier + vehicle) + scatter

Both are solved together by least squares.  What is known beforehand enters as an observation of
its own: a table is right within its share of the bands, a dispenser within what the law allows.
With one vehicle, or where every vehicle has its own supplier, the two cannot part; the band
then stays as wide as what was known of the table.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from gaugewright.watch.receipts import COVERAGE_95, METER_MPE, Receipt, Reconciled
from gaugewright.watch.values import Floats

FEWEST = 5
"""Refuels of a supplier below which nothing is said of him."""
TABLE_SD = 0.005
"""Standard uncertainty of a table's scale, as a share of many refuels together (assumed)."""
METER_SD = METER_MPE
"""Standard uncertainty of a supplier's factor beforehand, wide so that the data speak (assumed)."""
OFF_TIMES = 2.0
"""Where the vehicles' shares come out larger than that by this factor, neither it nor the band of
the supplier can stand: what is known beforehand of both is widened as much."""
FAR = 3.5
"""A receipt this many standard deviations off is a matter of that receipt, not of the meter."""


@dataclass(frozen=True)
class SupplierFactor:
    """How much a supplier truly delivers of what he writes down.

    ``factor`` is true litres over litres on the receipt, ``u_factor`` the half-width of its
    95 % band; ``refuels`` and ``vehicles`` are what it rests on.
    """

    supplier: str
    factor: float
    u_factor: float
    refuels: int
    vehicles: int
    left_out: int

    @property
    def is_off(self) -> bool:
        """Whether he delivers short, or long, beyond the band and what the law allows him."""
        return abs(self.factor - 1) > self.u_factor + METER_MPE

    @property
    def message(self) -> str:
        """Say it in a sentence."""
        name = f"supplier {self.supplier}" if self.supplier else "the supplier (none is named)"
        share = 100 * (self.factor - 1)
        text = (
            f"{name}: meter factor {self.factor:.4f} ± {self.u_factor:.4f}, {share:+.2f} % of what "
            f"is on the receipts, from {self.refuels} refuels of {self.vehicles} "
            f"vehicle{'' if self.vehicles == 1 else 's'}"
        )
        allowed = f"the {100 * METER_MPE:g} % that a dispenser is allowed"
        if self.is_off:
            return f"{text}; beyond {allowed}"
        if abs(share) / 100 <= self.u_factor:
            return f"{text}; that is no difference from 1"
        if abs(self.factor - 1) <= METER_MPE:
            return f"{text}; within {allowed}"
        return f"{text}; the band reaches into {allowed}"

    def record(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "supplier": self.supplier, "factor": round(self.factor, 5),
            "u_factor": round(self.u_factor, 5), "refuels": self.refuels,
            "vehicles": self.vehicles, "left_out": self.left_out, "is_off": self.is_off,
        }  # fmt: skip


def supplier_factors(
    receipts: Sequence[Receipt], rows: Sequence[Reconciled]
) -> tuple[SupplierFactor, ...]:
    """Return the meter factor of every supplier with `FEWEST` matched refuels or more.

    Receipts that are far off are left out one after the other, the worst first: an inflated
    receipt is not the meter's doing.  The vehicle's own noise weighs each refuel.
    """
    whose = {receipt.number: receipt.supplier for receipt in receipts}
    used = [row for row in rows if row.tank_l is not None and row.u_difference_l]
    left_out: dict[str, int] = {}
    while used:
        solved = _solved(used, whose)
        worst = int(np.argmax(np.abs(solved.standing)))
        if abs(solved.standing[worst]) <= FAR or len(used) <= FEWEST:
            break
        left_out[whose[used[worst].receipt]] = left_out.get(whose[used[worst].receipt], 0) + 1
        used = used[:worst] + used[worst + 1 :]
    else:
        return ()
    vehicles = solved.share[len(solved.suppliers) :]
    off = float(np.sqrt(np.mean(vehicles**2))) / TABLE_SD
    if off > OFF_TIMES:
        solved = _solved(used, whose, wider=off)
    found = []
    for place, supplier in enumerate(solved.suppliers):
        own = [row for row in used if whose[row.receipt] == supplier]
        if len(own) < FEWEST:
            continue
        found.append(
            SupplierFactor(
                supplier,
                float(1 + solved.share[place]),
                COVERAGE_95 * sqrt(solved.covariance[place, place]),
                len(own),
                len({row.vehicle for row in own}),
                left_out.get(supplier, 0),
            )
        )
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Solved:
    suppliers: list[str]
    share: Floats
    covariance: Floats
    standing: Floats
    """How far each refuel stands off, in its own standard deviations."""


def _solved(rows: Sequence[Reconciled], whose: dict[int, str], wider: float = 1.0) -> _Solved:
    """Solve for the suppliers' and the vehicles' shares together, the suppliers' first."""
    suppliers = sorted({whose[row.receipt] for row in rows})
    vehicles = sorted({row.vehicle for row in rows})
    paid = np.array([row.receipt_l for row in rows])
    got = np.array([row.tank_l for row in rows], dtype=np.float64)
    # The dispenser's part of the band is what is looked for; the rest is scatter.
    u = np.array([row.u_difference_l for row in rows], dtype=np.float64) / COVERAGE_95
    sd = np.sqrt(np.maximum(u**2 - (METER_MPE * paid) ** 2 / 3, (0.1 * u) ** 2))
    design = np.zeros((len(rows), len(suppliers) + len(vehicles)))
    for k, row in enumerate(rows):
        design[k, suppliers.index(whose[row.receipt])] = paid[k]
        design[k, len(suppliers) + vehicles.index(row.vehicle)] = paid[k]
    known = np.diag([1 / METER_SD**2] * len(suppliers) + [1 / TABLE_SD**2] * len(vehicles))
    weighted = design / sd[:, None]
    covariance = np.linalg.inv(weighted.T @ weighted + known / wider**2).astype(np.float64)
    share = covariance @ (weighted.T @ ((got - paid) / sd))
    standing = (got - paid - design @ share) / sd
    return _Solved(suppliers, share, covariance, standing)
