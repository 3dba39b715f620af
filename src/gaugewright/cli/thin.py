"""``gaugewright thin``: fewer rows at the least error."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright thin table.csv --rows 20 --out short.csv"


def thin(
    table_file: Annotated[str, typer.Argument(metavar="TABLE", help="Table file (CSV).")],
    rows: Annotated[
        str | None, typer.Option(metavar="N", help="How many rows to keep; the best table of N.")
    ] = None,
    within: Annotated[
        str | None,
        typer.Option(metavar="LITRES", help="Largest error allowed; the fewest rows within it."),
    ] = None,
    decimals: Annotated[
        str, typer.Option(metavar="N", help="Decimals of the litres, 0 to 3.")
    ] = "1",
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the table as CSV, - to print it.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Choose fewer rows for a table at the least error: N rows, or the fewest within a tolerance.

    The error is the largest difference in litres between the two tables, read between rows
    along straight lines.  The new table's band holds it too.
    """
    from gaugewright.app.files import naming_file, read_text
    from gaugewright.cli.numbers import maybe_option_number, naming_options
    from gaugewright.cli.table_text import table_lines, table_record
    from gaugewright.errors import InputError
    from gaugewright.table.delimited import whole_number
    from gaugewright.table.files import read_table, write_table
    from gaugewright.table.thin import thin as thinned

    if (rows is None) == (within is None):
        raise InputError("give one of --rows N and --within LITRES")
    output = Output(as_json=as_json, out=out)
    keep = None if rows is None else whole_number(rows, field="--rows")
    within_l = maybe_option_number(within, "--within")
    places = whole_number(decimals, field="--decimals")
    with naming_file(table_file):
        full = read_table(read_text(table_file))
    with naming_options(rows="--rows", within_l="--within", decimals="--decimals"):
        result = thinned(full, rows=keep, within_l=within_l, decimals=places)
    text = write_table(result.table, decimals=result.decimals)
    written = read_table(text)  # what is shown is what stands in the file
    output.write(text)
    output.tell(
        f"{len(result.table.counts)} of {len(full.counts)} rows; largest error "
        f"{result.max_error_l:.{result.decimals + 1}f} L at {result.at_counts:g} counts\n\n"
        + "\n".join(table_lines(written, result.decimals))
    )
    output.give(
        {
            "rows": len(result.table.counts),
            "rows_before": len(full.counts),
            "max_error_l": round(result.max_error_l, 6),
            "at_counts": result.at_counts,
            **table_record(written),
        }
    )
