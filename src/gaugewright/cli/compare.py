"""``gaugewright compare``: what was keyed into another system, held against the table."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output
from gaugewright.cli.program import FINDINGS

EXAMPLE = "Example: gaugewright compare table.csv copied-back.txt --strict"


def compare(
    table_file: Annotated[str, typer.Argument(metavar="TABLE", help="Our table file (CSV).")],
    other_file: Annotated[
        str,
        typer.Argument(metavar="OTHER", help="The table copied back, in any form of text."),
    ],
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the differences as JSON, - to print.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Leave with exit code 1 if anything differs.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Hold a table that was copied back from another system against ours.

    Any separators, extra columns, order and decimal mark are read. Missing rows, swapped
    digits, wrong order, wrong scale and shifted rows are each named.
    """
    import json

    from gaugewright.app.files import naming_file, read_text
    from gaugewright.errors import InputError
    from gaugewright.table.compare import compare as compared
    from gaugewright.table.files import read_table

    if table_file == other_file == "-":
        raise InputError("only one of TABLE and OTHER can be standard input")
    output = Output(as_json=as_json, out=out)
    with naming_file(table_file):
        ours = read_table(read_text(table_file))
    with naming_file(other_file):
        result = compared(ours, read_text(other_file))
    record = result.as_json()
    if out is not None:
        output.write(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2) + "\n")
    output.tell(
        f"{result.rows_read} rows read, counts in column {result.counts_column}, "
        f"litres in column {result.litres_column}"
    )
    if result.is_clean:
        output.tell("Nothing differs.")
    for difference in result.differences:
        output.tell(f"- {difference.message}")
    if result.max_error_l is not None and not result.is_clean:
        output.tell(
            f"As it stands it is wrong by up to {result.max_error_l:.1f} L "
            f"(at {result.at_counts:g} counts)."
        )
    output.give(record)
    if strict and not result.is_clean:
        raise typer.Exit(FINDINGS)
