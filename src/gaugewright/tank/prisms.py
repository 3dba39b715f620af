"""Solids from a section: pulled along the length, domed at the ends, or turned.

A section is an array of (y, z) corners, counter-clockwise seen from the rear end
(y to the right, z up).
"""

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.solid import Solid

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
    n = len(section)
    centre = 0.5 * (section.min(axis=0) + section.max(axis=0))
    along, size = rings[:-1].T
    shrunk = centre + size[:, None, None] * (section - centre)
    front = np.concatenate([placed(s, -depth_mm * t) for t, s in zip(along, shrunk, strict=True)])
    rear = np.concatenate(
        [placed(s, length_mm + depth_mm * t) for t, s in zip(along, shrunk, strict=True)]
    )
    poles = np.array([[-depth_mm, *centre], [length_mm + depth_mm, *centre]])
    count = len(along)
    bands = [band(n, 0, count * n)]
    for k in range(count - 1):
        bands.append(band(n, (k + 1) * n, k * n))
        bands.append(band(n, (count + k) * n, (count + k + 1) * n))
    here, after, last = np.arange(n), np.roll(np.arange(n), -1), 2 * count * n
    at_front, at_rear = (count - 1) * n, (2 * count - 1) * n
    bands.append(np.column_stack([after + at_front, here + at_front, np.full(n, last)]))
    bands.append(np.column_stack([here + at_rear, after + at_rear, np.full(n, last + 1)]))
    return Solid(np.concatenate([front, rear, poles]), np.concatenate(bands))


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
    """Cut off one corner after the other that holds no other corner."""
    left = list(range(len(polygon)))
    ears: list[tuple[int, int, int]] = []
    while len(left) > 3:
        for k in range(len(left)):
            corner = left[k - 1], left[k], left[(k + 1) % len(left)]
            if _is_ear(polygon, corner, left):
                ears.append(corner)
                del left[k]
                break
        else:
            raise InputError("the section crosses or touches itself", field="section_mm")
    ears.append((left[0], left[1], left[2]))
    return np.array(ears, dtype=np.intp)


def _is_ear(polygon: Floats, corner: tuple[int, int, int], left: list[int]) -> bool:
    a, b, c = polygon[list(corner)]
    turn = float(_cross(b - a, c - b))
    if turn < 0:
        return False
    others = polygon[[k for k in left if k not in corner]]
    if turn == 0:
        # A corner on a straight line: cutting it off removes nothing.
        return float((b - a) @ (c - b)) > 0
    inside = (
        (_cross(b - a, others - a) >= 0)
        & (_cross(c - b, others - b) >= 0)
        & (_cross(a - c, others - c) >= 0)
    )
    return not bool(inside.any())


def _cross(p: Floats, q: Floats) -> Floats:
    result: Floats = p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]
    return result
