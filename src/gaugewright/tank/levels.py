"""Litres at the levels a person can dip, and what a slope does to them.

Positive pitch: front end up, so the fuel runs to the rear.  Positive roll: left side
up.  The level is measured along the tank's own z axis at a place (x, y), from the
lowest inside point of the tank standing level.
"""

from dataclasses import dataclass
from math import isfinite, radians, tan

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, column, litres_below
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

STEEPEST_DEG = 45.0
MOST_ROWS = 100_000


@dataclass(frozen=True, eq=False)
class DipTable:
    """Levels from the lowest to the highest inside point, and litres. [mm, L]"""

    level_mm: Floats
    litres: Floats


def slope_of(angle_deg: float, field: str) -> float:
    """Give the rise over run of an angle, `InputError` beyond 45 degrees.

    >>> round(slope_of(3.0, "pitch_deg"), 6)
    0.052408
    """
    if not (isfinite(angle_deg) and abs(angle_deg) <= STEEPEST_DEG):
        raise InputError(
            said(
                "{angle_deg:g} degrees is outside -{steepest_deg:g} to {steepest_deg:g}",
                angle_deg=angle_deg,
                steepest_deg=STEEPEST_DEG,
            ),
            field=field,
        )
    return tan(radians(angle_deg))


def litres_at(
    tank: Tank,
    level_mm: npt.ArrayLike,
    *,
    pitch_deg: float = 0.0,
    roll_deg: float = 0.0,
    x_mm: float | None = None,
    y_mm: float | None = None,
    fine: bool = True,
) -> Floats:
    """Litres in a tank at levels seen at a place, by default its middle. [L]

    ``displaced_l`` is taken off in proportion to the share of the tank's volume that is
    filled: nobody says at which height the baffles sit, so they are spread evenly.

    Raises `InputError` for a place outside the tank and for a level below 0 or above
    the highest inside point.  NaN is "no reading" and stays NaN.

    >>> tank = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)
    >>> litres_at(tank, [150, 300]).round(2)
    array([ 66.33, 169.65])
    >>> litres_at(tank, 601)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: level_mm: 601 mm is outside the tank, 0 to 600 mm
    """
    solid = solid_of(tank, fine=fine)
    levels = np.asarray(level_mm, dtype=np.float64)
    outside = (levels < 0) | (levels > solid.top_mm)
    if outside.any():
        raise InputError(
            said(
                "{flat:g} mm is outside the tank, 0 to {top_mm:g} mm",
                flat=levels[outside].flat[0],
                top_mm=solid.top_mm,
            ),
            field="level_mm",
        )
    x, y = _place(solid, x_mm, y_mm)
    litres = litres_below(
        solid,
        levels,
        slope_x=slope_of(pitch_deg, "pitch_deg"),
        slope_y=slope_of(roll_deg, "roll_deg"),
        at_x_mm=x,
        at_y_mm=y,
    )
    return litres * (1 - tank.displaced_l / solid.volume_l)


def dip_table(
    tank: Tank,
    every_mm: float = 10.0,
    *,
    pitch_deg: float = 0.0,
    roll_deg: float = 0.0,
    x_mm: float | None = None,
    y_mm: float | None = None,
) -> DipTable:
    """Tabulate litres every so many mm from the lowest to the highest inside point.

    The last row is the highest inside point itself.  The place is the tank's middle
    unless given.  With a slope the first row may hold fuel, lying in the low end, and
    the last may not be full.  ``displaced_l`` is spread as in `litres_at`.

    >>> table = dip_table(Tank("box", length_mm=1000, width_mm=600, height_mm=500), 200)
    >>> table.level_mm.tolist(), table.litres.round(6).tolist()
    ([0.0, 200.0, 400.0, 500.0], [0.0, 120.0, 240.0, 300.0])
    """
    top = solid_of(tank).top_mm
    if not (isfinite(every_mm) and every_mm > 0):
        raise InputError(
            said("must be above 0 mm, found {every_mm:g}", every_mm=every_mm), field="every_mm"
        )
    if top / every_mm > MOST_ROWS:
        raise InputError(
            said(
                "{every_mm:g} mm would give more than {most_rows} rows",
                every_mm=every_mm,
                most_rows=MOST_ROWS,
            ),
            field="every_mm",
        )
    levels = every_mm * np.arange(int(top / every_mm) + 1, dtype=np.float64)
    # A last step shorter than the numbers are exact is the top itself.
    levels = np.concatenate([levels[levels < top * (1 - 1e-9)], [top]])
    litres = litres_at(tank, levels, pitch_deg=pitch_deg, roll_deg=roll_deg, x_mm=x_mm, y_mm=y_mm)
    return DipTable(levels, litres)


def slope_error_l(
    tank: Tank,
    level_mm: npt.ArrayLike,
    *,
    pitch_deg: float,
    roll_deg: float = 0.0,
    x_mm: float | None = None,
    y_mm: float | None = None,
) -> Floats:
    """Litres that a table for the level tank reads too many at each level, on a slope. [L]

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> slope_error_l(box, 250, pitch_deg=3, x_mm=600).round(2)   # towards the low end
    np.float64(3.14)
    """
    as_if = litres_at(tank, level_mm, x_mm=x_mm, y_mm=y_mm)
    there = litres_at(tank, level_mm, pitch_deg=pitch_deg, roll_deg=roll_deg, x_mm=x_mm, y_mm=y_mm)
    result: Floats = as_if - there
    return result


def _place(solid: Solid, x_mm: float | None, y_mm: float | None) -> tuple[float, float]:
    middle = 0.5 * (solid.vertices.min(axis=0) + solid.vertices.max(axis=0))
    x = float(middle[0]) if x_mm is None else x_mm
    y = float(middle[1]) if y_mm is None else y_mm
    if x_mm is not None or y_mm is not None:
        column(solid, x, y)
    return x, y
