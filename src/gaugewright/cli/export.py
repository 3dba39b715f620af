"""``gaugewright export``: hand-over files of a table."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = (
    "Example: gaugewright export table.csv --recipe depot.toml --tank tank.toml --out north.txt"
)
FORMS = ("csv", "json", "xlsx", "segments")


def export(
    table_file: Annotated[str, typer.Argument(metavar="TABLE", help="Table file (CSV).")],
    form: Annotated[
        str | None,
        typer.Option(
            "--as",
            metavar="|".join(FORMS),
            help="The form wanted; segments gives litres = a + b x counts for each segment.",
        ),
    ] = None,
    recipe_file: Annotated[
        str | None,
        typer.Option(
            "--recipe", metavar="FILE", help="How the receiving system wants it; see 'recipe'."
        ),
    ] = None,
    tank_file: Annotated[
        str | None,
        typer.Option("--tank", metavar="TANK", help="Tank file, where a recipe needs the probe."),
    ] = None,
    drained: Annotated[
        str | None,
        typer.Option(
            metavar="LITRES", help="Fuel left in the drained tank, where a recipe's 0 lies there."
        ),
    ] = None,
    u_drained: Annotated[
        str | None,
        typer.Option(metavar="LITRES", help="Half-width of its 95 % band; not known if left out."),
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="F", help="The file to write; printed if left out.")
    ] = None,
    fact: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=VALUE", help="What to say of the table (json, xlsx); repeat."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Write a table in the form that another system takes in.

    With --recipe it is thinned, rounded and scaled as that system wants it, and what that
    costs in litres is said beside the table's band.
    """
    from gaugewright.app.files import naming_file, read_text, write_bytes
    from gaugewright.errors import InputError
    from gaugewright.table.export import export_csv, export_json, export_segments, export_xlsx
    from gaugewright.table.files import read_table

    if (form is None) == (recipe_file is None):
        raise InputError("give one of --as FORM and --recipe FILE")
    if recipe_file is not None:
        if fact:
            raise InputError("has no place in what a recipe gives", field="--fact")
        _by_recipe(table_file, recipe_file, tank_file, drained, u_drained, Output(as_json, out))
        return
    for name, value in (("--tank", tank_file), ("--drained", drained), ("--u-drained", u_drained)):
        if value is not None:
            raise InputError("is for --recipe only", field=name)
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


def _by_recipe(
    table_file: str, recipe_file: str, tank_file: str | None,
    drained: str | None, u_drained: str | None, output: Output,
) -> None:  # fmt: skip
    from dataclasses import replace

    from gaugewright.app.recipes import hand_over_files
    from gaugewright.cli.numbers import maybe_option_number
    from gaugewright.cli.output import require_other_file

    sources = {"the table": table_file, "the recipe": recipe_file, "the tank": tank_file}
    require_other_file(output.out, "--out", sources)
    made = hand_over_files(
        table_file,
        recipe_file,
        tank_file,
        drained_l=maybe_option_number(drained, "--drained"),
        u_drained_l=maybe_option_number(u_drained, "--u-drained"),
    )
    is_printed = output.out is None and not output.as_json
    shown = replace(output, out="-") if is_printed else output
    shown.write(made.text)
    shown.tell(made.in_words())
    shown.tell(f"One step of their scale is up to {made.step_l:.2f} L.")
    if made.below_zero_l:
        shown.tell(f"{made.below_zero_l:.1f} L lie below their 0.")
    shown.give(
        {
            "recipe": made.recipe.to_mapping(),
            "rows": len(made.rows),
            "rows_before": made.full_rows,
            "loss_l": round(made.loss_l, 6),
            "loss_at_counts": made.loss_at_counts,
            "step_l": round(made.step_l, 6),
            "band_l": made.band_l,
            "band_and_loss_l": made.total_l,
            "below_zero_l": made.below_zero_l,
            "u_below_zero_l": made.u_below_zero_l,
            "content": made.text,
        }
    )


def _fact(text: str) -> tuple[str, str]:
    from gaugewright.errors import InputError

    name, equals, value = text.partition("=")
    if not equals or not name.strip():
        raise InputError(f"wanted NAME=VALUE, such as vehicle=7, found '{text}'", field="--fact")
    return name.strip(), value.strip()
