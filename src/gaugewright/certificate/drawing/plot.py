"""The table's plot: litres over counts, and below it the band with the pours in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
import numpy.typing as npt

from gaugewright.certificate.drawing import svg
from gaugewright.table.table import Table

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Point:
    """A reading that the table was made from, or a check pour against it."""

    counts: float
    litres: float
    is_check: bool = False


@dataclass(frozen=True, slots=True)
class PlotWords:
    """What is written at the axes, in the reader's language and unit."""

    label: str
    counts: str
    litres: str
    band: str
    per_litre: float = 1.0
    """Reader's units in one litre."""


def nice_step(span: float, most: int) -> float:
    """Give 1, 2 or 5 times a power of ten that divides ``span`` into at most ``most`` parts.

    >>> nice_step(470, 5), nice_step(0.9, 4)
    (100.0, 0.5)
    """
    raw = span / most
    power = 10.0 ** floor(log10(raw))
    return next(float(power * m) for m in (1, 2, 5, 10) if power * m >= raw * (1 - 1e-9))


def table_plot(
    table: Table, points: Sequence[Point], text: PlotWords,
    width: float = 700, height: float = 520, css_class: str = "dwg plot wide",
) -> str:  # fmt: skip
    """Draw a table and its band to scale.  Where the band is unknown, only the table.

    >>> table = Table(np.array([0, 4000]), np.array([4.0, 400.0]), None)
    >>> words = PlotWords("A table.", "counts", "L", "± L")
    >>> "A table." in table_plot(table, [], words)
    True
    """
    is_banded = table.u_litres is not None
    left, right, size = (74.0, 30.0, 15.0) if width >= 600 else (48.0, 24.0, 14.0)
    upper = (20.0, height * (0.58 if is_banded else 0.86))
    lower = (upper[1] + 46.0, height - 54.0)
    x_of = Axis(float(table.counts[0]), float(table.counts[-1]), left, width - right)
    litres = table.litres * text.per_litre
    top = float(litres[-1]) * 1.04
    y_of = Axis(0.0, top, upper[1], upper[0])
    parts = [_grid_y(0.0, top, y_of, left, width - right, size, 6)]
    curve = np.column_stack([x_of(table.counts), y_of(litres)])
    parts.append(svg.element("path", d=svg.polyline_path(curve), fill="none",
                             class_="s-ink", stroke=svg.INK, stroke_width=2))  # fmt: skip
    parts += [_dot(float(x_of(p.counts)), float(y_of(p.litres * text.per_litre)), p.is_check)
              for p in points]  # fmt: skip
    parts.append(svg.words(text.litres, left, upper[0] - 6, size, "soft"))
    bottom = upper[1]
    if table.u_litres is not None:
        parts.append(_band(table, points, text, x_of, (lower[0], lower[1]), (left, width - right)))
        parts.append(svg.words(text.band, left, lower[0] - 8, size, "soft"))
        bottom = lower[1]
    parts.append(_grid_x(table, x_of, bottom, size))
    parts.append(svg.words(text.counts, width - right, bottom + 40, size, "soft", anchor="end"))
    return svg.drawing(width, height, text.label, *parts, css_class=css_class)


class Axis:
    """A straight scale from values to places."""

    def __init__(self, low: float, high: float, start: float, stop: float) -> None:
        self.low, self.start = low, start
        self.slope = (stop - start) / (high - low if high > low else 1.0)

    def __call__(self, values: npt.ArrayLike) -> Floats:
        """Give the places of values. [px]"""
        result: Floats = self.start + (np.asarray(values, dtype=np.float64) - self.low) * self.slope
        return result


def _band(
    table: Table, points: Sequence[Point], text: PlotWords, x_of: Axis,
    between: tuple[float, float], across: tuple[float, float],
) -> str:  # fmt: skip
    """Draw the band about the table, and how far each point lies from it."""
    assert table.u_litres is not None
    u = table.u_litres * text.per_litre
    inside = [p for p in points if table.counts[0] <= p.counts <= table.counts[-1]]
    off = [(p, (p.litres - float(table.litres_at(p.counts))) * text.per_litre) for p in inside]
    most = max([float(u.max()), 1e-3, *(abs(o) for _, o in off)]) * 1.15
    y_of = Axis(-most, most, between[1], between[0])
    edge = np.vstack(
        [
            np.column_stack([x_of(table.counts), y_of(u)]),
            np.column_stack([x_of(table.counts), y_of(-u)])[::-1],
        ]
    )
    return "".join(
        [
            svg.element("path", d=svg.polygon_path([edge]), class_="f-draft", fill=svg.DRAFT,
                        fill_opacity=0.2),
            _grid_y(-most, most, y_of, *across, 15.0, 4),
            svg.line(across[0], float(y_of(0)), across[1], float(y_of(0)), 1.6),
            *(_dot(float(x_of(p.counts)), float(y_of(o)), p.is_check) for p, o in off),
        ]
    )  # fmt: skip


def _dot(x: float, y: float, is_check: bool) -> str:
    if is_check:
        d = f"M{svg.figure(x)},{svg.figure(y - 7)}l6,12h-12z"
        return svg.element("path", d=d, class_="f-sheet s-draft", fill=svg.SHEET,
                           stroke=svg.DRAFT, stroke_width=2)  # fmt: skip
    return svg.element("circle", cx=x, cy=y, r=4.5, class_="f-sheet s-ink", fill=svg.SHEET,
                       stroke=svg.INK, stroke_width=2)  # fmt: skip


def _grid_y(
    low: float, high: float, y_of: Axis, left: float, right: float, size: float, most: int
) -> str:
    step = nice_step(high - low, most)
    parts = []
    for k in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1):
        y = float(y_of(k * step))
        parts.append(svg.line(left, y, right, y, 0.5, "soft"))
        parts.append(svg.words(f"{k * step:.6g}".replace("-", "−"), left - 8, y + 0.35 * size,
                               size, anchor="end"))  # fmt: skip
    return "".join(parts)


def _grid_x(table: Table, x_of: Axis, y: float, size: float) -> str:
    low, high = float(table.counts[0]), float(table.counts[-1])
    step = nice_step(high - low, 5)
    parts = [svg.line(float(x_of(low)), y, float(x_of(high)), y, 1.4)]
    for k in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1):
        x = float(x_of(k * step))
        parts.append(svg.line(x, y, x, y + 7, 1.4))
        parts.append(svg.words(f"{k * step:g}", x, y + 22, size, anchor="middle"))
    return "".join(parts)
