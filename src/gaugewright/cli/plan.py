"""``gaugewright plan``: where to drill, what to cut, which pours to make."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, show
from gaugewright.errors import InputError

EXAMPLE = "Example: gaugewright plan tank.toml --pours 8 --keep-out 'baffle=500:0 500:600'"


def plan(
    tank_file: Annotated[str, typer.Argument(metavar="TANK", help="Tank file, TOML or JSON.")],
    pours: Annotated[
        str | None, typer.Option(metavar="N", help="Make as many pours; else as many as pay.")
    ] = None,
    within: Annotated[
        str | None, typer.Option(metavar="LITRES", help="As few pours as reach this error.")
    ] = None,
    fuel: Annotated[
        str | None, typer.Option(metavar="LITRES", help="With no more fuel than this at hand.")
    ] = None,
    slope_along: Annotated[
        str, typer.Option(metavar="SLOPE", help="Ground it often stands on, 5% or 3deg.")
    ] = "5%",
    slope_across: Annotated[str, typer.Option(metavar="SLOPE", help="The same across.")] = "3%",
    keep_out: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME=X:Y X:Y ...",
            help="No hole here: two corners of a rectangle, or more of a polygon, in mm. Repeat.",
        ),
    ] = None,
    headroom: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Free height above the tank's top.")
    ] = None,
    depth: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Inside depth there, by dip stick.")
    ] = None,
    stand_off: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="Uncut probe above its seat, tip on the bottom."),
    ] = None,
    full_length: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Uncut tube below the flange.")
    ] = None,
    seat: Annotated[
        str, typer.Option(metavar="LENGTH", help="Top of the inside to the flange's seat.")
    ] = "5mm",
    hole: Annotated[
        str, typer.Option(metavar="LENGTH", help="Hole for the probe, by the flange in hand.")
    ] = "38mm",
    flange: Annotated[
        str, typer.Option(metavar="LENGTH", help="The flange across its outer edge.")
    ] = "80mm",
    bolts: Annotated[str, typer.Option(metavar="N", help="Bolts of the flange, 0 to 24.")] = "5",
    bolt_circle: Annotated[
        str | None,
        typer.Option(metavar="LENGTH", help="Circle through the bolts' middles, across."),
    ] = None,
    bolt_hole: Annotated[str, typer.Option(metavar="LENGTH", help="Hole for one bolt.")] = "5mm",
    first_bolt: Annotated[
        str, typer.Option(metavar="DEG", help="First bolt from the front, clockwise from above.")
    ] = "0",
    contents: Annotated[
        str, typer.Option(metavar="FUEL", help="What the tank holds; petrol and others stop.")
    ] = "diesel",
    dangerous_goods: Annotated[
        bool, typer.Option("--dangerous-goods", help="The vehicle carries dangerous goods.")
    ] = False,
    licensed: Annotated[
        str, typer.Option(metavar="NAME", help="Who, licensed for it, decides on what stops.")
    ] = "",
    in_tank: Annotated[
        str | None, typer.Option(metavar="LITRES", help="Fuel in the tank, drained first.")
    ] = None,
    template: Annotated[
        str | None, typer.Option(metavar="F", help="Write the drilling template, SVG at 1:1.")
    ] = None,
    sheet: Annotated[
        str | None, typer.Option(metavar="F", help="Write one page: cautions, plan, what to bring.")
    ] = None,
    shape_unknown: Annotated[
        bool,
        typer.Option("--shape-unknown", help="Trust only plate and height, not the shape."),
    ] = False,
    wiring: Annotated[
        str | None,
        typer.Option(metavar="F", help="Wiring file: cable, fuse and pins go onto the sheet."),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="A4 or Letter.")] = "A4",
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the plan as JSON, - to print it.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the plan as JSON.")] = False,
) -> None:
    """Plan a probe before its hole is drilled: place, cut length, pours and checks.

    A tank file with a probe keeps its place, clearance and length; without one the plan
    takes the place where the slope does least and proposes the rest.  A tank file without a
    shape, only rated_capacity_l and height_mm, is planned by those: pours close together
    where the curve of any tank bends, with what is not known left open.

    Measure the flange in hand before drilling: the usual bolt circle is common practice only,
    and --template draws the one of --hole, --flange, --bolts, --bolt-circle, --bolt-hole and
    --first-bolt.
    """
    import json

    from gaugewright.app.files import write_text
    from gaugewright.app.plan_any import (
        any_page,
        any_record,
        any_template,
        check_template,
        plan_any,
    )
    from gaugewright.app.plan_cut import Wishes
    from gaugewright.app.plan_unknown import read_any_tank
    from gaugewright.app.wiring import checked_wiring_file
    from gaugewright.cli.numbers import maybe_option_number, naming_options, option_number
    from gaugewright.cli.plan_text import (
        any_text,
        keep_out_of_text,
        maybe_length,
        paper_of_text,
        whole_number,
    )
    from gaugewright.planning.cautions import Circumstances
    from gaugewright.planning.misread import Slope, slope_of_text
    from gaugewright.units import parse_length_mm

    if [out, template, sheet].count("-") > 1:
        raise InputError("only one of --out, --template and --sheet can go to standard output")
    takes_output = "-" in (out, template, sheet)
    output = Output(as_json=as_json, out=out)
    size = paper_of_text(paper)
    options = {
        "pours": "--pours", "within_l": "--within", "fuel_l": "--fuel", "seat_mm": "--seat",
        "headroom_mm": "--headroom", "depth_mm": "--depth", "clear_mm": "--keep-out",
        "stand_off_mm": "--stand-off", "full_length_mm": "--full-length",
        "hole_mm": "--hole", "flange_mm": "--flange", "outer_mm": "--flange", "bolts": "--bolts",
        "bolt_circle_mm": "--bolt-circle", "bolt_mm": "--bolt-hole",
        "first_bolt_deg": "--first-bolt", "contents": "--contents",
        "dangerous_goods": "--dangerous-goods", "litres": "--in-tank",
    }  # fmt: skip
    with naming_options(**options):
        wishes = Wishes(
            slope=Slope(
                slope_of_text(slope_along, "--slope-along"),
                slope_of_text(slope_across, "--slope-across"),
            ),
            zones=tuple(keep_out_of_text(text) for text in keep_out or ()),
            headroom_mm=maybe_length(headroom, "--headroom"),
            depth_mm=maybe_length(depth, "--depth"),
            stand_off_mm=maybe_length(stand_off, "--stand-off"),
            full_length_mm=maybe_length(full_length, "--full-length"),
            seat_mm=parse_length_mm(seat, field="--seat"),
            hole_mm=parse_length_mm(hole, field="--hole"),
            flange_mm=parse_length_mm(flange, field="--flange"),
            bolts=whole_number(bolts, "--bolts"),
            bolt_circle_mm=maybe_length(bolt_circle, "--bolt-circle"),
            bolt_mm=parse_length_mm(bolt_hole, field="--bolt-hole"),
            first_bolt_deg=option_number(first_bolt, "--first-bolt"),
            circumstances=Circumstances(
                contents, is_dangerous_goods=dangerous_goods, licensed_person=licensed
            ),
            in_tank_l=maybe_option_number(in_tank, "--in-tank") or 0.0,
        )
        check_template(wishes, paper=size)
        found = plan_any(
            read_any_tank(tank_file, shape_unknown=shape_unknown),
            wishes,
            pours=None if pours is None else whole_number(pours, "--pours"),
            within_l=maybe_option_number(within, "--within"),
            fuel_l=maybe_option_number(fuel, "--fuel"),
        )
        drawn = any_template(found.layout, paper=size)
    wired = None if wiring is None else checked_wiring_file(wiring)
    record = {**any_record(found), **({} if wired is None else {"wiring": wired})}
    if template is not None:
        write_text(template, drawn + "\n")
    if sheet is not None:
        write_text(sheet, any_page(found, wired))
    output.write(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2) + "\n")
    if not as_json:
        show(any_text(found), to_error=takes_output)
    if not takes_output:
        output.give(record)
