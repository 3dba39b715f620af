"""A closed solid of triangles, and the litres below any plane through it.

Lengths are mm, volumes litres.  Every tank shape becomes one such solid, so there is
one way from level to litres, whatever the shape and however the vehicle leans.

Tilting the plane is the same as shearing the solid: the height
``w = z - slope_x * (x - at_x) - slope_y * (y - at_y)`` keeps volumes, and the plane
becomes ``w = level``.  By the divergence theorem the volume below it is the sum over
triangles of ``-a * mean((level - w)+)`` with ``a`` the triangle's area seen from above,
signed positive where its outside looks up.  The mean over a triangle of a function of
height alone is a divided difference over its three corner heights (Hermite-Genocchi):
a cubic up to the middle corner, another one up to the highest, a straight line above.
"""

from dataclasses import dataclass, field
from functools import lru_cache
from math import isfinite

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.roots import rising_root
from gaugewright.words import said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

LITRES_PER_MM3 = 1e-6

_SHORTEST_MM = 1e-12
"""A height range below the spacing of the numbers themselves holds no level."""
_LONG_SHARE = 1 / 64
"""Height ranges above this share of the solid are summed as polynomials; see `_long`."""
_MANY_LEVELS = 8


@dataclass(frozen=True, eq=False)
class Solid:
    """A closed surface of triangles, corners counter-clockwise seen from outside.

    The lowest corner has z = 0.  Solids compare by identity: two equal meshes are
    still two solids.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> round(cube.volume_l, 12), cube.top_mm
    (1.0, 100.0)
    """

    vertices: Floats
    """Corners, shape (n, 3): x along the length, y across, z up. [mm]"""
    triangles: Ints
    """Corner numbers, shape (m, 3)."""
    volume_l: float = field(init=False)
    """What the solid holds, brim-full. [L]"""
    top_mm: float = field(init=False)
    """Height of the highest corner; the lowest is at 0. [mm]"""

    def __post_init__(self) -> None:
        """Fix the arrays and take the volume."""
        vertices = np.asarray(self.vertices, dtype=np.float64)
        triangles = np.asarray(self.triangles, dtype=np.intp)
        if vertices.ndim != 2 or vertices.shape[1] != 3 or not np.isfinite(vertices).all():
            raise InputError(said("a solid needs finite corners with x, y and z"))
        if triangles.ndim != 2 or triangles.shape[1] != 3 or len(triangles) < 4:
            raise InputError(
                said("a solid needs at least 4 triangles, found {number}", number=len(triangles))
            )
        vertices = vertices - [0.0, 0.0, vertices[:, 2].min()]
        a, b, c = (vertices[triangles[:, k]] - vertices.mean(axis=0) for k in range(3))
        volume_mm3 = float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6
        if volume_mm3 <= 0:
            raise InputError(
                said("the triangles of a solid must look outwards and enclose a volume")
            )
        vertices.setflags(write=False)
        triangles.setflags(write=False)
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "triangles", triangles)
        object.__setattr__(self, "volume_l", volume_mm3 * LITRES_PER_MM3)
        object.__setattr__(self, "top_mm", float(vertices[:, 2].max()))


@dataclass(frozen=True, eq=False, slots=True)
class _Sheared:
    """What a solid at one tilt needs for any number of levels.

    Heights are above the lowest corner of the sheared solid, areas and coefficients
    are scaled so that sums are litres.
    """

    lowest: float
    height: float
    middle: Floats  # middle corner heights, rising
    area_sum: Floats  # running sums over triangles in that order: of a ...
    moment_sum: Floats  # ... and of a times the mean height
    start: Floats  # each cubic piece: from here ...
    stop: Floats  # ... to here, litres += factor * (level - origin)**3
    origin: Floats
    factor: Floats
    is_long: npt.NDArray[np.bool_]


def litres_below(
    solid: Solid,
    level_mm: npt.ArrayLike,
    *,
    slope_x: float = 0.0,
    slope_y: float = 0.0,
    at_x_mm: float = 0.0,
    at_y_mm: float = 0.0,
) -> Floats:
    """Litres below the plane ``z = level + slope_x (x - at_x) + slope_y (y - at_y)``. [L]

    ``level_mm`` may have any shape and is measured along the tank's own z axis at the
    place (``at_x_mm``, ``at_y_mm``), not along the plumb line: the two differ by the
    cosine of the tilt.  A plane that passes below the solid leaves nothing, one that
    passes above it everything; whether such a level can be is for the caller to say.
    NaN is "no reading" and stays NaN.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> litres_below(cube, [0, 25, 50, 100]).round(12)
    array([0.  , 0.25, 0.5 , 1.  ])
    >>> litres_below(cube, 0, slope_x=0.1).round(12)      # a wedge 10 mm high at the rear
    np.float64(0.05)
    """
    sheared = _sheared(solid, _slope("slope_x", slope_x), _slope("slope_y", slope_y))
    levels = np.asarray(level_mm, dtype=np.float64)
    above = levels.ravel() - (slope_x * at_x_mm + slope_y * at_y_mm + sheared.lowest)
    order = np.argsort(above, kind="stable")
    rising = np.clip(above[order], 0.0, sheared.height)
    litres = np.empty_like(above)
    litres[order] = _litres_of_rising(sheared, rising)
    litres[above >= sheared.height] = solid.volume_l
    litres[above <= 0] = 0.0
    result: Floats = litres.reshape(levels.shape)[()]
    return result


def level_range(
    solid: Solid,
    *,
    slope_x: float = 0.0,
    slope_y: float = 0.0,
    at_x_mm: float = 0.0,
    at_y_mm: float = 0.0,
) -> tuple[float, float]:
    """Give the levels at which the solid is just empty and just full. [mm]

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> level_range(cube, slope_x=0.1)
    (-10.0, 100.0)
    """
    sheared = _sheared(solid, _slope("slope_x", slope_x), _slope("slope_y", slope_y))
    lowest = sheared.lowest + slope_x * at_x_mm + slope_y * at_y_mm
    return lowest, lowest + sheared.height


def level_of_litres(
    solid: Solid,
    litres: npt.ArrayLike,
    *,
    slope_x: float = 0.0,
    slope_y: float = 0.0,
    at_x_mm: float = 0.0,
    at_y_mm: float = 0.0,
) -> Floats:
    """Level at which the solid holds ``litres``, the inverse of `litres_below`. [mm]

    The level is found to the last few digits; 0 L gives the level at which the solid
    is just empty, the full volume the one at which it is just full.  NaN stays NaN.

    Raises `InputError` for litres below 0 or above what the solid holds.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> level_of_litres(cube, [0.25, 0.05], slope_x=0.1).round(9)
    array([20.,  0.])
    >>> level_of_litres(cube, 1.5)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: 1.5 L is outside what the tank holds, 0 to 1 L
    """
    wanted = np.asarray(litres, dtype=np.float64)
    outside = (wanted < 0) | (wanted > solid.volume_l)
    if outside.any():
        raise InputError(
            said(
                "{flat:g} L is outside what the tank holds, 0 to {volume_l:g} L",
                flat=wanted[outside].flat[0],
                volume_l=solid.volume_l,
            )
        )
    sheared = _sheared(solid, _slope("slope_x", slope_x), _slope("slope_y", slope_y))
    above = _invert(sheared, solid.volume_l, wanted.ravel())
    shift = slope_x * at_x_mm + slope_y * at_y_mm + sheared.lowest
    result: Floats = (above + shift).reshape(wanted.shape)[()]
    return result


def column(solid: Solid, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Give the lowest and the highest inside point above a place. [mm]

    Raises `InputError` if nothing of the tank is above or below the place.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> column(cube, 50, 0)
    (0.0, 100.0)
    >>> column(cube, 50, 101)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: x 50 mm, y 101 mm is outside the tank,
    which reaches from x 0 to 100 mm and y 0 to 100 mm
    """
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    size = float((high - low).max())
    place = np.array([x_mm, y_mm])
    beyond = np.maximum(low[:2] - place, place - high[:2]).max()
    # Far away, corners less the place all round to one point: nothing is left to weigh.
    if beyond > 1e-6 * size:
        raise _outside(x_mm, y_mm, low, high)
    area = _seen_from_above(solid)
    seen = solid.vertices[solid.triangles[np.abs(area) > 1e-12 * size**2]]
    a, b, c = (seen[:, k, :2] - place for k in range(3))
    # Weight of the place at each corner; a hair outside counts as inside, because
    # a place on an edge must belong to at least one of the two triangles there.
    weights = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)]) / _cross(b - a, c - a)
    inside = (weights >= -1e-9).all(axis=0)
    if not inside.any():
        raise _outside(x_mm, y_mm, low, high)
    heights = (weights[:, inside] * seen[inside, :, 2].T).sum(axis=0)
    return float(heights.min()), float(heights.max())


def _outside(x_mm: float, y_mm: float, low: Floats, high: Floats) -> InputError:
    """Say that a place is not over the tank, and where the tank is."""
    return InputError(
        said(
            "x {x_mm:g} mm, y {y_mm:g} mm is outside the tank, which reaches from x "
            "{low:g} to {high:g} mm and y {low_2:g} to {high_2:g} mm",
            x_mm=x_mm,
            y_mm=y_mm,
            low=low[0],
            high=high[0],
            low_2=low[1],
            high_2=high[1],
        )
    )


def _cross(p: Floats, q: Floats) -> Floats:
    result: Floats = p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]
    return result


def _seen_from_above(solid: Solid) -> Floats:
    """Signed area of each triangle's shadow, positive where the outside looks up. [mm²]"""
    a, b, c = (solid.vertices[solid.triangles[:, k]] for k in range(3))
    return 0.5 * _cross(b - a, c - a)


def _slope(name: str, value: float) -> float:
    if not isfinite(value):
        raise InputError(
            said("a slope must be a finite number, found {value}", value=value), field=name
        )
    return float(value)


@lru_cache(maxsize=64)
def _shadows(solid: Solid) -> tuple[Floats, Ints]:
    """Signed shadows, in litres per mm, and corner numbers, shape (3, m), of the triangles.

    Shearing along z leaves shadows as they are.  A triangle seen edge-on bounds nothing
    from above or below and is left out.
    """
    area = _seen_from_above(solid)
    seen = np.flatnonzero(area)
    return area[seen] * LITRES_PER_MM3, np.ascontiguousarray(solid.triangles[seen].T)


@lru_cache(maxsize=64)
def _sheared(solid: Solid, slope_x: float, slope_y: float) -> _Sheared:
    x, y, z = solid.vertices.T
    w = z - slope_x * x - slope_y * y
    lowest = float(w.min())
    w = w - lowest
    area, corners = _shadows(solid)
    a, b, c = w[corners]
    low, high = np.minimum(a, b), np.maximum(a, b)
    z1, z2, z3 = np.minimum(low, c), np.maximum(low, np.minimum(high, c)), np.maximum(high, c)
    order = np.argsort(z2, kind="stable")
    area, z1, z2, z3 = area[order], z1[order], z2[order], z3[order]
    start, stop = np.concatenate([z1, z2]), np.concatenate([z2, z3])
    kept = stop - start > _SHORTEST_MM
    spread = np.concatenate([z3 - z1, z3 - z1])[kept]
    signed = np.concatenate([-area, area])[kept] / 3
    start, stop = start[kept], stop[kept]
    height = float(w.max())
    return _Sheared(
        lowest=lowest,
        height=height,
        middle=z2,
        area_sum=np.concatenate([[0.0], np.cumsum(area)]),
        moment_sum=np.concatenate([[0.0], np.cumsum(area * (z1 + z2 + z3) / 3)]),
        start=start,
        stop=stop,
        origin=np.concatenate([z1, z3])[kept],
        factor=signed / ((stop - start) * spread),
        is_long=stop - start > _LONG_SHARE * height,
    )


def _litres_of_rising(sheared: _Sheared, levels: Floats) -> Floats:
    """Litres at rising levels above the lowest corner. [L]"""
    passed = np.searchsorted(sheared.middle, levels, side="right")
    litres = sheared.moment_sum[passed] - levels * sheared.area_sum[passed]
    first = np.searchsorted(levels, sheared.start)
    count = np.searchsorted(levels, sheared.stop) - first
    is_long = sheared.is_long & (count > _MANY_LEVELS)
    if is_long.any():
        litres += _long(sheared, levels, np.flatnonzero(is_long), first, count)
        piece = np.flatnonzero((count > 0) & ~is_long)
    else:
        piece = np.flatnonzero(count)
    n = count[piece]
    ends = np.cumsum(n)
    if len(ends) == 0:
        return litres
    at = np.arange(ends[-1]) + np.repeat(first[piece] - ends + n, n)
    above = levels[at] - np.repeat(sheared.origin[piece], n)
    pieces = above * above * above * np.repeat(sheared.factor[piece], n)
    result: Floats = litres + np.bincount(at, weights=pieces, minlength=len(levels))
    return result


def _long(sheared: _Sheared, levels: Floats, piece: Ints, first: Ints, count: Ints) -> Floats:
    """Sum the pieces that hold many levels as polynomials, each entered and left once.

    A cubic about a far origin loses digits with the square of height over range; about
    the middle height, and for ranges above 1/64 of the solid's height, what is lost
    stays under 1e-12 of the volume.
    """
    middle = 0.5 * sheared.height
    above, origin = levels - middle, sheared.origin[piece] - middle
    enter, leave = first[piece], first[piece] + count[piece]
    litres = np.zeros(len(levels))
    term = sheared.factor[piece]
    size = len(levels) + 1
    for power, binomial in ((3, 1.0), (2, -3.0), (1, 3.0), (0, -1.0)):
        step = np.bincount(enter, term, size) - np.bincount(leave, term, size)
        litres += binomial * np.cumsum(step)[:-1] * above**power
        term = term * origin
    return litres


def _invert(sheared: _Sheared, volume_l: float, wanted: Floats) -> Floats:
    """Heights above the lowest corner at which the litres are ``wanted``. [mm]

    Litres are a smooth cubic between corner heights, so those give the brackets.
    """
    known = np.isfinite(wanted)
    targets = wanted[known]
    heights = np.unique(np.concatenate([sheared.middle, sheared.start, sheared.stop]))
    if len(heights) > 1024:
        heights = heights[np.linspace(0, len(heights) - 1, 1024).astype(np.intp)]
    knots = np.unique(np.concatenate([[0.0], heights, [sheared.height]]))
    litres = np.maximum.accumulate(_litres_of_rising(sheared, knots))
    litres[0], litres[-1] = 0.0, volume_l
    right = np.clip(np.searchsorted(litres, targets), 1, len(knots) - 1)

    def excess(height: Floats) -> Floats:
        order = np.argsort(height, kind="stable")
        found = np.empty_like(height)
        found[order] = _litres_of_rising(sheared, height[order])
        return found - targets

    level = np.full(wanted.shape, np.nan)
    level[known] = rising_root(
        excess,
        (knots[right - 1], litres[right - 1] - targets),
        (knots[right], litres[right] - targets),
    )
    # Where the solid ends in a point, its last digits of litres are many of level.
    level[wanted == volume_l] = sheared.height
    return level
