"""One door to both plans: of a tank with a shape, and of one whose shape nobody trusts."""

from collections.abc import Mapping
from typing import Any

from gaugewright.app.plan import Layout, Plan, plan_job
from gaugewright.app.plan_cut import Wishes
from gaugewright.app.plan_record import plan_record
from gaugewright.app.plan_sheet import flange_of, plan_needs, plan_page, plan_template
from gaugewright.app.plan_unknown import (
    UnknownFile,
    UnknownLayout,
    UnknownPlan,
    plan_unknown,
    unknown_plan_record,
)
from gaugewright.app.tank_file import TankFile
from gaugewright.app.wiring import wiring_lines
from gaugewright.planning.bring import one_page, things_to_bring
from gaugewright.planning.template import Paper, drilling_template
from gaugewright.words import ENGLISH, Length, Speech, Volume, said


def plan_any(
    file: TankFile | UnknownFile,
    wishes: Wishes | None = None,
    *,
    pours: int | None = None,
    within_l: float | None = None,
    fuel_l: float | None = None,
) -> Plan | UnknownPlan:
    """Return the whole plan of one tank."""
    if isinstance(file, UnknownFile):
        return plan_unknown(file, wishes, pours=pours, within_l=within_l, fuel_l=fuel_l)
    return plan_job(file, wishes, pours=pours, within_l=within_l, fuel_l=fuel_l)


def any_record(plan: Plan | UnknownPlan) -> dict[str, Any]:
    """Return the plan file."""
    return plan_record(plan) if isinstance(plan, Plan) else unknown_plan_record(plan)


def any_page(
    plan: Plan | UnknownPlan, wiring: Mapping[str, Any] | None = None, speech: Speech = ENGLISH
) -> str:
    """Return the page that is carried along."""
    if isinstance(plan, Plan):
        return plan_page(plan, wiring, speech)
    layout, cut = plan.layout, plan.layout.cut
    poured = ", ".join(
        speech.says(said("{litres:g}", litres=Volume(pour.add_l))) for pour in plan.pours.pours
    )
    facts: list[str] = [
        said("shape not known: choose the place on the vehicle, see the notes of the plan"),
        said(
            "cut to {cut:.1f} below the flange's seat (type it twice); {clear:g} stay free below "
            "the tip",
            cut=Length(cut.cut_length_mm),
            clear=Length(cut.tip_clearance_mm),
        ),
        said("pours: {pours}", pours=poured),
    ]
    title = said(
        "{name}: shape not known, {litres:.0f} brim-full by its plate",
        name=layout.file.name,
        litres=Volume(layout.file.tank.brim_l),
    )
    facts += [] if wiring is None else wiring_lines(wiring)
    items = things_to_bring(plan_needs(plan, wiring))
    return one_page(speech.says(title), items, facts, ruling=layout.ruling, speech=speech)


def any_template(layout: Layout | UnknownLayout, *, paper: Paper = "A4") -> str:
    """Return the drilling template as SVG; without a shape its place is left to the fitter."""
    if isinstance(layout, Layout):
        return plan_template(layout, paper=paper)
    probe = layout.file.probe
    return drilling_template(
        flange_of(layout.wishes),
        x_mm=None if probe is None else probe.x_mm,
        y_mm=None if probe is None else probe.y_mm,
        title=layout.file.name,
        paper=paper,
    )


def check_template(wishes: Wishes, *, paper: Paper = "A4") -> None:
    """Refuse a flange that cannot be drawn, which takes no plan to know."""
    drilling_template(flange_of(wishes), x_mm=None, y_mm=None, title="", paper=paper)
