"""The dip table of a described tank, and what a slope does to it at the probe."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.app.tank_file import TankFile
from gaugewright.errors import InputError
from gaugewright.probe import column_at
from gaugewright.tank.dimensions import MostProbable, most_probable
from gaugewright.tank.levels import DipTable, dip_table, litres_at, slope_of
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, level_of_litres
from gaugewright.words import said

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Dip:
    """A dip table with what belongs to it."""

    file: TankFile
    solid: Solid
    table: DipTable
    level_litres: Floats
    """Litres at the same levels with the tank standing level. [L]"""
    probable: MostProbable
    """The sizes that the tape and, where given, the plate make most probable."""
    pitch_deg: float
    roll_deg: float
    at_x_mm: float
    at_y_mm: float

    @property
    def full_l(self) -> float:
        """Return what the tank holds, brim-full. [L]"""
        return self.solid.volume_l - self.file.tank.displaced_l

    @property
    def is_sloping(self) -> bool:
        """Tell whether a slope was given."""
        return bool(self.pitch_deg or self.roll_deg)

    @property
    def slope_x(self) -> float:
        """Return the rise of the fuel's surface along the length."""
        return slope_of(self.pitch_deg, "pitch_deg")

    @property
    def slope_y(self) -> float:
        """Return the rise of the fuel's surface across the width."""
        return slope_of(self.roll_deg, "roll_deg")

    @property
    def dead_stock_l(self) -> float | None:
        """Return the litres below the probe's tip, on this slope; ``None`` without a probe. [L]"""
        probe = self.file.probe
        if probe is None:
            return None
        low, high = column_at(self.file.tank, probe)
        tip = low + probe.tip_clearance_mm
        if tip > high:
            raise InputError(
                said(
                    "{tip_clearance_mm:g} mm is above the highest inside point there, {high:g} mm",
                    tip_clearance_mm=probe.tip_clearance_mm,
                    high=high - low,
                ),
                field="probe.tip_clearance_mm",
                file=self.file.name,
            )
        return float(
            litres_at(
                self.file.tank, tip, pitch_deg=self.pitch_deg, roll_deg=self.roll_deg,
                x_mm=probe.x_mm, y_mm=probe.y_mm,
            )
        )  # fmt: skip

    def level_at_half_mm(self) -> float:
        """Return the level at the place when the tank is half full. [mm]"""
        return float(
            level_of_litres(
                self.solid, self.solid.volume_l / 2, slope_x=self.slope_x, slope_y=self.slope_y,
                at_x_mm=self.at_x_mm, at_y_mm=self.at_y_mm,
            )
        )  # fmt: skip


def dip_tank(
    file: TankFile, *, every_mm: float = 10.0, pitch_deg: float = 0.0, roll_deg: float = 0.0
) -> Dip:
    """Return the dip table at the probe's place, or at the tank's middle without a probe.

    Raises `InputError` with the tank file's name, or with the argument that is wrong as its field.
    """
    tank, probe = file.tank, file.probe
    try:
        solid = solid_of(tank)
        if probe is not None:
            column_at(tank, probe)
        probable = most_probable(tank)
    except InputError as error:
        raise error.in_file(file.name) from None
    middle = 0.5 * (solid.vertices.min(axis=0) + solid.vertices.max(axis=0))
    x, y = (middle[0], middle[1]) if probe is None else (probe.x_mm, probe.y_mm)
    table = dip_table(
        tank, every_mm, pitch_deg=pitch_deg, roll_deg=roll_deg, x_mm=float(x), y_mm=float(y)
    )
    standing = litres_at(tank, table.level_mm, x_mm=float(x), y_mm=float(y))
    return Dip(file, solid, table, standing, probable, pitch_deg, roll_deg, float(x), float(y))
