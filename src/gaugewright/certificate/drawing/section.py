"""The tank in section, to scale: cut walls hatched, the probe in it, fuel to its level."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.cut import Across, cut
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column

Floats = npt.NDArray[np.float64]

LEAST_WALL_PX = 8.0
"""A wall is drawn at least this thick, or its hatch could not be seen. [px]"""


@dataclass(frozen=True, eq=False)
class Section:
    """A tank cut at the probe's place, in its own millimetres."""

    outlines: tuple[Floats, ...]
    """Closed outlines, (horizontal, z) corners. [mm]"""
    across: Across
    wall_mm: float
    """Thickness of the wall if it is known, else 0. [mm]"""
    probe_at_mm: float | None
    """Where the probe stands, horizontally; ``None`` without a probe. [mm]"""
    bottom_mm: float
    """Lowest inside point under the probe, as height above the tank's lowest. [mm]"""
    roof_mm: float
    """Highest inside point above the probe. [mm]"""
    tip_mm: float | None
    """Height of the probe's tip. [mm]"""
    blind_mm: float | None
    """Height at which the probe's active length ends. [mm]"""

    @property
    def left_mm(self) -> float:
        """Where the section begins. [mm]"""
        return min(float(loop[:, 0].min()) for loop in self.outlines)

    @property
    def right_mm(self) -> float:
        """Where it ends. [mm]"""
        return max(float(loop[:, 0].max()) for loop in self.outlines)

    @property
    def top_mm(self) -> float:
        """Its highest point. [mm]"""
        return max(float(loop[:, 1].max()) for loop in self.outlines)


def section_of(tank: Tank, probe: Probe | None, across: Across | None = None) -> Section:
    """Cut a described tank through its probe, or through its middle without one.

    A stepped tank is cut along its length unless ``across`` says otherwise, all others
    over their width.  Raises `InputError` for a probe outside the tank.

    >>> tank = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)
    >>> section = section_of(tank, Probe(600, 300, tip_clearance_mm=20, active_length_mm=550))
    >>> round(section.top_mm), section.tip_mm, section.blind_mm
    (600, 20.0, 570.0)
    """
    solid = solid_of(tank)
    if across is None:
        across = "y" if tank.shape == "stepped" else "x"
    axis = 0 if across == "x" else 1
    middle = 0.5 * (solid.vertices.min(axis=0) + solid.vertices.max(axis=0))
    place = middle[:2] if probe is None else np.array([probe.x_mm, probe.y_mm])
    bottom, roof = column(solid, float(place[0]), float(place[1]))
    tip = None if probe is None else round(bottom, 9) + probe.tip_clearance_mm
    return Section(
        outlines=cut(solid, across, float(place[axis])),
        across=across,
        wall_mm=tank.wall_mm or 0.0,
        probe_at_mm=None if probe is None else float(place[1 - axis]),
        bottom_mm=bottom,
        roof_mm=roof,
        tip_mm=tip,
        blind_mm=None if tip is None or probe is None else tip + probe.active_length_mm,
    )


@dataclass(frozen=True, slots=True)
class Frame:
    """How millimetres become drawing units, and the window through which the tank is seen."""

    scale: float
    """Drawing units for each millimetre. [px/mm]"""
    x0: float
    """Where horizontal 0 mm lies. [px]"""
    y0: float
    """Where height 0 mm lies; heights go up, the drawing goes down. [px]"""
    left: float
    right: float
    """The window: beyond it the tank is broken off. [px]"""

    def x(self, mm: float) -> float:
        """Horizontal place. [px]"""
        return self.x0 + mm * self.scale

    def y(self, mm: float) -> float:
        """Place of a height. [px]"""
        return self.y0 - mm * self.scale

    def points(self, outline: Floats) -> Floats:
        """Turn an outline into drawing units. [px]"""
        result: Floats = outline * [self.scale, -self.scale] + [self.x0, self.y0]
        return result


@dataclass(frozen=True, slots=True)
class Surface:
    """Where the fuel stands: its level at the probe and its slope over the section."""

    level_mm: float | None
    """Height of the surface at the probe's place; ``None`` where nobody knows. [mm]"""
    slope: float = 0.0
    """Rise for each unit of horizontal way; the surface stays level, the tank leans."""


def tank_drawing(
    section: Section, frame: Frame, surface: Surface, names: str, over: str = ""
) -> tuple[str, str]:
    """Give the definitions and the shapes of a tank in section.

    ``names`` begins every id, so that several drawings may stand on one page; ``over``
    is drawn inside the tank, above the fuel.  The moving parts have ``data-part`` and
    stand at level 0 until a ``translate`` lifts them.
    """
    wall = max(section.wall_mm * frame.scale, LEAST_WALL_PX)
    loops = [frame.points(outline) for outline in section.outlines]
    shape = svg.polygon_path(loops)
    is_broken = (
        frame.x(section.left_mm) - wall < frame.left - 1
        or frame.x(section.right_mm) + wall > frame.right + 1
    )
    tall = frame.y(section.top_mm) - wall - 4
    deep = frame.y(0) + wall + 4
    window = svg.rect(frame.left, tall, frame.right - frame.left, deep - tall)
    defs = (
        svg.hatch(f"{names}-hatch")
        + svg.fuel_pattern(f"{names}-liquid")
        + svg.element("path", d=shape, id=f"{names}-shape")
        + svg.element("clipPath", _shape(names, clip_rule="evenodd"), id=f"{names}-in")
        + svg.element("clipPath", window, id=f"{names}-window")
    )
    at = section.probe_at_mm
    middle = 0.5 * (section.left_mm + section.right_mm) if at is None else at
    body = svg.group(
        _walls(wall, names),
        svg.group(
            _fuel(section, frame, surface, middle, names), over, clip_path=f"url(#{names}-in)"
        ),
        _shape(names, fill="none", class_="s-ink", stroke=svg.INK, stroke_width=1.6),
        clip_path=f"url(#{names}-window)",
    )
    if is_broken:
        body += _break_line(frame.left, tall, deep) + _break_line(frame.right, tall, deep)
    if at is not None:
        body += _probe(section, frame, surface, wall, names)
    return defs, body


def lifted(frame: Frame, level_mm: float | None) -> str:
    """Give the ``transform`` that lifts what is drawn at level 0 to a level."""
    return f"translate(0 {svg.figure(-(level_mm or 0.0) * frame.scale)})"


def _shape(names: str, **attributes: str | float | None) -> str:
    """Draw the tank's outline once more; it stands among the definitions."""
    return svg.element("use", href=f"#{names}-shape", **attributes)


def _walls(wall: float, names: str) -> str:
    """Draw the cut wall around the inside: an ink edge, hatch on it, the inside blank."""
    strokes = ((2 * wall + 3.2, "s-ink", svg.INK), (2 * wall, "s-paper", svg.PAPER))
    under = "".join(
        _shape(names, fill="none", class_=name, stroke=colour, stroke_width=width)
        for width, name, colour in strokes
    )
    hatched = _shape(names, fill="none", stroke=f"url(#{names}-hatch)", stroke_width=2 * wall)
    blank = _shape(names, class_="f-paper", fill=svg.PAPER, fill_rule="evenodd")
    return under + hatched + blank


def _fuel(section: Section, frame: Frame, surface: Surface, middle: float, names: str) -> str:
    """Draw the fuel at level 0 on its slope, lifted to its level."""
    reach = section.right_mm - section.left_mm
    left, right = section.left_mm - reach, section.right_mm + reach
    top = np.array(
        [
            [left, surface.slope * (left - middle)],
            [right, surface.slope * (right - middle)],
        ]
    )
    deep = min(float(top[:, 1].min()), 0.0) - 2 * section.top_mm
    corners = frame.points(np.vstack([top, [[right, deep], [left, deep]]]))
    edge = frame.points(top)
    return svg.group(
        svg.element("path", d=svg.polygon_path([corners]), fill=f"url(#{names}-liquid)"),
        svg.line(edge[0, 0], edge[0, 1], edge[1, 0], edge[1, 1], 2.2),
        class_="fuel" if surface.level_mm is not None else "fuel unknown",
        data_part="level",
        transform=lifted(frame, surface.level_mm),
    )


def _probe(section: Section, frame: Frame, surface: Surface, wall: float, names: str) -> str:
    assert section.probe_at_mm is not None
    assert section.tip_mm is not None
    x = frame.x(section.probe_at_mm)
    half = 7.0
    roof, tip = frame.y(section.roof_mm), frame.y(section.tip_mm)
    flange = roof - wall - 8
    tube = f"{names}-tube"
    clip = svg.element(
        "clipPath", svg.rect(x - half + 2.5, roof, 2 * half - 5, tip - roof - 2), id=tube
    )
    wet = svg.group(
        svg.rect(
            x - half, frame.y0, 2 * half, section.top_mm * frame.scale, fill="fuelline", opacity=0.7
        ),
        class_="fuel" if surface.level_mm is not None else "fuel unknown",
        data_part="level",
        transform=lifted(frame, surface.level_mm),
    )
    head = f"M{svg.figure(x - 17)},{svg.figure(flange)}v-18a6,6 0 0 1 6,-6h22a6,6 0 0 1 6,6v18z"
    ends = [roof, tip] if section.blind_mm is None else [roof, tip, frame.y(section.blind_mm)]
    active = svg.line(x - half - 4, ends[-1], x + half + 4, ends[-1], 1, dash="3 2")
    return (
        svg.element("defs", clip)
        + svg.rect(x - half, roof - wall, 2 * half, tip - roof + wall,
                   fill="paper", edge="ink", edge_width=1.6)
        + svg.group(wet, clip_path=f"url(#{tube})")
        + (active if section.blind_mm is not None and section.blind_mm < section.roof_mm else "")
        + svg.rect(x - 27, flange, 54, 8, fill="paper", edge="ink", edge_width=1.6)
        + svg.element("path", d=head, class_="f-paper s-ink", fill=svg.PAPER,
                      stroke=svg.INK, stroke_width=1.6)
        + svg.line(x, flange - 34, x, frame.y(0) + wall + 10, 0.9, dash="14 4 3 4")
    )  # fmt: skip


def _break_line(x: float, top: float, bottom: float) -> str:
    """Draw the line at which a drawing is broken off: straight, with a zigzag in it."""
    middle = 0.5 * (top + bottom)
    points = np.array(
        [
            [x, top],
            [x, middle - 9],
            [x - 4, middle - 3],
            [x + 4, middle + 3],
            [x, middle + 9],
            [x, bottom],
        ]
    )
    return svg.element(
        "path", d=svg.polyline_path(points), fill="none",
        class_="s-ink", stroke=svg.INK, stroke_width=1,
    )  # fmt: skip
