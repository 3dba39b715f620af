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

from gaugewright.fuel import volume_ratio
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.fill import Fill, Pour

Floats = npt.NDArray[np.float64]

EXPANSION_PER_K = 8.4e-4
"""Thermal expansion of diesel of 840 kg/m3 at 15 °C, ASTM D1250-80 table 54B. [1/K]"""


UNKNOWN_SHIFT = 0.0035
"""Level misread on an unmeasured slope where the tank and the probe's place are unknown,
as a share of the scale: 1.5 mm of 450 mm, for 100 mm off centre at 0.9°."""


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
    limits: tuple[Limit, ...]
    names: tuple[str, ...]
    groups: tuple[str, ...]
    table_design: Floats
    """Shape (g, p): effect of the unknowns on the litres of the standing tank. [L]"""
    per_count_l: Floats
    """Litres per count at each reading row. [L]"""
    poured_l: Floats
    """Cumulative litres by the meter at every pour of the fill, in the tank's state. [L]"""


@dataclass(frozen=True, eq=False)
class Reading:
    """What the tank's curves say at one place of the scale."""

    litres: Floats
    effects: Floats
    per_mm_l: Floats


def cumulative_l(fill: Fill) -> tuple[Floats, bool]:
    """Return litres added up to each pour, and whether temperatures were known.

    With ``meter_c`` and ``fuel_c`` at every pour, each delivery is carried from the
    meter's temperature to the tank's.  [L]

    >>> warm = Fill((Pour(0, 0.0, 0), Pour(1, 100.0, 900, fuel_c=5.0, meter_c=17.0)))
    >>> total, known = cumulative_l(warm)
    >>> total.round(2), known
    (array([ 0. , 98.99]), True)
    """
    sign = -1.0 if fill.is_draining else 1.0
    added = sign * np.array([pour.added_l for pour in fill.pours])
    delivered = [pour for pour in fill.pours if pour.added_l != 0]
    known = bool(delivered) and all(
        pour.meter_c is not None and pour.fuel_c is not None for pour in delivered
    )
    if not known:
        return np.cumsum(added), False
    at_15 = np.array(
        [
            litres * (1.0 if pour.meter_c is None else float(volume_ratio(pour.meter_c, 15.0)))
            for litres, pour in zip(added, fill.pours, strict=True)
        ]
    )
    back = np.array(
        [
            1.0 if pour.fuel_c is None else float(volume_ratio(15.0, pour.fuel_c))
            for pour in fill.pours
        ]
    )
    return np.cumsum(at_15) * back, True


def reading_u_counts(pour: Pour, curves: Curves, assumed: Assumptions) -> float:
    """Return the standard uncertainty of one steady reading, rounding included. [counts]"""
    span = abs(curves.probe.counts_full - curves.probe.counts_empty)
    usual = assumed.u_counts * span / 4095.0
    seen = usual if pour.counts_sd is None else max(pour.counts_sd, 0.5 * usual)
    return float(np.hypot(seen, 1.0 / np.sqrt(12.0)))


def equations_of(
    fill: Fill, curves: Curves, assumed: Assumptions, skip: frozenset[int] = frozenset()
) -> Equations:
    """Return the equations of a fill; readings of the pours in ``skip`` are left out."""
    poured, temperatures_known = cumulative_l(fill)
    extra = ["start" if fill.is_draining else "residue", "meter", "temperature", "pitch", "roll"]
    names = tuple(c.name for c in curves.columns) + tuple(extra)
    groups = tuple(c.group for c in curves.columns) + (
        "residue",
        "meter",
        "temperature",
        "slope",
        "slope",
    )
    sizes = _Sizes.of(fill, curves, assumed, temperatures_known)
    u_counts = np.array([reading_u_counts(p, curves, assumed) for p in fill.pours])
    wetted = curves.probe.wetted_mm([p.counts for p in fill.pours])
    margin = (3.0 * u_counts + 1.0) * abs(curves.probe.mm_per_count)
    low = wetted <= margin
    high = wetted >= curves.probe.active_length_mm - margin
    regular = [i for i in range(len(fill.pours)) if not (low[i] or high[i] or i in skip)]
    rows = _slope_rows(fill, curves, assumed, wetted)
    own = _own_rows(poured, sizes)
    design = np.column_stack([rows.effects[:, : len(curves.columns)], own, rows.effects[:, -2:]])
    observed = poured + sizes.start_l - rows.litres
    noise_counts = rows.per_mm_l * abs(curves.probe.mm_per_count) * u_counts
    over_mm = np.maximum(wetted - curves.wetted_mm[-1], 0.0)
    deliveries = _delivery_covariance(fill, assumed)
    noise = deliveries + np.diag(noise_counts**2 + (over_mm * curves.per_mm_l.max()) ** 2 + 1e-6)
    limits = []
    for side, mask in ((1.0, low), (-1.0, high)):
        chosen = [i for i in np.flatnonzero(mask) if i not in skip]
        if chosen:
            limits.append(_limit(fill, curves, assumed, poured, sizes, deliveries, side, chosen))
    is_dry = fill.dip_empty_mm is not None and fill.dip_empty_mm <= dip_margin_mm(assumed)
    if curves.described is not None and is_dry:
        limits.append(_dry_limit(fill, curves, assumed, sizes))
    checks = _check_rows(fill, curves, assumed, sizes)
    picked = np.ix_(regular, regular)
    n = len(regular) + len(checks)
    full_noise = np.zeros((n, n))
    full_noise[: len(regular), : len(regular)] = noise[picked]
    for k, check in enumerate(checks, start=len(regular)):
        full_noise[k, k] = check[2]
    table_design = np.zeros((len(curves.wetted_mm), len(names)))
    table_design[:, : len(curves.columns)] = np.array([c.effect_l for c in curves.columns]).T
    return Equations(
        design=np.vstack([design[regular], *[c[0] for c in checks]]),
        observed=np.concatenate([observed[regular], [c[1] for c in checks]]),
        noise=full_noise,
        pours=tuple(regular),
        limits=tuple(limits),
        names=names,
        groups=groups,
        table_design=table_design,
        per_count_l=(rows.per_mm_l * abs(curves.probe.mm_per_count))[regular],
        poured_l=poured,
    )


@dataclass(frozen=True, slots=True)
class _Sizes:
    """Mean and uncertainty of what a fill adds to the tank's own unknowns."""

    start_l: float
    u_start_l: float
    u_meter: float
    u_temperature: float

    @classmethod
    def of(
        cls, fill: Fill, curves: Curves, assumed: Assumptions, temperatures_known: bool
    ) -> "_Sizes":
        if fill.is_draining:
            start, u_start = 0.7 * curves.capacity_l, curves.capacity_l
        elif fill.residual_l is not None:
            start = fill.residual_l
            u_start = assumed.u_residue_l * 0.3 if fill.u_residual_l is None else fill.u_residual_l
        else:
            start, u_start = assumed.residue_l, assumed.u_residue_l
        warming = 0.0 if temperatures_known else EXPANSION_PER_K * assumed.u_warming_k
        return cls(start, max(u_start, 1e-3), assumed.u_meter, max(warming, 1e-5))


def _own_rows(poured: Floats, sizes: _Sizes) -> Floats:
    """Columns of residue, meter and temperature for cumulative litres (n,)."""
    return np.column_stack(
        [
            np.full_like(poured, -sizes.u_start_l),
            -poured * sizes.u_meter,
            -poured * sizes.u_temperature,
        ]
    )


def _delivery_covariance(fill: Fill, assumed: Assumptions) -> Floats:
    """Covariance of cumulative delivery errors: what two readings share is the earlier part."""
    variances = [assumed.u_delivery_l**2 if p.added_l != 0 else 0.0 for p in fill.pours]
    total = np.cumsum(variances)
    return np.minimum.outer(total, total)


def _on_grid(curves: Curves, wetted: Floats) -> tuple[Floats, Floats, Floats]:
    litres = np.interp(wetted, curves.wetted_mm, curves.litres)
    per_mm = np.interp(wetted, curves.wetted_mm, curves.per_mm_l)
    effects = _interpolated(curves, wetted)
    return litres, per_mm, effects


def _interpolated(curves: Curves, wetted: Floats) -> Floats:
    """All columns at some wetted lengths, shape (n, p_curves)."""
    grid = curves.wetted_mm
    right = np.clip(np.searchsorted(grid, wetted), 1, len(grid) - 1)
    weight = np.clip((wetted - grid[right - 1]) / (grid[right] - grid[right - 1]), 0.0, 1.0)
    table = np.array([c.effect_l for c in curves.columns])
    result: Floats = (table[:, right - 1] * (1 - weight) + table[:, right] * weight).T
    return result


def _slope_rows(fill: Fill, curves: Curves, assumed: Assumptions, wetted: Floats) -> Reading:
    """Litres and effects at the readings, on the slope each was taken on."""
    litres, per_mm, effects = _on_grid(curves, np.clip(wetted, curves.wetted_mm[0], None))
    slopes = np.zeros((len(wetted), 2))
    described = curves.described
    if described is None:
        slopes[:, 0] = per_mm * UNKNOWN_SHIFT * curves.top_mm
        return Reading(litres, np.column_stack([effects, slopes]), per_mm)
    level = np.clip(wetted, curves.wetted_mm[0], curves.wetted_mm[-1])
    result_l = litres.copy()
    for key in {(p.pitch_deg, p.roll_deg) for p in fill.pours}:
        members = [i for i, p in enumerate(fill.pours) if (p.pitch_deg, p.roll_deg) == key]
        at = level[members]
        base_slope = [0.0 if known is None else known for known in key]
        flat = described.litres_on_slope(at, *base_slope)
        correction = flat - described.litres_on_slope(at, 0.0, 0.0)
        for axis in (0, 1):
            u = assumed.u_slope_deg if key[axis] is None else assumed.u_slope_measured_deg
            shift = [0.0, 0.0]
            shift[axis] = u
            up = described.litres_on_slope(at, base_slope[0] + shift[0], base_slope[1] + shift[1])
            down = described.litres_on_slope(at, base_slope[0] - shift[0], base_slope[1] - shift[1])
            slopes[members, axis] = 0.5 * (up - down)
            correction = correction + 0.5 * (up + down) - flat
        result_l[members] += correction
    return Reading(result_l, np.column_stack([effects, slopes]), per_mm)


def _limit(
    fill: Fill,
    curves: Curves,
    assumed: Assumptions,
    poured: Floats,
    sizes: _Sizes,
    deliveries: Floats,
    side: float,
    chosen: list[int],
) -> Limit:
    """The one reading that says most: the fullest below the tip, the emptiest past the top."""
    i = max(chosen, key=lambda k: side * poured[k])
    at_mm = np.array([0.0 if side > 0 else curves.probe.active_length_mm])
    rows = _slope_rows(Fill((fill.pours[i],)), curves, assumed, at_mm)
    own = _own_rows(poured[[i]], sizes)
    row = np.concatenate([rows.effects[0, :-2], own[0], rows.effects[0, -2:]])
    return Limit(
        pour=i,
        design=row,
        margin_l=float(rows.litres[0] - poured[i] - sizes.start_l),
        variance_l2=float(deliveries[i, i]) + 0.05**2,
        sign=side,
    )


def _check_rows(
    fill: Fill, curves: Curves, assumed: Assumptions, sizes: _Sizes
) -> list[tuple[Floats, float, float]]:
    """Rows (design, observed, variance) of what was checked beside the pours."""
    k = len(curves.columns)
    rows: list[tuple[Floats, float, float]] = []
    for check in fill.meter_checks:
        row = np.zeros(k + 5)
        row[k + 1] = check.indicated_l * sizes.u_meter
        u = np.hypot(assumed.u_check_l, assumed.u_can * check.true_l)
        rows.append((row, check.true_l - check.indicated_l, float(u) ** 2))
    described = curves.described
    if described is not None and described.tank.rated_capacity_l is not None:
        row = np.zeros(k + 5)
        usable = described.tank.usable_fraction
        row[:k] = [usable * c.total_l for c in curves.columns]
        rated = described.tank.rated_capacity_l
        rows.append((row, rated - usable * curves.capacity_l, (assumed.u_plate * rated) ** 2))
    if described is not None and fill.dip_empty_mm is not None:
        if fill.dip_empty_mm > dip_margin_mm(assumed):
            rows.append(_dip_row(fill, curves, assumed, sizes, fill.dip_empty_mm))
    if fill.is_draining:
        rows.extend(_emptied_row(fill, curves, assumed, sizes))
    return rows


def dip_margin_mm(assumed: Assumptions) -> float:
    """Depth that a dip cannot tell from none: the stick's whole error as rectangular. [mm]"""
    return float(np.sqrt(3.0)) * assumed.u_dip_mm


def _dry_limit(fill: Fill, curves: Curves, assumed: Assumptions, sizes: _Sizes) -> Limit:
    """A dip that found the bottom dry at the probe's place: less than reaches there is left."""
    row, observed, variance = _dip_row(fill, curves, assumed, sizes, 0.5 * dip_margin_mm(assumed))
    at = len(fill.pours) - 1 if fill.is_draining else 0
    return Limit(at, row, -observed, variance, 1.0)


def _dip_row(
    fill: Fill, curves: Curves, assumed: Assumptions, sizes: _Sizes, dip_mm: float
) -> tuple[Floats, float, float]:
    """Fuel left in the drained tank, from its depth at the probe's place."""
    spread_mm = dip_margin_mm(assumed)
    low_mm = max(dip_mm - spread_mm, 0.0)
    below_tip = np.array([dip_mm, low_mm, dip_mm + spread_mm]) - curves.probe.tip_clearance_mm
    first = fill.pours[-1] if fill.is_draining else fill.pours[0]
    rows = _slope_rows(Fill((first, first, first)), curves, assumed, below_tip)
    poured = cumulative_l(fill)[0][[-1]] if fill.is_draining else np.zeros(1)
    own = _own_rows(poured, sizes)[0]
    row = np.concatenate([rows.effects[0, :-2], own, rows.effects[0, -2:]])
    # The tip's own uncertainty does not touch a dip that starts at the bottom.
    row[[c.name == "tip" for c in curves.columns] + [False] * 5] = 0.0
    # Litres grow faster than the depth at the bottom of a round tank: half the spread of
    # the litres themselves, not of the depth times a slope.
    u_l = 0.5 * float(rows.litres[2] - rows.litres[1]) / np.sqrt(3.0)
    return row, float(sizes.start_l + poured[0] - rows.litres[0]), u_l**2 + 0.05**2


def _emptied_row(
    fill: Fill, curves: Curves, assumed: Assumptions, sizes: _Sizes
) -> list[tuple[Floats, float, float]]:
    """A draining record that ends below the tip ends with the drained tank's residue."""
    last = fill.pours[-1]
    wetted = float(curves.probe.wetted_mm(last.counts))
    margin = (3 * reading_u_counts(last, curves, assumed) + 1) * abs(curves.probe.mm_per_count)
    if wetted > margin and fill.residual_l is None:
        return []
    poured = cumulative_l(fill)[0][[-1]]
    row = np.zeros(len(curves.columns) + 5)
    row[len(curves.columns) : -2] = _own_rows(poured, sizes)[0]
    left = assumed.residue_l if fill.residual_l is None else fill.residual_l
    u = assumed.u_residue_l if fill.u_residual_l is None else fill.u_residual_l
    # start + poured (negative) = residue, so the row's sign is that of the start.
    return [(row, float(sizes.start_l + poured[0] - left), max(u, 0.05) ** 2)]
