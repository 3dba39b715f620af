"""``gaugewright carry``: the probe was exchanged, the table goes over to the new one."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, require_other_file

EXAMPLE = (
    "Example: gaugewright carry table.csv --tank tank.toml --probe new.toml "
    "--fill pours.csv --pours check.csv --out carried.csv"
)


def carry(
    table_file: Annotated[
        str, typer.Argument(metavar="TABLE", help="Table of the old probe (CSV), with its band.")
    ],
    tank_file: Annotated[
        str, typer.Option("--tank", metavar="TANK", help="Tank file with the old probe.")
    ],
    probe_file: Annotated[
        str,
        typer.Option(
            "--probe",
            metavar="NEW",
            help="The new probe (TOML or JSON): zero, span, active length, tip clearance, place.",
        ),
    ],
    fill_file: Annotated[
        str | None,
        typer.Option(
            "--fill",
            metavar="OLD_POURS",
            help="Pour record that the table was made from; the band is narrower with it.",
        ),
    ] = None,
    pours_file: Annotated[
        str | None,
        typer.Option("--pours", metavar="CHECK", help="Check pours with the new probe (CSV)."),
    ] = None,
    drained: Annotated[
        bool, typer.Option("--drained", help="The tank was drained before step 0 of CHECK.")
    ] = False,
    u_tip: Annotated[
        str | None, typer.Option(metavar="MM", help="Standard uncertainty of the new tip, 2 mm.")
    ] = None,
    u_zero: Annotated[
        str | None, typer.Option(metavar="COUNTS", help="The same of its zero, 2.2 of 4095.")
    ] = None,
    u_span: Annotated[
        str | None, typer.Option(metavar="COUNTS", help="The same of its span, 2.2 of 4095.")
    ] = None,
    u_place: Annotated[
        str | None, typer.Option(metavar="MM", help="The same of its place, 5 mm.")
    ] = None,
    old_u_tip: Annotated[
        str | None, typer.Option(metavar="MM", help="The same of the old tip, 2 mm.")
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the carried table, - to print it.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 unless check pours confirm it.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Carry a table to a new probe by zero, span, active length and tip clearance.

    What the old probe's tip and scale left open, and all that is not known of the new one,
    is in the band.  Two check pours confirm the table or speak against it.
    """
    from gaugewright.app.later import carry as carried
    from gaugewright.cli.later_text import carried_record, carried_text
    from gaugewright.cli.numbers import not_negative
    from gaugewright.cli.program import FINDINGS
    from gaugewright.errors import InputError
    from gaugewright.pours.later.hold import require_sound
    from gaugewright.table.files import write_table
    from gaugewright.table.later.assumptions import mounting

    sources = {
        "TABLE": table_file,
        "--tank": tank_file,
        "--probe": probe_file,
        "--fill": fill_file,
        "--pours": pours_file,
    }
    if list(sources.values()).count("-") > 1:
        raise InputError(f"only one of {', '.join(sources)} can be standard input")
    if drained and pours_file is None:
        raise InputError(
            "says how the check pours began: give them with --pours", field="--drained"
        )
    require_other_file(out, "--out", sources)
    output = Output(as_json=as_json, out=out)
    done = carried(
        table_file,
        probe_file,
        tank_file=tank_file,
        fill_file=fill_file,
        pours_file=pours_file,
        is_drained=drained,
        old=mounting(u_tip_mm=not_negative(old_u_tip, "--old-u-tip")),
        new=mounting(
            u_tip_mm=not_negative(u_tip, "--u-tip"),
            u_zero_counts=not_negative(u_zero, "--u-zero"),
            u_span_counts=not_negative(u_span, "--u-span"),
            u_place_mm=not_negative(u_place, "--u-place"),
        ),
    )
    output.tell(carried_text(done))
    if out is not None and done.held is not None:
        require_sound(done.held)
    output.write(write_table(done.table))
    output.give(carried_record(done))
    if strict and not done.is_confirmed:
        raise typer.Exit(FINDINGS)
