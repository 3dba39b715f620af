"""Every change solved on the pours made later, its evidence per count so that scales can differ."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from gaugewright.pours.later.changes import (
    MOVED,
    TIP,
    UNCHANGED,
    ZERO,
    Changed,
    changes_of,
    unchanged,
)
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.equations import Equations, Limit, equations_of
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Component
from gaugewright.table.later.known import Known
from gaugewright.table.later.left import Start, begun_as_before, starts_again
from gaugewright.table.posterior import solve
from gaugewright.table.rows import Doubts, Setting, reading_u_counts

Floats = npt.NDArray[np.float64]

SHARP_L = 0.1
"""How sharply a volume below none is ruled out. [L]"""


@dataclass(frozen=True, slots=True)
class Dry:
    """The reading of the probe dry in air, taken with the later pours."""

    counts: float
    before: float | None = None
    """The same reading when the probe was put in; ``None`` takes the zero of its description."""


@dataclass(frozen=True, eq=False)
class Rival:
    """One change of one size, in one degree of distrust, with what the pours make of it."""

    change: Changed
    component: Component
    log_before: float
    """What it was worth before the pours."""


def rivals_of(
    known: Known, fill: Fill, assumed: Assumptions, dry: Dry | None = None
) -> list[Rival]:
    """Solve the pours for an unchanged tank and for everything that may have changed."""
    return [
        _solved(known, start, change, part.log_worth + start.log_worth, assumed, dry)
        for part in known.parts
        for change in (unchanged(part.curves), *changes_of(part.curves))
        for start in starts_again(fill, known.left)
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


def _solved(
    known: Known,
    start: Start,
    change: Changed,
    log_worth: float,
    assumed: Assumptions,
    dry: Dry | None,
) -> Rival:
    fill, curves = start.fill, change.curves
    equations = equations_of(fill, curves, assumed)
    if start.as_before is not None:
        # That reading is older than the change: by the probe as it was, the tip where it was.
        at = float(known.probe.wetted_mm(start.as_before.reading.counts))
        at -= change.size if change.kind == TIP else 0.0
        equations = begun_as_before(equations, start, curves, at, assumed, besides=MOVED)
    log_scale = float(np.log(np.maximum(equations.per_count_l, 1e-9)).sum())
    full = with_end_readings(fill, equations, change, assumed)
    if dry is not None:
        full = with_dry_reading(dry, full, change, assumed)
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
    rows = []
    for index, counts, slope in ends:
        pour = fill.pours[index]
        u = reading_u_counts(pour, curves, assumed)
        rows.append((slope if counts > 0 else 0.0, pour.counts - max(counts, 0.0), u))
    return _with_rows(equations, rows)


def with_dry_reading(
    dry: Dry, equations: Equations, change: Changed, assumed: Assumptions
) -> Equations:
    """Add what the probe reads dry in air: its zero as it is, whatever is in the tank."""
    probe = change.curves.probe
    drift = change.size if change.kind == ZERO else 0.0
    was = dry.before
    if was is None:
        was = probe.counts_empty - drift
    counts = was + drift
    once = assumed.u_counts * abs(probe.counts_full - probe.counts_empty) / 4095.0
    slope = change.dry_counts if counts > 0 else 0.0
    return _with_rows(
        equations, [(slope, dry.counts - max(counts, 0.0), float(np.hypot(once, once)))]
    )


def _with_rows(equations: Equations, rows: list[tuple[float, float, float]]) -> Equations:
    """Add readings in counts: slope on what moved, observed, standard uncertainty."""
    size, more = len(equations.observed), len(rows)
    design = np.zeros((more, len(equations.names)))
    noise = np.zeros((size + more, size + more))
    noise[:size, :size] = equations.noise
    moved = equations.names.index(MOVED)
    for k, (slope, _, u) in enumerate(rows):
        design[k, moved] = slope
        noise[size + k, size + k] = u**2
    return replace(
        equations,
        design=np.vstack([equations.design, design]),
        observed=np.concatenate([equations.observed, [observed for _, observed, _ in rows]]),
        noise=noise,
        after=np.concatenate([equations.after, np.full(more, -1)]).astype(np.intp),
    )
