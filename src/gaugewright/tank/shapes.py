"""From a described tank to its solid: one closed mesh, whatever the shape.

Curved sections are facetted so that their area, and dished ends so that their volume,
is exact; with ``fine`` litres are within 0.001 % of the full volume of the closed form
at every level, without it within 0.02 %.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.arcs import dome
from gaugewright.tank.corners import rounded, rounded_box
from gaugewright.tank.description import Tank, inside
from gaugewright.tank.meshes import changed_at, solid_of_mesh
from gaugewright.tank.prisms import domed, extrude, upright
from gaugewright.tank.solid import Solid
from gaugewright.tank.steps import stepped
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

_STEPS = {True: 64, False: 12}
"""Facets in a quarter of a curved section, fine and coarse."""
_DOMED_STEPS = {True: 40, False: 10}
_RINGS = {True: 24, False: 8}
BETWEEN_MM = 860.0
"""From one tank to the other across the frame of a lorry, for fuel on a side slope.
Common practice, no source. [mm]"""


def solid_of(tank: Tank, *, fine: bool = True) -> Solid:
    """Give the inside of a tank as one closed solid.

    With ``fine=False`` the mesh is small enough for many repeated evaluations (under
    1,500 triangles, meshes from a file excepted), and keeps its triangles when a size
    changes a little, so that litres can be differenced by sizes.

    Raises `InputError` for a mesh that is not a tank and for ``displaced_l`` that is
    not less than the solid holds.

    >>> solid = solid_of(Tank("lying_cylinder", length_mm=1200, diameter_mm=600))
    >>> round(solid.volume_l, 3)
    339.292
    """
    # A mesh that was saved again under its name is another tank.
    changed = changed_at(tank) if tank.shape == "mesh" else None
    return _built(tank, fine, changed)


@lru_cache(maxsize=128)
def _built(tank: Tank, fine: bool, changed: int | None) -> Solid:
    solid = _solid(inside(tank), fine)
    for other in tank.joined:
        solid = beside(solid, solid_of(other, fine=fine))
    if tank.displaced_l >= solid.volume_l:
        raise InputError(
            said(
                "{displaced_l:g} L is not less than the {volume_l:g} L inside the tank",
                displaced_l=tank.displaced_l,
                volume_l=solid.volume_l,
            ),
            field="displaced_l",
        )
    return solid


def beside(first: Solid, other: Solid) -> Solid:
    """Give two solids as one: the other to the right of the first, bottoms level.

    Their surfaces do not touch, so the sum over triangles is the sum of the two.

    >>> cube = solid_of(Tank("box", length_mm=100, width_mm=100, height_mm=100))
    >>> both = beside(cube, cube)
    >>> round(both.volume_l, 9), float(both.vertices[:, 1].max())
    (2.0, 1060.0)
    """
    right = float(first.vertices[:, 1].max()) + BETWEEN_MM
    aside = np.array([0.0, right - float(other.vertices[:, 1].min()), 0.0])
    moved = other.vertices + aside
    return Solid(
        np.concatenate([first.vertices, moved]),
        np.concatenate([first.triangles, other.triangles + len(first.vertices)]),
    )


def _solid(tank: Tank, fine: bool) -> Solid:
    if tank.shape == "upright_cylinder":
        radius = tank.size("diameter_mm") / 2
        return upright(
            rounded_box(2 * radius, 2 * radius, (radius, radius), radius, _STEPS[fine]),
            tank.size("height_mm"),
        )
    if tank.shape == "mesh":
        return solid_of_mesh(tank)
    length = tank.size("length_mm")
    if tank.ends == "dished":
        section = _section(tank, _DOMED_STEPS[fine])
        return domed(section, length, dome(_RINGS[fine]), tank.end_depth_mm)
    section = _section(tank, _STEPS[fine])
    if tank.shape == "stepped":
        return stepped(tank, section)
    return extrude(section, 0.0, length)


def _section(tank: Tank, steps: int) -> Floats:
    """Section of a tank that has the same one along its length, y from 0 and z from 0."""
    if tank.section_mm is not None:
        # Many corners share the facets, so that the mesh stays as small as it is called.
        each = max(2, min(steps, 24 * steps // len(tank.section_mm)))
        corners = rounded(np.asarray(tank.section_mm), tank.corner_radius_mm, each)
        placed: Floats = corners - corners.min(axis=0)
        return placed
    if tank.shape == "lying_cylinder":
        width = height = tank.size("diameter_mm")
    else:
        width, height = tank.size("width_mm"), tank.size("height_mm")
    if tank.shape in ("lying_cylinder", "oval"):
        depths, rise = (width / 2, width / 2), height / 2
    elif tank.shape == "obround":
        rise = min(width, height) / 2
        depths = (rise, rise)
    elif tank.shape == "d_section":
        depths, rise = (0.0, tank.size("round_depth_mm")), height / 2
    else:
        rise = tank.edge_radius_mm
        depths = (rise, rise)
    return rounded_box(width, height, depths, rise, steps)
