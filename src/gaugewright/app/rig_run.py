"""The rig as a whole: its tank from a file or its own, its lines, its orders."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gaugewright.app.tank_file import read_tank_file
from gaugewright.errors import GaugewrightError, InputError, SourceError
from gaugewright.instruments.rig import Rig, RigSettings
from gaugewright.instruments.rig_lines import (
    ModbusRtuLine,
    ModbusTcpLine,
    RunningRig,
    SerialTextLine,
)
from gaugewright.instruments.rig_orders import order
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank

OWN_TANK = Tank("box", length_mm=1000, width_mm=600, height_mm=500, edge_radius_mm=60)
OWN_PROBE = Probe(x_mm=520, y_mm=300, tip_clearance_mm=20, active_length_mm=460)


@dataclass(frozen=True, slots=True)
class OpenedRig:
    """A rig that is ready to run, and where it can be heard."""

    running: RunningRig
    places: dict[str, str | int]
    """What to open, by the name of the option that asked for it."""


def open_rig(
    tank_file: str | None,
    settings: RigSettings,
    *,
    speed: float = 1.0,
    serial: bool = False,
    modbus_rtu: bool = False,
    tcp_port: int | None = None,
) -> OpenedRig:
    """Build the rig and its lines.  Raises `InputError` if the tank file has no probe."""
    tank, probe = OWN_TANK, OWN_PROBE
    if tank_file is not None:
        described = read_tank_file(tank_file)
        if described.probe is None:
            raise InputError(
                "the rig needs a probe; describe it under [probe]",
                field="probe",
                file=described.name,
            )
        tank, probe = described.tank, described.probe
    running = RunningRig(Rig(tank, probe, settings), speed)
    places: dict[str, str | int] = {}
    try:
        _add_lines(running, places, serial, modbus_rtu, tcp_port)
    except GaugewrightError:
        running.close_lines()
        raise
    return OpenedRig(running, places)


def _add_lines(
    running: RunningRig,
    places: dict[str, str | int],
    serial: bool,
    modbus_rtu: bool,
    tcp_port: int | None,
) -> None:
    if serial:
        text = SerialTextLine()
        running.add(text)
        places["serial"] = text.path
    if modbus_rtu:
        rtu = ModbusRtuLine()
        running.add(rtu)
        places["modbus_rtu"] = rtu.path
    if tcp_port is not None:
        tcp = ModbusTcpLine(tcp_port)
        running.add(tcp)
        places["modbus_tcp"] = tcp.tcp_port


def run_orders(yard: OpenedRig, lines: Iterable[str]) -> Iterator[str]:
    """Carry out orders until they end or one says quit; give what there is to say.

    An order that cannot be carried out is answered and the rig runs on.  Raises
    `SourceError` if the rig itself has failed.
    """
    for line in lines:
        text = line.strip()
        if text == "quit":
            return
        if not text:
            continue
        if (error := yard.running.error) is not None:
            raise SourceError(f"the rig has stopped: {error}") from error
        try:
            yield order(yard.running.rig, text)
        except InputError as error:
            yield f"refused: {error}"
