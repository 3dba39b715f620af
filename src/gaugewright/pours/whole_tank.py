"""Findings about the whole fill: the tank file cannot be this tank, and what would fit."""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.pours.findings import Finding
from gaugewright.pours.suspects import Weighed
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit
from gaugewright.table.rows import Doubts, cumulative_l
from gaugewright.units import Volumes
from gaugewright.words import said, together

Floats = npt.NDArray[np.float64]

OTHER_UNIT = 2.5
"""More than the tank holds by this factor is another unit: no tape errs so much."""
DISAGREES = 0.97
"""Probability of another tank from which on the file is questioned."""
BEYOND = 3.0
"""Standard uncertainties of the description from which on the file is questioned too."""
AS_LIKELY = 20.0
"""Another explanation is told as well unless it is less likely by this factor."""


def tank_disagrees(fill: Fill, result: Fit, weighed: Weighed) -> list[Finding]:
    """Return the finding that the tank file cannot be this tank, if it is so."""
    first = result.components[0].curves
    if first.described is None:
        return []
    weights = weighed.shape_weights
    elsewhere = float(
        sum(
            w
            for w, c in zip(weights, result.components, strict=True)
            if c.curves is not first or c.scale > 3.0
        )
    )
    departure = _farthest(result)
    if elsewhere < DISAGREES and departure.beyond < BEYOND:
        return []
    say = Volumes(fill.unit)
    return [
        Finding(
            None,
            "tank_disagrees",
            "check",
            said(
                "The pours do not fit the described tank: at {at:.0f} counts they say "
                "{off_l} {word} than it holds.",
                at=departure.counts,
                off_l=say.near(abs(departure.off_l), departure.band_l),
                word=said("more") if departure.off_l > 0 else said("less"),
            ),
            together(
                *_what_would_fit(result, weights),
                said("Measure the tank again; the table follows the pours."),
            ),
        )
    ]


def _what_would_fit(result: Fit, weights: Floats) -> list[str]:
    """Return the descriptions that the pours speak for, the likeliest first."""
    first = result.components[0].curves
    by_curves: dict[int, float] = defaultdict(float)
    for weight, component in zip(weights, result.components, strict=True):
        by_curves[id(component.curves)] += float(weight)
    most = max(by_curves.values())
    likely = {
        id(c.curves): c.curves
        for c in result.components
        if by_curves[id(c.curves)] >= most / AS_LIKELY and c.curves is not first
    }
    hints: list[str] = []
    for curves in sorted(likely.values(), key=lambda c: -by_curves[id(c)]):
        described, stretch = curves.described, curves.stretch
        if stretch is None and described is not None:
            if by_curves[id(curves)] == most:
                shape = described.tank.shape
                hints.append(
                    said("The shape '{shape}' in the same size would fit better.", shape=shape)
                )
        elif stretch is not None and stretch.kind == "span":
            hints.append(
                said(
                    "They would fit if {counts:.0f} counts stood for {length_mm:.0f} mm wet "
                    "instead of {told_mm:.0f} mm: is the active length right, and was the "
                    "probe set after its cut?",
                    counts=curves.probe.counts_full,
                    length_mm=curves.probe.active_length_mm,
                    told_mm=first.probe.active_length_mm,
                )
            )
        elif stretch is not None:
            hints.append(
                said(
                    "They would fit a tank of the same height that holds {share:.0f} % "
                    "{word}: is its length or width mistyped?",
                    share=100 * abs(stretch.factor - 1.0),
                    word=said("more") if stretch.factor > 1.0 else said("less"),
                )
            )
    return hints


@dataclass(frozen=True, slots=True)
class _Departure:
    """Where the table departs most from the description."""

    counts: float
    off_l: float
    band_l: float
    beyond: float
    """By how many standard uncertainties of the description it is more than the band."""


def _farthest(result: Fit) -> _Departure:
    component = result.components[0]
    curves = component.curves
    order = np.argsort(curves.counts)
    described = np.interp(result.counts, curves.counts[order], curves.litres[order])
    told = component.equations.table_design * component.prior_u
    u_described = np.sqrt((told[order] ** 2).sum(axis=1))
    off = result.litres - described
    excess = np.abs(off) - result.u95_litres
    i = int(np.argmax(excess))
    u = max(float(np.interp(result.counts[i], curves.counts[order], u_described)), 1e-9)
    return _Departure(
        float(result.counts[i]), float(off[i]), float(result.u95_litres[i]), float(excess[i]) / u
    )


def holds_less(fill: Fill, result: Fit, doubts: Doubts) -> list[Finding]:
    """Return the finding that more was poured than the described tank can hold."""
    say = Volumes(fill.unit)
    first = result.components[0].curves
    if first.described is None:
        return []
    # Doubted litres are not counted: what is left is too much all the same.
    moved = np.abs(np.diff(cumulative_l(fill)[0], prepend=0.0))
    believed = [k for k in range(len(fill.pours)) if k not in doubts.litres]
    total = float(moved[believed].sum())
    u = sum(c.total_l**2 for c in first.columns) ** 0.5
    if total <= first.capacity_l + 3.0 * u:
        return []
    is_other_unit = total > OTHER_UNIT * first.capacity_l
    return [
        Finding(
            None,
            "tank_disagrees",
            "stop",
            said(
                "{total} were poured, but the described tank holds only {capacity_l}.",
                total=say.about(total),
                capacity_l=say.near(first.capacity_l, 1.96 * u),
            ),
            said("Are the tank's sizes in mm and the pours in litres?")
            if is_other_unit
            else said("Measure the tank again, or look for a pour written down twice."),
        )
    ]
