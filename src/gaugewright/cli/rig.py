"""``gaugewright rig``: the simulated tank, probe and dispenser, on real lines."""

from typing import Annotated

import typer

from gaugewright.cli.output import Output, show

EXAMPLE = "Example: gaugewright rig tank.toml --serial --speed 5"


def rig(
    tank_file: Annotated[
        str | None,
        typer.Argument(metavar="TANK", help="Tank file with a probe; without it a box of 300 L."),
    ] = None,
    serial: Annotated[
        bool, typer.Option("--serial", help="Text lines on a pseudo-terminal.")
    ] = False,
    modbus_rtu: Annotated[
        bool, typer.Option("--modbus-rtu", help="Modbus device 1 on a pseudo-terminal.")
    ] = False,
    modbus_tcp: Annotated[
        str | None,
        typer.Option(metavar="PORT", help="Modbus TCP on this port; 0 takes a free one."),
    ] = None,
    seed: Annotated[str, typer.Option(metavar="N", help="Where all chance comes from.")] = "1",
    speed: Annotated[
        str, typer.Option(metavar="X", help="Simulated seconds for each real one.")
    ] = "1",
    start: Annotated[
        str, typer.Option(metavar="LITRES", help="Fuel in the tank at the start.")
    ] = "0",
    noise: Annotated[
        str, typer.Option(metavar="COUNTS", help="Noise of one sample, standard deviation.")
    ] = "3",
    averaging: Annotated[
        str, typer.Option(metavar="N", help="Samples averaged: 8 setting up, 64 in service.")
    ] = "8",
    meter_factor: Annotated[
        str, typer.Option(metavar="F", help="True litres for each litre the meter shows.")
    ] = "1",
    pipe: Annotated[
        str, typer.Option(metavar="FLOW", help="Balance pipe to a second tank, L/s per mm; 0: none")
    ] = "0",
    as_json: Annotated[bool, typer.Option("--json", help="Print the lines to open as JSON.")] = (
        False
    ),
) -> None:
    """Simulate a tank, a probe and a dispenser, and speak as an instrument does.

    Orders are read from standard input, one a line: pour 50, tilt 1.0 0.5, fault garbage,
    help. The rig stops at the end of its input, at 'quit' or when it is interrupted.
    """
    import sys

    from gaugewright.app.rig_run import open_rig, run_orders
    from gaugewright.cli.numbers import naming_options, option_number
    from gaugewright.errors import InputError
    from gaugewright.instruments.rig import RigSettings
    from gaugewright.table.delimited import whole_number

    if not (serial or modbus_rtu or modbus_tcp is not None):
        raise InputError("give at least one of --serial, --modbus-rtu and --modbus-tcp PORT")
    names = ("seed", "speed", "noise_counts=noise", "averaging", "meter_factor", "start_l=start")
    options = {n.split("=")[0]: "--" + n.split("=")[-1].replace("_", "-") for n in names}
    with naming_options(**options, pipe_l_s_mm="--pipe"):
        settings = RigSettings(
            seed=whole_number(seed, field="--seed"),
            noise_counts=option_number(noise, "--noise"),
            averaging=whole_number(averaging, field="--averaging"),
            start_l=option_number(start, "--start"),
            meter_factor=option_number(meter_factor, "--meter-factor"),
            pipe_l_s_mm=option_number(pipe, "--pipe"),
        )
        yard = open_rig(
            tank_file,
            settings,
            speed=option_number(speed, "--speed"),
            serial=serial,
            modbus_rtu=modbus_rtu,
            tcp_port=None if modbus_tcp is None else whole_number(modbus_tcp, field="--modbus-tcp"),
        )
    output = Output(as_json=as_json)
    with yard.running:
        output.tell("\n".join(f"{name}: {place}" for name, place in yard.places.items()))
        output.give(dict(yard.places))
        sys.stdout.flush()
        for said in run_orders(yard, sys.stdin):
            show(said)
            sys.stdout.flush()
