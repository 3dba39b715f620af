"""Sections from their corners: rounding them, and taking the wall off."""

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.arcs import arc
from gaugewright.words import said

Floats = npt.NDArray[np.float64]
Corner = tuple[float, float]


def rounded_box(
    width_mm: float, height_mm: float, depths_mm: tuple[float, float], rise_mm: float, steps: int
) -> Floats:
    """Section of a box whose corners are quarter ellipses, counter-clockwise.

    The quarters at the left and at the right are ``depths_mm`` deep and ``rise_mm``
    high; a depth of 0 leaves the corner sharp.

    >>> rounded_box(100, 50, (0, 0), 0, 4).tolist()
    [[0.0, 0.0], [100.0, 0.0], [100.0, 50.0], [0.0, 50.0]]
    """
    left, right = depths_mm
    quarters = []
    for depth, across, up, turn in (
        (left, left, rise_mm, 2),
        (right, width_mm - right, rise_mm, 3),
        (right, width_mm - right, height_mm - rise_mm, 0),
        (left, left, height_mm - rise_mm, 1),
    ):
        if depth == 0 or rise_mm == 0:
            quarters.append(np.array([[across, 0.0 if turn > 1 else height_mm]]))
            continue
        quarter = arc(np.pi / 2, steps)
        for _ in range(turn):
            quarter = np.column_stack([-quarter[:, 1], quarter[:, 0]])
        quarters.append(quarter * [depth, rise_mm] + [across, up])
    points = np.concatenate(quarters)
    step = np.abs(points - np.roll(points, 1, axis=0)).max(axis=1)
    distinct: Floats = points[step > 1e-9 * max(width_mm, height_mm)]
    return distinct


def rounded(corners: Floats, radius_mm: float, steps: int) -> Floats:
    """Corners of a polygon rounded by a radius, counter-clockwise.

    Raises `InputError` if the radius does not fit between two corners, or if the
    polygon crosses or touches itself.
    """
    corners = _counter_clockwise(corners)
    _require_simple(corners)
    if radius_mm == 0:
        return corners
    before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
    into, out = _unit(corners - before), _unit(after - corners)
    turn = np.arctan2(_cross(into, out), (into * out).sum(axis=1))
    reach = radius_mm * np.tan(np.abs(turn) / 2)
    room = np.linalg.norm(after - corners, axis=1)
    short = reach + np.roll(reach, -1) > room * (1 + 1e-12)
    if short.any():
        k = int(np.argmax(short))
        raise InputError(
            said(
                "{radius_mm:g} mm does not fit on the {room:g} mm between corner {k} and the next",
                radius_mm=radius_mm,
                room=room[k],
                k=k + 1,
            ),
            field="corner_radius_mm",
        )
    pieces = []
    for k in range(len(corners)):
        if abs(turn[k]) < 1e-9:
            pieces.append(corners[k : k + 1])
            continue
        side = np.sign(turn[k])
        points = arc(float(abs(turn[k])), steps) * [1, side]
        # Turn the arc so that its start leaves along the edge that comes in.
        normal = np.array([into[k, 1], -into[k, 0]]) * side
        turned = points @ np.array([normal, [-normal[1], normal[0]]])
        centre = corners[k] - into[k] * reach[k] - normal * radius_mm
        pieces.append(centre + radius_mm * turned)
    return np.concatenate(pieces)


def shrunk(
    section: tuple[Corner, ...], radius_mm: float, wall_mm: float
) -> tuple[tuple[Corner, ...], float]:
    """Corners and radius of the inside of a section, ``wall_mm`` in from every side."""
    corners = _counter_clockwise(np.asarray(section, dtype=np.float64))
    into, out = (
        _unit(corners - np.roll(corners, 1, axis=0)),
        _unit(np.roll(corners, -1, axis=0) - corners),
    )
    inward_into = np.column_stack([-into[:, 1], into[:, 0]])
    inward_out = np.column_stack([-out[:, 1], out[:, 0]])
    both = inward_into + inward_out
    inner = corners + both * (wall_mm / (1 + (inward_into * inward_out).sum(axis=1)))[:, None]
    edge, inner_edge = (np.roll(p, -1, axis=0) - p for p in (corners, inner))
    if not ((edge * inner_edge).sum(axis=1) > 0).all():
        raise InputError(
            said("{wall_mm:g} mm leaves no room inside", wall_mm=wall_mm), field="wall_mm"
        )
    return tuple((float(y), float(z)) for y, z in inner), max(radius_mm - wall_mm, 0.0)


def _require_simple(corners: Floats) -> None:
    """Refuse a polygon of which two sides meet elsewhere than at their common corner."""
    n = len(corners)
    after = np.roll(corners, -1, axis=0)
    side = after - corners
    # side k runs from corner k; where do the corners lie, left or right of it?
    start = _cross(side[:, None], corners[None] - corners[:, None])
    stop = np.roll(start, -1, axis=1)
    across = start * stop <= 0
    k, other = np.indices((n, n))
    apart = ((k - other) % n > 1) & ((other - k) % n > 1)
    low, high = np.minimum(corners, after), np.maximum(corners, after)
    near = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=2)
    meets = apart & near & across & across.T
    # Neighbours share a corner, but must not run back over each other.
    following = np.roll(side, -1, axis=0)
    back = (_cross(side, following) == 0) & ((side * following).sum(axis=1) < 0)
    if meets.any() or back.any():
        first = int(np.argmax(meets.any(axis=1) | back))
        raise InputError(
            said(
                "crosses or touches itself on the side from y {corners:g}, z "
                "{corners_2:g} mm to y {after:g}, z {after_2:g} mm",
                corners=corners[first, 0],
                corners_2=corners[first, 1],
                after=after[first, 0],
                after_2=after[first, 1],
            ),
            field="section_mm",
        )


def _counter_clockwise(corners: Floats) -> Floats:
    after = np.roll(corners, -1, axis=0)
    if (np.abs(after - corners).max(axis=1) == 0).any():
        raise InputError(said("has the same corner twice in a row"), field="section_mm")
    area = float(_cross(corners, after).sum())
    if area == 0:
        raise InputError(said("encloses no area"), field="section_mm")
    return corners if area > 0 else corners[::-1]


def _unit(vectors: Floats) -> Floats:
    result: Floats = vectors / np.linalg.norm(vectors, axis=1)[:, None]
    return result


def _cross(p: Floats, q: Floats) -> Floats:
    result: Floats = p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]
    return result
