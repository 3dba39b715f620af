"""The drawing of a fill: the tank in section and the tape beside it, wide or narrow."""

from collections.abc import Sequence
from dataclasses import dataclass

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.section import (
    LEAST_WALL_PX,
    Frame,
    Section,
    Surface,
    lifted,
    tank_drawing,
)
from gaugewright.certificate.drawing.tape import Mark, TapeStyle, label_room, tape_drawing
from gaugewright.probe import Probe
from gaugewright.units import LengthUnit

HEAD_PX = 58.0
"""Room above the tank for the probe's head. [px]"""


@dataclass(frozen=True, slots=True)
class Landing:
    """Where the fuel should stand after the next pour."""

    level_mm: float
    u_mm: float | None
    label: str = ""


@dataclass(frozen=True, eq=False)
class Sheet:
    """What the drawing of a fill shows."""

    section: Section
    probe: Probe | None
    surface: Surface
    marks: tuple[Mark, ...]
    landing: Landing | None
    label: str
    """One sentence for those who cannot see the drawing."""
    level_words: str = ""
    """The level as words, written above the surface; empty for none."""
    tip_words: str = ""
    """The clearance under the tip in words."""
    length_unit: LengthUnit = "mm"

    @property
    def all_marks(self) -> tuple[Mark, ...]:
        """The ticks of the tape, the prediction last."""
        return with_landing(self.marks, self.landing)


def with_landing(marks: Sequence[Mark], landing: Landing | None) -> tuple[Mark, ...]:
    """Return the ticks of a tape, the prediction last."""
    if landing is None:
        return tuple(marks)
    return (*marks, Mark(landing.level_mm, landing.u_mm, landing.label, "predicted"))


def wide_sheet(sheet: Sheet, names: str, width: float = 700, height: float = 640) -> str:
    """Draw the whole section with the tape to its right.

    >>> from gaugewright.certificate.drawing.section import section_of
    >>> from gaugewright.tank.description import Tank
    >>> probe = Probe(500, 300, tip_clearance_mm=20, active_length_mm=460)
    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> sheet = Sheet(section_of(tank, probe), probe, Surface(120), (), None, "A tank.")
    >>> wide_sheet(sheet, "w").startswith('<svg xmlns="http://www.w3.org/2000/svg"')
    True
    """
    section, marks = sheet.section, sheet.all_marks
    size, tape = 20.0, 62.0
    room = label_room(marks, size)
    across = section.right_mm - section.left_mm
    left, gap = 16.0, 44.0
    for_tank = width - left - gap - tape - room - 8
    wall = LEAST_WALL_PX
    scale = min((for_tank - 2 * wall) / across, (height - HEAD_PX - 2 * wall - 26) / section.top_mm)
    wall = max(wall, section.wall_mm * scale)
    drawn = across * scale + 2 * wall
    tall = section.top_mm * scale + HEAD_PX + 2 * wall + 26
    y0 = HEAD_PX + wall + section.top_mm * scale + 4
    frame = Frame(scale, left + wall - section.left_mm * scale, y0, left - 2, left + drawn + 2)
    style = TapeStyle(left + drawn + gap, tape, 16.0, size, width)
    total = style.x + tape + room + 8
    return _drawn(sheet, frame, style, names, total, tall, "dwg wide", has_words=True)


def narrow_sheet(sheet: Sheet, names: str, width: float = 204, height: float = 250) -> str:
    """Draw the tape large and of the tank only the part around the probe, for a phone."""
    section, marks = sheet.section, sheet.all_marks
    size, tape, gap = 14.0, 42.0, 16.0
    room = label_room(marks, size)
    window = max(width - tape - gap - room - 2, 46.0)
    head = 50.0
    scale = (height - head - 2 * LEAST_WALL_PX - 10) / section.top_mm
    y0 = height - LEAST_WALL_PX - 8
    middle = section.probe_at_mm
    if middle is None:
        middle = 0.5 * (section.left_mm + section.right_mm)
    frame = Frame(scale, 4 + window / 2 - middle * scale, y0, 4, 4 + window)
    style = TapeStyle(4 + window + gap, tape, 12.5, size, width)
    total = max(width, style.x + tape + room)
    return _drawn(sheet, frame, style, names, total, height, "dwg narrow", has_words=False)


def _drawn(
    sheet: Sheet, frame: Frame, style: TapeStyle, names: str, width: float, height: float,
    css_class: str, *, has_words: bool,
) -> str:  # fmt: skip
    section = sheet.section
    mark = "" if sheet.landing is None else landing_mark(sheet.landing, frame, section)
    defs, tank = tank_drawing(section, frame, sheet.surface, names, mark)
    reach = ""
    if sheet.landing is not None:
        reach = landing_line(sheet.landing, frame, section, style.x)
    tape = tape_drawing(
        frame, section.top_mm, sheet.all_marks, style, sheet.length_unit,
        sheet.surface.level_mm, is_live=sheet.probe is not None,
    )  # fmt: skip
    words = _words(sheet, frame) if has_words else ""
    return svg.drawing(
        width, height, sheet.label, tank, reach, words, tape,
        css_class=css_class, defs=defs, data=_moving(sheet, frame),
    )  # fmt: skip


def landing_line(landing: Landing, frame: Frame, section: Section, to_x: float) -> str:
    """Draw the line from where the surface should come to lie to the tape."""
    y = frame.y(landing.level_mm)
    start = min(frame.x(section.right_mm) + LEAST_WALL_PX, frame.right)
    return svg.group(svg.line(start, y, to_x, y, 1.6, "draft", "9 5"), data_part="landing-line")


def landing_mark(landing: Landing, frame: Frame, section: Section) -> str:
    """Draw where the surface should come to lie, and its band."""
    left, right = frame.x(section.left_mm), frame.x(section.right_mm)
    half = max((landing.u_mm or 0.0) * frame.scale, 0.0)
    y = frame.y(landing.level_mm)
    band = svg.rect(left, y - half, right - left, 2 * half, fill="draft", opacity=0.18)
    return svg.group(
        band if landing.u_mm is not None else "",
        svg.line(left, y, right, y, 1.8, "draft", "9 5"),
        data_part="landing",
    )


def _words(sheet: Sheet, frame: Frame) -> str:
    section = sheet.section
    parts = []
    if sheet.level_words and sheet.surface.level_mm is not None:
        near = max(sheet.surface.level_mm, 0.0)
        middle = section.probe_at_mm
        at = frame.left + 120 if middle is None else frame.x(middle) - 20
        parts.append(
            svg.group(
                svg.words(sheet.level_words, at, frame.y0 - 10, 18, bold=True, anchor="end",
                          extra="level-words", halo=True),
                data_part="level",
                transform=lifted(frame, near),
            )
        )  # fmt: skip
    if section.tip_mm is not None and section.probe_at_mm is not None:
        x = frame.x(section.probe_at_mm) + 24
        tip, bottom = frame.y(section.tip_mm), frame.y(section.bottom_mm)
        parts.append(svg.line(x - 10, tip, x + 8, tip, 1))
        parts.append(svg.line(x, tip, x, bottom, 1))
        if sheet.tip_words:
            wide = 0.6 * 15 * len(sheet.tip_words) + 10
            y = min(bottom - 4, 0.5 * (tip + bottom) + 6)
            parts.append(svg.rect(x + 6, y - 15, wide, 20, fill="paper", opacity=0.9))
            parts.append(svg.words(sheet.tip_words, x + 11, y, 15))
    return "".join(parts)


def _moving(sheet: Sheet, frame: Frame) -> dict[str, str | float]:
    """Say how counts become a place in the drawing, for a page that moves the fuel."""
    data: dict[str, str | float] = {"scale": frame.scale, "y0": frame.y0}
    if sheet.probe is not None and sheet.section.tip_mm is not None:
        data |= {
            "counts-empty": sheet.probe.counts_empty,
            "mm-per-count": sheet.probe.mm_per_count,
            "tip-mm": sheet.section.tip_mm,
            "roof-mm": sheet.section.roof_mm,
        }
    return data


def sheets(sheet: Sheet, names: str) -> Sequence[str]:
    """Give the drawing wide and narrow."""
    return wide_sheet(sheet, f"{names}-w"), narrow_sheet(sheet, f"{names}-n")
