"""Litres that a level probe misreads when the vehicle stands on a slope.

A tank holds the same fuel on a slope as standing level; only its surface leans.  For an
amount of fuel and a slope the leaning plane is found once.  At a place (x, y) it stands
``slope_x x + slope_y y`` higher than at the origin, and the table, made for the tank
standing level, turns that level into litres.  So one plane serves all places, and a map
is one table look-up for each place, amount and slope.

A probe sees no fuel below the lowest inside point under it and none above the highest:
there the level stops following, and that counts as misread too.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.levels import STEEPEST_DEG, litres_at, slope_of
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, column, level_of_litres, litres_below
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.planning.plan_view import PlanView

Floats = npt.NDArray[np.float64]

SHARES_FILLED = tuple(round(0.05 * k, 2) for k in range(1, 20))
"""Shares of the tank's volume at which a place is judged: 5 to 95 %."""
_KNOTS = 8001


@dataclass(frozen=True, slots=True)
class Slope:
    """The steepest ground that a vehicle often stands on, as rise over run.

    >>> Slope().along, Slope().across
    (0.05, 0.03)
    >>> Slope(along=1.5)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: slope_along: 150 % is outside 0 to 100 %
    """

    along: float = 0.05
    across: float = 0.03

    def __post_init__(self) -> None:
        """Refuse a slope that no vehicle stands on."""
        for name in ("along", "across"):
            value = getattr(self, name)
            if not (isfinite(value) and 0 <= value <= 1):
                raise InputError(
                    said("{value:g} % is outside 0 to 100 %", value=100 * value),
                    field=f"slope_{name}",
                )

    @property
    def ways(self) -> tuple[tuple[float, float], ...]:
        """Return level ground and the eight ways to stand on the slope."""
        signs = (-1.0, 0.0, 1.0)
        ways = {(i * self.along + 0.0, j * self.across + 0.0) for i in signs for j in signs}
        return tuple(sorted(ways, key=lambda way: (way != (0.0, 0.0), way)))


@dataclass(frozen=True, eq=False)
class PerDegree:
    """What a degree of slope does at a place, fuel at each level. [mm, L]"""

    level_mm: Floats
    """Level of the fuel with the tank standing level. [mm]"""
    litres: Floats
    pitch_l: Floats
    """Litres read too many for one degree of pitch, front end up. [L]"""
    roll_l: Floats
    """Litres read too many for one degree of roll, left side up. [L]"""


def misread_l(
    tank: Tank, x_mm: float, y_mm: float, litres: npt.ArrayLike, slope_x: float, slope_y: float
) -> Floats:
    """Litres that a probe at a place reads too many, for fuel in the tank on a slope. [L]

    Raises `InputError` for a place outside the tank or litres that it does not hold.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> misread_l(box, 600, 300, [150], 0.05, 0).round(6)      # 100 mm to the low end
    array([3.])
    """
    solid = solid_of(tank)
    low, high = column(solid, x_mm, y_mm)
    share = _share(tank, solid)
    amounts = np.asarray(litres, dtype=np.float64)
    seen = level_of_litres(
        solid, amounts / share, slope_x=slope_x, slope_y=slope_y, at_x_mm=x_mm, at_y_mm=y_mm
    )
    result: Floats = litres_below(solid, np.clip(seen, low, high)) * share - amounts
    return result


def misread_per_degree(
    tank: Tank, x_mm: float, y_mm: float, level_mm: npt.ArrayLike | None = None
) -> PerDegree:
    """Litres misread for each degree of pitch and of roll, fuel at each level. [L]

    Half the difference of one degree to either side.  Without levels: twenty, evenly up
    the column at the place.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> found = misread_per_degree(box, 600, 300, [250])
    >>> found.pitch_l.round(3), abs(found.roll_l).round(3)
    (array([1.047]), array([0.]))
    """
    low, high = column(solid_of(tank), x_mm, y_mm)
    levels = np.asarray(
        np.linspace(low, high, 22)[1:-1] if level_mm is None else level_mm, dtype=np.float64
    )
    litres = litres_at(tank, levels)
    rise = slope_of(1.0, "pitch_deg")

    def half(slope_x: float, slope_y: float) -> Floats:
        up = misread_l(tank, x_mm, y_mm, litres, slope_x, slope_y)
        down = misread_l(tank, x_mm, y_mm, litres, -slope_x, -slope_y)
        result: Floats = 0.5 * (up - down)
        return result

    return PerDegree(levels, litres, half(rise, 0.0), half(0.0, rise))


@dataclass(frozen=True, eq=False)
class Leaning:
    """A tank at every way to stand and every fill, ready for any number of places."""

    solid: Solid
    share: float
    """Litres of fuel per litre of the solid, less than 1 for ``displaced_l``."""
    ways: Floats
    """Slopes along and across, shape (ways, 2)."""
    litres: Floats
    """Fuel in the tank, shape (fills,). [L]"""
    origin_mm: Floats
    """Level at x = y = 0, shape (ways, fills). [mm]"""
    of_level: Floats
    """Litres standing level at evenly spaced levels from 0 to the top. [L]"""

    def misread_l(self, view: "PlanView") -> Floats:
        """Litres read too many at the places inside; shape (places, ways, fills). [L]"""
        x, y = np.meshgrid(view.x_mm, view.y_mm)
        inside = view.is_inside
        places = np.stack([x[inside], y[inside]], axis=-1)
        seen = self.origin_mm + (places @ self.ways.T)[:, :, None]
        low = view.low_mm[inside][:, None, None]
        high = view.high_mm[inside][:, None, None]
        np.clip(seen, low, high, out=seen)
        seen *= (len(self.of_level) - 1) / self.solid.top_mm
        np.clip(seen, 0.0, len(self.of_level) - 1.0, out=seen)
        below = np.minimum(seen.astype(np.intp), len(self.of_level) - 2)
        seen -= below
        step = np.diff(self.of_level)
        result: Floats = self.of_level[below] + seen * step[below] - self.litres
        return result


def leaning(tank: Tank, slope: Slope) -> Leaning:
    """Lean a tank every way that a slope allows. Kept, so that zones can change quickly.

    The small mesh serves: both sides of the difference use it, and what it adds to a
    misread is far under the millimetre to which a hole is drilled.
    """
    solid = solid_of(tank, fine=False)
    # Kept by the solid: a mesh that was saved again under its name is another tank.
    return _leaning(solid, _share(tank, solid), slope)


@lru_cache(maxsize=16)
def _leaning(solid: Solid, share: float, slope: Slope) -> Leaning:
    amounts = np.asarray(SHARES_FILLED) * solid.volume_l
    origin = np.stack(
        [level_of_litres(solid, amounts, slope_x=sx, slope_y=sy) for sx, sy in slope.ways]
    )
    levels = np.linspace(0.0, solid.top_mm, _KNOTS)
    return Leaning(
        solid,
        share,
        np.asarray(slope.ways),
        amounts * share,
        origin,
        litres_below(solid, levels) * share,
    )


def slope_of_text(text: str, field: str) -> float:
    """Give rise over run from what a person typed: per cent, or degrees with deg or °.

    >>> slope_of_text("5%", "--slope-along"), slope_of_text("2,5", "--slope-along")
    (0.05, 0.025)
    >>> round(slope_of_text("3 deg", "--slope-along"), 4)
    0.0524
    """
    bare = text.strip().lower()
    for unit in ("degrees", "deg", "°", "%"):
        if bare.endswith(unit):
            bare = bare.removesuffix(unit).strip()
            break
    else:
        unit = "%"
    try:
        if not bare.isascii() or "_" in bare:
            raise ValueError
        value = float(bare.replace(",", "."))
    except ValueError:
        raise InputError(
            said("'{text}' is not a slope, wanted for example 5% or 3deg", text=text), field=field
        ) from None
    if unit == "%":
        if not 0 <= value <= 100:
            raise InputError(said("{value:g} % is outside 0 to 100 %", value=value), field=field)
        return value / 100
    if not 0 <= value <= STEEPEST_DEG:
        raise InputError(
            said(
                "{value:g} degrees is outside 0 to {steepest_deg:g}",
                value=value,
                steepest_deg=STEEPEST_DEG,
            ),
            field=field,
        )
    return slope_of(value, field)


def _share(tank: Tank, solid: Solid) -> float:
    return 1 - tank.displaced_l / solid.volume_l
