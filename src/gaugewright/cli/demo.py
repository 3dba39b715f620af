"""``gaugewright demo``: the whole main job on an invented example, then the workbench."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright demo --text"


def demo(
    text: Annotated[
        bool, typer.Option("--text", help="Print the example only, open no workbench.")
    ] = False,
    port: Annotated[
        str | None, typer.Option(metavar="PORT", help="Listen on this port; 0 takes a free one.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only say the address.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the example's result as JSON, open nothing.")
    ] = False,
) -> None:
    """Calibrate an invented tank with one mistyped pour, then open a demo workbench.

    The workbench opens in the browser on a fresh book of an invented yard, with a simulated
    probe and a dispenser to press.  Everything is gone when it ends.
    """
    from gaugewright.app.calibrate import read_and_calibrate
    from gaugewright.app.example import example_path
    from gaugewright.cli.calibrate_text import calibration_record, calibration_text
    from gaugewright.cli.numbers import naming_options
    from gaugewright.table.delimited import whole_number

    with naming_options(port="--port"):
        wanted = None if port is None else whole_number(port, field="port")
    output = Output(as_json=as_json)
    pours, tank = example_path("loader-left-pours.csv"), example_path("loader-left.toml")
    done = read_and_calibrate(str(pours), str(tank))
    output.tell(f"gaugewright calibrate {pours.name} --tank {tank.name}\n")
    output.tell(calibration_text(done))
    output.give(calibration_record(done))
    if text or as_json:
        return
    from gaugewright.cli.open import open_demo

    output.tell("\nAnd now the workbench, on an invented yard:")
    open_demo(wanted, open_browser=not no_browser)
