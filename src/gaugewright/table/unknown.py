"""A tank that nobody described: several plain tanks, each free to depart from its form.

Without a tank file the pours alone fix the scale.  What is left of prior knowledge
is that a tank's cross-section changes slowly with the height and that tanks are
boxes or rounds more often than not (common practice, no source).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import ABOVE, Column, Curves
from gaugewright.table.departure import departure_basis
from gaugewright.table.fill import Fill
from gaugewright.table.rows import cumulative_l

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Form:
    """A plain tank and how far a real one may depart from it."""

    name: str
    worth: float
    u_side: float
    """Slow departure of the cross-section, as a share of it."""
    u_local: float = 0.0
    """Quick departure."""
    u_dead: float = 0.015
    """Dead stock, as a share of what was poured."""
    step_at: float | None = None
    """Share of the scale at which the cross-section steps."""


FORMS = (
    Form("straight", 0.26, 0.06),
    Form("straight", 0.18, 0.20, 0.10),
    Form("straight", 0.04, 0.40, 0.30),
    Form("straight", 0.04, 0.40, 0.30, u_dead=0.40),
    Form("round", 0.15, 0.04),
    Form("round", 0.13, 0.15, 0.06),
    *(Form("straight", 0.018, 0.05, step_at=at / 14) for at in range(1, 14)),
)
U_STEP = 0.35
"""How much of the cross-section a step takes away or adds, standard deviation."""


def unknown_curves(
    fill: Fill, probe: Probe | None, assumed: Assumptions
) -> list[tuple[Curves, float]]:
    """Return the plain tanks with what each is worth before the pours."""
    poured = cumulative_l(fill)[0]
    counts = np.array([pour.counts for pour in fill.pours])
    low, high = float(counts.min()), float(counts.max())
    if high <= low:
        raise InputError("all counts are equal: the probe saw nothing of this fill")
    if probe is None:
        full = 4095.0 if high <= 4095 else high + 4 * (high - low) / 4095
        reach = high - low
        probe = Probe(0.0, 0.0, 0.0, full - low, low, full)
    else:
        reach = min(float(probe.wetted_mm(high)), probe.active_length_mm)
    total = float(poured.max() - poured.min())
    found = []
    wetted = np.linspace(0.0, reach, ABOVE)
    for form in FORMS:
        litres = _form(form.name, wetted / reach) * total
        per_mm = np.gradient(litres, wetted)
        columns = _free_columns(wetted, litres, per_mm, total, form)
        found.append(
            (Curves(wetted, litres, per_mm, tuple(columns), total, probe, reach, None), form.worth)
        )
    return found


DEAD_SHARE = 0.022


def _form(form: str, share: Floats) -> Floats:
    """Litres from the bottom as a share, with a dead stock below and some room above."""
    if form == "straight":
        return (share + DEAD_SHARE) / (1 + DEAD_SHARE)
    x = (share + DEAD_SHARE) / (1.0 + 2 * DEAD_SHARE)
    segment = (np.arccos(1 - 2 * x) - (1 - 2 * x) * 2 * np.sqrt(x - x * x)) / np.pi
    return np.asarray(segment / segment[-1])


def _free_columns(
    wetted: Floats, litres: Floats, per_mm: Floats, total: float, form: Form
) -> list[Column]:
    columns = [
        Column("size", "dimensions", 0.5 * litres),
        Column("dead_stock", "dead stock", np.full_like(wetted, form.u_dead * total)),
        Column("lean", "dimensions", 0.3 * litres * (litres / litres[-1] - 1.0)),
    ]
    if form.step_at is not None:
        lower = np.minimum(wetted, form.step_at * wetted[-1])
        columns.append(Column("step", "dimensions", U_STEP * per_mm[0] * lower))
    for name, reach, u in (("side", 0.5, form.u_side), ("local", 0.15, form.u_local)):
        if u > 0:
            columns += [
                Column(f"{name}_{i}", "departure", u * effect)
                for i, effect in enumerate(departure_basis(wetted, per_mm, reach))
            ]
    return columns
