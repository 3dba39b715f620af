"""``gaugewright refine``: a table made better from receipts and the engine's counter."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, require_other_file

EXAMPLE = (
    "Example: gaugewright refine table.csv log.parquet --receipts receipts.csv --out refined.csv"
)


def refine(
    table_file: Annotated[
        str, typer.Argument(metavar="TABLE", help="The table in use (CSV), with its band.")
    ],
    log_file: Annotated[
        str, typer.Argument(metavar="LOG", help="The vehicle's log: Parquet or CSV.")
    ],
    receipts_file: Annotated[
        str | None,
        typer.Option("--receipts", metavar="F", help="Receipts (CSV): vehicle,time,litres."),
    ] = None,
    tank_file: Annotated[
        str | None, typer.Option("--tank", metavar="TANK", help="Tank file with the probe.")
    ] = None,
    fill_file: Annotated[
        str | None,
        typer.Option(
            "--fill",
            metavar="POURS",
            help="Pour record that the table was made from; with --tank the most is known.",
        ),
    ] = None,
    vehicle: Annotated[
        str, typer.Option(metavar="NAME", help="Which vehicle, if the log is of several.")
    ] = "",
    columns: Annotated[
        str,
        typer.Option(metavar="OURS=THEIRS,...", help="Which column is which: counts=Fuel,..."),
    ] = "",
    zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Zone of receipts' times that have none.")
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the offered table, - to print it.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 if anything had to be left out.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Learn a table from service: refuel receipts, and the engine's fuel counter if it is logged.

    The same model as the fit, the same band. The table in use is never touched: the refined one
    is offered beside it. Receipts that do not go with the others are left out and named.
    """
    from datetime import UTC, datetime

    from gaugewright.app.refining import refine_from_files
    from gaugewright.cli.program import FINDINGS
    from gaugewright.cli.refine_text import refine_record, refine_text
    from gaugewright.errors import InputError
    from gaugewright.table.files import write_table
    from gaugewright.watch.order import CLOCK_AHEAD_S

    sources = {
        "TABLE": table_file, "LOG": log_file, "--receipts": receipts_file, "--tank": tank_file,
        "--fill": fill_file,
    }  # fmt: skip
    if list(sources.values()).count("-") > 1:
        raise InputError(f"only one of {', '.join(sources)} can be standard input")
    require_other_file(out, "--out", sources)
    output = Output(as_json=as_json, out=out)
    done = refine_from_files(
        table_file,
        log_file,
        receipts_file,
        tank_file=tank_file,
        fill_file=fill_file,
        vehicle=vehicle,
        columns=columns,
        zone=zone,
        latest_s=datetime.now(UTC).timestamp() + CLOCK_AHEAD_S,
    )
    output.write(write_table(done.table))
    output.tell(refine_text(done))
    output.give(refine_record(done))
    if strict and done.refined.left_out:
        raise typer.Exit(FINDINGS)
