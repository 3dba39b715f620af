"""What a drained tank keeps: the same tank drained through the same plug keeps the like again.

Without it a reading that is too high would always pass for fuel that was left in the tank.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.equations import Equations
from gaugewright.table.fill import Fill, Pour
from gaugewright.table.fit import Fit
from gaugewright.table.rows import Doubts, Setting

Floats = npt.NDArray[np.float64]

U_AGAIN_L = 1.0
"""How far two drainings of one tank through one plug differ. [L]"""
BADLY = 0.05
"""What it is worth that the tank was drained badly before later pours."""
MORE_BADLY_L, U_BADLY_L = 5.6, 5.0
"""Then so much more than before is left in it; hardly ever less than none. [L]"""


@dataclass(frozen=True, slots=True)
class Left:
    """What was left in the drained tank before the first fill."""

    reading: Pour
    """The first pour of that fill: the reading of the drained tank."""
    is_seen: bool
    """Whether the probe saw it: else it stood below the tip."""
    litres: float
    u_litres: float
    """As the first fill taught it, with its standard uncertainty. [L]"""


@dataclass(frozen=True, slots=True)
class Start:
    """One way in which later pours may have begun."""

    fill: Fill
    log_worth: float
    as_before: Left | None = None
    """Given where the fuel stood as high as before the first fill, as far as is known."""


def left_in(result: Fit, fill: Fill, assumed: Assumptions | None = None) -> Left | None:
    """Return what a first fill taught of its drained tank; ``None`` where it began elsewhere."""
    if fill.is_draining or fill.pours[0].added_l != 0:
        return None
    assumed = Assumptions() if assumed is None else assumed
    means, variances = [], []
    for component in result.components:
        start_l, u_l = Setting(fill, component.curves, assumed, Doubts()).start
        at = component.equations.names.index("residue")
        estimate = component.posterior.estimate
        means.append(start_l + u_l * float(estimate.mean[at]))
        variances.append(u_l**2 * float(estimate.covariance[at, at]))
    mean = float(result.weights @ np.array(means))
    second = float(result.weights @ (np.array(variances) + np.array(means) ** 2))
    leading = result.components[int(np.argmax(result.weights))]
    return Left(
        fill.pours[0],
        0 in leading.equations.pours,
        max(mean, 0.0),
        float(np.sqrt(max(second - mean**2, 0.0))),
    )


def starts_again(fill: Fill, left: Left | None) -> list[Start]:
    """Return how later pours into a drained tank may have begun.

    As before the first fill, within `U_AGAIN_L`; or, where a pump drew air early, with more
    in it.  Where somebody looked into the tank, that is heard alone.
    """
    if fill.residual_l is not None or fill.dip_empty_mm is not None or fill.is_draining:
        return [Start(fill, 0.0)]
    well, usual = float(np.log1p(-BADLY)), Assumptions()
    if left is None:
        as_usual = Start(fill, well)
        before_l = usual.residue_l
    elif left.is_seen:
        again = replace(fill, residual_l=left.litres, u_residual_l=U_AGAIN_L)
        as_usual = Start(again, well, left)
        before_l = left.litres
    else:
        u_l = float(np.hypot(left.u_litres, U_AGAIN_L))
        as_usual = Start(replace(fill, residual_l=left.litres, u_residual_l=u_l), well)
        before_l = left.litres
    badly = replace(fill, residual_l=before_l + MORE_BADLY_L, u_residual_l=U_BADLY_L)
    return [as_usual, Start(badly, float(np.log(BADLY)))]


def begun_as_before(
    equations: Equations,
    start: Start,
    curves: Curves,
    wetted_mm: float,
    assumed: Assumptions,
    besides: str = "",
) -> Equations:
    """Let the start be the litres at the level of the first fill's drained tank.

    ``wetted_mm`` is that level on these curves.  What is not known of the curve there is in
    the start too, so that two readings at one level differ by what was left differently and
    by nothing else; but for the column ``besides``, which came after that fill.
    """
    left, fill = start.as_before, start.fill
    if left is None:
        return equations
    before = Setting(Fill((left.reading,)), curves, assumed, Doubts())
    row, litres, _ = before.at_level(0, wetted_mm)
    width = len(curves.columns)
    shared = np.zeros(len(equations.names))
    shared[:width] = [
        0.0 if column.name == besides else effect
        for column, effect in zip(curves.columns, row[:width], strict=True)
    ]
    slopes = row[-2:]
    residue = equations.names.index("residue")
    given_l, u_l = Setting(fill, curves, assumed, Doubts()).start
    wider = float(np.sqrt(u_l**2 + slopes @ slopes)) / u_l
    shift = litres - given_l

    def moved(design: Floats) -> Floats:
        result = design - shared
        result[residue] = design[residue] * wider
        return result

    size = len(equations.pours)
    design, observed = equations.design.copy(), equations.observed.copy()
    design[:size] = [moved(each) for each in equations.design[:size]]
    observed[:size] += shift
    limits = tuple(
        replace(each, design=moved(each.design), margin_l=each.margin_l - shift)
        for each in equations.limits
    )
    return replace(equations, design=design, observed=observed, limits=limits)
