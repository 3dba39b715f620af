"""The tape: a scale of heights inside, the litres of every pour outside, with their bands."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Literal

from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.labels import fitting, spread
from gaugewright.certificate.drawing.section import Frame, lifted
from gaugewright.units import MM_PER_INCH, LengthUnit

MarkKind = Literal["pour", "open", "void", "predicted", "planned"]

ROLES = {"pour": "ink", "open": "warn", "void": "soft", "predicted": "draft", "planned": "draft"}


@dataclass(frozen=True, slots=True)
class Mark:
    """One tick of the tape."""

    level_mm: float
    u_mm: float | None
    """Half-width of its 95 % band; ``None`` where nobody knows it. [mm]"""
    label: str
    """Litres in words of the reader's unit; empty for a tick without one."""
    kind: MarkKind = "pour"


@dataclass(frozen=True, slots=True)
class TapeStyle:
    """Sizes of a tape. [px]"""

    x: float
    width: float
    number_size: float
    label_size: float
    right: float
    """Where the room for labels ends."""


Ticks = tuple[list[float], list[float], list[tuple[float, str]]]


def ticks(top_mm: float, scale: float, unit: LengthUnit, number_gap: float) -> Ticks:
    """Give the heights of short, long and numbered ticks, as close as can be read. [mm]

    ``number_gap`` is the least distance between two numbers and 3 px that between two
    short ticks.

    >>> short, long, numbered = ticks(250, scale=0.8, unit="mm", number_gap=40)
    >>> short[:3], long[:3], numbered[-2:]
    ([0.0, 10.0, 20.0], [0.0, 50.0, 100.0], [(200.0, '200'), (250.0, '250')])
    """
    one = MM_PER_INCH if unit == "in" else 1.0
    steps = (0.5, 1, 2, 5, 10, 20, 50) if unit == "in" else (10, 20, 50, 100, 200, 500, 1000, 2000)
    numbered = next((s for s in steps if s * one * scale >= number_gap), steps[-1])
    short = next(s for s in steps if s * one * scale >= 3.0 or s == numbered)
    between = [s for s in steps if short <= s <= numbered and numbered % s == 0]
    middle = between[len(between) // 2] if len(between) > 2 else numbered

    def heights(step: float) -> list[float]:
        return [k * step * one for k in range(floor(top_mm / (step * one) + 1e-9) + 1)]

    named = [(mm, f"{mm / one:g}") for mm in heights(numbered)]
    return heights(short), heights(middle), named


def tape_drawing(
    frame: Frame, top_mm: float, marks: Sequence[Mark], style: TapeStyle, unit: LengthUnit,
    live_mm: float | None, *, is_live: bool,
) -> str:  # fmt: skip
    """Draw the tape beside a tank in the tank's own scale.

    Marks may come in any order.  Labels never lie on each other: they move aside, with a
    line to their tick, and where they do not all fit, the oldest go first.
    """
    x, width = style.x, style.width
    parts = [_bands(frame, marks, style)]
    parts.append(svg.rect(x, frame.y(top_mm), width, top_mm * frame.scale,
                          fill="sheet", edge="ink", edge_width=1.6))  # fmt: skip
    parts.append(_scale(frame, top_mm, style, unit))
    parts.append(_labels(frame, top_mm, marks, style))
    if is_live:
        pointer = f"M{svg.figure(x - 1)},{svg.figure(frame.y0)}l-13,-8v16z"
        parts.append(
            svg.group(
                svg.element("path", d=pointer, class_="f-ink", fill=svg.INK),
                svg.line(x, frame.y0, x + 14, frame.y0, 2.4),
                class_="live" if live_mm is not None else "live unknown",
                data_part="level",
                transform=lifted(frame, live_mm),
            )
        )
    return svg.group(*parts, class_="tape")


def _scale(frame: Frame, top_mm: float, style: TapeStyle, unit: LengthUnit) -> str:
    short, long, numbered = ticks(top_mm, frame.scale, unit, 2.2 * style.number_size)
    x = style.x
    parts = [svg.line(x, frame.y(mm), x + 6, frame.y(mm), 0.8) for mm in short]
    parts += [svg.line(x, frame.y(mm), x + 10, frame.y(mm), 1.0) for mm in long]
    for mm, text in numbered:
        y = frame.y(mm)
        parts.append(svg.line(x, y, x + 13, y, 1.5))
        room_below, room_above = frame.y0 - y, y - frame.y(top_mm)
        if room_below >= style.number_size * 0.5 and room_above >= style.number_size * 0.5:
            parts.append(svg.words(text, x + style.width - 4, y + 0.35 * style.number_size,
                                   style.number_size, anchor="end"))  # fmt: skip
    return "".join(parts)


def _bands(frame: Frame, marks: Sequence[Mark], style: TapeStyle) -> str:
    parts = []
    for mark in marks:
        if mark.u_mm is None or mark.kind == "void":
            continue
        half = max(mark.u_mm * frame.scale, 1.0)
        reach = 14.0
        parts.append(
            svg.rect(style.x + style.width, frame.y(mark.level_mm) - half, reach, 2 * half,
                     fill=ROLES[mark.kind], opacity=0.25)
        )  # fmt: skip
    return "".join(parts)


def _labels(frame: Frame, top_mm: float, marks: Sequence[Mark], style: TapeStyle) -> str:
    """Draw every mark's tick, and the labels that fit."""
    x = style.x + style.width
    parts = [
        svg.line(x, frame.y(m.level_mm), x + 14, frame.y(m.level_mm),
                 2.4 if m.kind == "predicted" else 2.0, ROLES[m.kind],
                 "4 3" if m.kind in ("predicted", "planned") else None)
        for m in marks
    ]  # fmt: skip
    named = [m for m in marks if m.label]
    # Newest last in the order given: the prediction first, then from the newest back.
    ranks = [0 if m.kind == "predicted" else len(named) - k + (1000 if m.kind == "void" else 0)
             for k, m in enumerate(named)]  # fmt: skip
    gap = 1.18 * style.label_size
    high, low = frame.y0 + 0.3 * gap, frame.y(top_mm)
    kept = [named[k] for k in fitting(ranks, gap, high - low)]
    kept.sort(key=lambda m: -m.level_mm)
    places = spread([frame.y(m.level_mm) for m in kept], gap, low, high)
    for mark, y in zip(kept, places, strict=True):
        role, tick = ROLES[mark.kind], frame.y(mark.level_mm)
        if abs(y - tick) > 1.5:
            parts.append(svg.line(x + 14, tick, x + 20, float(y), 0.9, role))
        parts.append(
            svg.words(mark.label, x + 22, float(y) + 0.35 * style.label_size, style.label_size,
                      role, bold=mark.kind in ("pour", "open"),
                      extra="struck" if mark.kind == "void" else "")
        )  # fmt: skip
        if mark.kind == "void":
            long = 0.6 * style.label_size * len(mark.label)
            parts.append(svg.line(x + 22, float(y), x + 22 + long, float(y), 1.2, role))
    return "".join(parts)


def label_room(marks: Sequence[Mark], size: float) -> float:
    """Give the width that the longest label needs, tick and leader included. [px]

    >>> label_room([Mark(0, None, "352 L")], 20)
    84.0
    """
    longest = max((len(m.label) for m in marks), default=0)
    return float(ceil(22 + 0.6 * size * longest + 2))
