"""Under which conditions a tank was filled, and by which instruments."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from gaugewright.certificate.statement import Line
from gaugewright.certificate.writing import NOT_RECORDED, Writer, free, in_a_row
from gaugewright.journal.state import FillState
from gaugewright.table.assumptions import Assumptions
from gaugewright.words import said


def conditions_of(fill: FillState | None, write: Writer) -> Iterator[Line]:
    """Return what a fill was made under; what nobody measured is said with what it costs."""
    if fill is None:
        yield Line(said("Fill"), said("none: the table was not made from pours of this job"))
        return
    begun, checks, pours = fill.begun.event, fill.checks.event, fill.standing
    way = said("drained in steps") if begun.is_draining else said("filled in steps")
    if pours:
        way = said(
            "{way}, {readings} readings, {first} to {last}",
            way=way,
            readings=len(pours),
            first=write.time(pours[0].mark.at),
            last=write.time(pours[-1].mark.at),
        )
    yield Line(said("Fill"), way)
    yield Line(said("Fuel"), free(begun.fuel) or NOT_RECORDED)
    yield Line(said("Fuel in the tank"), _range([p.event.fuel_c for p in pours], write))
    yield Line(said("Fuel at the meter"), _range([p.event.meter_c for p in pours], write))
    slopes = [
        p.event for p in pours if p.event.pitch_deg is not None or p.event.roll_deg is not None
    ]
    assumed = Assumptions().u_slope_deg
    yield Line(
        said("Slope of the vehicle"),
        said("measured at {some} of {all} readings", some=len(slopes), all=len(pours))
        if slopes
        else said("not measured; ± {slope:.1f}° is in the band", slope=1.96 * assumed),
    )
    yield Line(said("Readings"), _steadiness([p.event.is_steady for p in pours]))
    yield Line(said("Dispenser"), free(begun.dispenser) or NOT_RECORDED)
    yield Line(said("Meter factor"), _meter(checks.meter_checks, write))
    left = NOT_RECORDED
    if checks.residual_l is not None:
        left = said("{volume} measured", volume=write.volume(checks.residual_l))
    elif checks.dip_empty_mm is not None:
        left = said("{length} by the dip stick", length=write.length(checks.dip_empty_mm))
    yield Line(said("Fuel left before the fill"), left)


def _steadiness(found: list[bool | None]) -> str:
    """Write how many readings were steady, and how many nobody could test.

    >>> _steadiness([True, True, False, None])
    '2 of 4 steady by the test, 1 kept although it was not, 1 typed by hand and not tested'
    """
    steady, count = found.count(True), len(found)
    told = [said("{steady} of {count} steady by the test", steady=steady, count=count)]
    if kept := found.count(False):
        told.append(
            said("{kept} kept although it was not", kept=kept)
            if kept == 1
            else said("{kept} kept although they were not", kept=kept)
        )
    if typed := found.count(None):
        told.append(said("{typed} typed by hand and not tested", typed=typed))
    return in_a_row(told)


def _range(values: list[float | None], write: Writer) -> str:
    known = [value for value in values if value is not None]
    if not known:
        assumed = Assumptions().u_warming_k
        return said(
            "not measured; {assumed:g} K between meter and tank (standard) is in the band",
            assumed=assumed,
        )
    low, high = write.temperature(min(known)), write.temperature(max(known))
    return low if low == high else said("{first} to {last}", first=low, last=high)


def _meter(checks: Any, write: Writer) -> str:
    """Write the true over the indicated volume, with what a measured can leaves open."""
    if not checks:
        share = 100 * 1.96 * Assumptions().u_meter
        return said("not checked; ± {share:.1f} % is in the band", share=share)
    assumed = Assumptions()
    indicated = sum(can.indicated_l for can in checks)
    factor = sum(can.true_l for can in checks) / indicated
    u_share = np.hypot(assumed.u_check_l / indicated * np.sqrt(len(checks)), assumed.u_can)
    cans = in_a_row(
        said(
            "{read} read, {true} in the can",
            read=write.volume(can.indicated_l, 2),
            true=write.volume(can.true_l, 2),
        )
        for can in checks
    )
    band = 1.96 * float(u_share)
    return said("{factor:.4f} ± {band:.4f} ({cans})", factor=float(factor), band=band, cans=cans)
