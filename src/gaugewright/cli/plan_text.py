"""A plan as text for people, and what they type for it."""

from textwrap import fill

from gaugewright.app.plan import Plan
from gaugewright.app.plan_unknown import UnknownPlan
from gaugewright.errors import InputError
from gaugewright.planning.cautions import cautions_for
from gaugewright.planning.length import Cut, ways_agree
from gaugewright.planning.template import PAPERS, Paper
from gaugewright.planning.zones import KeepOut
from gaugewright.table.delimited import number
from gaugewright.units import parse_length_mm


def keep_out_of_text(text: str) -> KeepOut:
    """Return the zone that a person typed: a name and its corners.

    >>> keep_out_of_text("sender=100:50 200:150").corners_mm
    ((100.0, 50.0), (200.0, 50.0), (200.0, 150.0), (100.0, 150.0))
    >>> keep_out_of_text("100:50")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: --keep-out: '100:50' is not a zone, wanted for example
    'sender=100:50 200:150'
    """
    name, equals, rest = text.partition("=")
    corners = [corner.split(":") for corner in rest.split()]
    if not (equals and name.strip()) or any(len(c) != 2 for c in corners) or len(corners) < 2:
        raise InputError(
            f"'{text}' is not a zone, wanted for example 'sender=100:50 200:150'",
            field="--keep-out",
        )
    placed = tuple(
        (parse_length_mm(x, field="--keep-out"), parse_length_mm(y, field="--keep-out"))
        for x, y in corners
    )
    if len(placed) == 2:
        return KeepOut.rectangle(name.strip(), *placed[0], *placed[1])
    return KeepOut(name.strip(), placed)


def maybe_length(text: str | None, option: str) -> float | None:
    """Return a length that may be left out. [mm]

    >>> maybe_length("35cm", "--headroom"), maybe_length(None, "--headroom")
    (350.0, None)
    """
    return None if text is None else parse_length_mm(text, field=option)


def paper_of_text(text: str) -> Paper:
    """Return the paper that a person typed.

    >>> paper_of_text("letter")
    'Letter'
    """
    for paper in PAPERS:
        if text.strip().lower() == paper.lower():
            return paper
    raise InputError(f"'{text}' is no paper known here, wanted A4 or Letter", field="--paper")


def whole_number(text: str, option: str) -> int:
    """Return a whole number that a person typed.

    >>> whole_number("8", "--pours")
    8
    """
    value = number(text, field=option, example=12)
    if value != int(value):
        raise InputError(f"wanted a whole number, found {text}", field=option)
    return int(value)


def plan_text(plan: Plan) -> str:
    """Return the plan for people: where, how long, what to pour, what to know."""
    cautions = [f"! {caution.short}" for caution in cautions_for(["Survey", "Plan", "Mount"])]
    return "\n".join(
        [*cautions, "", *_place_lines(plan), "", *_pour_lines(plan), "", *_note_lines(plan)]
    )


def any_text(plan: Plan | UnknownPlan) -> str:
    """Return a plan for people, with a shape or without one."""
    if isinstance(plan, Plan):
        return plan_text(plan)
    layout, cut = plan.layout, plan.layout.cut
    guess, tank = layout.guess, layout.file.tank
    cautions = [f"! {caution.short}" for caution in cautions_for(["Survey", "Plan", "Mount"])]
    facts = [
        f"shape not known, {tank.brim_l:.0f} L brim-full by the plate "
        f"({tank.rated_capacity_l:g} L), {tank.height_mm:g} mm high",
        f"cut to        {cut.cut_length_mm:.1f} mm below the flange's seat; "
        f"{cut.tip_clearance_mm:g} mm stay free below the tip, {cut.least_mm:.0f} mm at worst",
        *_stand_off_lines(cut, layout.stand_off),
        f"dead stock    {guess.dead_stock_l:.0f} ± {1.96 * guess.u_dead_stock_l:.0f} L below the "
        "tip, over plain tanks of this size",
    ]
    return "\n".join([*cautions, "", *facts, "", *_pour_lines(plan), "", *_note_lines(plan)])


def _place_lines(plan: Plan) -> list[str]:
    layout = plan.layout
    probe, cut, seen, place = layout.probe, layout.cut, layout.seen, layout.place
    slope = layout.wishes.slope
    return [
        f"{layout.file.tank.shape.replace('_', ' ')}, {seen.capacity_l:.1f} L brim-full",
        f"drill at      x {probe.x_mm:g} mm, y {probe.y_mm:g} mm"
        + (" (the best free place)" if layout.is_chosen else " (as in the tank file)"),
        f"cut to        {cut.cut_length_mm:.1f} mm below the flange's seat; "
        f"{cut.tip_clearance_mm:g} mm stay free below the tip, {cut.least_mm:.0f} mm at worst",
        *_stand_off_lines(layout.cut, layout.stand_off),
        f"dead stock    {seen.dead_stock_l:.1f} L below the tip, "
        f"{seen.blind_above_l:.1f} L above the sensed length",
        f"one count     {seen.litres_per_count.min():.3f} to {seen.litres_per_count.max():.3f} L; "
        f"smallest visible change {seen.smallest_visible_l.max():.2f} L",
        f"on a slope    of {100 * slope.along:.3g} % along, {100 * slope.across:.3g} % across it "
        f"misreads {place.worst_l:.1f} L at worst, {100 * place.share_filled:.0f} % full",
    ]


def _stand_off_lines(cut: Cut, other: Cut | None) -> list[str]:
    if other is None:
        return []
    agree, apart = ways_agree(cut, other)
    words = "agree" if agree else "DO NOT AGREE: measure both again before the cut"
    return [
        f"by stand-off  {other.cut_length_mm:.1f} ± {1.96 * other.u_mm:.1f} mm, leaves "
        f"{other.tip_clearance_mm:g} mm; the two ways are {abs(apart):.0f} mm apart and {words}"
    ]


def _pour_lines(plan: Plan | UnknownPlan) -> list[str]:
    found = plan.pours
    lines = [f"{'step':>6}{'add L':>10}{'expected counts':>18}{'u counts':>11}"]
    for pour in found.pours:
        lines.append(
            f"{pour.step:>6}{pour.add_l:>10.1f}{pour.expected_counts:>18.0f}{pour.u_counts:>11.1f}"
        )
    lines += ["", "what teaches the most, in order, and the error left after it:"]
    for action in found.actions:
        lines.append(f"{action.error_left_l:>8.2f} L  {action.what} ({action.minutes:.0f} min)")
    lines += [
        "",
        f"{found.litres:.0f} L of fuel, about {found.minutes:.0f} minutes; {found.why_it_ends}",
    ]
    return lines


def _note_lines(plan: Plan | UnknownPlan) -> list[str]:
    return [fill(f"- {note}", 76, subsequent_indent="  ") for note in plan.layout.notes]
