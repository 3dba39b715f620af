"""``gaugewright arrives``: does what the probe reads arrive at the other end."""

from typing import Annotated, Any

import typer

from gaugewright.cli.output import Output, show
from gaugewright.cli.program import FINDINGS

EXAMPLE = (
    "Example: gaugewright arrives --readings near.csv --records far.csv "
    "--off 2026-05-04T09:41:00Z/2026-05-04T09:45:00Z --strict"
)
SIGNS = {"good": "ok", "note": "note", "missing": "missing", "wrong": "WRONG"}


def arrives(
    setup_file: Annotated[
        str | None,
        typer.Argument(
            metavar="[SETUP]", help="TOML with [probe] and [records]: what is read, live."
        ),
    ] = None,
    readings: Annotated[
        str | None, typer.Option(metavar="F", help="Recorded readings (CSV): time,counts.")
    ] = None,
    records: Annotated[
        str | None, typer.Option(metavar="F", help="Recorded records (CSV): time,value[,seen].")
    ] = None,
    lasts: Annotated[
        str, typer.Option("--for", metavar="SECONDS", help="How long to read live.")
    ] = "600",
    off: Annotated[
        list[str] | None,
        typer.Option(metavar="FROM/TO", help="Ignition off from and to (ISO 8601); repeat."),
    ] = None,
    parked: Annotated[
        bool, typer.Option("--parked/--no-parked", help="Data must come with the ignition off too.")
    ] = True,
    shows: Annotated[
        str, typer.Option(metavar="counts|fuel", help="What the records show.")
    ] = "counts",
    table_file: Annotated[
        str | None,
        typer.Option("--table", metavar="TABLE", help="The table, where they show fuel."),
    ] = None,
    recipe_file: Annotated[
        str | None,
        typer.Option("--recipe", metavar="FILE", help="On which scale and in which unit."),
    ] = None,
    tank_file: Annotated[
        str | None, typer.Option("--tank", metavar="TANK", help="Tank file, for the probe's scale.")
    ] = None,
    drained: Annotated[
        str | None, typer.Option(metavar="LITRES", help="Fuel left in the drained tank.")
    ] = None,
    hz: Annotated[
        str | None, typer.Option(metavar="N", help="Samples of the probe each second.")
    ] = None,
    every: Annotated[
        str | None, typer.Option(metavar="SECONDS", help="How often a record was promised.")
    ] = None,
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the verdict as JSON, - to print it.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Leave with exit code 1 unless it is safe to leave.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Lay readings at the probe over records at the other end: delay, losses, scale, averaging.

    Live, both ends are read as SETUP says; 'off', 'on' and 'end' are read from standard input.
    Secrets are named in SETUP as {GAUGEWRIGHT_SECRET_NAME} and taken from the environment.
    """
    import json

    from gaugewright.app.arrives import Wanted, plain_item
    from gaugewright.app.arrives_files import Told, expected_from
    from gaugewright.cli.numbers import maybe_option_number, naming_options
    from gaugewright.errors import InputError
    from gaugewright.pours.arrives.verdict import judge

    if (setup_file is None) == (readings is None and records is None):
        raise InputError("give either SETUP, or both --readings F and --records F")
    if setup_file is None and (readings is None or records is None):
        missing = "--readings" if readings is None else "--records"
        raise InputError("is missing: both ends are needed", field=missing)
    output = Output(as_json=as_json, out=out)
    with naming_options(shows="--shows", hz="--hz", every_s="--every"):
        wanted = Wanted(
            shows, maybe_option_number(hz, "--hz"), maybe_option_number(every, "--every"), parked
        )
        told = Told(table_file, recipe_file, tank_file, maybe_option_number(drained, "--drained"))
        expected = expected_from(told, shows)
    if setup_file is None:
        check = _recorded(str(readings), str(records), expected, wanted, off or [])
    else:
        check = _live(setup_file, lasts, expected, wanted, output, off)
    verdict = judge(check)
    record = {
        "is_safe": verdict.is_safe,
        "sentence": verdict.sentence,
        "readings": len(check.near.times_s),
        "records": len(check.far.values),
        "duration_s": round(check.near.duration_s, 1),
        "items": [plain_item(item) for item in verdict.items],
    }
    if out is not None:
        output.write(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2) + "\n")
    output.tell(verdict.sentence)
    for item in verdict.items:
        output.tell(f"- {SIGNS[item.state]}: {item.message}")
    output.give(record)
    if strict and not verdict.is_safe:
        raise typer.Exit(FINDINGS)


def _recorded(readings: str, records: str, expected: Any, wanted: Any, off: list[str]) -> Any:
    from gaugewright.app.arrives_files import check_of_files, iso_time
    from gaugewright.errors import InputError

    if readings == records == "-":
        raise InputError("only one of --readings and --records can be standard input")
    stretches = []
    for text in off:
        from_text, slash, to_text = text.partition("/")
        if not slash:
            raise InputError(f"wanted FROM/TO, found '{text}'", field="--off")
        ends = iso_time(from_text, field="--off"), iso_time(to_text, field="--off")
        if ends[1] <= ends[0]:
            raise InputError(f"ends before it begins: '{text}'", field="--off")
        stretches.append(ends)
    return check_of_files(readings, records, expected, wanted, stretches)


def _live(
    setup_file: str, lasts: str, expected: Any, wanted: Any, output: Output, off: list[str] | None
) -> Any:
    import sys

    from gaugewright.app.arrives_files import Watch, read_setup
    from gaugewright.cli.numbers import option_number
    from gaugewright.errors import InputError

    if off:
        raise InputError("is for recordings; live, type off and on", field="--off")
    seconds = option_number(lasts, "--for")
    if not 1 <= seconds <= 86_400:
        raise InputError(f"must be 1 to 86400 s, found {seconds:g} s", field="--for")
    setup = read_setup(setup_file)
    show(f"reading for {seconds:g} s; type off, on or end", to_error=True)
    watch = Watch(setup, expected, wanted)
    try:
        return watch.run(seconds, sys.stdin, lambda text: show(text, to_error=True))
    except KeyboardInterrupt:
        output.tell("stopped; what came until then:")
        return watch.gathered()
