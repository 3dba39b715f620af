"""E_n numbers of pours made later: the meter's litres against the table's, pour by pour."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from gaugewright.metrology.agreement import en_number, is_within
from gaugewright.pours.later.rivals import Rival
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component

Floats = npt.NDArray[np.float64]

OF_THE_METER = ("residue", "meter", "temperature")
"""Groups of unknowns on the meter's side of a comparison; all others are the table's."""
OPEN_START = 0.25
"""A start that is unknown by more than this share of the capacity is no comparison."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """One pour by the meter and by the table, each with its expanded uncertainty (k = 2)."""

    step: int
    metered_l: float
    """By the meter; after a drained tank with what was left in it. [L]"""
    expanded_u_metered_l: float
    table_l: float
    """The table's litres between the two readings, or at the first one. [L]"""
    expanded_u_table_l: float
    en: float
    """(table - meter) / root of the sum of squares: ISO 13528:2015, 9.7."""

    @property
    def agrees(self) -> bool:
        """Whether |E_n| is at most 1."""
        return is_within(self.en, 1.0)


def comparisons(fill: Fill, same: list[Rival]) -> tuple[Comparison, ...]:
    """Compare every pour whose reading the probe saw; ``same`` are the unchanged rivals.

    Each is held against the reading before it.  The first one after a drained tank, which
    the probe did not see, is held against the residue.
    """
    logs = np.array([rival.log_before for rival in same])
    shares = np.exp(logs - logsumexp(logs))
    leading = same[0].component
    pours, litres = leading.equations.pours, leading.equations.poured_l
    found = []
    for row, index in enumerate(pours):
        before = None if row == 0 else row - 1
        metered = float(litres[index])
        if before is None:
            if index == 0 or _start_u(leading, row) > OPEN_START * leading.curves.capacity_l:
                continue
            eq = leading.equations
            metered = float(eq.observed[row] + eq.litres[row])
        else:
            metered -= float(litres[pours[before]])
        sides = np.array([_sides(rival.component, row, before) for rival in same])
        off = float(shares @ sides[:, 0])
        u_table = float(np.sqrt(shares @ (sides[:, 1] + (sides[:, 0] - off) ** 2)))
        u_meter = float(np.sqrt(shares @ sides[:, 2]))
        en = en_number(metered - off, metered, 2 * u_table, 2 * u_meter)
        found.append(
            Comparison(fill.pours[index].step, metered, 2 * u_meter, metered - off, 2 * u_table, en)
        )
    return tuple(found)


def _sides(component: Component, row: int, before: int | None) -> tuple[float, float, float]:
    """Meter less table, the variance of the table's side and of the meter's. [L], [L²]"""
    eq = component.equations
    design = eq.design[row] * component.prior_u
    off, reading, noise = float(eq.observed[row]), eq.reading_l2[row], eq.noise[row, row]
    if before is not None:
        design = design - eq.design[before] * component.prior_u
        off -= float(eq.observed[before])
        reading = reading + eq.reading_l2[before]
        noise = noise + eq.noise[before, before] - 2 * eq.noise[row, before]
    is_meter = np.array([group in OF_THE_METER for group in eq.groups])
    squared = design**2
    table = float(squared[~is_meter].sum() + reading)
    meter = float(squared[is_meter].sum() + max(noise - reading, 0.0))
    return off, table, meter


def _start_u(component: Component, row: int) -> float:
    at = component.equations.groups.index("residue")
    return float(abs(component.equations.design[row, at]) * component.prior_u[at])
