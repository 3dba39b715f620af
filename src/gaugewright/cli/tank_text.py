"""A dip table as text for people, as CSV and as JSON."""

from textwrap import fill
from typing import Any

from gaugewright.app.dip import Dip
from gaugewright.cli.draw import DrawnProbe, Surface, draw_tank
from gaugewright.metrology.rounding import format_with_band
from gaugewright.probe import column_at

DECIMALS = 3
COVERAGE = 1.96
"""Half-width of the 95 % band of a normal quantity, in standard uncertainties."""


def dip_csv(dip: Dip) -> str:
    """Return the dip table file: ``level_mm,litres``."""
    rows = zip(dip.table.level_mm, dip.table.litres, strict=True)
    lines = [f"{_trim(level)},{litres:.{DECIMALS}f}" for level, litres in rows]
    return "\n".join(["level_mm,litres", *lines]) + "\n"


def dip_record(dip: Dip) -> dict[str, Any]:
    """Return the result for programs."""
    probe = dip.file.probe
    return {
        "tank": dip.file.name,
        "shape": dip.file.tank.shape,
        "full_l": round(dip.full_l, DECIMALS),
        "at": {"x_mm": dip.at_x_mm, "y_mm": dip.at_y_mm, "is_probe": probe is not None},
        "pitch_deg": dip.pitch_deg,
        "roll_deg": dip.roll_deg,
        "dead_stock_l": None if dip.dead_stock_l is None else round(dip.dead_stock_l, DECIMALS),
        "most_probable": _probable_record(dip),
        "dip_table": [
            {"level_mm": float(_trim(level)), "litres": round(float(litres), DECIMALS)}
            for level, litres in zip(dip.table.level_mm, dip.table.litres, strict=True)
        ],
    }


def dip_text(dip: Dip) -> str:
    """Return the tank in section, the table and what the slope does, for people."""
    place = "the probe" if dip.file.probe is not None else "the tank's middle"
    lines = [
        f"{dip.file.tank.shape.replace('_', ' ')}, {dip.full_l:.1f} L brim-full; "
        f"levels at {place}, x {dip.at_x_mm:g} mm, y {dip.at_y_mm:g} mm"
    ]
    if dip.dead_stock_l is not None:
        lines.append(f"dead stock below the probe's tip: {dip.dead_stock_l:.1f} L")
    lines += _probable_lines(dip)
    lines += ["", draw_tank(dip.solid, surface=_half_full(dip), probe=drawn_probe(dip)), ""]
    if dip.is_sloping:
        lines += [fill(_slope_sentence(dip), 72), ""]
    lines += _table(dip)
    return "\n".join(lines)


def _probable_record(dip: Dip) -> dict[str, Any]:
    found = dip.probable
    return {
        "capacity_l": round(found.capacity_l, DECIMALS),
        "half_width_95_l": round(COVERAGE * found.u_capacity_l, DECIMALS),
        "plate_and_tape_apart": found.disagreement,
        "sizes": [
            {"name": name, "shift": float(shift), "half_width_95": float(COVERAGE * u)}
            for name, shift, u in zip(found.names, found.shifts, found.u, strict=True)
        ],
    }


def _probable_lines(dip: Dip) -> list[str]:
    """Say how well the sizes fix the volume, and what the plate makes of them."""
    found = dip.probable
    volume = format_with_band(found.capacity_l, COVERAGE * found.u_capacity_l, "L")
    if found.disagreement is None:
        return [f"volume as measured, 95 % band of the sizes: {volume}"]
    lines = [f"volume by tape and plate together, 95 % band: {volume}"]
    for name, shift, u in zip(found.names, found.shifts, found.u, strict=True):
        if name.startswith("scale_"):
            size = format_with_band(100 * (1 + float(shift)), 100 * COVERAGE * float(u), "%")
        else:
            measured = getattr(dip.file.tank, name)
            size = format_with_band(measured + float(shift), COVERAGE * float(u), "mm")
        lines.append(f"  {name.removesuffix('_mm')}: {size}")
    if abs(found.disagreement) > 3:
        lines.append(
            f"plate and tape are {abs(found.disagreement):.1f} standard uncertainties apart: "
            "measure again, or check the plate"
        )
    return lines


def drawn_probe(dip: Dip) -> DrawnProbe | None:
    """Return the probe as it stands in the drawing."""
    probe = dip.file.probe
    if probe is None:
        return None
    low, _ = column_at(dip.file.tank, probe)
    tip = low + probe.tip_clearance_mm
    return DrawnProbe(probe.x_mm, probe.y_mm, tip, tip + probe.active_length_mm)


def _half_full(dip: Dip) -> Surface:
    return Surface(
        dip.level_at_half_mm(), dip.slope_x, dip.slope_y, at_x_mm=dip.at_x_mm, at_y_mm=dip.at_y_mm
    )


def _slope_sentence(dip: Dip) -> str:
    over = dip.level_litres - dip.table.litres
    worst = int(abs(over).argmax())
    word = "too many" if over[worst] > 0 else "too few"
    return (
        f"At pitch {dip.pitch_deg:g}°, roll {dip.roll_deg:g}° a table for the level tank shows up "
        f"to {abs(over[worst]):.1f} L {word} (at {dip.table.level_mm[worst]:g} mm)."
    )


def _table(dip: Dip) -> list[str]:
    sloping = dip.is_sloping
    head = f"{'level mm':>10}{'litres':>12}"
    lines = [head + (f"{'if level':>12}{'slope does':>12}" if sloping else "")]
    for level, litres, standing in zip(
        dip.table.level_mm, dip.table.litres, dip.level_litres, strict=True
    ):
        line = f"{_trim(level):>10}{litres:>12.2f}"
        if sloping:
            line += f"{standing:>12.2f}{litres - standing:>+12.2f}"
        lines.append(line)
    return lines


def _trim(level_mm: float) -> str:
    return f"{level_mm:.3f}".rstrip("0").rstrip(".")
