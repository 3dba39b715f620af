"""Solids from a section: pulled along the length, domed at the ends, or turned.

A section is an array of (y, z) corners, counter-clockwise seen from the rear end
(y to the right, z up).
"""

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.arcs import arc
from gaugewright.tank.solid import Solid
from gaugewright.words import said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


def extrude(section: Floats, start_mm: float, stop_mm: float) -> Solid:
    """Pull a section along the length from ``start_mm`` to ``stop_mm``, flat ends.

    >>> round(extrude(np.array([[0, 0], [300, 0], [0, 200.0]]), 0, 1000).volume_l, 9)
    30.0
    """
    n = len(section)
    cap = fill(section)
    rings = np.concatenate([placed(section, start_mm), placed(section, stop_mm)])
    return Solid(rings, np.concatenate([cap[:, ::-1], band(n, 0, n), cap + n]))


def placed(section: Floats, x_mm: float) -> Floats:
    """Corners of a section at one place along the length, shape (n, 3)."""
    return np.column_stack([np.full(len(section), x_mm), section])


def band(n: int, first: int, second: int) -> Ints:
    """Triangles between two rings of n corners; the second lies towards the rear."""
    here = np.arange(n)
    after = np.roll(here, -1)
    return np.concatenate(
        [
            np.column_stack([here + first, after + first, after + second]),
            np.column_stack([here + first, after + second, here + second]),
        ]
    )


def domed(section: Floats, length_mm: float, rings: Floats, depth_mm: float) -> Solid:
    """Pull a section along the length and close both ends with ellipsoidal domes.

    ``rings`` come from `gaugewright.tank.arcs.dome`.  The domes lie before x = 0 and
    beyond ``length_mm``: x counts along the straight part.
    """
    along, size = rings.T
    front, rear = -depth_mm * along[::-1], length_mm + depth_mm * along
    return lofted(section, np.concatenate([front, rear]), np.concatenate([size[::-1], size]))


def lofted(section: Floats, x_mm: Floats, size: Floats) -> Solid:
    """Join copies of a section, shrunk about its middle to ``size``, set at ``x_mm``.

    Size 0 at the first or the last place makes a point there, otherwise the end is
    flat.  Outside looks away from the axis as x goes on; x may turn back where a
    surface does.
    """
    n = len(section)
    centre = 0.5 * (section.min(axis=0) + section.max(axis=0))
    pointed_first, pointed_last = size[0] == 0, size[-1] == 0
    whole = slice(int(pointed_first), len(size) - int(pointed_last))
    x, scale = x_mm[whole], size[whole]
    if (scale <= 0).any():
        raise InputError(said("a section between the ends must not shrink to nothing"))
    corners = centre + scale[:, None, None] * (section - centre)
    rings = [placed(c, float(at)) for at, c in zip(x, corners, strict=True)]
    poles = np.array([[x_mm[0], *centre], [x_mm[-1], *centre]])
    here, after = np.arange(n), np.roll(np.arange(n), -1)
    cap, rear = fill(section), (len(rings) - 1) * n
    front_pole = len(rings) * n
    rear_pole = front_pole + int(pointed_first)
    bands = [band(n, k * n, (k + 1) * n) for k in range(len(rings) - 1)]
    if pointed_first:
        bands.append(np.column_stack([after, here, np.full(n, front_pole)]))
    else:
        bands.append(cap[:, ::-1])
    if pointed_last:
        bands.append(np.column_stack([here + rear, after + rear, np.full(n, rear_pole)]))
    else:
        bands.append(cap + rear)
    used = poles[[k for k, pointed in enumerate((pointed_first, pointed_last)) if pointed]]
    return Solid(np.concatenate([*rings, used]), np.concatenate(bands))


def solid_of_revolution(
    along_mm: Floats, radius_mm: Floats, *, steps: int = 64, is_upright: bool = False
) -> Solid:
    """Turn a profile about an axis, lying along x or, with ``is_upright``, standing.

    The profile runs from one end to the other, straight between its points; radius 0 at
    an end makes a point there.  ``steps`` facets make a quarter of the round, with the
    exact area.

    >>> cone = solid_of_revolution(np.array([0, 300.0]), np.array([100, 0.0]), is_upright=True)
    >>> round(cone.volume_l / np.pi, 9)
    1.0
    """
    quarter = arc(np.pi / 2, steps)[:-1]
    turns = [quarter]
    for _ in range(3):
        turns.append(np.column_stack([-turns[-1][:, 1], turns[-1][:, 0]]))
    widest = float(radius_mm.max())
    circle = widest * (np.concatenate(turns) + 1)
    solid = lofted(circle, along_mm, radius_mm / widest)
    if not is_upright:
        return solid
    return Solid(solid.vertices[:, [1, 2, 0]], solid.triangles)


def upright(section: Floats, height_mm: float) -> Solid:
    """Stand a section, here (x, y) counter-clockwise seen from above, up to a height.

    >>> round(upright(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 50).volume_l, 9)
    0.5
    """
    n = len(section)
    floor = np.column_stack([section, np.zeros(n)])
    roof = np.column_stack([section, np.full(n, height_mm)])
    cap = fill(section)
    return Solid(
        np.concatenate([floor, roof]), np.concatenate([cap[:, ::-1], band(n, 0, n), cap + n])
    )


def fill(polygon: Floats) -> Ints:
    """Triangles that fill a simple counter-clockwise polygon, shape (n - 2, 3).

    >>> fill(np.array([[0, 0], [2, 0], [2, 2], [1, 0.5]])).tolist()
    [[3, 0, 1], [1, 2, 3]]
    """
    n = len(polygon)
    edge = np.roll(polygon, -1, axis=0) - polygon
    turn = _cross(edge, np.roll(edge, -1, axis=0))
    if (turn >= -1e-12 * np.abs(turn).max()).all():
        k = np.arange(1, n - 1)
        return np.column_stack([np.zeros(n - 2, dtype=np.intp), k, k + 1])
    return _clip_ears(polygon)


def _clip_ears(polygon: Floats) -> Ints:
    """Cut off one corner after the other that holds no hollow corner."""
    points: list[tuple[float, float]] = [(float(y), float(z)) for y, z in polygon]
    left = list(range(len(points)))
    hollow = [k for k in left if _turn(points[k - 1], points[k], points[(k + 1) % len(left)]) < 0]
    ears: list[tuple[int, int, int]] = []
    while len(left) > 3:
        for k in range(len(left)):
            corner = left[k - 1], left[k], left[(k + 1) % len(left)]
            if _is_ear(points, corner, hollow):
                break
        else:
            raise InputError(said("the section crosses or touches itself"), field="section_mm")
        ears.append(corner)
        hollow = [other for other in hollow if other != corner[1]]
        del left[k]
    ears.append((left[0], left[1], left[2]))
    return np.array(ears, dtype=np.intp)


def _is_ear(
    points: list[tuple[float, float]], corner: tuple[int, int, int], hollow: list[int]
) -> bool:
    a, b, c = (points[k] for k in corner)
    turn = _turn(a, b, c)
    if turn <= 0:
        # A corner on a straight line may go: cutting it off removes nothing.
        return turn == 0 and (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]) > 0
    return not any(
        _turn(a, b, points[k]) >= 0 and _turn(b, c, points[k]) >= 0 and _turn(c, a, points[k]) >= 0
        for k in hollow
        if k not in corner
    )


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Twice the area of a triangle, positive if it turns left."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _cross(p: Floats, q: Floats) -> Floats:
    result: Floats = p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]
    return result
