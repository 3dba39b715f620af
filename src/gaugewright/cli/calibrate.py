"""``gaugewright calibrate``: a pour record becomes a table that can be trusted."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, require_other_file

EXAMPLE = "Example: gaugewright calibrate pours.csv --tank tank.toml --out table.csv --strict"


def calibrate(
    pours_file: Annotated[
        str, typer.Argument(metavar="POURS", help="Pour record (CSV), - for standard input.")
    ],
    tank_file: Annotated[
        str | None,
        typer.Option("--tank", metavar="TANK", help="Tank file with its probe, TOML or JSON."),
    ] = None,
    plan_file: Annotated[
        str | None,
        typer.Option("--plan", metavar="PLAN", help="Plan (JSON): what was to be poured."),
    ] = None,
    meter_check: Annotated[
        list[str] | None,
        typer.Option(
            metavar="INDICATED=TRUE",
            help="Litres by the meter and in a measured can; may be repeated.",
        ),
    ] = None,
    residual: Annotated[
        str | None, typer.Option(metavar="LITRES", help="Fuel left in the drained tank.")
    ] = None,
    u_residual: Annotated[
        str | None, typer.Option(metavar="LITRES", help="Standard uncertainty of it.")
    ] = None,
    dip_empty: Annotated[
        str | None,
        typer.Option(metavar="MM", help="Depth of fuel in the drained tank at the probe's place."),
    ] = None,
    sister: Annotated[
        str | None,
        typer.Option(metavar="TABLE", help="Table of a tank of the same model, proposed first."),
    ] = None,
    sister_tank: Annotated[
        str | None,
        typer.Option(metavar="TANK", help="Her tank file with her probe, if not that of --tank."),
    ] = None,
    sister_fill: Annotated[
        str | None,
        typer.Option(metavar="OLD_POURS", help="Pour record that her table was made from."),
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the table as CSV, - to print it.")
    ] = None,
    findings: Annotated[
        str | None, typer.Option(metavar="F", help="Write the findings as JSON.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 if a finding needs a person.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Turn a pour record into the calibration table with its 95 % band, and findings.

    Every pour is held against what the pours before it and the tank foretell.  A figure in
    doubt is named and left out of the table; the band shows what that costs.
    """
    from gaugewright.app.calibrate import read_and_calibrate
    from gaugewright.app.files import shown_name, write_files
    from gaugewright.app.sister import with_sister
    from gaugewright.cli.calibrate_text import calibration_record, calibration_text, findings_json
    from gaugewright.cli.later_text import sister_record, sister_text
    from gaugewright.cli.numbers import maybe_option_number
    from gaugewright.cli.program import FINDINGS
    from gaugewright.errors import InputError
    from gaugewright.table.files import write_table
    from gaugewright.table.records import parse_meter_check

    if out is not None and out == findings:
        raise InputError(f"--out and --findings cannot both go to {shown_name(out)}")
    sources = {"POURS": pours_file, "--tank": tank_file, "--plan": plan_file}
    if list(sources.values()).count("-") > 1:
        raise InputError("only one of POURS, --tank and --plan can come from standard input")
    hers = {"--sister": sister, "--sister-tank": sister_tank, "--sister-fill": sister_fill}
    if "-" in hers.values():
        raise InputError("a sister's files cannot come from standard input")
    if sister is None and any(hers.values()):
        raise InputError("is missing, wanted her table (CSV)", field="--sister")
    sources |= hers
    for option, target in (("--out", out), ("--findings", findings)):
        require_other_file(target, option, sources)
    output = Output(as_json=as_json, out=out)
    done = read_and_calibrate(
        pours_file,
        tank_file,
        plan_file=plan_file,
        meter_checks=[parse_meter_check(text) for text in meter_check or []],
        residual_l=maybe_option_number(residual, "--residual"),
        u_residual_l=maybe_option_number(u_residual, "--u-residual"),
        dip_empty_mm=maybe_option_number(dip_empty, "--dip-empty"),
    )
    says = None
    if sister is not None:
        done, says = with_sister(
            done, sister, tank_file=sister_tank or tank_file, fill_file=sister_fill
        )
    table = write_table(done.result.table)
    contents = {} if findings is None else {findings: findings_json(done.result)}
    if out is not None:
        contents[out] = table
    write_files({path: text.encode() for path, text in contents.items()})
    if findings != "-":
        output.tell(calibration_text(done))
        record = calibration_record(done)
        if says is not None:
            output.tell(sister_text(says))
            record["sister"] = sister_record(says)
        output.give(record)
    if strict and done.result.needs_person:
        raise typer.Exit(FINDINGS)
