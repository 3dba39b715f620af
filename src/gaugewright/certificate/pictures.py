"""The certificate's drawings: tank and tape, plot, code to scan, signature."""

import io
from collections.abc import Iterator, Sequence

import numpy as np
import segno

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.linked import LinkedSheet, linked_drawing
from gaugewright.certificate.drawing.plot import PlotWords, Point, table_plot
from gaugewright.certificate.drawing.section import Section, Surface, section_of
from gaugewright.certificate.drawing.sheet import Sheet, wide_sheet
from gaugewright.certificate.drawing.tape import Mark
from gaugewright.certificate.statement import Picture
from gaugewright.certificate.writing import Writer
from gaugewright.journal.chain import Tip
from gaugewright.journal.fill_kinds import PAD
from gaugewright.journal.state import FillState
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.units import from_litres
from gaugewright.words import said

FULL_SCALE = 4095
BLIND_SHARE = 0.005
"""Readings nearer to the table's low end than this share of it are not drawn as points."""


def code_text(job: str, number: str, tip: Tip) -> str:
    """Return what the code on the certificate says: which journal, and where it ended.

    >>> print(code_text("J-1", "C-J-1", Tip(59, "b48b" + "0" * 60)))
    GAUGEWRIGHT CERTIFICATE C-J-1
    JOB J-1
    ENTRY 59
    SHA-256 b48b000000000000000000000000000000000000000000000000000000000000
    """
    lines = f"CERTIFICATE {number}", f"JOB {job}", f"ENTRY {tip.number}", f"SHA-256 {tip.hash}"
    return "GAUGEWRIGHT " + "\n".join(lines)


def code_picture(text: str) -> Picture:
    """Draw a text as a QR code (ISO/IEC 18004), with the quiet zone that readers need."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out, kind="svg", border=4, xmldecl=False, svgns=True, dark=svg.INK, light=svg.SHEET
    )
    return Picture(out.getvalue().decode(), "QR code: " + text.replace("\n", ", "))


def signature_picture(
    strokes: tuple[tuple[int, ...], ...], signer: str, write: Writer
) -> Picture | None:
    """Draw a signature as it was drawn, ``None`` if it was only typed."""
    if not strokes:
        return None
    paths = [
        svg.element(
            "path",
            d=svg.polyline_path(_points(stroke)),
            fill="none",
            stroke=svg.INK,
            stroke_width=5,
            stroke_linecap="round",
            stroke_linejoin="round",
        )
        for stroke in strokes
    ]
    label = write.speech.says(said("The signature of {signer}, as it was drawn.", signer=signer))
    return Picture(svg.drawing(*PAD, label, *paths, css_class="signature"), label)


def _points(stroke: tuple[int, ...]) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    points = np.array(stroke, dtype=np.float64).reshape(-1, 2)
    # A tap is a dot: a line to itself draws nothing.
    return np.vstack([points, points + np.array([0.5, 0.0])]) if len(points) == 1 else points


def tank_picture(
    tank: Tank, probe: Probe, fill: FillState | None, names: str, write: Writer
) -> Picture:
    """Draw the tank in section with its probe, and beside it the tape with every pour."""
    section = section_of(tank, probe)
    marks = tuple(_marks(section, probe, fill, write))
    stands = [mark.level_mm for mark in marks if mark.kind == "pour"]
    label = write.speech.says(
        said(
            "The tank in section with the probe in it; beside it {pours} pours on a scale.",
            pours=len(marks),
        )
    )
    clear = said("tip {length} clear", length=write.length(probe.tip_clearance_mm))
    sheet = Sheet(
        section,
        probe,
        Surface(stands[-1] if stands else None),
        marks,
        None,
        label,
        tip_words=write.speech.says(clear),
        length_unit=write.length_unit,
    )
    return Picture(wide_sheet(sheet, names), label)


def linked_picture(
    tanks: Sequence[tuple[str, Tank, Probe | None]],
    fill: FillState | None,
    names: str,
    write: Writer,
) -> Picture | None:
    """Draw tanks that a balance pipe joins side by side, with every pour on a scale beside them.

    ``None`` where none of them has the probe: then nobody knows a level common to them.
    """
    sections = [section_of(tank, probe) for _, tank, probe in tanks]
    measured = next((each for each in sections if each.tip_mm is not None), None)
    probe = next((probe for _, _, probe in tanks if probe is not None), None)
    if measured is None or probe is None:
        return None
    marks = tuple(_marks(measured, probe, fill, write))
    stands = [mark.level_mm for mark in marks if mark.kind == "pour"]
    label = write.speech.says(
        said(
            "The linked tanks in section side by side, the probe in one of them; beside them "
            "{pours} pours on a scale.",
            pours=len(marks),
        )
    )
    sheet = LinkedSheet(
        sections,
        [called for called, _, _ in tanks],
        probe,
        [Surface(stands[-1] if stands else None)] * len(sections),
        label,
        marks=marks,
        length_unit=write.length_unit,
    )
    drawn = linked_drawing(sheet, names, 700, 480, 20, "dwg wide", has_tape=True)
    return Picture(drawn, label)


def _marks(section: Section, probe: Probe, fill: FillState | None, write: Writer) -> Iterator[Mark]:
    if fill is None or section.tip_mm is None:
        return
    scale = abs(probe.counts_full - probe.counts_empty) / FULL_SCALE
    totals: dict[int, float] = {}
    total = 0.0
    for kept in fill.standing:
        total += kept.event.added_l
        totals[kept.number] = total
    for kept in fill.pours:
        event = kept.event
        u_counts = max(Assumptions().u_counts * scale, event.counts_sd or 0.0)
        level = section.tip_mm + float(probe.wetted_mm(event.counts))
        band = 1.96 * u_counts * abs(probe.mm_per_count)
        if kept.voided is None:
            yield Mark(level, band, _plain(write.volume(totals[kept.number], 0)))
        else:
            yield Mark(level, band, _plain(f"+{write.volume(event.added_l, 0)}"), "void")


def plot_picture(table: Table, points: list[Point], write: Writer) -> Picture:
    """Draw the table, its band, and how far every pour lies from it."""
    unit = write.volume_unit
    say = write.speech.says
    label = say(
        said(
            "The calibration table from {first:g} to {last:g} counts and {lowest} to {highest}, "
            "its band below.",
            first=float(table.counts[0]),
            last=float(table.counts[-1]),
            lowest=_plain(write.volume(float(table.litres[0]))),
            highest=_plain(write.volume(float(table.litres[-1]))),
        )
    )
    band = said("band, pours (o) and check pours (triangles), ± {unit}", unit=unit)
    text = PlotWords(label, say(said("counts")), unit, say(band), from_litres(1.0, unit))
    return Picture(table_plot(table, points, text, 700, 420), label)


def pour_points(table: Table, fill: FillState | None) -> list[Point]:
    """Return the pours that stand as points about the table.

    What lay in the tank before the first pour is not known to the pours: they are moved
    together to where they lie about the table on the average.
    """
    if fill is None:
        return []
    sign = -1.0 if fill.begun.event.is_draining else 1.0
    found, total = [], 0.0
    # A reading at the very end of the scale only says that the fuel is below the tip.
    low = float(table.counts[0]) + BLIND_SHARE * float(table.counts[-1] - table.counts[0])
    for kept in fill.standing:
        total += kept.event.added_l
        if low < kept.event.counts <= table.counts[-1]:
            found.append((kept.event.counts, sign * total))
    if not found:
        return []
    moved = np.array([litres for _, litres in found])
    base = float(np.mean(table.litres_at([counts for counts, _ in found]) - moved))
    return [Point(counts, base + litres) for counts, litres in found]


def _plain(text: str) -> str:
    """Return a text for a drawing, whose face has no wide choice of spaces."""
    return text.replace("\N{NO-BREAK SPACE}", " ")
