"""What is not known for sure about a tank's sizes, and what the plate says about them."""

from dataclasses import dataclass, replace
from math import sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

PLATE_SHARE = 0.02
"""Standard uncertainty of a rated capacity, as a share of it. Common practice, no source."""
_LEAST_MM = 1e-3
_SCALES = ("scale_x", "scale_y", "scale_z")
_JOINED = "joined_"
"""Before the sizes of a joined tank, with its place."""
_MEASURED = (
    "length_mm",
    "width_mm",
    "height_mm",
    "diameter_mm",
    "round_depth_mm",
    "end_depth_mm",
    "step_length_mm",
    "step_height_mm",
)


def uncertain_dimensions(tank: Tank) -> tuple[tuple[str, float], ...]:
    """Name the sizes that may be wrong, each with its standard uncertainty.

    Sizes and the edge radius are in mm.  A section or a mesh is taken to have the right
    form but perhaps the wrong size: its ``scale_x``, ``scale_y`` and ``scale_z`` are
    relative, ``u_mm`` over the size that way.  Those of joined tanks follow, each as
    ``joined_0.length_mm``.

    >>> uncertain_dimensions(Tank("lying_cylinder", length_mm=1200, diameter_mm=600, u_mm=4))
    (('length_mm', 4.0), ('diameter_mm', 4.0))
    """
    if tank.joined:
        own = uncertain_dimensions(replace(tank, joined=()))
        return own + tuple(
            (f"{_JOINED}{place}.{name}", u)
            for place, other in enumerate(tank.joined)
            for name, u in uncertain_dimensions(other)
        )
    if tank.shape in ("section", "mesh"):
        extent = np.ptp(solid_of(tank, fine=False).vertices, axis=0)
        return tuple((n, float(tank.u_mm / e)) for n, e in zip(_SCALES, extent, strict=True))
    found = [
        (name, float(tank.u_mm))
        for name in _MEASURED
        if getattr(tank, name) is not None and (name != "end_depth_mm" or tank.ends == "dished")
    ]
    if tank.shape in ("box", "stepped"):
        found.append(("edge_radius_mm", float(tank.u_edge_radius_mm)))
    return tuple(found)


def perturbed(tank: Tank, name: str, delta: float) -> Tank:
    """Give the same tank with one uncertain dimension changed by ``delta``.

    ``delta`` is in mm, for a scale relative.  Where geometry leaves no choice a size
    stops at its bound instead of failing, so that differences near it stay usable: the
    edge radius between 0 and half the smaller of width and height (also when it is
    these that shrink), a round depth at the width, a step inside the tank, and no
    depth, step or length below 0.001 mm inside.

    >>> box = Tank("box", length_mm=1000, width_mm=600, height_mm=500, edge_radius_mm=245)
    >>> perturbed(box, "edge_radius_mm", 10).edge_radius_mm
    250.0
    """
    if name.startswith(_JOINED):
        place, _, own = name.removeprefix(_JOINED).partition(".")
        others = list(tank.joined)
        others[int(place)] = perturbed(others[int(place)], own, delta)
        return replace(tank, joined=tuple(others))
    if name in _SCALES:
        return _scaled(tank, _SCALES.index(name), 1.0 + delta)
    if name not in dict(uncertain_dimensions(tank)):
        raise InputError(
            said("a {shape} has no uncertain dimension {name!r}", shape=tank.shape, name=name)
        )
    least = 0.0
    if name != "edge_radius_mm":
        walls = 2 if name in ("length_mm", "width_mm", "height_mm", "diameter_mm") else 1
        least = walls * (tank.wall_mm or 0.0) + _LEAST_MM
    changes: dict[str, Any] = {name: max(getattr(tank, name) + delta, least)}

    def now(field: str) -> Any:
        return changes.get(field, getattr(tank, field))

    if tank.shape in ("box", "stepped"):
        most = min(now("width_mm"), now("height_mm")) / 2
        changes["edge_radius_mm"] = min(now("edge_radius_mm"), most)
    if tank.shape == "d_section":
        changes["round_depth_mm"] = min(now("round_depth_mm"), now("width_mm"))
    if tank.shape == "stepped":
        room = 2 * (tank.wall_mm or 0.0) + _LEAST_MM
        changes["step_length_mm"] = min(now("step_length_mm"), now("length_mm") - room)
        changes["step_height_mm"] = min(now("step_height_mm"), now("height_mm") - room)
    return replace(tank, **changes)


def _scaled(tank: Tank, axis: int, factor: float) -> Tank:
    if tank.shape == "mesh":
        scale = list(tank.mesh_scale)
        scale[axis] *= factor
        return replace(tank, mesh_scale=(scale[0], scale[1], scale[2]))
    if tank.section_mm is None:
        raise InputError(
            said(
                "a {shape} has no uncertain dimension {scales!r}",
                shape=tank.shape,
                scales=_SCALES[axis],
            )
        )
    if axis == 0:
        return replace(tank, length_mm=tank.size("length_mm") * factor)
    by = (factor, 1.0) if axis == 1 else (1.0, factor)
    return replace(tank, section_mm=tuple((y * by[0], z * by[1]) for y, z in tank.section_mm))


@dataclass(frozen=True, eq=False)
class MostProbable:
    """The sizes that tape and plate together make most probable.

    ``shifts`` and ``covariance`` follow the order of ``names``; units as in
    `uncertain_dimensions`.
    """

    tank: Tank
    """The tank with its most probable sizes."""
    names: tuple[str, ...]
    shifts: Floats
    """What was added to each measured size."""
    covariance: Floats
    capacity_l: float
    """Geometric volume of that tank. [L]"""
    u_capacity_l: float
    """Its standard uncertainty. [L]"""
    disagreement: float | None
    """Plate less tape in standard uncertainties of the difference, ``None`` without a plate."""

    @property
    def u(self) -> Floats:
        """Standard uncertainty of each size."""
        result: Floats = np.sqrt(np.diag(self.covariance))
        return result


def most_probable(tank: Tank) -> MostProbable:
    """Weigh the measured sizes against the rated capacity by least squares.

    The plate is ``usable_fraction`` of the geometric volume with a standard uncertainty
    of 2 %; the sizes are good to ``u_mm`` and ``u_edge_radius_mm``.  Gauss-Newton
    steps, because the volume is a product of the sizes.  Without a rated capacity the
    sizes stay as measured.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500, rated_capacity_l=300)
    >>> found = most_probable(tank)
    >>> round(found.capacity_l, 1), round(found.u_capacity_l, 1)     # tape 300 L, plate 316 L
    (304.9, 3.5)
    """
    dimensions = [(name, u) for name, u in uncertain_dimensions(tank) if u > 0]
    names = tuple(name for name, _ in dimensions)
    prior = np.array([u for _, u in dimensions])
    shifts = np.zeros(len(names))
    if tank.rated_capacity_l is None:
        volume, slope = _volume(tank, names, shifts), _gradient(tank, names, prior, shifts)
        u_volume = sqrt(float(((slope * prior) ** 2).sum()))
        return MostProbable(tank, names, shifts, np.diag(prior**2), volume, u_volume, None)
    plate = tank.rated_capacity_l / tank.usable_fraction
    u_plate = PLATE_SHARE * plate
    disagreement = None
    for _ in range(50):
        volume = _volume(tank, names, shifts)
        slope = _gradient(tank, names, prior, shifts)
        spread = float(((slope * prior) ** 2).sum()) + u_plate**2
        if disagreement is None:
            disagreement = (plate - volume) / sqrt(spread)
        gain = prior**2 * slope / spread
        step = gain * (plate - volume + float(slope @ shifts)) - shifts
        shifts = shifts + step
        if (np.abs(step) <= 1e-9 * prior).all():
            break
    else:
        raise InputError(
            said(
                "{rated_capacity_l:g} L cannot be reconciled with the sizes",
                rated_capacity_l=tank.rated_capacity_l,
            ),
            field="rated_capacity_l",
        )
    covariance = np.diag(prior**2) - np.outer(gain, slope * prior**2)
    return MostProbable(
        tank=_changed(tank, names, shifts),
        names=names,
        shifts=shifts,
        covariance=covariance,
        capacity_l=_volume(tank, names, shifts),
        u_capacity_l=sqrt(float(slope @ covariance @ slope)),
        disagreement=disagreement,
    )


def _changed(tank: Tank, names: tuple[str, ...], shifts: Floats) -> Tank:
    for name, shift in zip(names, shifts, strict=True):
        tank = perturbed(tank, name, float(shift))
    return tank


def _volume(tank: Tank, names: tuple[str, ...], shifts: Floats) -> float:
    return solid_of(_changed(tank, names, shifts), fine=False).volume_l


def _gradient(tank: Tank, names: tuple[str, ...], prior: Floats, shifts: Floats) -> Floats:
    """Litres per unit of each dimension, by central differences a tenth of its u wide."""
    slope = np.empty(len(names))
    for k, name in enumerate(names):
        step = np.zeros(len(names))
        # A volume has 16 digits: much smaller steps would lose them, larger ones the slope.
        least, most = (1e-5, 0.1) if name in _SCALES else (1e-2, 10.0)
        step[k] = min(max(0.1 * prior[k], least), most)
        up, down = _volume(tank, names, shifts + step), _volume(tank, names, shifts - step)
        slope[k] = (up - down) / (2 * step[k])
    return slope
