"""The fit: a pour record becomes the most probable never-falling table with its band.

The tank's description is trusted to several degrees at once.  Each degree scales the
departure that the walls may have; its weight is what it was worth before times how
well it foretold the readings (Bayesian model averaging: Hoeting et al., Statistical
Science 14(4), 1999, eq. 1 to 3).  So a right tank file narrows the band and a wrong
one is overruled by the pours.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from gaugewright.metrology.monotone import monotone_mode
from gaugewright.probe import Probe
from gaugewright.table.alternatives import moved_probe, same_size_tanks, stands_in
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves, curves_of
from gaugewright.table.equations import Equations, equations_of
from gaugewright.table.fill import Fill
from gaugewright.table.posterior import Posterior, solve
from gaugewright.table.rows import Doubts
from gaugewright.table.stretched import stretched_curves
from gaugewright.table.unknown import unknown_curves
from gaugewright.tank.description import Tank

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trust:
    """One degree of trust in a tank's description, and what it is worth before any pour."""

    departure: float
    """Scale of the walls' departure."""
    sump: float
    """Scale of the volume in or missing from the very bottom."""
    worth: float
    residue: float = 1.0
    """Scale of the fuel left in the drained tank."""

    def prior_u(self, groups: tuple[str, ...]) -> Floats:
        """Return the scale of every unknown, shape (p,)."""
        own = {"departure": self.departure, "sump": self.sump, "residue": self.residue}
        return np.array([own.get(group, 1.0) for group in groups])


DESCRIBED = (
    Trust(1.0, 0.2, 0.70),
    Trust(1.0, 2.5, 0.13),
    Trust(3.0, 1.0, 0.08),
    Trust(8.0, 2.0, 0.025),
    Trust(20.0, 3.0, 0.015),
    Trust(1.0, 0.2, 0.05, residue=8.0),
)
"""Most tanks have no sump and some have one: two plain cases, not one wide one.  And a pump
that drew air early leaves a few litres more than usual."""
OTHER_SHAPE = (
    Trust(1.0, 0.2, 0.35),
    Trust(1.0, 2.5, 0.1),
    Trust(3.0, 1.0, 0.4),
    Trust(8.0, 2.0, 0.15),
)
"""For a tank of another shape, which is only tried when the described one fails."""
PLAIN = (Trust(1.0, 1.0, 1.0),)
"""For the plain tanks of a fill without a tank file, which carry their own departures."""
WRONG_FILE = 0.02
"""What it was worth before any pour that the tank file describes another tank."""


WRONG_SCALE = 0.02
"""The same that its probe's full scale, or the size of the whole tank, is not as described."""


@dataclass(frozen=True, eq=False)
class Component:
    """One degree of distrust with its weight."""

    curves: Curves
    equations: Equations
    prior_u: Floats
    posterior: Posterior
    log_weight: float
    scale: float
    """Degree of distrust: scale of the walls' departure."""
    move_ratio: float
    """A vehicle's move against the slope that the pitch and roll columns stand for."""


@dataclass(frozen=True, eq=False)
class Fit:
    """The averaged result on a grid of counts."""

    counts: Floats
    litres: Floats
    u95_litres: Floats
    """Half-width of the 95 % band. [L]"""
    components: tuple[Component, ...]
    weights: Floats


def fit(
    fill: Fill,
    tank: Tank | None = None,
    probe: Probe | None = None,
    assumed: Assumptions | None = None,
    doubts: Doubts | None = None,
) -> Fit:
    """Return the table of a fill with its band."""
    assumed = Assumptions() if assumed is None else assumed
    if tank is None or probe is None:
        components = []
        for curves, worth in unknown_curves(fill, probe, assumed):
            components += components_of(fill, curves, assumed, float(np.log(worth)), doubts, PLAIN)
        return average(components)
    components = components_of(fill, curves_of(tank, probe, assumed), assumed, doubts=doubts)
    if doubtful(components):
        there = moved_probe(tank, probe)
        others = [t for t in same_size_tanks(tank) if stands_in(t, there)]
        share = float(np.log(WRONG_FILE / max(1, len(others))))
        for other in others:
            components += components_of(
                fill, curves_of(other, there, assumed), assumed, share, doubts, OTHER_SHAPE
            )
        for curves, worth in stretched_curves(fill, tank, probe, assumed, doubts):
            share = float(np.log(WRONG_SCALE)) + worth
            components += components_of(fill, curves, assumed, share, doubts, OTHER_SHAPE)
    return average(components)


def doubtful(components: list[Component]) -> bool:
    """Return whether the pours speak for more departure than the description allows."""
    logs = np.array([c.log_weight for c in components])
    is_usual = np.array([c.scale <= 1.0 for c in components])
    return bool(np.logaddexp.reduce(logs[is_usual]) < np.logaddexp.reduce(logs) - 0.35)


def components_of(
    fill: Fill,
    curves: Curves,
    assumed: Assumptions,
    log_prior: float = 0.0,
    doubts: Doubts | None = None,
    trusts: tuple[Trust, ...] = DESCRIBED,
) -> list[Component]:
    """Solve a fill for every degree of distrust of one description."""
    equations = equations_of(fill, curves, assumed, doubts)
    found = []
    is_residue_seen = fill.residual_l is not None or fill.dip_empty_mm is not None
    for trust in trusts:
        if trust.residue > 1.0 and is_residue_seen:
            continue  # somebody looked into the drained tank: no need to allow for more
        prior_u = trust.prior_u(equations.groups)
        posterior = solve(equations, prior_u, curves.litres)
        weight = posterior.log_evidence + float(np.log(trust.worth)) + log_prior
        found.append(
            Component(
                curves,
                equations,
                prior_u,
                posterior,
                weight,
                trust.departure,
                assumed.u_move_deg / assumed.u_slope_deg,
            )
        )
    return found


def average(components: list[Component]) -> Fit:
    """Average components over the counts of the first."""
    logs = np.array([c.log_weight for c in components])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    best = components[int(np.argmax(weights))].curves
    first = components[0].curves if best.stretch is None else best
    counts = first.counts[first.tip_index :]
    means, sds = [], []
    for component in components:
        own = component.curves.counts
        order = np.argsort(own)
        means.append(np.interp(counts, own[order], component.posterior.litres[order]))
        sds.append(np.interp(counts, own[order], component.posterior.u_litres[order]))
    mean = weights @ np.array(means)
    variance = weights @ (np.array(sds) ** 2 + (np.array(means) - mean) ** 2)
    rising = np.argsort(counts)
    mean = monotone_mode(mean[rising], variance[rising] + 1e-9, lower=0.0)
    band = band_half_width(mean, np.array(means)[:, rising], np.array(sds)[:, rising], weights)
    return Fit(counts[rising], mean, band, tuple(components), weights)


def band_half_width(
    centre: Floats, means: Floats, sds: Floats, weights: Floats, probability: float = 0.95
) -> Floats:
    """Return w such that centre ± w holds a mixture of normals with this probability.

    ``centre`` (g,), ``means`` and ``sds`` (k, g), ``weights`` (k,); by bisection.

    >>> one = np.ones((1, 1))
    >>> band_half_width(np.zeros(1), 0 * one, one, np.ones(1)).round(3)
    array([1.96])
    """
    sds = np.maximum(sds, 1e-9)
    low: Floats = np.zeros_like(centre)
    high: Floats = np.max(np.abs(means - centre) + 5.0 * sds, axis=0)
    for _ in range(45):
        middle = 0.5 * (low + high)
        inside = ndtr((centre + middle - means) / sds) - ndtr((centre - middle - means) / sds)
        enough = weights @ inside >= probability
        high = np.where(enough, middle, high)
        low = np.where(enough, low, middle)
    return high
