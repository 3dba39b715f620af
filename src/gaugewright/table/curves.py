"""What a described tank says about litres at each level, and what it leaves open.

Everything is tabulated on one grid of wetted lengths (heights above the probe's
tip, negative below it).  Each thing that is not known exactly is one column: the
change of litres along the grid for one standard uncertainty of it.  Columns are
differences of the one volume kernel; there is no second model.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import radians, tan

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.departure import departure_basis
from gaugewright.tank.description import Tank
from gaugewright.tank.dimensions import perturbed, uncertain_dimensions
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, column, litres_below
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

BELOW, ABOVE = 16, 64
"""Grid points below the tip and above it."""
LEAST_SEEN_MM = 1.0
"""Depth of tank above the tip without which there is nothing to measure. [mm]"""
LEAST_BELOW_MM = 0.01
"""A tip closer to the bottom than this stands on it. [mm]"""


@dataclass(frozen=True, eq=False)
class Column:
    """One unknown: its effect on litres for one standard uncertainty."""

    name: str
    group: str
    effect_l: Floats
    """Along the grid, shape (g,). [L]"""
    total_l: float = 0.0
    """Its effect on the volume of the full tank. [L]"""


@dataclass(frozen=True, slots=True)
class Stretch:
    """By what factor all of a description is taken to be off."""

    kind: str
    """``span``: the length that stands for the probe's full scale; ``size``: the tank's litres."""
    factor: float


@dataclass(frozen=True, eq=False)
class Curves:
    """A tank and a probe as curves over the grid."""

    wetted_mm: Floats
    litres: Floats
    """In the tank standing level, shape (g,). [L]"""
    per_mm_l: Floats
    """Slope of ``litres``. [L/mm]"""
    columns: tuple[Column, ...]
    capacity_l: float
    probe: Probe
    top_mm: float
    """Wetted length at which the tank or the probe ends. [mm]"""
    described: "Described | None"
    """The tank behind the curves, or ``None`` where nothing was described."""
    stretch: Stretch | None = None

    @cached_property
    def effects(self) -> Floats:
        """All columns together, shape (columns, g). [L]"""
        return np.array([column.effect_l for column in self.columns])

    @property
    def counts(self) -> Floats:
        """The grid as counts, unclipped."""
        return self.probe.counts_of(self.wetted_mm)

    @property
    def tip_index(self) -> int:
        """Where the tip stands on the grid."""
        return int(np.searchsorted(self.wetted_mm, -1e-9))


@dataclass(frozen=True, eq=False)
class Described:
    """The solid behind the curves, to ask it about slopes."""

    tank: Tank
    solid: Solid
    probe: Probe
    tip_mm: float
    """Height of the tip above the tank's lowest inside point. [mm]"""
    share: float
    """Litres that stay, as a share of the bare solid: what inner parts displace is off."""

    def litres_on_slope(self, wetted_mm: Floats, pitch_deg: float, roll_deg: float) -> Floats:
        """Litres when the probe is wet so far and the vehicle stands on a slope. [L]"""
        below: Floats = litres_below(
            self.solid,
            wetted_mm + self.tip_mm,
            slope_x=tan(radians(pitch_deg)),
            slope_y=tan(radians(roll_deg)),
            at_x_mm=self.probe.x_mm,
            at_y_mm=self.probe.y_mm,
        )
        return below * self.share


@lru_cache(maxsize=64)
def curves_of(tank: Tank, probe: Probe, assumed: Assumptions) -> Curves:
    """Return the curves of a described tank.

    Raises `InputError` if the probe stands outside the tank or its tip is above
    the tank's top.
    """
    solid = solid_of(tank, fine=False)
    try:
        bottom_mm, top_mm = column(solid, probe.x_mm, probe.y_mm)
    except InputError as error:
        raise InputError(error.problem, field=error.field or "probe.x_mm, probe.y_mm") from None
    tip_mm = bottom_mm + probe.tip_clearance_mm
    if tip_mm > top_mm - LEAST_SEEN_MM:
        raise InputError(
            said(
                "the tip would stand {tip_clearance_mm:g} mm above the bottom, but the "
                "tank is only {top_mm:g} mm deep there",
                tip_clearance_mm=probe.tip_clearance_mm,
                top_mm=top_mm - bottom_mm,
            ),
            field="probe.tip_clearance_mm",
        )
    share = 1.0 - tank.displaced_l / solid.volume_l
    described = Described(tank, solid, probe, tip_mm, share)
    reach_mm = min(probe.active_length_mm, top_mm - tip_mm)
    # A probe that stands on the very bottom has nothing below its tip.
    below = BELOW if tip_mm > LEAST_BELOW_MM else 0
    wetted = np.concatenate(
        [np.linspace(-tip_mm, 0.0, below, endpoint=False), np.linspace(0.0, reach_mm, ABOVE)]
    )
    litres = described.litres_on_slope(wetted, 0.0, 0.0)
    per_mm = np.gradient(litres, wetted)
    capacity = solid.volume_l * share
    columns = [
        *_dimension_columns(described, wetted, litres),
        *_height_columns(described, wetted, assumed),
        *general_columns(wetted, litres, per_mm, capacity, reach_mm, assumed),
    ]
    return Curves(wetted, litres, per_mm, tuple(columns), capacity, probe, reach_mm, described)


def _dimension_columns(described: Described, wetted: Floats, litres: Floats) -> list[Column]:
    """One column for each uncertain dimension, by central differences."""
    columns = []
    tank, probe = described.tank, described.probe
    for name, u in uncertain_dimensions(tank):
        sides = []
        for sign in (1.0, -1.0):
            solid = solid_of(perturbed(tank, name, sign * u), fine=False)
            levels = wetted + described.tip_mm
            sides.append(
                (litres_below(solid, levels, at_x_mm=probe.x_mm, at_y_mm=probe.y_mm), solid)
            )
        (up, solid_up), (down, solid_down) = sides
        effect = 0.5 * (up - down) * described.share
        total = 0.5 * (solid_up.volume_l - solid_down.volume_l) * described.share
        columns.append(Column(name, "dimensions", effect, total))
    return columns


def _height_columns(described: Described, wetted: Floats, assumed: Assumptions) -> list[Column]:
    """One column for each joined tank: it may stand a little higher or lower than the first."""
    levels = wetted + described.tip_mm
    columns = []
    for place, other in enumerate(described.tank.joined):
        litres = litres_below(solid_of(other, fine=False), levels) * described.share
        effect = -np.gradient(litres, wetted) * assumed.u_joined_mm
        columns.append(Column(f"joined_{place}_height", "dimensions", effect))
    return columns


def general_columns(
    wetted: Floats,
    litres: Floats,
    per_mm: Floats,
    capacity_l: float,
    reach_mm: float,
    assumed: Assumptions,
) -> list[Column]:
    """Columns that every tank has: tip, scale, inner parts, departure of the walls."""
    inside = np.clip(wetted / reach_mm, 0.0, 1.0)
    columns = [
        Column("tip", "tip", per_mm * assumed.u_tip_mm),
        Column("sump", "sump", np.full_like(wetted, assumed.u_sump * capacity_l), 0.0),
        Column("inner_parts", "departure", -litres * assumed.u_inner_parts),
    ]
    for order in (1, 2):
        bow_mm = assumed.u_scale * reach_mm * np.sin(order * np.pi * inside) / order
        columns.append(Column(f"scale_{order}", "scale", per_mm * bow_mm))
    for name, reach, u in (
        ("side", assumed.side_reach, assumed.u_side),
        ("local", assumed.local_reach, assumed.u_local),
    ):
        for i, effect in enumerate(departure_basis(wetted, per_mm, reach)):
            columns.append(Column(f"{name}_{i}", "departure", u * effect))
    return columns
