"""``gaugewright recheck``: is a table still good after months, and what changed."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, require_other_file

EXAMPLE = (
    "Example: gaugewright recheck table.csv again.csv --tank tank.toml --fill pours.csv --drained"
)


def recheck(
    table_file: Annotated[
        str, typer.Argument(metavar="TABLE", help="The old table (CSV), with its band.")
    ],
    pours_file: Annotated[
        str,
        typer.Argument(
            metavar="POURS",
            help="The new pours (CSV), - for standard input; step 0 is the reading before them.",
        ),
    ],
    tank_file: Annotated[
        str | None,
        typer.Option("--tank", metavar="TANK", help="Tank file with the probe; then sizes in mm."),
    ] = None,
    fill_file: Annotated[
        str | None,
        typer.Option(
            "--fill",
            metavar="OLD_POURS",
            help="Pour record that the table was made from; the check sees more with it.",
        ),
    ] = None,
    drained: Annotated[
        bool, typer.Option("--drained", help="The tank was drained before step 0.")
    ] = False,
    dry: Annotated[
        str | None,
        typer.Option(metavar="COUNTS", help="What the probe reads now, dry in air."),
    ] = None,
    dry_before: Annotated[
        str | None,
        typer.Option(metavar="COUNTS", help="The same when it was put in; else the tank file's."),
    ] = None,
    dip_empty: Annotated[
        str | None,
        typer.Option(metavar="MM", help="Depth of what is left in the drained tank, by a stick."),
    ] = None,
    out: Annotated[
        str | None,
        typer.Option(metavar="F", help="Write the table with these pours learnt, - to print it."),
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 unless the table is still good.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Hold an old table against new pours: E_n numbers, still good or not, and what changed.

    A tip that moved, a zero that drifted, a span that changed and a dent are weighed against
    an unchanged tank and against a slip in the new pours; what cannot be told apart is said.
    A drifted zero reads like fuel left in the tank: --dry tells them apart, and so does a dip.
    """
    from gaugewright.app.later import recheck as rechecked
    from gaugewright.cli.later_text import recheck_record, recheck_text
    from gaugewright.cli.numbers import maybe_option_number
    from gaugewright.cli.program import FINDINGS
    from gaugewright.errors import InputError
    from gaugewright.pours.later.hold import require_sound
    from gaugewright.pours.later.rivals import Dry
    from gaugewright.table.files import write_table

    sources = {"TABLE": table_file, "POURS": pours_file, "--tank": tank_file, "--fill": fill_file}
    if list(sources.values()).count("-") > 1:
        raise InputError("only one of TABLE, POURS, --tank and --fill can be standard input")
    require_other_file(out, "--out", sources)
    output = Output(as_json=as_json, out=out)
    dry_now, dry_then = (
        maybe_option_number(dry, "--dry"),
        maybe_option_number(dry_before, "--dry-before"),
    )
    if dry_now is None and dry_then is not None:
        raise InputError("is only beside --dry, what the probe reads now", field="--dry-before")
    done = rechecked(
        table_file,
        pours_file,
        tank_file=tank_file,
        fill_file=fill_file,
        is_drained=drained,
        dry=None if dry_now is None else Dry(dry_now, dry_then),
        dip_empty_mm=maybe_option_number(dip_empty, "--dip-empty"),
    )
    output.tell(recheck_text(done))
    if out is not None:
        require_sound(done.held)
    output.write(write_table(done.table))
    output.give(recheck_record(done))
    if strict and done.held.verdict != "good":
        raise typer.Exit(FINDINGS)
