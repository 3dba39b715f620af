"""Where on the tank's top a probe misreads least, and whether two are worth it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, hypot, isfinite, sqrt

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.planning.misread import SHARES_FILLED, Leaning, Slope, leaning
from gaugewright.planning.plan_view import PlanView, plan_view, view_of
from gaugewright.planning.zones import KeepOut
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column
from gaugewright.words import Length, Volume, said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

PLACES = 1200
"""Places on a map, about."""
FINE_MM = 5.0
"""The best place is given to this step. [mm]"""
FREE, OUTSIDE, WALL, FIRST_ZONE = 0, 1, 2, 3
"""What stands in the way at a place; from 3 on, the zones in their order."""
CLEAR_MM = 50.0
"""From the middle of the probe to walls and zones: flange and room for a hand.
Common practice, no source. [mm]"""
PAIR_PLACES = 120
TWO_FROM_SHARE, TWO_AT_MOST = 0.02, 0.5
"""A second probe is worth it where one misreads over 2 % of the tank and two at most half
of that.  Own rule, no source."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place and how much is misread there at worst."""

    x_mm: float
    y_mm: float
    worst_l: float
    """Largest misread over the slope's ways and all fills, either sign. [L]"""
    at_slope: tuple[float, float]
    """The slope along and across that does it, rise over run."""
    share_filled: float
    """The share of the tank that is filled then."""
    low_mm: float
    high_mm: float
    wall_mm: float


@dataclass(frozen=True, eq=False)
class PlaceMap:
    """The plan view with the misread at every place, and the best place on it."""

    view: PlanView
    worst_l: Floats
    """Largest misread at each place, NaN outside. [L]"""
    blocked_by: Ints
    """0 free, 1 outside, 2 too near a wall, 3 and more the zones in their order."""
    zones: tuple[KeepOut, ...]
    slope: Slope
    clear_mm: float
    capacity_l: float
    best: Place | None
    """``None`` if no place is left free."""

    def blocker(self, code: int) -> str:
        """Name what stands in the way.

        >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
        >>> place_map(tank).blocker(2)
        'too near a wall'
        """
        words = (said("free"), said("outside the tank"), said("too near a wall"))
        return words[code] if code < FIRST_ZONE else self.zones[code - FIRST_ZONE].name


@dataclass(frozen=True, slots=True)
class TwoProbes:
    """The best two places, their litres averaged, beside the best one."""

    first: tuple[float, float]
    second: tuple[float, float]
    worst_l: float
    """Largest misread of the average. [L]"""
    one_worst_l: float
    is_worth_it: bool
    why: str


def place_map(
    tank: Tank,
    slope: Slope | None = None,
    *,
    zones: Sequence[KeepOut] = (),
    clear_mm: float = CLEAR_MM,
    step_mm: float | None = None,
) -> PlaceMap:
    """Map the largest misread over the plan view and mark the best free place.

    The worst is taken over the eight ways to stand on the slope, level ground and fills
    of 5 to 95 %.  Places nearer than ``clear_mm`` to a wall or a zone are not free.
    Without a step about a thousand places are looked at; the best is then sought again
    around there to 5 mm.  Of places equally good the one nearest the middle is taken.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> best = place_map(tank).best
    >>> best.x_mm, best.y_mm
    (500.0, 300.0)
    >>> baffle = KeepOut("baffle", ((500, 0), (500, 600)))
    >>> best = place_map(tank, zones=[baffle]).best
    >>> abs(best.x_mm - 500), best.y_mm
    (50.0, 300.0)
    """
    if not (isfinite(clear_mm) and clear_mm >= 0):
        raise InputError(
            said("must be 0 mm or more, found {clear_mm:g}", clear_mm=clear_mm), field="clear_mm"
        )
    slope = Slope() if slope is None else slope
    lean = leaning(tank, slope)
    view = plan_view(lean.solid, _step(lean) if step_mm is None else step_mm)
    zones = tuple(zones)
    worst, at = _worst(lean, view)
    blocked = _blocked(view, zones, clear_mm)
    best = _best(lean, view, worst, at, blocked)
    if best is not None:
        around = _around(lean, view, best)
        near_worst, near_at = _worst(lean, around)
        near = _best(lean, around, near_worst, near_at, _blocked(around, zones, clear_mm))
        if near is not None and near.worst_l < best.worst_l * (1 - 1e-6):
            best = near
    capacity = lean.solid.volume_l * lean.share
    return PlaceMap(view, worst, blocked, zones, slope, clear_mm, capacity, best)


def place_at(tank: Tank, x_mm: float, y_mm: float, slope: Slope | None = None) -> Place:
    """Judge one place, free or not.

    Raises `InputError` for a place outside the tank.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> round(place_at(tank, 600, 300, Slope(0.05, 0)).worst_l, 2)   # 100 mm x 5 % x 0.6 m2
    3.0
    """
    column(solid_of(tank), x_mm, y_mm)
    lean = leaning(tank, Slope() if slope is None else slope)
    view = view_of(lean.solid, np.array([float(x_mm)]), np.array([float(y_mm)]))
    if not view.is_inside.any():
        raise InputError(
            said(
                "x {x_mm:g}, y {y_mm:g} is on the very edge of the tank",
                x_mm=Length(x_mm),
                y_mm=Length(y_mm),
            ),
            field="x_mm, y_mm",
        )
    worst, at = _worst(lean, view)
    return _place(lean, view, worst, at, (0, 0))


def blocked_at(found: PlaceMap, x_mm: float, y_mm: float) -> str | None:
    """Name what stands in the way at one place, ``None`` if nothing does.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> zones = [KeepOut.rectangle("sender", 400, 200, 500, 300)]
    >>> blocked_at(place_map(tank, zones=zones), 510, 250)
    'sender'
    """
    for zone in found.zones:
        if zone.is_near(x_mm, y_mm, found.clear_mm).any():
            return zone.name
    nearest = min(hypot(*_off(segment, x_mm, y_mm)) for segment in found.view.walls)
    return said("too near a wall") if nearest < found.clear_mm - 1e-6 else None


def room_beside_mm(found: PlaceMap, x_mm: float, y_mm: float) -> float:
    """Give the free room beside a place inside, the best of front, rear, left and right. [mm]

    As far as the first wall or zone: a probe brought in leaning may lean that way.

    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> room_beside_mm(place_map(tank), 700, 300)
    700.0
    >>> baffle = KeepOut("baffle", ((500, 0), (500, 600)))
    >>> room_beside_mm(place_map(tank, zones=[baffle]), 700, 300)
    300.0
    """
    edges = [found.view.walls]
    for zone in found.zones:
        corners = np.asarray(zone.corners_mm)
        edges.append(np.stack([corners, np.roll(corners, -1, axis=0)], axis=1))
    segments = np.concatenate(edges) - [x_mm, y_mm]
    return max(_to_first(segments, axis, sign) for axis in (0, 1) for sign in (-1.0, 1.0))


def two_probes(tank: Tank, found: PlaceMap) -> TwoProbes | None:
    """Look for the two free places whose averaged litres misread least.

    Returns ``None`` if fewer than two places are free.  Pairs are taken from about a
    hundred places spread over the free ones.

    >>> tank = Tank("box", length_mm=2000, width_mm=600, height_mm=400)
    >>> baffle = KeepOut("beam", ((700, 0), (1300, 0), (1300, 600), (700, 600)))
    >>> pair = two_probes(tank, place_map(tank, zones=[baffle]))
    >>> pair.is_worth_it, pair.first[0] + pair.second[0]
    (True, 2000.0)
    """
    lean = leaning(tank, found.slope)
    view = found.view
    free = np.flatnonzero((found.blocked_by == FREE)[view.is_inside])
    if len(free) < 2 or found.best is None:
        return None
    x, y = (grid[view.is_inside] for grid in np.meshgrid(view.x_mm, view.y_mm))
    chosen = _spread(x[free], y[free], view)
    misread = lean.misread_l(view)[free[chosen]]
    misread = misread.reshape(len(chosen), -1)
    best: tuple[float, int, int] = (np.inf, 0, 0)
    for k in range(len(chosen) - 1):
        worst = np.abs(0.5 * (misread[k] + misread[k + 1 :])).max(axis=1)
        other = int(worst.argmin())
        if worst[other] < best[0] * (1 - 1e-9):
            best = (float(worst[other]), k, k + 1 + other)
    worst_l, k, other = best
    first, second = ((float(x[free[chosen[n]]]), float(y[free[chosen[n]]])) for n in (k, other))
    return _judged(first, second, worst_l, found)


def _to_first(segments: Floats, axis: int, sign: float) -> float:
    """Give the distance from the origin along an axis to the first segment. [mm]"""
    along, aside = sign * segments[:, :, axis], segments[:, :, 1 - axis]
    crosses = (aside[:, 0] <= 0) != (aside[:, 1] <= 0)
    a, b = aside[crosses].T
    share = a / (a - b)
    at = along[crosses, 0] + share * (along[crosses, 1] - along[crosses, 0])
    ahead = at[at >= 0]
    return float(ahead.min()) if len(ahead) else 0.0


def _judged(
    first: tuple[float, float], second: tuple[float, float], worst_l: float, found: PlaceMap
) -> TwoProbes:
    assert found.best is not None
    one = found.best.worst_l
    share = one / found.capacity_l
    is_worth_it = share > TWO_FROM_SHARE and worst_l <= TWO_AT_MOST * one
    if is_worth_it:
        why = said(
            "two averaged misread {worst_l:.1f} at worst, one {one:.1f}",
            worst_l=Volume(worst_l),
            one=Volume(one),
        )
    elif share <= TWO_FROM_SHARE:
        why = said(
            "one misreads {one:.1f} at worst, {share:.1f} % of the tank: enough",
            one=Volume(one),
            share=100 * share,
        )
    else:
        why = said(
            "two averaged still misread {worst_l:.1f} at worst, one {one:.1f}",
            worst_l=Volume(worst_l),
            one=Volume(one),
        )
    return TwoProbes(first, second, worst_l, one, is_worth_it, why)


def _step(lean: Leaning) -> float:
    size = np.ptp(lean.solid.vertices, axis=0)
    return FINE_MM * max(1, ceil(sqrt(float(size[0] * size[1]) / PLACES) / FINE_MM))


def _worst(lean: Leaning, view: PlanView) -> tuple[Floats, Ints]:
    """Give the largest misread at each place, and which way and fill it is."""
    misread = np.abs(lean.misread_l(view)).reshape(int(view.is_inside.sum()), -1)
    worst = np.full(view.low_mm.shape, np.nan)
    at = np.zeros(view.low_mm.shape, dtype=np.intp)
    worst[view.is_inside] = misread.max(axis=1)
    at[view.is_inside] = misread.argmax(axis=1)
    return worst, at


def _blocked(view: PlanView, zones: Sequence[KeepOut], clear_mm: float) -> Ints:
    x, y = np.meshgrid(view.x_mm, view.y_mm)
    codes = np.where(view.wall_mm < clear_mm - 1e-6, WALL, FREE).astype(np.intp)
    for code, zone in enumerate(zones, start=FIRST_ZONE):
        codes[zone.is_near(x, y, clear_mm)] = code
    codes[~view.is_inside] = OUTSIDE
    return codes


def _best(lean: Leaning, view: PlanView, worst: Floats, at: Ints, blocked: Ints) -> Place | None:
    free = np.argwhere(blocked == FREE)
    if len(free) == 0:
        return None
    low, high = lean.solid.vertices.min(axis=0), lean.solid.vertices.max(axis=0)
    middle = 0.5 * (low + high)
    rows, columns = free.T
    off = np.hypot(view.x_mm[columns] - middle[0], view.y_mm[rows] - middle[1])
    value = worst[rows, columns]
    equal = np.flatnonzero(value <= value.min() * (1 + 1e-6) + 1e-9)
    chosen = free[equal[int(off[equal].argmin())]]
    return _place(lean, view, worst, at, (int(chosen[0]), int(chosen[1])))


def _place(lean: Leaning, view: PlanView, worst: Floats, at: Ints, cell: tuple[int, int]) -> Place:
    way, fill = divmod(int(at[cell]), len(SHARES_FILLED))
    return Place(
        float(view.x_mm[cell[1]]),
        float(view.y_mm[cell[0]]),
        float(worst[cell]),
        (float(lean.ways[way, 0]), float(lean.ways[way, 1])),
        SHARES_FILLED[fill],
        float(view.low_mm[cell]),
        float(view.high_mm[cell]),
        float(view.wall_mm[cell]),
    )


def _around(lean: Leaning, view: PlanView, best: Place) -> PlanView:
    """Look closer at the places around the best one, as far as its neighbours."""

    def line(at: float, grid: Floats) -> Floats:
        gap = float(np.diff(grid).max()) if len(grid) > 1 else FINE_MM
        count = min(ceil(gap / FINE_MM), 40)
        near = at + FINE_MM * np.arange(-count, count + 1, dtype=np.float64)
        result: Floats = near[(near >= grid[0]) & (near <= grid[-1])]
        return result

    return view_of(lean.solid, line(best.x_mm, view.x_mm), line(best.y_mm, view.y_mm))


def _spread(x: Floats, y: Floats, view: PlanView) -> Ints:
    """Choose about `PAIR_PLACES` of the places, every so many of a row and of a column.

    Counted from the middle of the grid, so that places opposite each other stay pairs.
    """
    every = max(1, ceil(sqrt(len(x) / PAIR_PLACES)))
    i = np.searchsorted(view.x_mm, x) - len(view.x_mm) // 2
    j = np.searchsorted(view.y_mm, y) - len(view.y_mm) // 2
    return np.flatnonzero((i % every == 0) & (j % every == 0))


def _off(segment: Floats, x_mm: float, y_mm: float) -> tuple[float, float]:
    a, b = segment
    along = b - a
    share = float(np.clip((np.array([x_mm, y_mm]) - a) @ along / (along @ along), 0, 1))
    near = a + share * along
    return float(x_mm - near[0]), float(y_mm - near[1])
