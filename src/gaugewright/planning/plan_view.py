"""A tank seen from above: what stands over and under each place, and where its walls are.

Everything here depends on the tank's shape alone, so it is worked out once for a tank and
kept while zones, slopes and probes change.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from gaugewright.errors import InputError
from gaugewright.tank.solid import Solid
from gaugewright.words import Length, said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

WALL_STEP_MM = 2.0
"""Walls are held as points this far apart: distances are right to 1 mm at a wall and far
closer away from it. [mm]"""
MOST_PLACES = 20_000


@dataclass(frozen=True, eq=False)
class PlanView:
    """A grid of places over a tank's outline.

    Grid arrays have the shape (len(y_mm), len(x_mm)); outside the tank heights are NaN
    and wall distances 0.
    """

    x_mm: Floats
    y_mm: Floats
    low_mm: Floats
    """Lowest inside point at each place. [mm]"""
    high_mm: Floats
    """Highest inside point at each place. [mm]"""
    wall_mm: Floats
    """Distance to the nearest wall: the outline and every step in it. [mm]"""
    walls: Floats
    """The walls seen from above as line segments, shape (n, 2, 2). [mm]"""

    @property
    def is_inside(self) -> npt.NDArray[np.bool_]:
        """Tell which places have tank below them."""
        return ~np.isnan(self.low_mm)


@lru_cache(maxsize=16)
def plan_view(solid: Solid, step_mm: float) -> PlanView:
    """Look at a solid from above, on a grid that has the middle of the tank in it.

    Raises `InputError` for a step that is not above 0 or gives too many places.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> view = plan_view(cube, 25)
    >>> view.x_mm.tolist(), view.high_mm[2].tolist()
    ([0.0, 25.0, 50.0, 75.0, 100.0], [100.0, 100.0, 100.0, 100.0, 100.0])
    >>> view.wall_mm[2].tolist()
    [0.0, 25.0, 50.0, 25.0, 0.0]
    """
    if not (np.isfinite(step_mm) and step_mm > 0):
        raise InputError(
            said("must be above 0 mm, found {step_mm:g}", step_mm=step_mm), field="step_mm"
        )
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    x, y = (_line(float(low[axis]), float(high[axis]), step_mm) for axis in (0, 1))
    if len(x) * len(y) > MOST_PLACES:
        raise InputError(
            said(
                "{step_mm:g} gives more than {most_places} places",
                step_mm=Length(step_mm),
                most_places=MOST_PLACES,
            ),
            field="step_mm",
        )
    return view_of(solid, x, y)


def view_of(solid: Solid, x_mm: Floats, y_mm: Floats) -> PlanView:
    """Look at a solid from above on a grid of rising x and y. [mm]"""
    bottom, top = columns(solid, x_mm, y_mm)
    spots = np.stack(np.meshgrid(x_mm, y_mm), axis=-1).reshape(-1, 2)
    walls, tree = _walls(solid)
    distance, _ = tree.query(spots)
    wall = np.where(np.isnan(bottom), 0.0, distance.reshape(bottom.shape))
    for array in (x_mm, y_mm, bottom, top, wall):
        array.setflags(write=False)
    return PlanView(x_mm, y_mm, bottom, top, wall, walls)


def columns(solid: Solid, x_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
    """Give the lowest and highest inside point over a grid of rising x and y. [mm]

    Both have the shape (len(y), len(x)) and are NaN where nothing of the tank is.  Each
    triangle meets only the places in its own rectangle, so that thousands of triangles
    cost little more than a few.

    >>> from gaugewright.tank.prisms import extrude
    >>> wedge = extrude(np.array([[0, 0], [100, 0], [0, 100.0]]), 0, 100)
    >>> columns(wedge, np.array([50.0]), np.array([0.0, 50.0, 101.0]))[1].ravel()
    array([100.,  50.,  nan])
    """
    corners = solid.vertices[solid.triangles]
    shadow = _shadow(corners)
    size = float(np.ptp(solid.vertices, axis=0).max())
    corners = corners[np.abs(shadow) > 1e-12 * size**2]
    slack = 1e-9 * size
    first_x, count_x = _span(x_mm, corners[:, :, 0], slack)
    first_y, count_y = _span(y_mm, corners[:, :, 1], slack)
    each = count_x * count_y
    triangle = np.repeat(np.arange(len(corners)), each)
    within = np.arange(len(triangle)) - np.repeat(np.cumsum(each) - each, each)
    wide = np.maximum(count_x, 1)[triangle]
    i, j = first_x[triangle] + within % wide, first_y[triangle] + within // wide
    place = np.stack([x_mm[i], y_mm[j]], axis=-1)
    a, b, c = (corners[triangle, k, :2] - place for k in range(3))
    # A hair outside counts as inside: a place on an edge must belong to a triangle there.
    weights = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)]) / _cross(b - a, c - a)
    is_inside = (weights >= -1e-9).all(axis=0)
    heights = (weights * corners[triangle, :, 2].T).sum(axis=0)[is_inside]
    cell = (j * len(x_mm) + i)[is_inside]
    bottom, top = np.full(len(y_mm) * len(x_mm), np.inf), np.full(len(y_mm) * len(x_mm), -np.inf)
    np.minimum.at(bottom, cell, heights)
    np.maximum.at(top, cell, heights)
    shape = (len(y_mm), len(x_mm))
    is_outside = np.isinf(bottom)
    bottom[is_outside] = top[is_outside] = np.nan
    return bottom.reshape(shape), top.reshape(shape)


def _line(low: float, high: float, step_mm: float) -> Floats:
    """Give places from end to end with the middle among them, the outer ones on the ends."""
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    count = int(min(half / step_mm * (1 + 1e-12), MOST_PLACES))
    inner = middle + step_mm * np.arange(-count, count + 1)
    ends = [low] if inner[0] - low > 1e-9 * (1 + half) else []
    result: Floats = np.concatenate([ends, inner, [high] if ends else []])
    return result


def _span(grid: Floats, corners: Floats, slack: float) -> tuple[Ints, Ints]:
    """Give the first grid line in each triangle's extent, and how many there are."""
    first = np.searchsorted(grid, corners.min(axis=1) - slack)
    last = np.searchsorted(grid, corners.max(axis=1) + slack, side="right")
    return first, last - first


@lru_cache(maxsize=16)
def _walls(solid: Solid) -> tuple[Floats, cKDTree]:
    """Give the segments where the surface turns between up, sideways and down, and their points."""
    corners = solid.vertices[solid.triangles]
    shadow = _shadow(corners)
    flat = 1e-12 * float(np.ptp(solid.vertices, axis=0).max()) ** 2
    looks = np.where(shadow > flat, 1, np.where(shadow < -flat, -1, 0))
    edges = np.concatenate([solid.triangles[:, [k, (k + 1) % 3]] for k in range(3)])
    edges.sort(axis=1)
    side = np.tile(looks, 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, side = edges[order], side[order]
    is_pair = (edges[:-1] == edges[1:]).all(axis=1)
    turns = np.flatnonzero(is_pair & (side[:-1] != side[1:]))
    segments = solid.vertices[edges[turns]][:, :, :2]
    length = np.hypot(*(segments[:, 1] - segments[:, 0]).T)
    kept = np.round(segments[length > 1e-9], 6)
    walls: Floats = np.unique(kept, axis=0)
    walls.setflags(write=False)
    return walls, cKDTree(_along(walls))


def _along(segments: Floats) -> Floats:
    """Points on the segments, no further apart than the step, ends included."""
    length = np.hypot(*(segments[:, 1] - segments[:, 0]).T)
    count = np.ceil(length / WALL_STEP_MM).astype(np.intp) + 1
    segment = np.repeat(np.arange(len(segments)), count)
    number = np.arange(len(segment)) - np.repeat(np.cumsum(count) - count, count)
    share = (number / np.maximum(count[segment] - 1, 1))[:, None]
    result: Floats = segments[segment, 0] * (1 - share) + segments[segment, 1] * share
    return result


def _cross(p: Floats, q: Floats) -> Floats:
    result: Floats = p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]
    return result


def _shadow(corners: Floats) -> Floats:
    """Signed area of triangles seen from above, positive where the outside looks up. [mm²]"""
    a, b, c = (corners[:, k] for k in range(3))
    return 0.5 * _cross(b - a, c - a)
