"""``gaugewright export``: hand-over files of a table."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright export table.csv --as xlsx --out lorry-7.xlsx --fact vehicle=7"
FORMS = ("csv", "json", "xlsx", "segments")


def export(
    table_file: Annotated[str, typer.Argument(metavar="TABLE", help="Table file (CSV).")],
    form: Annotated[
        str,
        typer.Option(
            "--as",
            metavar="|".join(FORMS),
            help="The form wanted; segments gives litres = a + b x counts for each segment.",
        ),
    ],
    out: Annotated[
        str | None, typer.Option(metavar="F", help="The file to write; printed if left out.")
    ] = None,
    fact: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=VALUE", help="What to say of the table (json, xlsx); repeat."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Write a table in the form that another system takes in."""
    from gaugewright.app.files import naming_file, read_text, write_bytes
    from gaugewright.errors import InputError
    from gaugewright.table.export import export_csv, export_json, export_segments, export_xlsx
    from gaugewright.table.files import read_table

    if form not in FORMS:
        raise InputError(f"must be {', '.join(FORMS)}, found '{form}'", field="--as")
    facts = dict(_fact(text) for text in fact or ())
    if facts and form not in ("json", "xlsx"):
        raise InputError(f"has no place in {form}, only in json and xlsx", field="--fact")
    if form == "xlsx" and out is None:
        raise InputError("a workbook is no text to print; give the file to write", field="--out")
    with naming_file(table_file):
        table = read_table(read_text(table_file))
        match form:
            case "csv":
                content = export_csv(table).encode()
            case "json":
                content = export_json(table, facts).encode()
            case "segments":
                content = export_segments(table).encode()
            case _:
                content = export_xlsx(table, facts)
    record = {"as": form, "rows": len(table.counts), "bytes": len(content), "out": out}
    if out is None and as_json:
        Output(as_json=True).give({**record, "content": content.decode()})
        return
    output = Output(as_json=as_json, out=out or "-")
    write_bytes(output.out or "-", content)
    if out not in (None, "-"):
        output.tell(f"{len(table.counts)} rows written to {out}")
    output.give(record)


def _fact(text: str) -> tuple[str, str]:
    from gaugewright.errors import InputError

    name, equals, value = text.partition("=")
    if not equals or not name.strip():
        raise InputError(f"wanted NAME=VALUE, such as vehicle=7, found '{text}'", field="--fact")
    return name.strip(), value.strip()
