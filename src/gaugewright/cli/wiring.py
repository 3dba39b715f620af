"""``gaugewright wiring``: is the probe's wiring right, before a wire is cut."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright wiring wiring.toml --strict --json"


def wiring(
    wiring_file: Annotated[
        str, typer.Argument(metavar="FILE", help="Wiring file, TOML or JSON, - for stdin.")
    ],
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the result as JSON, - to print it.")
    ] = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit code 1 where something is wrong or open.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> int:
    """Check supply, cable, fuse, pin map and a shared bus; say how long a parked battery lasts.

    The file's fields, all optional, what is left out is said to be open:
    supply "12 V" or "24 V"; fed "permanent" or "ignition"; code, the letter of the lowest
    supply; battery_ah; others_standing_ma; length_m; area_mm2, the conductor, 0.75 or "18 AWG";
    cable plain, tinned or vehicle; hottest_c; fuse_a; is_one_ground; bus_ohm.  Lists: loads with
    name, least_v, most_v, running_ma, standing_ma; wires with colour, at_probe, at_unit; stations
    of a shared bus with name, address, is_terminated.
    """
    import json

    from gaugewright.app.wiring import checked_wiring_file
    from gaugewright.cli.program import DONE, FINDINGS
    from gaugewright.cli.wiring_text import wiring_text

    output = Output(as_json=as_json, out=out)
    record = checked_wiring_file(wiring_file)
    output.write(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2) + "\n")
    output.tell(wiring_text(record))
    output.give(record)
    return FINDINGS if strict and record["verdict"] != "clear" else DONE
