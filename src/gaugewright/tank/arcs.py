"""Points along rounded edges, placed so that the polygon has exactly the arc's area.

A polygon drawn inside a circle is too small, one drawn around it too large.  Here the
ends of each arc stay on it, where it meets the straight sides, and the points between
lie a hair outside, by just so much that the area is right.  Litres then agree with the
closed form at every level to about the cube of the step in angle.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@lru_cache(maxsize=64)
def arc(angle: float, steps: int) -> Floats:
    """Points on a unit arc from (1, 0) turning left by ``angle`` radians, shape (steps + 1, 2).

    The fan from the centre over the points has exactly the area ``angle / 2``.

    >>> quarter = arc(np.pi / 2, 2)
    >>> quarter[[0, -1]].round(12) + 0.0
    array([[1., 0.],
           [0., 1.]])
    """
    step = angle / steps
    turn = np.arange(steps + 1) * step
    points = np.column_stack([np.cos(turn), np.sin(turn)])
    # Fan area: 2 outer triangles with one corner on the arc, steps - 2 inner ones.
    # The smaller root, in the form that also holds for steps = 2.
    sine, inner = np.sin(step), steps - 2
    reach = angle / (sine + np.sqrt(sine**2 + inner * sine * angle))
    points[1:-1] *= reach
    if angle == np.pi / 2:
        points[-1] = 0.0, 1.0
    points.setflags(write=False)
    return points


@lru_cache(maxsize=16)
def dome(steps: int) -> Floats:
    """Rings of a unit half-ellipsoid: (distance along the axis, size of the section).

    Shape (steps + 1, 2), from (0, 1) at the rim to (1, 0) at the pole.  The stack of
    frusta over any section of unit area has exactly the volume 2/3.
    """
    turn = np.linspace(0, np.pi / 2, steps + 1)
    rings = np.column_stack([np.sin(turn), np.cos(turn)])
    t, s = rings[1:-1].T
    # Three times the volume, when the inner rings are moved out by a factor r, is a
    # cubic in r: the frustum at the rim, those between, the one at the pole.
    between = np.diff(t) @ (s[:-1] ** 2 + s[:-1] * s[1:] + s[1:] ** 2)
    cubic = [
        t[0] * s[0] ** 2 + between - t[-1] * s[-1] ** 2,
        t[0] * s[0] + s[-1] ** 2,
        t[0],
        -2.0,
    ]
    roots = np.roots(cubic)
    rings[1:-1] *= roots[np.argmin(np.abs(roots - 1))].real
    rings[-1] = 1.0, 0.0
    rings.setflags(write=False)
    return rings
