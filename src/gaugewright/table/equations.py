"""From a fill and a tank's curves to linear equations with correlated errors.

For the reading after pour i:

    residue + meter * sum(poured) + sum(delivery errors)
        = litres on the slope(counts) + what is open about the tank + reading error

Everything that is not known is one unknown with a standard normal prior; its column
in the design is its effect for one standard uncertainty.  The errors of deliveries
add up from pour to pour, so the covariance of the rows is full.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.fill import Fill
from gaugewright.table.rows import Doubts, Row, Setting, dip_margin_mm, reading_u_counts

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Limit:
    """A reading that only says on which side the fuel stands: below the tip or past the top."""

    pour: int
    """Index of the pour in the fill."""
    design: Floats
    """Row (p,) of the unknowns in (litres at the limit - litres in the tank). [L]"""
    margin_l: float
    """That difference with all unknowns at zero. [L]"""
    variance_l2: float
    sign: float
    """+1: the fuel is below the limit; -1: above it."""


@dataclass(frozen=True, eq=False)
class Equations:
    """The linear system of one fill; rows are readings first, then checks."""

    design: Floats
    """Shape (n, p), per standard uncertainty of each unknown. [L]"""
    observed: Floats
    """Shape (n,). [L]"""
    noise: Floats
    """Covariance of the rows, shape (n, n). [L²]"""
    pours: tuple[int, ...]
    """Index in the fill of each row that is a reading, in order; checks follow them."""
    after: Indices
    """Pour whose cumulative litres are in each row, -1 where none are; shape (n,)."""
    limits: tuple[Limit, ...]
    below_tip: tuple[int, ...]
    """Pours after which the fuel stands below the tip."""
    past_top: tuple[int, ...]
    """Pours after which it stands above the probe's top."""
    names: tuple[str, ...]
    groups: tuple[str, ...]
    table_design: Floats
    """Shape (g, p): effect of the unknowns on the litres of the standing tank. [L]"""
    counts: Floats
    """At each reading row. [counts]"""
    litres: Floats
    """That the described tank holds at each reading row, on its slope. [L]"""
    per_count_l: Floats
    """Litres per count at each reading row. [L]"""
    reading_l2: Floats
    """Variance of each reading row that is the reading's own. [L²]"""
    poured_l: Floats
    """Cumulative litres by the meter at every pour of the fill, in the tank's state. [L]"""


def equations_of(
    fill: Fill, curves: Curves, assumed: Assumptions, doubts: Doubts | None = None
) -> Equations:
    """Return the equations of a fill; doubted figures are left open."""
    setting = Setting(fill, curves, assumed, Doubts() if doubts is None else doubts)
    skipped = setting.doubts.readings
    u_counts = np.array([reading_u_counts(p, curves, assumed) for p in fill.pours])
    mm_per_count = abs(curves.probe.mm_per_count)
    wetted = curves.probe.wetted_mm([p.counts for p in fill.pours])
    margin = (3.0 * u_counts + 1.0) * mm_per_count
    low = np.flatnonzero(wetted <= margin)
    high = np.flatnonzero(wetted >= curves.probe.active_length_mm - margin)
    between = np.setdiff1d(np.arange(len(wetted)), np.concatenate([low, high]))
    outside = {*low.tolist(), *high.tolist(), *skipped}
    regular = np.array([i for i in range(len(fill.pours)) if i not in outside], dtype=np.intp)
    found = setting.readings(fill.pours, wetted)
    design = setting.design(found.effects, found.slopes, np.arange(len(fill.pours)))
    checks = setting.check_rows()
    deliveries = _delivery_covariance(fill, assumed)
    own = _reading_variances(curves, found.per_mm_l, wetted, u_counts)
    width = len(curves.columns)
    table_design = np.zeros((len(curves.wetted_mm), len(setting.names)))
    table_design[:, :width] = curves.effects.T
    return Equations(
        design=np.vstack([design[regular], *(row.design for row in checks)]),
        observed=np.concatenate(
            [
                (setting.poured + setting.start[0] - found.litres)[regular],
                [row.observed for row in checks],
            ]
        ),
        noise=_noise(deliveries, own, regular, checks),
        pours=tuple(int(i) for i in regular),
        after=np.concatenate([regular, [row.after for row in checks]]).astype(np.intp),
        limits=_limits(
            setting, deliveries, *_at_the_ends(low, high, between, is_draining=fill.is_draining)
        ),
        below_tip=tuple(int(i) for i in low),
        past_top=tuple(int(i) for i in high),
        names=setting.names,
        groups=setting.groups,
        table_design=table_design,
        counts=np.array([p.counts for p in fill.pours])[regular],
        litres=found.litres[regular],
        per_count_l=(found.per_mm_l * mm_per_count)[regular],
        reading_l2=own[regular],
        poured_l=setting.poured,
    )


def _at_the_ends(
    low: Indices, high: Indices, between: Indices, *, is_draining: bool
) -> tuple[Indices, Indices]:
    """Readings outside the probe that come before or after all others.

    One amid the others is a probe that failed, and says nothing about the fuel.
    """
    if len(between) == 0:
        return low, high
    first, last = int(between[0]), int(between[-1])
    if is_draining:
        return low[low > last], high[high < first]
    return low[low < first], high[high > last]


def _delivery_covariance(fill: Fill, assumed: Assumptions) -> Floats:
    """Covariance of cumulative delivery errors: what two readings share is the earlier part."""
    variances = [assumed.u_delivery_l**2 if p.added_l != 0 else 0.0 for p in fill.pours]
    total = np.cumsum(variances)
    shared: Floats = np.minimum.outer(total, total)
    return shared


def _reading_variances(
    curves: Curves, per_mm_l: Floats, wetted: Floats, u_counts: Floats
) -> Floats:
    """Each reading's own error in litres; one above the described top is hardly believed."""
    noise_l = per_mm_l * abs(curves.probe.mm_per_count) * u_counts
    over_mm = np.maximum(wetted - curves.wetted_mm[-1], 0.0)
    result: Floats = noise_l**2 + (over_mm * curves.per_mm_l.max()) ** 2 + 1e-6
    return result


def _noise(deliveries: Floats, own: Floats, regular: Indices, checks: list[Row]) -> Floats:
    size = len(regular)
    noise = np.zeros((size + len(checks), size + len(checks)))
    noise[:size, :size] = (deliveries + np.diag(own))[np.ix_(regular, regular)]
    for k, row in enumerate(checks, start=size):
        noise[k, k] = row.variance_l2
    return noise


def _limits(
    setting: Setting,
    deliveries: Floats,
    low: Indices,
    high: Indices,
) -> tuple[Limit, ...]:
    """The readings that say most: the fullest below the tip, the emptiest past the top."""
    limits = []
    probe = setting.curves.probe
    for side, outside, at_mm in ((1.0, low, 0.0), (-1.0, high, probe.active_length_mm)):
        chosen = [int(i) for i in outside if i not in setting.doubts.readings]
        if not chosen:
            continue
        i = chosen[int(np.argmax(side * setting.poured[chosen]))]
        row, litres, _ = setting.at_level(i, at_mm)
        inside = float(setting.poured[i]) + setting.start[0]
        variance = float(deliveries[i, i]) + 0.05**2
        limits.append(Limit(i, row, litres - inside, variance, side))
    dip_mm = setting.fill.dip_empty_mm
    margin = dip_margin_mm(setting.assumed)
    if setting.curves.described is not None and dip_mm is not None and dip_mm <= margin:
        dry = setting.dip_row(0.5 * margin)
        limits.append(Limit(setting.drained_index, dry.design, -dry.observed, dry.variance_l2, 1.0))
    return tuple(limits)
