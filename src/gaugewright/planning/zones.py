"""Places on a tank's top where no hole may be: baffles, senders, straps, pick-up, return."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, isfinite, pi, sin
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.tank.description import number
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

_CIRCLE_CORNERS = 48
MOST_CORNERS = 200


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A named zone in the plan view: a polygon, or with two corners a line.

    Raises `InputError` for a zone without a name, with fewer than two or too many
    corners, or with a corner that is not two finite numbers.

    >>> KeepOut.rectangle("sender", 100, 50, 200, 150).corners_mm
    ((100.0, 50.0), (200.0, 50.0), (200.0, 150.0), (100.0, 150.0))
    >>> KeepOut("baffle", ((400, 0), (400, float("nan"))))
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: keep-out baffle: corner 2 must be two finite numbers in mm
    """

    name: str
    corners_mm: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Refuse a zone that cannot be."""
        if not self.name.strip():
            raise InputError(said("needs a name, such as baffle or sender"), field="keep-out")
        where = f"keep-out {self.name}"
        if not 2 <= len(self.corners_mm) <= MOST_CORNERS:
            raise InputError(
                said(
                    "needs 2 to {most_corners} corners, found {number}",
                    most_corners=MOST_CORNERS,
                    number=len(self.corners_mm),
                ),
                field=where,
            )
        for row, corner in enumerate(self.corners_mm, start=1):
            if len(corner) != 2 or not all(isfinite(c) for c in corner):
                raise InputError(
                    said("corner {row} must be two finite numbers in mm", row=row), field=where
                )

    @classmethod
    def rectangle(cls, name: str, x1: float, y1: float, x2: float, y2: float) -> "KeepOut":
        """Give the zone between two opposite corners. [mm]"""
        (left, right), (front, back) = (
            sorted((float(x1), float(x2))),
            sorted((float(y1), float(y2))),
        )
        return cls(name, ((left, front), (right, front), (right, back), (left, back)))

    @classmethod
    def circle(cls, name: str, x: float, y: float, radius: float) -> "KeepOut":
        """Give a round zone, as a polygon drawn around the circle. [mm]"""
        if not (isfinite(radius) and radius > 0):
            raise InputError(
                said("radius must be above 0 mm, found {radius:g}", radius=radius),
                field=f"keep-out {name}",
            )
        outer = radius / cos(pi / _CIRCLE_CORNERS)
        turns = [2 * pi * k / _CIRCLE_CORNERS for k in range(_CIRCLE_CORNERS)]
        return cls(name, tuple((x + outer * cos(t), y + outer * sin(t)) for t in turns))

    def distance_mm(self, x_mm: npt.ArrayLike, y_mm: npt.ArrayLike) -> Floats:
        """Give the distance of places to the zone, 0 inside it. [mm]

        >>> KeepOut.rectangle("sender", 0, 0, 100, 100).distance_mm([50, 130, 103], [50, 50, 104])
        array([ 0., 30.,  5.])
        """
        x, y = np.broadcast_arrays(
            np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
        )
        spots = np.stack([x, y], axis=-1)
        corners = np.asarray(self.corners_mm, dtype=np.float64)
        nearest = np.full(x.shape, np.inf)
        is_inside = np.zeros(x.shape, dtype=np.bool_)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            nearest = np.minimum(nearest, _to_segment(spots, a, b))
            if a[1] != b[1]:
                crosses = (a[1] > y) != (b[1] > y)
                is_inside ^= crosses & (x < a[0] + (y - a[1]) * (b[0] - a[0]) / (b[1] - a[1]))
        result: Floats = np.where(is_inside, 0.0, nearest)
        return result

    def is_near(
        self, x_mm: npt.ArrayLike, y_mm: npt.ArrayLike, clear_mm: float
    ) -> npt.NDArray[np.bool_]:
        """Tell which places are in the zone or nearer to it than a clearance."""
        distance = self.distance_mm(x_mm, y_mm)
        # A place exactly at the clearance is clear, whatever the last digit says.
        result: npt.NDArray[np.bool_] = (distance == 0) | (distance < clear_mm - 1e-6)
        return result


def keep_out_from_mapping(mapping: Mapping[str, Any]) -> KeepOut:
    """Read a zone as it is stored and sent.

    Wanted: ``name`` and either ``corners_mm``, a list of [x, y], or ``x_mm``, ``y_mm`` and
    ``radius_mm`` of a round one.

    >>> keep_out_from_mapping({"name": "baffle", "corners_mm": [[400, 0], [400, "600,5"]]})
    KeepOut(name='baffle', corners_mm=((400.0, 0.0), (400.0, 600.5)))
    """
    name = mapping.get("name")
    if not isinstance(name, str):
        raise InputError(said("needs a name, found {name!r}", name=name), field="keep-out")
    where = f"keep-out {name}"
    known = {"name", "corners_mm", "x_mm", "y_mm", "radius_mm"}
    strange = sorted(set(mapping) - known)
    if strange:
        raise InputError(
            said(
                "no such field: {strange}, wanted {known}",
                strange=strange[0],
                known=", ".join(sorted(known)),
            ),
            field=where,
        )
    if "corners_mm" not in mapping:
        missing = [key for key in ("x_mm", "y_mm", "radius_mm") if key not in mapping]
        if missing:
            raise InputError(
                said("{missing} is missing, or give corners_mm", missing=missing[0]), field=where
            )
        x, y, radius = (
            number(f"{where} {key}", mapping[key]) for key in ("x_mm", "y_mm", "radius_mm")
        )
        return KeepOut.circle(name, x, y, radius)
    corners = mapping["corners_mm"]
    if not isinstance(corners, Sequence) or isinstance(corners, str):
        raise InputError(said("corners_mm must be a list of [x, y]"), field=where)
    found = []
    for row, corner in enumerate(corners, start=1):
        if not isinstance(corner, Sequence) or isinstance(corner, str) or len(corner) != 2:
            raise InputError(
                said("corner {row} must be [x, y], found {corner!r}", row=row, corner=corner),
                field=where,
            )
        found.append((number(where, corner[0]), number(where, corner[1])))
    return KeepOut(name, tuple(found))


def _to_segment(spots: Floats, a: Floats, b: Floats) -> Floats:
    along = b - a
    length2 = float(along @ along)
    share = (
        np.clip((spots - a) @ along / length2, 0.0, 1.0)
        if length2 > 0
        else np.zeros(spots.shape[:-1])
    )
    off = spots - a - share[..., None] * along
    result: Floats = np.hypot(off[..., 0], off[..., 1])
    return result
