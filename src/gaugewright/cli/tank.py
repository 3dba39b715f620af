"""``gaugewright tank``: level to litres of a described tank."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output

EXAMPLE = "Example: gaugewright tank tank.toml --every 10mm --pitch 1.5 --out dip.csv"


def tank(
    tank_file: Annotated[str, typer.Argument(metavar="TANK", help="Tank file, TOML or JSON.")],
    every: Annotated[
        str, typer.Option(metavar="LENGTH", help="Step of the level, such as 10mm, 1cm or 0.5in.")
    ] = "10mm",
    pitch: Annotated[
        str, typer.Option(metavar="DEG", help="Slope along the length, front end up positive.")
    ] = "0",
    roll: Annotated[
        str, typer.Option(metavar="DEG", help="Slope across the width, left side up positive.")
    ] = "0",
    out: Annotated[
        str | None, typer.Option(metavar="F", help="Write the dip table as CSV, - to print it.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Print and write the dip table of a described tank: level to litres.

    The level is at the probe's place, or at the tank's middle if the file has no probe,
    in mm above the lowest inside point of the tank standing level.
    """
    from gaugewright.app.dip import dip_tank
    from gaugewright.app.tank_file import read_tank_file
    from gaugewright.cli.numbers import naming_options, option_number
    from gaugewright.cli.tank_text import dip_csv, dip_record, dip_text
    from gaugewright.units import parse_length_mm

    output = Output(as_json=as_json, out=out)
    with naming_options(every_mm="--every", pitch_deg="--pitch", roll_deg="--roll"):
        dip = dip_tank(
            read_tank_file(tank_file),
            every_mm=parse_length_mm(every, field="--every"),
            pitch_deg=option_number(pitch, "--pitch"),
            roll_deg=option_number(roll, "--roll"),
        )
    output.write(dip_csv(dip))
    output.tell(dip_text(dip))
    output.give(dip_record(dip))
