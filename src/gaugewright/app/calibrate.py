"""A pour record becomes a table with its band, findings, and what is still open."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from gaugewright.app.beside_pours import MORE_LEFT, SLACK_MM
from gaugewright.app.files import naming_file, read_text
from gaugewright.app.tank_file import read_tank_file
from gaugewright.errors import InputError
from gaugewright.pours.check import Checked, check_fill
from gaugewright.pours.findings import Finding, needs_person
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.costs import OpenCost, open_costs
from gaugewright.table.curves import Curves, curves_of
from gaugewright.table.delimited import number
from gaugewright.table.fill import Fill, MeterCheck
from gaugewright.table.fit import Fit
from gaugewright.table.records import counts_scale, fill_from_csv, with_checks
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank


@dataclass(frozen=True, eq=False)
class Calibration:
    """Everything a fitter gets from one fill."""

    table: Table
    checked: Checked
    costs: tuple[OpenCost, ...]
    """What each unknown costs, the dearest first."""
    capacity_l: float | None
    """Of the described tank; ``None`` without a tank file. [L]"""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What a person should see."""
        return self.checked.findings

    @property
    def needs_person(self) -> bool:
        """Whether a finding asks for an answer."""
        return needs_person(self.findings)

    @property
    def dead_stock_l(self) -> tuple[float, float]:
        """Litres at the probe's empty reading and their band. [L]"""
        band = self.table.u_litres
        assert band is not None
        return float(self.table.litres[0]), float(band[0])

    @property
    def largest_band_l(self) -> float:
        """Largest half-width of the band. [L]"""
        assert self.table.u_litres is not None
        return float(self.table.u_litres.max())


def calibrate(
    fill: Fill,
    tank: Tank | None = None,
    probe: Probe | None = None,
    assumed: Assumptions | None = None,
) -> Calibration:
    """Return the table of a fill with findings; figures in doubt are left out of it.

    Raises `InputError` if a tank is described without its probe, or if the probe's
    counts fall as the fuel rises: a table's counts rise with its litres.
    """
    if tank is not None and probe is None:
        raise InputError("the tank file has no [probe], wanted its place, clearance and length")
    if probe is not None and probe.counts_full < probe.counts_empty:
        raise InputError(
            f"counts fall from {probe.counts_empty:g} empty to {probe.counts_full:g} full; the "
            "counts of a table rise with its litres, so turn the scale round in the probe",
            field="probe.counts_full",
        )
    checked = check_fill(fill, tank, probe, assumed)
    described = checked.fit.components[0].curves
    return Calibration(
        table_of(checked.fit),
        checked,
        open_costs(fill, checked.fit, assumed),
        described.capacity_l if tank is not None else None,
    )


def table_of(result: Fit) -> Table:
    """Return the fit as a table on whole counts."""
    low, high = float(np.ceil(result.counts[0])), float(np.floor(result.counts[-1]))
    inside = np.rint(result.counts)
    counts = np.unique(np.clip(inside, low, high))
    litres = np.interp(counts, result.counts, result.litres)
    return Table(
        counts,
        np.maximum.accumulate(np.maximum(litres, 0.0)),
        np.interp(counts, result.counts, result.u95_litres),
    )


@dataclass(frozen=True, eq=False)
class Done:
    """A calibration with the files it was made from."""

    fill: Fill
    tank: Tank | None
    probe: Probe | None
    result: Calibration


def read_and_calibrate(
    pours_file: str,
    tank_file: str | None = None,
    *,
    plan_file: str | None = None,
    meter_checks: Sequence[MeterCheck] = (),
    residual_l: float | None = None,
    u_residual_l: float | None = None,
    dip_empty_mm: float | None = None,
) -> Done:
    """Read the files of a fill and calibrate; every `InputError` names its file."""
    _require_pour_record(pours_file)
    if dip_empty_mm is not None and tank_file is None:
        raise InputError(
            "needs --tank: without the tank's shape a depth tells no litres", field="--dip-empty"
        )
    described = None if tank_file is None else read_tank_file(tank_file)
    tank = None if described is None else described.tank
    probe = None if described is None else described.probe
    with naming_file(tank_file or pours_file):
        if tank is not None and probe is None:
            raise InputError(
                "has no [probe], wanted x_mm, y_mm, tip_clearance_mm and active_length_mm of it"
            )
    with naming_file(pours_file):
        fill = fill_from_csv(
            read_text(pours_file),
            counts_range=None
            if probe is None
            else counts_scale(probe.counts_empty, probe.counts_full),
            counts_rise=probe is None or probe.counts_full > probe.counts_empty,
        )
    if plan_file is not None:
        fill = with_plan(fill, plan_file)
    fill = with_checks(
        fill,
        meter_checks=meter_checks,
        residual_l=residual_l,
        u_residual_l=u_residual_l,
        dip_empty_mm=dip_empty_mm,
    )
    if tank is not None and probe is not None:
        with naming_file(tank_file or pours_file):
            curves = curves_of(tank, probe, Assumptions())
        _require_checks_that_fit(fill, curves)
    with naming_file(tank_file or pours_file):
        return Done(fill, tank, probe, calibrate(fill, tank, probe))


def _require_pour_record(path: str) -> None:
    """Refuse a tank file given in place of the pour record: its lines would be blamed."""
    if Path(path).suffix.lower() in (".toml", ".json"):
        raise InputError(
            "looks like a tank file; wanted the pour record (CSV) here and the tank with --tank",
            file=path,
        )


def _require_checks_that_fit(fill: Fill, curves: Curves) -> None:
    """Refuse fuel left in the drained tank that the probe would have seen."""
    drained = fill.pours[-1 if fill.is_draining else 0]
    tip_mm = curves.probe.tip_clearance_mm
    seen_mm = min(max(float(curves.probe.wetted_mm(drained.counts)), 0.0), curves.top_mm)
    told = (
        f"but at {drained.counts:g} counts the probe, whose tip is {tip_mm:g} mm up, "
        f"sees it at {tip_mm + seen_mm:.0f} mm or below"
    )
    dip_mm = fill.dip_empty_mm
    if dip_mm is not None and dip_mm > tip_mm + seen_mm + SLACK_MM:
        raise InputError(f"{dip_mm:g} mm of fuel in the drained tank, {told}", field="--dip-empty")
    most_l = float(np.interp(seen_mm + SLACK_MM, curves.wetted_mm, curves.litres))
    if fill.residual_l is not None and fill.residual_l > MORE_LEFT * most_l:
        raise InputError(
            f"{fill.residual_l:g} L of fuel in the drained tank, {told}", field="--residual"
        )


def with_plan(fill: Fill, plan_file: str) -> Fill:
    """Return the fill with what the plan's steps were to pour beside what was poured."""
    with naming_file(plan_file):
        planned = dict(_planned(read_text(plan_file)))
    pours = tuple(
        replace(pour, planned_l=planned.get(pour.step, pour.planned_l)) for pour in fill.pours
    )
    return replace(fill, pours=pours)


def _planned(text: str) -> Iterator[tuple[int, float]]:
    """Step and litres of each pour of a plan. [L]"""
    wanted = "wanted JSON with pours, each with step and add_l"
    try:
        plan = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"is not a plan: {error}; {wanted}") from None
    pours = plan.get("pours") if isinstance(plan, dict) else None
    if not isinstance(pours, list):
        raise InputError(f"is not a plan: it has no list of pours; {wanted}")
    for place, pour in enumerate(pours, start=1):
        field = f"pours, number {place}"
        if not isinstance(pour, dict) or "step" not in pour or "add_l" not in pour:
            raise InputError(f"found {json.dumps(pour)[:60]}; {wanted}", field=field)
        step, add_l = pour["step"], pour["add_l"]
        if not isinstance(step, int) or isinstance(step, bool):
            raise InputError(f"step must be a whole number, found {step!r}", field=field)
        if isinstance(add_l, bool) or not isinstance(add_l, int | float | str):
            raise InputError(f"add_l must be litres, found {add_l!r}", field=field)
        yield step, number(str(add_l), field=f"{field}, add_l")
