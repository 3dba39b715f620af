"""A sister tank: the table of another tank of the same model, proposed before the pours."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Column, Curves, curves_of
from gaugewright.table.departure import departure_basis
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component, Fit, average, fit
from gaugewright.table.later.assumptions import Scatter
from gaugewright.table.later.carry import Levels, carried
from gaugewright.table.later.known import Known, Part
from gaugewright.table.rows import Doubts
from gaugewright.tank.description import Tank

Floats = npt.NDArray[np.float64]

OF_THE_TANK = ("departure", "sump")


def sister_known(
    levels: Levels,
    probe: Probe,
    scatter: Scatter | None = None,
    assumed: Assumptions | None = None,
) -> Known:
    """Return what a sister's table says of this tank: carried to its probe, scatter added."""
    scatter = Scatter() if scatter is None else scatter
    assumed = Assumptions() if assumed is None else assumed
    known = carried(levels, probe, None, assumed)
    return Known(tuple(_scattered(part, scatter, assumed) for part in known.parts))


def _scattered(part: Part, scatter: Scatter, assumed: Assumptions) -> Part:
    curves = part.curves
    if curves.described is None:
        extra = _without_file(curves, scatter)
    else:
        extra = _with_file(curves, curves.described.tank, scatter, assumed)
    return replace(part, curves=replace(curves, columns=(*curves.columns, *extra)))


def _with_file(
    curves: Curves, tank: Tank, scatter: Scatter, assumed: Assumptions
) -> tuple[Column, ...]:
    """The unknowns of a tank nobody filled, made as small as two of one model differ."""
    usual = curves_of(replace(tank, u_mm=scatter.u_mm), curves.probe, assumed)
    found = []
    for each in usual.columns:
        if each.group == "dimensions":
            # An edge radius is pressed by the same tool: its usual uncertainty is the tape's.
            share = scatter.departure if each.name == "edge_radius_mm" else 1.0
        elif each.group in OF_THE_TANK:
            share = scatter.departure
        else:
            continue
        effect = share * np.interp(curves.wetted_mm, usual.wetted_mm, each.effect_l)
        found.append(Column(f"sister_{each.name}", each.group, effect))
    return tuple(found)


def _without_file(curves: Curves, scatter: Scatter) -> tuple[Column, ...]:
    walls = departure_basis(curves.wetted_mm, curves.per_mm_l, 0.3)
    return (
        Column("sister_size", "dimensions", scatter.size * curves.litres),
        *(
            Column(f"sister_walls_{i}", "departure", scatter.walls * effect)
            for i, effect in enumerate(walls)
        ),
    )


@dataclass(frozen=True, eq=False)
class SisterFit:
    """A fill with a sister's table before it."""

    fit: Fit
    """With the sister and, for what it still weighs, without."""
    alone: Fit
    """The same fill without the sister."""
    agreement: float
    """Probability that the two tanks are of one model, after the pours."""
    log_likelihood: float
    """How much better the pours are foretold with the sister than without (natural log)."""

    @property
    def narrower(self) -> float:
        """Mean half-width of the band with the sister, as a share of that without."""
        mine = np.interp(self.alone.counts, self.fit.counts, self.fit.u95_litres)
        return float(mine.mean() / self.alone.u95_litres.mean())


def fit_with_sister(
    fill: Fill,
    known: Known,
    tank: Tank | None,
    probe: Probe | None,
    assumed: Assumptions | None = None,
    doubts: Doubts | None = None,
    scatter: Scatter | None = None,
) -> SisterFit:
    """Return the table of a fill with a sister's table as what was known before.

    That the two are not of one model after all is one more thing that may be so: then the
    fill stands alone.  The pours weigh the one against the other.
    """
    scatter = Scatter() if scatter is None else scatter
    alone = fit(fill, tank, probe, assumed, doubts)
    share = float(np.log1p(-scatter.other_model))
    hers = [
        replace(component, log_weight=component.log_weight + share)
        for component in known.components(fill, assumed, doubts)
    ]
    other = float(np.log(scatter.other_model))
    own = [replace(c, log_weight=c.log_weight + other) for c in alone.components]
    result = average([*hers, *own])
    agreement = float(result.weights[: len(hers)].sum())
    gain = _log_sum(hers) - share - (_log_sum(own) - other)
    return SisterFit(result, alone, agreement, gain)


def _log_sum(components: list[Component]) -> float:
    return float(np.logaddexp.reduce([c.log_weight for c in components]))
