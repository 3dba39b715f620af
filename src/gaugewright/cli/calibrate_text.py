"""A calibration as text for people and as a record for programs."""

import json
from textwrap import wrap
from typing import Any

from gaugewright.app.calibrate import Calibration, Done
from gaugewright.cli.draw import DrawnProbe, Surface, draw_tank, plot_table
from gaugewright.cli.table_text import table_lines, table_record
from gaugewright.pours.findings import Finding
from gaugewright.table.table import Table
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column

MARK = {"stop": "■ STOP ", "check": "▲ CHECK", "note": "· note "}
SHOWN_ROWS = 12


def findings_json(result: Calibration) -> str:
    """Return the findings file."""
    listed = [finding.as_json() for finding in result.findings]
    return json.dumps(listed, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def calibration_record(done: Done) -> dict[str, Any]:
    """Return the result for programs."""
    result = done.result
    dead, u_dead = result.dead_stock_l
    return {
        "capacity_l": None if result.capacity_l is None else round(result.capacity_l, 2),
        "dead_stock_l": round(dead, 2),
        "u_dead_stock_l": round(u_dead, 2),
        "largest_band_l": round(result.largest_band_l, 2),
        "needs_person": result.needs_person,
        "findings": [finding.as_json() for finding in result.findings],
        "costs": [
            {"unknown": c.name, "cost_l": round(c.cost_l, 2), "check": c.check}
            for c in result.costs
        ],
        "expected": [
            {
                "step": done.fill.pours[e.pour].step,
                "counts": round(e.counts, 1),
                "u_counts": round(e.u95_counts, 1),
            }
            for e in result.checked.expected
        ],
        "notes": list(done.fill.notes),
        **table_record(result.table),
    }


def calibration_text(done: Done) -> str:
    """Return the tank in section, the table with its band and the findings, for people."""
    result = done.result
    lines = [*_section(done), *_plot(done), ""]
    band = result.table.u_litres
    assert band is not None
    dead, u_dead = result.dead_stock_l
    lines += [
        f"{len(result.table.counts)} rows from {result.table.counts[0]:g} to "
        f"{result.table.counts[-1]:g} counts; 95 % band ±{band.min():.1f} to ±{band.max():.1f} L.",
        f"At the probe's empty reading the tank holds {dead:.1f} ± {u_dead:.1f} L.",
        "",
        *table_lines(some_rows(result.table)),
        "",
    ]
    lines += [f"({note})" for note in done.fill.notes]
    lines += finding_lines(result.findings)
    if result.costs:
        lines += ["", "What is not known, and what it costs:"]
        for cost in result.costs:
            lines += wrap(cost.sentence, 78, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines)


def finding_lines(findings: tuple[Finding, ...]) -> list[str]:
    """Return the findings as text, or the good news."""
    if not findings:
        return ["Findings: none. Every pour fits the pours before it."]
    lines = ["Findings:"]
    for finding in findings:
        place = "whole fill" if finding.step is None else f"step {finding.step}"
        head = f"{MARK[finding.severity]} {place}, {finding.kind}: "
        lines += wrap(head + finding.message, 78, subsequent_indent="    ")
        if finding.suggestion:
            lines += wrap(
                finding.suggestion, 78, initial_indent="    → ", subsequent_indent="      "
            )
    return lines


def some_rows(table: Table) -> Table:
    """Return every so manieth row, first and last included, for the screen."""
    size = len(table.counts)
    if size <= SHOWN_ROWS:
        return table
    picked = sorted({round(i * (size - 1) / (SHOWN_ROWS - 1)) for i in range(SHOWN_ROWS)})
    band = table.u_litres
    return Table(table.counts[picked], table.litres[picked], None if band is None else band[picked])


def _section(done: Done) -> list[str]:
    """The tank with the fuel where the last reading saw it."""
    tank, probe = done.tank, done.probe
    if tank is None or probe is None:
        return []
    solid = solid_of(tank)
    bottom, top = column(solid, probe.x_mm, probe.y_mm)
    tip = bottom + probe.tip_clearance_mm
    wetted = float(probe.wetted_mm(done.fill.pours[-1].counts))
    level = min(max(tip + wetted, 0.0), top)
    drawn = DrawnProbe(probe.x_mm, probe.y_mm, tip, min(tip + probe.active_length_mm, top))
    surface = Surface(level, 0.0, 0.0, probe.x_mm, probe.y_mm)
    shape = tank.shape.replace("_", " ")
    return [
        f"{shape}, {solid.volume_l - tank.displaced_l:.1f} L as described; "
        f"the fuel at the last reading, {level:.0f} mm",
        draw_tank(solid, surface=surface, probe=drawn),
        "",
    ]


def _plot(done: Done) -> list[str]:
    table = done.result.table
    counts = [pour.counts for pour in done.fill.pours]
    return [plot_table(table.counts, table.litres, table.u_litres, pours_at=counts)]
