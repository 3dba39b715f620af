"""Drawings in plain text: a tank in section to scale, and a table with its band.

A character cell is taken to be twice as high as it is wide.  What a screen cannot show
is turned to ASCII by `gaugewright.cli.output.displayable`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import numpy.typing as npt

from gaugewright.tank.solid import Solid

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Cells = npt.NDArray[np.str_]

WALL, FUEL, AIR, PROBE, HEAD = "█", "▒", " ", "│", "┬"
EIGHTHS = " ▁▂▃▄▅▆▇█"
_MARGIN = 7
_MOST_ROWS = 22


@dataclass(frozen=True, slots=True)
class DrawnProbe:
    """Where a probe stands, and the heights of its tip and its upper end. [mm]"""

    x_mm: float
    y_mm: float
    tip_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True)
class Surface:
    """The fuel's surface: its height at a place and its slope along and across."""

    level_mm: float
    slope_x: float = 0.0
    slope_y: float = 0.0
    at_x_mm: float = 0.0
    at_y_mm: float = 0.0


def draw_tank(
    solid: Solid,
    *,
    surface: Surface | None = None,
    probe: DrawnProbe | None = None,
    width: int = 80,
) -> str:
    """Return the tank cut along its length and across it, both to one scale, as text.

    The cuts go through the probe, or through the tank's middle.  Heights at the left
    are mm above the lowest inside point.

    >>> from gaugewright.tank.prisms import extrude
    >>> box = extrude(np.array([[0, 0], [600, 0], [600, 400], [0, 400.0]]), 0, 1000)
    >>> print(draw_tank(box, surface=Surface(200), width=40))
           along the length    across
      400  ███████████████████ █████████████
           █                 █ █           █
      200  █                 █ █           █
           █▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒█ █▒▒▒▒▒▒▒▒▒▒▒█
        0  ███████████████████ █████████████
    """
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    middle = 0.5 * (low + high)
    at = middle[:2] if probe is None else np.array([probe.x_mm, probe.y_mm])
    sizes = high - low
    columns = max(width - _MARGIN - 6, 20)
    mm = max((sizes[0] + sizes[1]) / columns, sizes[2] / (2 * (_MOST_ROWS - 2)))
    rows = max(round(sizes[2] / (2 * mm)), 2)
    heights = high[2] - (np.arange(rows) + 0.5) * sizes[2] / rows
    views = []
    for along, across in ((0, 1), (1, 0)):
        places = _centres(low[along], high[along], mm)
        inside = _cut(solid, across, float(at[across]), places, heights)
        fuel = np.zeros(len(places))
        if surface is not None:
            slopes = (surface.slope_x, surface.slope_y)
            origin = (surface.at_x_mm, surface.at_y_mm)
            fuel = surface.level_mm + slopes[along] * (places - origin[along])
            fuel += slopes[across] * (float(at[across]) - origin[across])
        cells = _cells(inside, heights, fuel, surface is not None)
        if probe is not None:
            _put_probe(cells, places, heights, float(at[along]), probe)
        views.append(cells)
    return _beside(views, ("along the length", "across"), heights, surface, high[2])


def plot_table(
    counts: Floats,
    litres: Floats,
    u_litres: Floats | None = None,
    *,
    pours_at: Sequence[float] = (),
    width: int = 80,
    rows: int = 12,
) -> str:
    """Return a table as text: litres over counts, below it the band's half-width.

    ``pours_at`` are the counts of the pours, marked under the axis.

    >>> print(plot_table(np.array([0.0, 100.0]), np.array([0.0, 400.0]), width=24, rows=4))
       400 ┤            ▂▄▆█
           │        ▁▃▅▇████
           │    ▁▃▅▇████████
         0 ┤ ▂▄▆████████████
           └────────────────
            0            100
            litres over counts
    """
    across = width - _MARGIN - 1
    at = np.linspace(counts[0], counts[-1], across)
    top = float(litres[-1])
    lines = _area(np.interp(at, counts, litres), top, rows, "L")
    axis = ["─"] * across
    span = float(counts[-1] - counts[0])
    for pour in pours_at:
        if counts[0] <= pour <= counts[-1]:
            axis[min(int((pour - counts[0]) / span * across), across - 1)] = "┴"
    lines.append(" " * _MARGIN + "└" + "".join(axis))
    ends = f"{counts[0]:g}".ljust(across - len(f"{counts[-1]:g}")) + f"{counts[-1]:g}"
    lines.append(" " * (_MARGIN + 1) + ends)
    what = "litres over counts" + (", ┴ a pour" if len(pours_at) else "")
    lines.append(" " * (_MARGIN + 1) + what)
    if u_litres is not None:
        most = float(u_litres.max())
        lines += ["", *_area(np.interp(at, counts, u_litres), most, max(rows // 3, 2), "L")]
        lines.append(" " * _MARGIN + "└" + "─" * across)
        lines.append(" " * (_MARGIN + 1) + "half-width of the 95 % band, ± litres")
    return "\n".join(lines)


def _centres(low: float, high: float, mm: float) -> Floats:
    count = max(ceil((high - low) / mm - 1e-9), 2)
    return low + (np.arange(count) + 0.5) * (high - low) / count


def _cut(solid: Solid, axis: int, at: float, places: Floats, heights: Floats) -> Mask:
    """Tell which points of a vertical cut lie inside the solid, shape (heights, places)."""
    along = 1 - axis
    # A hair off the corners, so that no corner lies in the cut.
    extent = np.ptp(solid.vertices[:, axis])
    low, high = solid.vertices[:, axis].min(), solid.vertices[:, axis].max()
    at = float(np.clip(at, low + 1e-6 * extent, high - 1e-6 * extent)) + 1.234e-7 * extent
    corners = solid.vertices[solid.triangles]
    off = corners[:, :, axis] - at
    ends = []
    for a, b in ((0, 1), (1, 2), (2, 0)):
        crosses = (off[:, a] < 0) != (off[:, b] < 0)
        share = np.where(crosses, off[:, a] / np.where(crosses, off[:, a] - off[:, b], 1.0), 0.0)
        point = corners[:, a] + share[:, None] * (corners[:, b] - corners[:, a])
        ends.append(np.where(crosses[:, None], point[:, [along, 2]], np.nan))
    points = np.stack(ends, axis=1)
    hit = np.isfinite(points[:, :, 0]).sum(axis=1) == 2
    segments = points[hit][np.isfinite(points[hit][:, :, 0])].reshape(-1, 2, 2)
    inside = np.zeros((len(heights), len(places)), dtype=np.bool_)
    for column, place in enumerate(places):
        place += 1.234e-7 * float(np.ptp(places))
        start, stop = segments[:, 0, 0], segments[:, 1, 0]
        spans = (start < place) != (stop < place)
        share = (place - start[spans]) / (stop[spans] - start[spans])
        z = segments[spans, 0, 1] + share * (segments[spans, 1, 1] - segments[spans, 0, 1])
        inside[:, column] = (z[None, :] > heights[:, None]).sum(axis=1) % 2 == 1
    return inside


def _cells(inside: Mask, heights: Floats, fuel_mm: Floats, has_fuel: bool) -> Cells:
    """Return the characters of a view, with a wall one cell thick around the inside."""
    padded = np.pad(inside, 1)
    near = np.zeros_like(padded)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            near |= np.roll(np.roll(padded, down, axis=0), right, axis=1)
    cells = np.full(padded.shape, AIR)
    cells[near & ~padded] = WALL
    if has_fuel:
        wet = np.pad(inside & (heights[:, None] < fuel_mm[None, :]), 1)
        cells[wet] = FUEL
    return cells


def _put_probe(cells: Cells, places: Floats, heights: Floats, at: float, probe: DrawnProbe) -> None:
    column = int(np.argmin(np.abs(places - at))) + 1
    half = abs(heights[0] - heights[1]) / 2 if len(heights) > 1 else 0.0
    wetted = (heights + half >= probe.tip_mm) & (heights - half <= probe.top_mm)
    for row in np.flatnonzero(wetted) + 1:
        if cells[row, column] != WALL:
            cells[row, column] = PROBE
    walls = np.flatnonzero(cells[:, column] == WALL)
    if len(walls):
        cells[walls[0], column] = HEAD


def _beside(
    views: Sequence[Cells],
    titles: Sequence[str],
    heights: Floats,
    surface: Surface | None,
    top_mm: float,
) -> str:
    labels = {0: top_mm, len(heights) + 1: 0.0}
    if surface is not None and 0 < surface.level_mm < top_mm:
        row = int(np.argmin(np.abs(heights - surface.level_mm))) + 1
        labels.setdefault(row, surface.level_mm)
    widths = [max(view.shape[1], len(title)) for view, title in zip(views, titles, strict=True)]
    lines = [" " * _MARGIN + " ".join(t.ljust(w) for t, w in zip(titles, widths, strict=True))]
    for row in range(views[0].shape[0]):
        label = f"{labels[row]:.0f}" if row in labels else ""
        parts = ["".join(view[row]).ljust(w) for view, w in zip(views, widths, strict=True)]
        lines.append(label.rjust(_MARGIN - 2) + "  " + " ".join(parts))
    return "\n".join(line.rstrip() for line in lines)


def _area(values: Floats, top: float, rows: int, unit: str) -> list[str]:
    """Return rows of a filled plot, an eighth of a cell fine."""
    eighths = np.round(np.clip(values / (top or 1.0), 0, 1) * rows * 8).astype(np.intp)
    label = f"{top:.0f}" if top >= 100 else f"{top:.3g}"
    lines = []
    for row in reversed(range(rows)):
        filled = np.clip(eighths - row * 8, 0, 8)
        mark = {rows - 1: label, 0: "0"}.get(row, "")
        edge = "┤" if mark else "│"
        line = mark.rjust(_MARGIN - 1) + " " + edge + "".join(EIGHTHS[k] for k in filled)
        lines.append(line.rstrip())
    return lines
