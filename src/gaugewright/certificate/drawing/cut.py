"""A solid cut by an upright plane: the outline that a section shows."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.solid import Solid

Floats = npt.NDArray[np.float64]

Across = Literal["x", "y"]
"""The axis that the plane stands across: x gives the section over the width."""


def cut(solid: Solid, across: Across, at_mm: float) -> tuple[Floats, ...]:
    """Give the closed outlines of a solid where the plane ``across = at_mm`` cuts it. [mm]

    Each outline is an array of (horizontal, z) corners without its first one repeated:
    horizontal is y for a plane across x, and x for a plane across y.  The longest comes
    first.  A plane through a corner is moved by a millionth of the solid's size.

    Raises `InputError` for a plane that misses the solid.

    >>> from gaugewright.tank.prisms import extrude
    >>> cube = extrude(np.array([[0, 0], [100, 0], [100, 100], [0, 100.0]]), 0, 100)
    >>> outline = cut(cube, "x", 50)[0]
    >>> sorted(outline.round(6).tolist())
    [[0.0, 0.0], [0.0, 100.0], [100.0, 0.0], [100.0, 100.0]]
    """
    axis = 0 if across == "x" else 1
    flat = [1 - axis, 2]
    low = float(solid.vertices[:, axis].min())
    high = float(solid.vertices[:, axis].max())
    if not low <= at_mm <= high:
        raise InputError(
            f"{across} {at_mm:g} mm is outside the tank, which reaches from {low:g} to {high:g} mm"
        )
    at = _beside_corners(solid.vertices[:, axis], at_mm, low, high)
    away = solid.vertices[:, axis] - at
    neighbours: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for corners in solid.triangles[_crossing(away, solid)]:
        ends = [
            (int(min(p, q)), int(max(p, q)))
            for p, q in zip(corners, np.roll(corners, -1), strict=True)
            if (away[p] < 0) != (away[q] < 0)
        ]
        neighbours.setdefault(ends[0], []).append(ends[1])
        neighbours.setdefault(ends[1], []).append(ends[0])
    loops = []
    for loop in _rings(neighbours):
        pairs = np.array(loop)
        one, two = solid.vertices[pairs[:, 0]], solid.vertices[pairs[:, 1]]
        share = (away[pairs[:, 0]] / (away[pairs[:, 0]] - away[pairs[:, 1]]))[:, None]
        loops.append(_without_straight((one + share * (two - one))[:, flat]))
    loops.sort(key=lambda ring: -_perimeter(ring))
    return tuple(loops)


def _beside_corners(values: Floats, at: float, low: float, high: float) -> float:
    """Move the plane off the corners, always inwards, so that every edge has two sides."""
    step = 1e-6 * (high - low)
    inwards = step if at < 0.5 * (low + high) else -step
    while bool((np.abs(values - at) < 0.25 * step).any()):
        at += inwards
    return at


def _crossing(away: Floats, solid: Solid) -> npt.NDArray[np.bool_]:
    below = (away < 0)[solid.triangles]
    count = below.sum(axis=1)
    result: npt.NDArray[np.bool_] = (count > 0) & (count < 3)
    return result


def _rings(
    neighbours: dict[tuple[int, int], list[tuple[int, int]]],
) -> list[list[tuple[int, int]]]:
    """Follow crossed edges round; on a closed solid each has two neighbours."""
    rings, seen = [], set()
    for start in neighbours:
        if start in seen:
            continue
        ring, here = [start], start
        seen.add(start)
        while True:
            onward = next((n for n in neighbours[here] if n not in seen), None)
            if onward is None:
                break
            seen.add(onward)
            ring.append(onward)
            here = onward
        rings.append(ring)
    return rings


def _without_straight(points: Floats, within_mm: float = 0.02) -> Floats:
    """Leave out corners that lie on the line between their neighbours."""
    kept: list[Floats] = []
    for k, point in enumerate(points):
        before = kept[-1] if kept else points[k - 1]
        along = points[(k + 1) % len(points)] - before
        reach = float(np.hypot(*along))
        aside = abs(float(along[0] * (point - before)[1] - along[1] * (point - before)[0]))
        if reach == 0 or aside > within_mm * reach:
            kept.append(point)
    return np.array(kept) if len(kept) >= 3 else points


def _perimeter(ring: Floats) -> float:
    return float(np.hypot(*(ring - np.roll(ring, 1, axis=0)).T).sum())
