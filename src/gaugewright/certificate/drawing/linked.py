"""Tanks that a balance pipe makes one: their sections side by side, one level through all."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.section import (
    LEAST_WALL_PX,
    Frame,
    Section,
    Surface,
    lifted,
    tank_drawing,
)
from gaugewright.certificate.drawing.sheet import (
    Landing,
    landing_line,
    landing_mark,
    with_landing,
)
from gaugewright.certificate.drawing.tape import ROLES, Mark, TapeStyle, label_room, tape_drawing
from gaugewright.probe import Probe
from gaugewright.units import LengthUnit

HEAD_PX, FOOT_PX, PIPE_PX = 58.0, 40.0, 7.0
GAP_PX = 34.0
"""Between two tanks: room for the pipe. [px]"""
TAPE_PX, TO_TAPE_PX, TICK_PX = 62.0, 30.0, 8.0


@dataclass(frozen=True, eq=False)
class LinkedSheet:
    """What the drawing of linked tanks shows."""

    sections: Sequence[Section]
    names: Sequence[str]
    """What each tank is called, in the order of the sections."""
    probe: Probe | None
    """The probe of the one tank that has it."""
    surfaces: Sequence[Surface]
    """The common level, above the lowest point of every tank, and its slope in each."""
    label: str
    """One sentence for those who cannot see the drawing."""
    level_words: str = ""
    marks: Sequence[Mark] = ()
    """The pours, each at the level at which the fuel stood in all tanks after it."""
    landing: Landing | None = None
    length_unit: LengthUnit = "mm"


def linked_drawing(
    sheet: LinkedSheet, names: str, width: float, height: float, size: float, css_class: str,
    *, has_tape: bool = False,
) -> str:  # fmt: skip
    """Draw the tanks to one scale on one floor, as the fit takes them, and the pipe between.

    The pipe is a sign, not to scale: nobody measures where it runs.  Where there is no room
    for a tape, a tick stands at the last tank's wall for each pour.

    >>> from gaugewright.certificate.drawing.section import section_of
    >>> from gaugewright.tank.description import Tank
    >>> tank = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
    >>> pair = LinkedSheet([section_of(tank, None)] * 2, ["left", "right"], None,
    ...                    [Surface(120)] * 2, "Two tanks.", "120 mm")
    >>> drawn = linked_drawing(pair, "n", 204, 250, 14, "dwg narrow")
    >>> drawn.count('data-part="pipe"'), drawn.count(">left<"), drawn.count(">120 mm<")
    (1, 1, 1)
    """
    sections = sheet.sections
    across = [section.right_mm - section.left_mm for section in sections]
    tall_mm = max(section.top_mm for section in sections)
    walls = 2 * LEAST_WALL_PX * len(sections)
    all_marks = with_landing(sheet.marks, sheet.landing)
    beside = TICK_PX if all_marks else 0.0
    if has_tape:
        beside = TO_TAPE_PX + TAPE_PX + label_room(all_marks, size)
    for_tanks = width - 12 - walls - GAP_PX * (len(sections) - 1) - beside
    scale = min(for_tanks / sum(across), (height - HEAD_PX - FOOT_PX) / tall_mm)
    y0 = HEAD_PX + LEAST_WALL_PX + tall_mm * scale
    left = 6.0 + 0.5 * (for_tanks - sum(across) * scale)
    defs, bodies, frames = "", [], []
    for place, (section, surface) in enumerate(zip(sections, sheet.surfaces, strict=True)):
        # Its wall is drawn thin, however thick: what counts here is that two are one.
        wide = across[place] * scale + 2 * LEAST_WALL_PX
        start = left + LEAST_WALL_PX - section.left_mm * scale
        frame = Frame(scale, start, y0, left - 2, left + wide + 2)
        mark = "" if sheet.landing is None else landing_mark(sheet.landing, frame, section)
        more, body = tank_drawing(section, frame, surface, f"{names}-{place}", mark)
        middle = left + 0.5 * wide
        bodies.append(
            body
            + svg.words(sheet.names[place], middle, y0 + LEAST_WALL_PX + size + 6, size,
                        anchor="middle")
        )  # fmt: skip
        defs += more
        frames.append(frame)
        left += wide + GAP_PX
    scales = _ticks(frames[-1], sections[-1], all_marks)
    if has_tape:
        style = TapeStyle(width - beside + TO_TAPE_PX - 8, TAPE_PX, 16.0, size, width)
        scales = tape_drawing(
            frames[-1], tall_mm, all_marks, style, sheet.length_unit,
            sheet.surfaces[-1].level_mm, is_live=sheet.probe is not None,
        )  # fmt: skip
        if sheet.landing is not None:
            scales += landing_line(sheet.landing, frames[-1], sections[-1], style.x)
    return svg.drawing(
        width, y0 + LEAST_WALL_PX + FOOT_PX, sheet.label, *bodies,
        *(_pipe(one, two) for one, two in pairwise(zip(frames, sections, strict=True))),
        _level(frames, sheet, size), scales,
        css_class=css_class, defs=defs, data=_moving(sheet, frames[0]),
    )  # fmt: skip


def _pipe(one: tuple[Frame, Section], two: tuple[Frame, Section]) -> str:
    """Draw the pipe through the walls that face each other, near the floor."""
    (here, section), (there, other) = one, two
    y = here.y0 - PIPE_PX - 3
    z_mm = (here.y0 - y - 0.5 * PIPE_PX) / here.scale
    left, right = here.x(_sides_mm(section, z_mm)[1]), there.x(_sides_mm(other, z_mm)[0])
    return svg.group(
        svg.rect(left, y, right - left, PIPE_PX, fill="fuel"),
        svg.line(left, y, right, y, 1.6),
        svg.line(left, y + PIPE_PX, right, y + PIPE_PX, 1.6),
        data_part="pipe",
    )  # fmt: skip


def _ticks(frame: Frame, section: Section, marks: Sequence[Mark]) -> str:
    """Draw a tick at a tank's right wall for each pour, the next one's with its words."""
    x = frame.x(section.right_mm) + LEAST_WALL_PX
    ticks = [
        svg.line(
            x, frame.y(mark.level_mm), x + TICK_PX, frame.y(mark.level_mm), 2.0, ROLES[mark.kind]
        )
        for mark in marks
    ]
    ticks += [
        svg.words(mark.label, frame.right, frame.y(mark.level_mm) - 5, 13, "draft", anchor="end",
                  bold=True, halo=True)
        for mark in marks
        if mark.kind == "predicted"
    ]  # fmt: skip
    return svg.group(*ticks, class_="ticks") if ticks else ""


def _sides_mm(section: Section, z_mm: float) -> tuple[float, float]:
    """Return where the inside begins and ends at a height. [mm]"""
    found: list[float] = []
    for loop in section.outlines:
        ahead = np.roll(loop, -1, axis=0)
        crosses = (loop[:, 1] - z_mm) * (ahead[:, 1] - z_mm) < 0
        start, end = loop[crosses], ahead[crosses]
        share = (z_mm - start[:, 1]) / (end[:, 1] - start[:, 1])
        found += (start[:, 0] + share * (end[:, 0] - start[:, 0])).tolist()
    return (min(found), max(found)) if found else (section.left_mm, section.right_mm)


def _level(frames: Sequence[Frame], sheet: LinkedSheet, size: float) -> str:
    """Draw the level common to all as one line through them, its height over the pipe."""
    frame, level_mm = frames[0], sheet.surfaces[0].level_mm
    middle = 0.5 * (frame.right + frames[-1].left)
    return svg.group(
        svg.line(frame.left, frame.y0, frames[-1].right, frame.y0, 1.2, "draft", "9 5"),
        svg.words(sheet.level_words, middle, frame.y0 - 6, size, bold=True, anchor="middle",
                  extra="level-words", halo=True),
        class_="fuel" if level_mm is not None else "fuel unknown",
        data_part="level",
        transform=lifted(frame, level_mm),
    )  # fmt: skip


def _moving(sheet: LinkedSheet, frame: Frame) -> dict[str, str | float]:
    """Say how counts become a place in the drawing, for a page that moves the fuel."""
    data: dict[str, str | float] = {"scale": frame.scale, "y0": frame.y0}
    measured = next((s for s in sheet.sections if s.tip_mm is not None), None)
    if sheet.probe is not None and measured is not None and measured.tip_mm is not None:
        data |= {
            "counts-empty": sheet.probe.counts_empty,
            "mm-per-count": sheet.probe.mm_per_count,
            "tip-mm": measured.tip_mm,
            "roof-mm": measured.roof_mm,
        }
    return data
