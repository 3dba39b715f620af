"""From the pictures of a job to its drawings, in the reader's words and units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from gaugewright.app.pictures import LandingPicture, PourPicture, TankPicture, VerdictPicture
from gaugewright.app.scales import over_top_mm
from gaugewright.certificate.drawing.linked import LinkedSheet, linked_drawing
from gaugewright.certificate.drawing.plot import PlotWords, Point, table_plot
from gaugewright.certificate.drawing.section import Section, Surface, section_of
from gaugewright.certificate.drawing.sheet import Landing, Sheet, narrow_sheet, wide_sheet
from gaugewright.certificate.drawing.tape import Mark, MarkKind
from gaugewright.errors import InputError
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank, tank_from_mapping
from gaugewright.tank.levels import slope_of
from gaugewright.tank.unknown_shape import is_unknown_shape, unknown_shape_from_mapping
from gaugewright.units import from_litres
from gaugewright.workbench.words import Figures, Say


@dataclass(frozen=True, slots=True)
class Drawn:
    """The same drawing for a wide and for a narrow screen, as SVG."""

    wide: str
    narrow: str
    over_top_mm: float = 0.0
    """How far the probe's active length reaches above the inside of the tank."""


def tank_and_probe(
    tank: Mapping[str, Any], probe: Mapping[str, Any]
) -> tuple[Tank | None, Probe | None]:
    """Read a described tank and probe; ``None`` where nothing is described.

    Raises `InputError` for what is no tank, and for a mesh: the workbench opens no file
    that it is told the name of.
    """
    if "mesh_file" in tank:
        raise InputError("a mesh cannot be drawn here", field="mesh_file")
    body = None if not tank or is_unknown_shape(tank) else tank_from_mapping(tank)
    return body, probe_from_mapping(dict(probe)) if probe else None


def fill_drawing(
    picture: TankPicture, verdict: VerdictPicture | None, write: Figures, say: Say
) -> Drawn | None:
    """Draw a tank with its pours and the next one; ``None`` if there is nothing to draw.

    Linked tanks have no single section: see `linked_tanks_drawing`.  A tank that cannot be
    drawn says why in its ``problem``; the drawing is then left out.
    """
    try:
        tank, probe = tank_and_probe(picture.tank, picture.probe)
        if tank is None:
            return None
        section = section_of(tank, probe)
    except InputError:
        if picture.problem is None:
            raise
        return None
    pours = () if picture.fill is None else picture.fill.pours
    marks = _marks(pours, verdict, section, write)
    last = next((p for p in reversed(pours) if p.voided is None), None)
    slope = 0.0 if last is None else slope_in(section, last.pitch_deg, last.roll_deg)
    surface = Surface(_height(section, None if last is None else last.level_mm), slope)
    if not pours:
        marks = _planned(picture, probe, section, write)
    coming = None if verdict is None or verdict.blocks else verdict.next
    sheet = Sheet(
        section=section,
        probe=probe,
        surface=surface,
        marks=marks,
        landing=_landing(coming, last, section, write),
        label=_sentence(picture, pours, surface, coming, write, say),
        level_words="" if surface.level_mm is None else write.length(surface.level_mm),
        tip_words=_tip_words(probe, write, say),
        length_unit=write.units.length_unit,
    )
    return _both(sheet, f"d-{picture.tank_id}")


def linked_tanks_drawing(
    picture: TankPicture,
    members: Sequence[TankPicture],
    verdict: VerdictPicture | None,
    write: Figures,
    say: Say,
) -> Drawn | None:
    """Draw linked tanks side by side with the pipe, their common level, pours and the next one.

    ``None`` where one of them has no shape to draw, or none has the probe: then nobody
    knows a level that is common to them.
    """
    try:
        described = [tank_and_probe(each.tank, each.probe) for each in members]
        tanks = [tank for tank, _ in described if tank is not None]
        if not tanks or len(tanks) != len(members):
            return None
        sections = [
            section_of(tank, probe) for tank, (_, probe) in zip(tanks, described, strict=True)
        ]
    except InputError:
        if all(each.problem is None for each in members):
            raise
        return None
    probe = next((probe for _, probe in described if probe is not None), None)
    measured = next((s for s in sections if s.tip_mm is not None), None)
    if measured is None:
        return None
    pours = () if picture.fill is None else picture.fill.pours
    last = next((p for p in reversed(pours) if p.voided is None), None)
    level = _height(measured, None if last is None else last.level_mm)
    slopes = [
        0.0 if last is None else slope_in(each, last.pitch_deg, last.roll_deg) for each in sections
    ]
    surface = Surface(level)
    marks = _marks(pours, verdict, measured, write)
    coming = None if verdict is None or verdict.blocks else verdict.next
    sheet = LinkedSheet(
        sections, [each.name or each.tank_id for each in members], probe,
        [Surface(level, slope) for slope in slopes],
        label=_sentence(picture, pours, surface, coming, write, say),
        level_words="" if level is None else write.length(level),
        marks=marks if pours else _planned(picture, probe, measured, write),
        landing=_landing(coming, last, measured, write),
        length_unit=write.units.length_unit,
    )  # fmt: skip
    safe = _id(f"d-{picture.tank_id}")
    return Drawn(
        linked_drawing(sheet, f"{safe}-w", 700, 480, 20, "dwg wide", has_tape=True),
        linked_drawing(sheet, f"{safe}-n", 204, 250, 14, "dwg narrow"),
    )


def preview_drawing(
    tank: Mapping[str, Any], probe: Mapping[str, Any], write: Figures, say: Say
) -> Drawn:
    """Draw a tank while it is being described.  Raises `InputError` naming the field."""
    body, stands = tank_and_probe(tank, probe)
    if body is None and is_unknown_shape(tank):
        unknown_shape_from_mapping(tank)
        raise InputError("is not known: there is nothing to draw", field="shape")
    if body is None:
        raise InputError("is missing", field="shape")
    section = section_of(body, stands)
    sheet = Sheet(
        section, stands, Surface(None), (), None,
        label=say("The tank in section, as described so far."),
        tip_words=_tip_words(stands, write, say),
        length_unit=write.units.length_unit,
    )  # fmt: skip
    over_mm = 0.0 if stands is None else over_top_mm(body, stands)
    return replace(_both(sheet, "preview"), over_top_mm=over_mm)


def slope_in(section: Section, pitch_deg: float | None, roll_deg: float | None) -> float:
    """Give how the surface of the fuel rises over a section when the vehicle leans. [1]

    >>> from gaugewright.tank.description import Tank
    >>> section = section_of(Tank("box", length_mm=900, width_mm=600, height_mm=500), None)
    >>> round(slope_in(section, None, 3.0), 4)      # left side up: the fuel runs to the right
    0.0524
    """
    if section.across == "x":
        return slope_of(roll_deg or 0.0, "roll_deg")
    return slope_of(pitch_deg or 0.0, "pitch_deg")


def plot_drawing(picture: TankPicture, write: Figures, say: Say) -> Drawn | None:
    """Draw the tank's table with its band and the check pours; ``None`` without a table."""
    made = picture.table
    if made is None:
        return None
    rows = made.rows
    known = [row[2] for row in rows if row[2] is not None]
    table = Table(
        np.array([row[0] for row in rows]),
        np.array([row[1] for row in rows]),
        np.array(known) if len(known) == len(rows) else None,
    )
    points = [] if picture.fill is None else _points(picture, table)
    unit = write.units.volume_unit
    worst = (
        say("The band is not known.")
        if made.worst_u_l is None
        else say("The band is {band} at its widest.").format(
            band=f"± {write.volume(made.worst_u_l)}"
        )
    )
    text = PlotWords(
        label=say(
            "The calibration table, {low} to {high} counts, {empty} to {full}. {worst}"
        ).format(
            low=write.counts(rows[0][0]), high=write.counts(rows[-1][0]),
            empty=write.volume(rows[0][1]), full=write.volume(rows[-1][1]), worst=worst,
        ),
        counts=say("counts"),
        litres=unit,
        band=say("band and pours, ± {unit}").format(unit=unit),
        per_litre=from_litres(1.0, unit),
    )  # fmt: skip
    return Drawn(
        table_plot(table, points, text),
        table_plot(table, points, text, 360, 400, css_class="dwg plot narrow"),
    )


def _both(sheet: Sheet, names: str) -> Drawn:
    safe = _id(names)
    return Drawn(wide_sheet(sheet, f"{safe}-w"), narrow_sheet(sheet, f"{safe}-n"))


def _id(text: str) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in text)


def _height(section: Section, level_mm: float | None) -> float | None:
    """Turn a height above the probe's tip into one above the tank's lowest point. [mm]"""
    return None if level_mm is None or section.tip_mm is None else section.tip_mm + level_mm


def _marks(
    pours: tuple[PourPicture, ...], verdict: VerdictPicture | None, section: Section, write: Figures
) -> tuple[Mark, ...]:
    in_doubt = set() if verdict is None else {f.pour for f in verdict.findings if f.is_open}
    marks = []
    for pour in pours:
        level = _height(section, pour.level_mm)
        if level is None or (pour.voided and pour.added_l == 0):
            continue  # a voided reading of the drained tank marks no pour
        kind: MarkKind = "void" if pour.voided else "open" if pour.number in in_doubt else "pour"
        shown = pour.added_l if pour.total_l is None else pour.total_l
        label = f"+{write.volume(shown, 0)}" if pour.total_l is None else write.volume(shown, 0)
        marks.append(Mark(level, pour.u95_level_mm, label, kind))
    return tuple(marks)


@dataclass(frozen=True, slots=True)
class PlannedPour:
    """One pour of a plan."""

    step: int
    add_l: float
    expected_counts: float | None
    u_counts: float | None


def planned_pours(plan: Mapping[str, Any] | None) -> tuple[PlannedPour, ...]:
    """Give the pours of a plan, none if it holds none in the form of a plan file.

    >>> planned_pours({"pours": [{"step": 1, "add_l": 62.0, "expected_counts": 741}]})
    (PlannedPour(step=1, add_l=62.0, expected_counts=741.0, u_counts=None),)
    >>> planned_pours({"pours": "none"})
    ()
    """
    listed = (plan or {}).get("pours")
    if not isinstance(listed, list | tuple):
        return ()
    found = []
    for step, pour in enumerate(listed, start=1):
        if not isinstance(pour, Mapping) or (added := _figure(pour.get("add_l"))) is None:
            return ()
        counts, u_counts = _figure(pour.get("expected_counts")), _figure(pour.get("u_counts"))
        found.append(PlannedPour(step, added, counts, u_counts))
    return tuple(found)


def cut_length_mm(plan: Mapping[str, Any] | None) -> float | None:
    """Give the length to which a plan has the probe cut, ``None`` if it says none. [mm]

    >>> cut_length_mm({"probe": {"cut_length_mm": 571}})
    571.0
    """
    probe = (plan or {}).get("probe")
    return _figure(probe.get("cut_length_mm")) if isinstance(probe, Mapping) else None


def _figure(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value)


def _planned(
    picture: TankPicture, probe: Probe | None, section: Section, write: Figures
) -> tuple[Mark, ...]:
    """Give where the planned pours should land, before the first one is made."""
    found, total = [], 0.0
    for pour in planned_pours(picture.plan):
        total += pour.add_l
        if probe is None or pour.expected_counts is None:
            continue
        level = _height(section, float(probe.wetted_mm(pour.expected_counts)))
        u_mm = None if pour.u_counts is None else 1.96 * pour.u_counts * abs(probe.mm_per_count)
        if level is not None:
            found.append(Mark(level, u_mm, write.volume(total, 0), "planned"))
    return tuple(found)


def _landing(
    coming: LandingPicture | None, last: PourPicture | None, section: Section, write: Figures
) -> Landing | None:
    level = None if coming is None else _height(section, coming.level_mm)
    if coming is None or level is None:
        return None
    before = 0.0 if last is None or last.total_l is None else last.total_l
    return Landing(level, coming.u95_level_mm, f"≈{write.volume(before + coming.added_l, 0)}")


def _tip_words(probe: Probe | None, write: Figures, say: Say) -> str:
    if probe is None:
        return ""
    return say("tip {clear} clear").format(clear=write.length(probe.tip_clearance_mm))


def _points(picture: TankPicture, table: Table) -> list[Point]:
    """Give the pours that stand, and the check pours, as points of the plot.

    What lay in the tank before the first pour is not known to the pours: they are moved
    together to where they lie about the table on the average.
    """
    assert picture.fill is not None
    standing = [p for p in picture.fill.pours if p.voided is None and p.total_l is not None]
    inside = [p for p in standing if table.counts[0] < p.counts <= table.counts[-1]]
    if not inside:
        return []
    sign = -1.0 if picture.fill.is_draining else 1.0
    moved = [sign * (p.total_l or 0.0) for p in inside]
    base = float(np.mean(table.litres_at([p.counts for p in inside]) - moved))
    return [Point(p.counts, base + litres) for p, litres in zip(inside, moved, strict=True)]


def _sentence(
    picture: TankPicture, pours: tuple[PourPicture, ...], surface: Surface,
    coming: LandingPicture | None, write: Figures, say: Say,
) -> str:  # fmt: skip
    """Say what the drawing shows, for those who cannot see it."""
    parts = [say("Section of {tank}.").format(tank=picture.name or picture.tank_id)]
    standing = [p for p in pours if p.voided is None]
    if surface.level_mm is not None and standing:
        parts.append(
            say("After the last pour the fuel stood at {level}, {litres} poured.").format(
                level=write.length(surface.level_mm), litres=write.volume(standing[-1].total_l)
            )
        )
    if coming is not None:
        parts.append(
            say("The next {litres} should bring it to {counts} ± {band} counts.").format(
                litres=write.volume(coming.added_l),
                counts=write.counts(coming.counts),
                band=write.counts(coming.u95_counts),
            )
        )
    return " ".join(parts)
