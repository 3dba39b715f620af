"""Every change solved on the pours made later, its evidence per count so that scales can differ."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from gaugewright.pours.later.changes import MOVED, UNCHANGED, Changed, changes_of, unchanged
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.equations import Equations, Limit, equations_of
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component
from gaugewright.table.later.known import Known, starts
from gaugewright.table.posterior import solve
from gaugewright.table.rows import Doubts, Setting, reading_u_counts

Floats = npt.NDArray[np.float64]

SHARP_L = 0.1
"""How sharply a volume below none is ruled out. [L]"""


@dataclass(frozen=True, eq=False)
class Rival:
    """One change of one size, in one degree of distrust, with what the pours make of it."""

    change: Changed
    component: Component
    log_before: float
    """What it was worth before the pours."""


def rivals_of(known: Known, fill: Fill, assumed: Assumptions) -> list[Rival]:
    """Solve the pours for an unchanged tank and for everything that may have changed."""
    return [
        _solved(start, change, part.log_worth + log_worth, assumed)
        for part in known.parts
        for change in (unchanged(part.curves), *changes_of(part.curves))
        for start, log_worth in starts(fill)
    ]


def of_kind(rivals: list[Rival], kind: str = UNCHANGED) -> list[Rival]:
    """Return the rivals of one kind."""
    return [rival for rival in rivals if rival.change.kind == kind]


def log_after(rivals: list[Rival]) -> float:
    """Return what rivals weigh together after the pours, as a logarithm."""
    return float(logsumexp([rival.component.log_weight for rival in rivals]))


def log_before(rivals: list[Rival]) -> float:
    """Return what rivals were worth together before the pours, as a logarithm."""
    return float(logsumexp([rival.log_before for rival in rivals]))


def _solved(fill: Fill, change: Changed, log_worth: float, assumed: Assumptions) -> Rival:
    curves = change.curves
    equations = equations_of(fill, curves, assumed)
    log_scale = float(np.log(np.maximum(equations.per_count_l, 1e-9)).sum())
    full = with_end_readings(fill, equations, change, assumed)
    limits = (*full.limits, _no_less_than_none(fill, curves, full, assumed))
    if change.least is not None:
        limits = (*limits, _no_smaller(change, change.least, full))
    full = replace(full, limits=limits)
    move_ratio = assumed.u_move_deg / assumed.u_slope_deg
    prior_u = np.ones(len(full.groups))
    posterior = solve(full, prior_u, curves.litres)
    before = change.log_worth + log_worth
    log_weight = posterior.log_evidence + log_scale + before
    component = Component(curves, full, prior_u, posterior, log_weight, 1.0, move_ratio)
    return Rival(change, component, before)


def _no_less_than_none(
    fill: Fill, curves: Curves, equations: Equations, assumed: Assumptions
) -> Limit:
    """No tank begins with less than nothing in it: missing fuel is no badly drained tank."""
    start_l, u_l = Setting(fill, curves, assumed, Doubts()).start
    design = np.zeros(len(equations.names))
    design[equations.names.index("residue")] = u_l
    return Limit(0, design, start_l, SHARP_L**2, 1.0)


def _no_smaller(change: Changed, least: float, equations: Equations) -> Limit:
    """A change that cannot be smaller; in its own unit, not in litres."""
    design = np.zeros(len(equations.names))
    design[equations.names.index(MOVED)] = change.spread
    return Limit(0, design, change.size - least, (0.01 * change.spread) ** 2, 1.0)


def with_end_readings(
    fill: Fill, equations: Equations, change: Changed, assumed: Assumptions
) -> Equations:
    """Add what readings of the dry and of the fully immersed probe say about its scale.

    They are rows in counts.  A probe sends nothing below 0 counts, so a zero that drifted
    further down than that does not show.
    """
    curves = change.curves
    ends = [(i, curves.probe.counts_empty, change.dry_counts) for i in equations.below_tip]
    ends += [(i, curves.probe.counts_full, change.full_counts) for i in equations.past_top]
    if not ends:
        return equations
    size, more = len(equations.observed), len(ends)
    design = np.zeros((more, len(equations.names)))
    observed = np.zeros(more)
    noise = np.zeros((size + more, size + more))
    noise[:size, :size] = equations.noise
    moved = equations.names.index(MOVED)
    for k, (index, counts, slope) in enumerate(ends):
        pour = fill.pours[index]
        design[k, moved] = slope if counts > 0 else 0.0
        observed[k] = pour.counts - max(counts, 0.0)
        noise[size + k, size + k] = reading_u_counts(pour, curves, assumed) ** 2
    return replace(
        equations,
        design=np.vstack([equations.design, design]),
        observed=np.concatenate([equations.observed, observed]),
        noise=noise,
        after=np.concatenate([equations.after, np.full(more, -1)]).astype(np.intp),
    )
