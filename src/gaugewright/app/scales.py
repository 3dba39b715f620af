"""From counts to litres for a live reading: by the table, else by the described tank."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.errors import GaugewrightError, InputError
from gaugewright.journal.state import JobState, TankState
from gaugewright.probe import Probe, column_at, probe_from_mapping
from gaugewright.tank.description import Tank, joined_tanks, tank_from_mapping
from gaugewright.tank.levels import litres_at
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.unknown_shape import is_unknown_shape, unknown_shape_from_mapping
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

POINTS = 101
"""Levels at which a described tank is tabulated."""


@dataclass(frozen=True, eq=False)
class Scale:
    """Litres at counts, and where that comes from."""

    counts: Floats
    litres: Floats
    u95_litres: Floats | None
    comes_from: str
    """``table`` or ``description``."""

    def at(self, counts: float) -> tuple[float, float | None, float] | None:
        """Return litres, their band and litres per count; ``None`` outside. [L]"""
        if not self.counts[0] <= counts <= self.counts[-1]:
            return None
        here = float(np.interp(counts, self.counts, self.litres))
        reach = max(float(self.counts[-1] - self.counts[0]) / 100, 1e-9)
        ends = np.interp([counts - reach, counts + reach], self.counts, self.litres)
        width = min(counts + reach, self.counts[-1]) - max(counts - reach, self.counts[0])
        band = None
        if self.u95_litres is not None:
            band = float(np.interp(counts, self.counts, self.u95_litres))
        return here, band, float(ends[1] - ends[0]) / float(width)


@dataclass(frozen=True, eq=False)
class Shape:
    """What a described tank comes to: its litres by level, seen at the probe."""

    capacity_l: float
    lowest_mm: float
    highest_mm: float
    """Lowest and highest inside point at the probe, or of the tank without one."""
    level_mm: Floats
    litres: Floats


def described(tank: TankState) -> tuple[Tank | None, Probe | None]:
    """Return the tank and the probe as described, ``None`` where nothing was.

    Linked tanks are one tank of several solids, where each of them is described and one of
    them has the probe; else they have no shape.
    Raises `InputError` if what stands in the journal describes no tank.
    """
    if tank.members:
        return _linked(tank)
    if tank.described is None:
        return None, None
    return described_of(tank.described.event.tank, tank.described.event.probe)


def _linked(link: TankState) -> tuple[Tank | None, Probe | None]:
    found = [described_of(kept.event.tank, kept.event.probe) for kept in link.joined]
    first = next((k for k, (_, probe) in enumerate(found) if probe is not None), None)
    if first is None:
        return None, None
    own, probe = found[first]
    others = tuple(body for body, _ in found[:first] + found[first + 1 :] if body is not None)
    if own is None or len(others) != len(link.members) - 1:
        return None, probe
    return joined_tanks(own, others), probe


def described_of(
    tank: Mapping[str, Any], probe: Mapping[str, Any]
) -> tuple[Tank | None, Probe | None]:
    """Return the tank and the probe that fields of a tank file describe."""
    try:
        return tank_of(tank), probe_from_mapping(dict(probe)) if probe else None
    except OverflowError:  # a whole number of hundreds of digits
        raise InputError(said("a number in it is too large")) from None


def tank_of(mapping: Mapping[str, Any]) -> Tank | None:
    """Return the tank of a tank file's fields, ``None`` if there are none or no shape is known.

    Raises `InputError` for a mesh: a name of a file from outside is never opened.
    """
    if not mapping:
        return None
    if "mesh_file" in mapping or mapping.get("shape") == "mesh":
        raise InputError(
            said("a mesh cannot be opened here; give the cross-section as corners"),
            field="mesh_file",
        )
    if is_unknown_shape(mapping):
        unknown_shape_from_mapping(mapping)
        return None
    return tank_from_mapping(mapping)


@lru_cache(maxsize=32)
def shape_of(tank: Tank, probe: Probe | None) -> Shape:
    """Return what a tank comes to.  Raises `InputError` if it cannot be built."""
    solid = solid_of(tank)
    at: tuple[float | None, float | None]
    if probe is None:
        lowest, highest = float(solid.vertices[:, 2].min()), float(solid.vertices[:, 2].max())
        at = (None, None)
    else:
        lowest, highest = column_at(tank, probe)
        at = (probe.x_mm, probe.y_mm)
    levels = np.linspace(lowest, highest, POINTS)
    litres = litres_at(tank, levels, x_mm=at[0], y_mm=at[1])
    return Shape(solid.volume_l - tank.displaced_l, lowest, highest, levels, litres)


def dead_stock_l(tank: Tank, probe: Probe) -> float:
    """Return the fuel below the probe's tip. [L]"""
    shape = shape_of(tank, probe)
    tip_mm = min(shape.lowest_mm + probe.tip_clearance_mm, shape.highest_mm)
    return float(np.interp(tip_mm, shape.level_mm, shape.litres))


def over_top_mm(tank: Tank, probe: Probe) -> float:
    """Return how far the probe's active length reaches above the inside of the tank. [mm]

    >>> box = Tank("box", length_mm=900, width_mm=600, height_mm=500)
    >>> over_top_mm(box, Probe(x_mm=450, y_mm=300, tip_clearance_mm=20, active_length_mm=4600))
    4120.0
    """
    lowest, highest = column_at(tank, probe)
    return max(0.0, probe.tip_clearance_mm + probe.active_length_mm - (highest - lowest))


def scale_of(tank: TankState) -> Scale | None:
    """Return how a tank's counts read in litres, ``None`` if nothing is known."""
    made = tank.table
    if made is not None:
        rows = made.event.rows
        band = [row.u_litres for row in rows]
        return Scale(
            np.array([row.counts for row in rows]),
            np.array([row.litres for row in rows]),
            None if None in band else np.array(band, dtype=np.float64),
            "table",
        )
    try:
        body, probe = described(tank)
        if body is None or probe is None:
            return None
        shape = shape_of(body, probe)
    except GaugewrightError:
        return None  # said at the tank itself, see `TankPicture.problem`
    counts = probe.counts_of(shape.level_mm - shape.lowest_mm - probe.tip_clearance_mm)
    low, high = sorted((probe.counts_empty, probe.counts_full))
    inside = (counts >= low) & (counts <= high)
    if inside.sum() < 2:
        return None
    order = np.argsort(counts[inside])
    return Scale(counts[inside][order], shape.litres[inside][order], None, "description")


def scales_of(state: JobState) -> dict[str, Scale]:
    """Return the scale of every tank of a job that has one."""
    found = {tank_id: scale_of(tank) for tank_id, tank in state.tanks.items()}
    return {tank_id: scale for tank_id, scale in found.items() if scale is not None}
