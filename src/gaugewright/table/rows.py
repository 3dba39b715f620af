"""Rows of the equations: what one reading or one check says about the unknowns.

Unknowns stand in this order: the curves' columns; start (residue), meter,
temperature; litres of doubted pours; slopes of doubted moves; pitch, roll.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from gaugewright.fuel import volume_ratio
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import Curves
from gaugewright.table.fill import Fill, Pour

Floats = npt.NDArray[np.float64]

DIESEL_KG_M3 = 840.0
"""Density at 15 °C in the upper middle of EN 590's 820 to 845; over that range the ratio
of two volumes 20 K apart changes by 0.05 %. [kg/m³]"""
EXPANSION_PER_K = 8.4e-4
"""Thermal expansion of diesel of that density at 15 °C, ASTM D1250-80 table 54B. [1/K]"""
UNKNOWN_SHIFT = 0.0035
"""Level misread on an unmeasured slope where the tank and the probe's place are unknown,
as a share of the scale: 1.5 mm of 450 mm, for 100 mm off centre at 0.9°."""
OPEN_SHARE = 0.5
"""How far doubted litres may be off, as a share of the capacity."""


@dataclass(frozen=True, slots=True)
class Doubts:
    """Figures that are treated as unknown; pours by their index in the fill."""

    litres: frozenset[int] = frozenset()
    """Pours whose litres are not believed."""
    readings: frozenset[int] = frozenset()
    """Pours whose counts are not believed."""
    moves: frozenset[int] = frozenset()
    """Pours before which the vehicle moved."""

    def __bool__(self) -> bool:
        """Tell whether anything is doubted."""
        return bool(self.litres or self.readings or self.moves)


@dataclass(frozen=True, slots=True)
class Row:
    """One scalar equation: observed = design @ unknowns + error."""

    design: Floats
    observed: float
    variance_l2: float
    after: int = -1
    """Pour whose cumulative litres are in it; -1 where none are."""


@dataclass(frozen=True, eq=False)
class Readings:
    """What the curves say at the readings: litres on the slope, effects, litres per mm."""

    litres: Floats
    effects: Floats
    """Shape (n, columns of the curves). [L]"""
    slopes: Floats
    """Effect of one standard uncertainty of pitch and roll, shape (n, 2). [L]"""
    per_mm_l: Floats


def cumulative_l(fill: Fill) -> tuple[Floats, bool]:
    """Return litres added up to each pour, and whether temperatures were known.

    With ``meter_c`` and ``fuel_c`` at every pour, each delivery is carried from the
    meter's temperature to the tank's.  [L]

    >>> warm = Fill((Pour(0, 0.0, 0), Pour(1, 100.0, 900, fuel_c=5.0, meter_c=17.0)))
    >>> total, known = cumulative_l(warm)
    >>> total.round(2), known
    (array([ 0., 99.]), True)
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
        [litres * _ratio(p.meter_c, 15.0) for litres, p in zip(added, fill.pours, strict=True)]
    )
    back = np.array([_ratio(15.0, p.fuel_c) for p in fill.pours])
    return np.cumsum(at_15) * back, True


def _ratio(from_c: float | None, to_c: float | None) -> float:
    if from_c is None or to_c is None:
        return 1.0
    return float(volume_ratio(from_c, to_c, DIESEL_KG_M3))


def reading_u_counts(pour: Pour, curves: Curves, assumed: Assumptions) -> float:
    """Return the standard uncertainty of one steady reading, rounding included. [counts]"""
    span = abs(curves.probe.counts_full - curves.probe.counts_empty)
    usual = assumed.u_counts * span / 4095.0
    seen = usual if pour.counts_sd is None else max(pour.counts_sd, 0.5 * usual)
    return float(np.hypot(seen, 1.0 / np.sqrt(12.0)))


def dip_margin_mm(assumed: Assumptions) -> float:
    """Depth that a dip cannot tell from none: the stick's whole error as rectangular. [mm]"""
    return float(np.sqrt(3.0)) * assumed.u_dip_mm


def interpolated_effects(curves: Curves, wetted: Floats) -> Floats:
    """All columns of the curves at some wetted lengths, shape (n, columns). [L]"""
    grid = curves.wetted_mm
    right = np.clip(np.searchsorted(grid, wetted), 1, len(grid) - 1)
    weight = np.clip((wetted - grid[right - 1]) / (grid[right] - grid[right - 1]), 0.0, 1.0)
    table = curves.effects
    result: Floats = (table[:, right - 1] * (1 - weight) + table[:, right] * weight).T
    return result


@dataclass(frozen=True, eq=False)
class Setting:
    """A fill in front of one tank's curves: what all its rows share."""

    fill: Fill
    curves: Curves
    assumed: Assumptions
    doubts: Doubts

    @cached_property
    def poured(self) -> Floats:
        """Cumulative litres at each pour. [L]"""
        return cumulative_l(self.fill)[0]

    @cached_property
    def start(self) -> tuple[float, float]:
        """Litres at step 0 as expected, and their standard uncertainty. [L]"""
        fill, assumed = self.fill, self.assumed
        if fill.is_draining:
            return 0.7 * self.curves.capacity_l, self.curves.capacity_l
        if fill.residual_l is not None:
            u = 0.3 * assumed.u_residue_l if fill.u_residual_l is None else fill.u_residual_l
            return fill.residual_l, max(u, 1e-3)
        return assumed.residue_l, assumed.u_residue_l

    @cached_property
    def u_temperature(self) -> float:
        """What unknown temperatures leave open, as a share of the litres."""
        known = cumulative_l(self.fill)[1]
        return 1e-5 if known else EXPANSION_PER_K * self.assumed.u_warming_k

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the unknowns in the order of the design's columns."""
        doubts = self.doubts
        return (
            *(c.name for c in self.curves.columns),
            "start" if self.fill.is_draining else "residue",
            "meter",
            "temperature",
            *(f"litres_{k}" for k in sorted(doubts.litres)),
            *(f"{axis}_{k}" for k in sorted(doubts.moves) for axis in ("pitch", "roll")),
            "pitch",
            "roll",
        )

    @cached_property
    def groups(self) -> tuple[str, ...]:
        """What could take each unknown away, in the same order."""
        doubts = self.doubts
        return (
            *(c.group for c in self.curves.columns),
            "residue",
            "meter",
            "temperature",
            *("doubted" for _ in doubts.litres),
            *("doubted" for _ in doubts.moves for _ in range(2)),
            "slope",
            "slope",
        )

    def design(self, effects: Floats, slopes: Floats, index: npt.NDArray[np.intp]) -> Floats:
        """Rows of the design for readings of the pours in ``index``. [L]"""
        poured = self.poured[index]
        opened = OPEN_SHARE * self.curves.capacity_l
        ratio = self.assumed.u_move_deg / self.assumed.u_slope_deg
        columns = [
            effects,
            np.full_like(poured, -self.start[1])[:, None],
            -poured[:, None] * self.assumed.u_meter,
            -poured[:, None] * self.u_temperature,
            *(-opened * (index >= k)[:, None] for k in sorted(self.doubts.litres)),
            *(ratio * slopes * (index >= k)[:, None] for k in sorted(self.doubts.moves)),
            slopes,
        ]
        return np.hstack(columns)

    def readings(self, pours: tuple[Pour, ...], wetted: Floats) -> Readings:
        """Litres and effects at wetted lengths, each on the slope of its pour."""
        curves = self.curves
        inside = np.clip(wetted, curves.wetted_mm[0], curves.wetted_mm[-1])
        litres = np.interp(inside, curves.wetted_mm, curves.litres)
        per_mm = np.interp(inside, curves.wetted_mm, curves.per_mm_l)
        effects = interpolated_effects(curves, inside)
        slopes = np.zeros((len(wetted), 2))
        if curves.described is None:
            slopes[:, 0] = per_mm * UNKNOWN_SHIFT * curves.top_mm
            return Readings(litres, effects, slopes, per_mm)
        for key in dict.fromkeys((p.pitch_deg, p.roll_deg) for p in pours):
            members = [i for i, p in enumerate(pours) if (p.pitch_deg, p.roll_deg) == key]
            change, effect = self._on_slope(inside[members], key)
            litres[members] += change
            slopes[members] = effect
        return Readings(litres, effects, slopes, per_mm)

    def _on_slope(
        self, wetted: Floats, known: tuple[float | None, float | None]
    ) -> tuple[Floats, Floats]:
        """What a slope changes, and the effect of what is not known about it. [L]

        The mean of a curved effect is not the effect of the mean: the second difference
        over one standard uncertainty is that difference exactly to second order.
        """
        described = self.curves.described
        assert described is not None
        at = [0.0 if value is None else value for value in known]
        here = described.litres_on_slope(wetted, at[0], at[1])
        change = here - described.litres_on_slope(wetted, 0.0, 0.0)
        effects = np.zeros((len(wetted), 2))
        for axis, value in enumerate(known):
            u = self.assumed.u_slope_deg if value is None else self.assumed.u_slope_measured_deg
            sides = []
            for sign in (1.0, -1.0):
                moved = list(at)
                moved[axis] += sign * u
                sides.append(described.litres_on_slope(wetted, moved[0], moved[1]))
            effects[:, axis] = 0.5 * (sides[0] - sides[1])
            change = change + 0.5 * (sides[0] + sides[1]) - here
        return change, effects

    def at_level(self, index: int, wetted_mm: float) -> tuple[Floats, float, float]:
        """Return design row, litres and litres per mm at a level on the slope of one pour."""
        found = self.readings((self.fill.pours[index],), np.array([wetted_mm]))
        row = self.design(found.effects, found.slopes, np.array([index]))[0]
        return row, float(found.litres[0]), float(found.per_mm_l[0])

    @property
    def drained_index(self) -> int:
        """Index of the pour at which the tank is drained."""
        return len(self.fill.pours) - 1 if self.fill.is_draining else 0

    def check_rows(self) -> list[Row]:
        """Rows of what was checked beside the pours."""
        fill, assumed, curves = self.fill, self.assumed, self.curves
        width = len(self.names)
        meter = self.names.index("meter")
        rows = []
        for check in fill.meter_checks:
            row = np.zeros(width)
            row[meter] = check.indicated_l * assumed.u_meter
            u = np.hypot(assumed.u_check_l, assumed.u_can * check.true_l)
            rows.append(Row(row, check.true_l - check.indicated_l, float(u) ** 2))
        if curves.described is not None and curves.described.tank.rated_capacity_l is not None:
            row = np.zeros(width)
            usable = curves.described.tank.usable_fraction
            row[: len(curves.columns)] = [usable * c.total_l for c in curves.columns]
            rated = curves.described.tank.rated_capacity_l
            rows.append(
                Row(row, rated - usable * curves.capacity_l, (assumed.u_plate * rated) ** 2)
            )
        dip_mm = fill.dip_empty_mm
        if curves.described is not None and dip_mm is not None and dip_mm > dip_margin_mm(assumed):
            rows.append(self.dip_row(dip_mm))
        if fill.is_draining:
            rows += self._emptied_rows()
        return rows

    def dip_row(self, dip_mm: float) -> Row:
        """Fuel left in the drained tank, from its depth at the probe's place."""
        at = self.drained_index
        clearance = self.curves.probe.tip_clearance_mm
        row, litres, _ = self.at_level(at, dip_mm - clearance)
        # The tip's own uncertainty does not touch a dip that starts at the bottom.
        row[self.names.index("tip")] = 0.0
        # Litres grow faster than the depth at the bottom of a round tank: half the spread
        # of the litres themselves, not of the depth times a slope.
        margin = dip_margin_mm(self.assumed)
        _, least, _ = self.at_level(at, max(dip_mm - margin, 0.0) - clearance)
        _, most, _ = self.at_level(at, dip_mm + margin - clearance)
        u = 0.5 * (most - least) / np.sqrt(3.0)
        inside = self.start[0] + float(self.poured[at])
        after = at if self.fill.is_draining else -1
        return Row(row, inside - litres, float(u) ** 2 + 0.05**2, after)

    def _emptied_rows(self) -> list[Row]:
        """A draining record that ends below the tip ends with the drained tank's residue."""
        fill, assumed = self.fill, self.assumed
        last = fill.pours[-1]
        wetted = float(self.curves.probe.wetted_mm(last.counts))
        reach = (3 * reading_u_counts(last, self.curves, assumed) + 1) * abs(
            self.curves.probe.mm_per_count
        )
        if wetted > reach and fill.residual_l is None:
            return []
        left, u = replace(self, fill=replace(fill, is_draining=False)).start
        at = self.drained_index
        nothing = np.zeros((1, len(self.curves.columns)))
        row = self.design(nothing, np.zeros((1, 2)), np.array([at]))[0]
        observed = self.start[0] + float(self.poured[at]) - left
        return [Row(row, observed, max(u, 0.05) ** 2, at)]
