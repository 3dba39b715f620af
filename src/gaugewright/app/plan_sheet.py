"""A plan on paper: the page that is carried along and the drilling template."""

from collections.abc import Mapping
from typing import Any

from gaugewright.app.plan import Layout, Plan
from gaugewright.app.plan_cut import Wishes
from gaugewright.app.plan_unknown import UnknownPlan
from gaugewright.app.wiring import size_of_cable, wiring_lines
from gaugewright.errors import InputError
from gaugewright.planning.bring import Check, Needs, one_page, things_to_bring
from gaugewright.planning.template import Flange, Paper, drilling_template
from gaugewright.words import ENGLISH, Length, Speech, Volume, said


def plan_needs(plan: Plan | UnknownPlan, wiring: Mapping[str, Any] | None = None) -> Needs:
    """Return what decides what is brought, as far as tank, pours and checked wiring say it."""
    layout, pours = plan.layout, plan.pours
    found = wiring or {}
    cable, fuse = found.get("cable") or {}, found.get("fuse") or {}
    names: tuple[Check, ...] = ("slope", "meter", "dip", "temperatures", "residue")
    return Needs(
        flange=flange_of(layout.wishes),
        cut_length_mm=layout.cut.cut_length_mm,
        cable_m=cable.get("length_m", 0.0),
        conductor=size_of_cable(cable) if cable else "",
        fuse_a=fuse.get("rating_a"),
        is_rs485=bool(found.get("is_rs485")),
        checks=tuple(name for name in names if getattr(pours.checks, name)),
        pour_l=pours.litres,
        stops=len(pours.pours),
        draining=layout.draining,
    )


def plan_page(plan: Plan, wiring: Mapping[str, Any] | None = None, speech: Speech = ENGLISH) -> str:
    """Return the page that is carried along: cautions, the plan in brief, what to bring.

    ``wiring`` is a checked wiring (`app.wiring.wiring_record`), if there is one; ``speech``
    says it in the words and units of whoever carries it.
    """
    layout = plan.layout
    probe, cut = layout.probe, layout.cut
    poured = ", ".join(
        speech.says(said("{litres:g}", litres=Volume(pour.add_l))) for pour in plan.pours.pours
    )
    facts: list[str] = [
        said(
            "drill at x {x:g} behind the front end, y {y:g} from the left",
            x=Length(probe.x_mm),
            y=Length(probe.y_mm),
        ),
        said(
            "cut to {cut:.1f} below the flange's seat (type it twice); {clear:g} stay free below "
            "the tip",
            cut=Length(cut.cut_length_mm),
            clear=Length(cut.tip_clearance_mm),
        ),
        said(
            "dead stock {litres:.1f}; pours: {pours}",
            litres=Volume(layout.seen.dead_stock_l),
            pours=poured,
        ),
    ]
    title = said(
        "{name}: {shape}, {litres:.0f}",
        name=layout.file.name,
        shape=layout.file.tank.shape.replace("_", " "),
        litres=Volume(layout.seen.capacity_l),
    )
    facts += [] if wiring is None else wiring_lines(wiring)
    items = things_to_bring(plan_needs(plan, wiring))
    return one_page(speech.says(title), items, facts, ruling=layout.ruling, speech=speech)


def plan_template(layout: Layout, *, flange: Flange | None = None, paper: Paper = "A4") -> str:
    """Return the drilling template of a plan as SVG."""
    return drilling_template(
        flange_of(layout.wishes) if flange is None else flange,
        x_mm=layout.probe.x_mm,
        y_mm=layout.probe.y_mm,
        title=layout.file.name,
        paper=paper,
    )


def flange_of(wishes: Wishes) -> Flange:
    """Return the flange of the wishes; without a bolt circle it is midway to the edge.

    >>> flange_of(Wishes(bolt_circle_mm=60, bolts=4, first_bolt_deg=45)).bolts
    4
    >>> flange_of(Wishes(bolts=4.5))
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: bolts: must be a whole number, found 4.5
    """
    if wishes.bolts != int(wishes.bolts):
        raise InputError(
            said("must be a whole number, found {bolts:g}", bolts=wishes.bolts), field="bolts"
        )
    circle = wishes.bolt_circle_mm
    if circle is None:
        is_usual = (wishes.hole_mm, wishes.flange_mm) == (Flange().hole_mm, Wishes().flange_mm)
        between = (wishes.hole_mm + wishes.flange_mm) / 2
        circle = Flange().bolt_circle_mm if is_usual else between
    try:
        return Flange(
            wishes.hole_mm,
            circle,
            int(wishes.bolts),
            wishes.bolt_mm,
            wishes.flange_mm,
            wishes.first_bolt_deg,
        )
    except InputError as error:
        if error.field != "outer_mm":
            raise
        raise InputError(error.problem, field="flange_mm") from None
