"""``gaugewright compare``: what was keyed into another system, held against the table."""

from typing import Annotated, Any

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
    recipe_file: Annotated[
        str | None,
        typer.Option("--recipe", metavar="FILE", help="The recipe by which TABLE was handed over."),
    ] = None,
    tank_file: Annotated[
        str | None,
        typer.Option("--tank", metavar="TANK", help="Tank file, where the recipe needs the probe."),
    ] = None,
    drained: Annotated[
        str | None,
        typer.Option(metavar="LITRES", help="Fuel left in the drained tank, as for 'export'."),
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Leave with exit code 1 if anything differs.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Hold a table that was copied back from another system against ours.

    Any separators, extra columns, order and decimal mark are read. Missing rows, swapped
    digits, wrong order, wrong scale and shifted rows are each named. With --recipe it is held
    against what the recipe gave, in its unit and on its scale.
    """
    import json

    from gaugewright.app.files import naming_file, read_text
    from gaugewright.app.recipes import hand_over_files
    from gaugewright.cli.numbers import maybe_option_number
    from gaugewright.errors import InputError
    from gaugewright.table.compare import compare as compared
    from gaugewright.table.files import read_table
    from gaugewright.table.shown import held_against

    if table_file == other_file == "-":
        raise InputError("only one of TABLE and OTHER can be standard input")
    output = Output(as_json=as_json, out=out)
    record: dict[str, Any]
    if recipe_file is None:
        for name, value in (("--tank", tank_file), ("--drained", drained)):
            if value is not None:
                raise InputError("is for --recipe only", field=name)
        with naming_file(table_file):
            ours = read_table(read_text(table_file))
        with naming_file(other_file):
            result = compared(ours, read_text(other_file))
        max_error_l, at_counts = result.max_error_l, result.at_counts
        record = result.as_json()
    else:
        drained_l = maybe_option_number(drained, "--drained")
        given = hand_over_files(table_file, recipe_file, tank_file, drained_l=drained_l)
        with naming_file(other_file):
            shown = held_against(given, read_text(other_file))
        result, max_error_l, at_counts = shown.comparison, shown.max_error_l, shown.at_counts
        record = shown.as_json()
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
    if max_error_l is not None and at_counts is not None and not result.is_clean:
        output.tell(
            "Where both have rows it is as it stands wrong by up to "
            f"{max_error_l:.1f} L (at {at_counts:.6g} counts)."
        )
    output.give(record)
    if strict and not result.is_clean:
        raise typer.Exit(FINDINGS)
