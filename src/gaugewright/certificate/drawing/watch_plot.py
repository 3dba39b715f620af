"""A vehicle in service: litres with their band over time, what happened, speed, ignition."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from itertools import pairwise
from math import ceil, floor
from typing import Literal

import numpy as np
import numpy.typing as npt

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.plot import Axis, nice_step
from gaugewright.certificate.drawing.times import time_ticks
from gaugewright.watch.thinned import View

Floats = npt.NDArray[np.float64]
MarkKind = Literal["refuel", "drain", "undecided"]
LANES: tuple[MarkKind, ...] = ("refuel", "drain", "undecided")


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened, where it stands in time and how many litres it was. [s, L]"""

    kind: MarkKind
    start_s: float
    end_s: float
    litres: float
    is_explained: bool = False


@dataclass(frozen=True, slots=True)
class WatchWords:
    """What is written on the drawing, in the reader's language and unit."""

    label: str
    litres: str
    speed: str
    ignition: str
    lanes: tuple[str, str, str]
    """Names of the lanes of refuels, drains and what cannot be decided."""
    zone_name: str = "UTC"
    zone: tzinfo = UTC
    per_litre: float = 1.0
    """Reader's units in one litre."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the parts of the drawing stand. [px]"""

    left: float
    right: float
    lanes: float
    top: float
    bottom: float
    speed: tuple[float, float]
    ignition: tuple[float, float]
    size: float


def watch_plot(
    seen: View, marks: Sequence[Mark], text: WatchWords,
    width: float = 900, height: float = 560, css_class: str = "dwg plot wide",
) -> str:  # fmt: skip
    """Draw a stretch of a vehicle's service.

    The band is the table's; how far the readings scatter about the mean is drawn as what it
    is, from the lowest to the highest of each pixel.

    >>> from gaugewright.table.table import Table
    >>> from gaugewright.watch.thinned import thin_track, view
    >>> from gaugewright.watch.values import Track
    >>> track = Track("T-7", np.arange(0, 600.0, 10), np.full(60, 500.0), *np.zeros((2, 60)))
    >>> thinned = thin_track(track, Table(np.array([0, 999]), np.array([0, 400.0]), None))
    >>> words = WatchWords("Ten minutes.", "L", "km/h", "ignition", ("in", "out", "open"))
    >>> "Ten minutes." in watch_plot(view(thinned, 0, 600, 100), [], words)
    True
    """
    at = _places(width, height)
    x_of = Axis(seen.from_s, seen.to_s, at.left, at.right)
    low, top = _levels(seen, text.per_litre)
    y_of = Axis(low, top, at.bottom, at.top)
    parts = [
        _time_axis(seen, x_of, at, text),
        _level_grid(low, top, y_of, at, text.litres),
        _envelopes(seen, x_of, y_of, text.per_litre),
        _lanes(seen, marks, x_of, at, text),
        _speed(seen, x_of, at, text.speed),
        _ignition(seen, x_of, at, text.ignition),
    ]
    return svg.drawing(width, height, text.label, *parts, css_class=css_class)


def _places(width: float, height: float) -> _Place:
    is_wide = width >= 600
    size = 14.0 if is_wide else 13.0
    left, right = (66.0, width - 18.0) if is_wide else (52.0, width - 10.0)
    foot = height - 40.0
    lanes, top = 26.0, 128.0
    return _Place(
        left, right, lanes, top, foot - 0.29 * (height - 170.0),
        (foot - 0.21 * (height - 170.0), foot - 36.0), (foot - 16.0, foot), size,
    )  # fmt: skip


def _levels(seen: View, per_litre: float) -> tuple[float, float]:
    """Return the lowest and highest level of the axis; from zero where much of it is used."""
    u_l = np.zeros_like(seen.mean_l) if seen.u_l is None else seen.u_l
    if np.isnan(seen.mean_l).all():
        return 0.0, 1.0
    low = float(np.nanmin(np.fmin(seen.low_l, seen.mean_l - u_l))) * per_litre
    high = float(np.nanmax(np.fmax(seen.high_l, seen.mean_l + u_l))) * per_litre
    room = max(0.06 * (high - low), 0.5)
    return (0.0 if low < 0.5 * high else low - room), high + room


def _level_grid(low: float, top: float, y_of: Axis, at: _Place, unit: str) -> str:
    step = nice_step(top - low, 6)
    parts = [svg.words(unit, at.left, at.top - 7, at.size, "soft")]
    for k in range(ceil(low / step - 1e-9), floor(top / step + 1e-9) + 1):
        y = float(y_of(k * step))
        parts.append(svg.line(at.left, y, at.right, y, 0.5, "soft"))
        parts.append(
            svg.words(f"{k * step:g}", at.left - 8, y + 0.35 * at.size, at.size, anchor="end")
        )
    return "".join(parts)


def _runs(seen: View, values: Floats) -> Iterator[slice]:
    """Give the stretches over which a line may be drawn."""
    is_break = seen.is_apart | np.isnan(values) | np.r_[False, np.isnan(values[:-1])]
    starts = np.unique(np.r_[0, np.flatnonzero(is_break), values.size])
    for a, b in pairwise(starts):
        if b > a and not np.isnan(values[a]):
            yield slice(a, b)


def _envelopes(seen: View, x_of: Axis, y_of: Axis, per_litre: float) -> str:
    bands, scatter, lines = [], [], []
    x = x_of(seen.time_s)
    mean, low, high = (y_of(v * per_litre) for v in (seen.mean_l, seen.low_l, seen.high_l))
    for run in _runs(seen, seen.mean_l):
        scatter.append(_between(x[run], low[run], high[run]))
        lines.append(np.column_stack(_widened(x[run], mean[run])))
        if seen.u_l is not None:
            u = seen.u_l[run] * per_litre * y_of.slope
            bands.append(_between(x[run], mean[run] - u, mean[run] + u))
    return "".join([
        svg.element("path", d=_outlines(bands), class_="f-draft", fill=svg.DRAFT,
                    fill_opacity=0.22) if bands else "",
        svg.element("path", d=_outlines(scatter), class_="f-fuel s-fuelline",
                    fill=svg.FUEL, stroke=svg.FUEL_LINE, stroke_width=1) if scatter else "",
        svg.element("path", d="".join(_line_path(line) for line in lines), fill="none",
                    class_="s-ink", stroke=svg.INK, stroke_width=1.6) if lines else "",
    ])  # fmt: skip


def _line_path(points: Floats) -> str:
    """Give the ``d`` of an open line: thousands of points, a tenth of a pixel is enough."""
    return "M" + "L".join([f"{x:.1f},{y:.1f}" for x, y in points.tolist()])


def _outlines(loops: Sequence[Floats]) -> str:
    return "".join(f"{_line_path(loop)}Z" for loop in loops)


def _widened(x: Floats, *values: Floats) -> tuple[Floats, ...]:
    """Make a single point long enough to be seen."""
    if x.size > 1:
        return (x, *values)
    return (np.array([x[0] - 1, x[0] + 1]), *(np.repeat(v, 2) for v in values))


def _between(x: Floats, low: Floats, high: Floats) -> Floats:
    wide, low, high = _widened(x, low, high)
    return np.vstack([np.column_stack([wide, high]), np.column_stack([wide, low])[::-1]])


def _lanes(seen: View, marks: Sequence[Mark], x_of: Axis, at: _Place, text: WatchWords) -> str:
    parts = []
    for row, (kind, name) in enumerate(zip(LANES, text.lanes, strict=True)):
        y = at.lanes + 30.0 * row
        shown = [m for m in marks if m.kind == kind and seen.from_s <= m.end_s
                 and m.start_s <= seen.to_s]  # fmt: skip
        if kind == "undecided" and not shown:
            continue
        shown.sort(key=lambda mark: mark.start_s)
        middle = x_of(np.array([0.5 * (m.start_s + m.end_s) for m in shown]))
        places = [*np.clip(middle, at.left, at.right).tolist(), at.right + 7.0]
        parts.append(svg.line(at.left, y, at.right, y, 0.5, "soft"))
        for mark, x, following in zip(shown, places[:-1], places[1:], strict=True):
            if kind != "undecided":
                parts.append(svg.line(x, y + 8, x, at.bottom, 0.8, "soft", dash="2 4"))
            parts.append(mark_shape(kind, x, y, mark.is_explained))
            label = _litres_words(mark, text)
            if x + 10 + 0.62 * at.size * len(label) < following - 7:
                parts.append(svg.words(label, x + 10, y + 5, at.size, halo=True))
        head = f"{name}: {len(shown)}"
        parts.append(svg.words(head, at.left, y - 11, at.size - 2, "soft", halo=True))
    return "".join(parts)


def _litres_words(mark: Mark, text: WatchWords) -> str:
    sign = {"refuel": "+", "drain": "\N{MINUS SIGN}", "undecided": "?"}[mark.kind]
    return f"{sign}{abs(mark.litres) * text.per_litre:.0f}"


def mark_shape(kind: MarkKind, x: float, y: float, is_hollow: bool = False) -> str:
    """Draw the sign of an event: a triangle up, one down, or a diamond."""
    paths = {"refuel": "l7,12h-14z", "drain": "l-7,-12h14z", "undecided": "l7,7l-7,7l-7,-7z"}
    shift = {"refuel": -7.0, "drain": 7.0, "undecided": -7.0}[kind]
    role, colour = {"refuel": ("good", svg.GOOD), "drain": ("stop", svg.STOP),
                    "undecided": ("warn", svg.WARN)}[kind]  # fmt: skip
    d = f"M{svg.figure(x)},{svg.figure(y + shift)}{paths[kind]}"
    fill = ("f-sheet", svg.SHEET) if is_hollow else (f"f-{role}", colour)
    return svg.element("path", d=d, class_=f"{fill[0]} s-{role}", fill=fill[1], stroke=colour,
                       stroke_width=2, stroke_linejoin="round")  # fmt: skip


def _speed(seen: View, x_of: Axis, at: _Place, unit: str) -> str:
    top, bottom = at.speed
    known = seen.speed_kmh[~np.isnan(seen.speed_kmh)]
    most = max(float(known.max()) if known.size else 0.0, 10.0)
    y_of = Axis(0.0, most * 1.05, bottom, top)
    x, y = x_of(seen.time_s), y_of(seen.speed_kmh)
    runs = [np.column_stack([x[run], y[run]]) for run in _runs(seen, seen.speed_kmh)]
    line = "".join(_line_path(run) for run in runs if len(run) > 1)
    step = nice_step(most, 2)
    figures = [svg.words(f"{k * step:g}", at.left - 8, float(y_of(k * step)) + 5, at.size,
                         anchor="end") for k in range(int(most / step) + 1)]  # fmt: skip
    return "".join([
        svg.words(unit, at.left, top - 5, at.size, "soft"),
        svg.line(at.left, bottom, at.right, bottom, 0.8, "soft"),
        *figures,
        svg.element("path", d=line, fill="none", class_="s-soft", stroke=svg.SOFT,
                    stroke_width=1.2) if line else "",
    ])  # fmt: skip


def _ignition(seen: View, x_of: Axis, at: _Place, name: str) -> str:
    top, bottom = at.ignition
    half = 0.5 * (at.right - at.left) / max(seen.time_s.size, 1)
    x = x_of(seen.time_s)
    bars = []
    for run in _runs(seen, seen.ignition):
        share = seen.ignition[run]
        edges = np.r_[x[run][0] - min(half, 2), 0.5 * (x[run][1:] + x[run][:-1]),
                      x[run][-1] + min(half, 2)]  # fmt: skip
        bars += [
            np.array([[a, bottom], [a, bottom - h], [b, bottom - h], [b, bottom]])
            for a, b, h in zip(edges, edges[1:], share * (bottom - top), strict=False)
            if h > 0
        ]
    return "".join([
        svg.element("path", d=_outlines(bars), class_="f-soft", fill=svg.SOFT)
        if bars else "",
        svg.words(name, at.left, top - 4, at.size - 1, "soft", halo=True),
    ])  # fmt: skip


def _time_axis(seen: View, x_of: Axis, at: _Place, text: WatchWords) -> str:
    foot = at.ignition[1]
    most = max(2, int((at.right - at.left) / (5.6 * at.size)))
    parts = [svg.line(at.left, foot, at.right, foot, 1.4)]
    for tick in time_ticks(seen.from_s, seen.to_s, most, text.zone):
        x = float(x_of(tick.time_s))
        parts.append(svg.line(x, at.top, x, foot, 0.4, "soft"))
        parts.append(svg.line(x, foot, x, foot + 6, 1.4))
        if at.left + 2 * at.size < x < at.right - 2 * at.size:
            parts.append(svg.words(tick.label, x, foot + 20, at.size, anchor="middle"))
    span = f"{_day(seen.from_s, text.zone)} – {_day(seen.to_s, text.zone)} {text.zone_name}"
    parts.append(svg.words(span, at.right, foot + 36, at.size - 1, "soft", anchor="end"))
    return "".join(parts)


def _day(time_s: float, zone: tzinfo) -> str:
    return f"{datetime.fromtimestamp(time_s, zone):%Y-%m-%d %H:%M}"
