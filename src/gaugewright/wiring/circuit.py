"""The wiring of one probe as a fitter fills it in: every part checked, half done or whole.

What is not given yet is said to be open; nothing is guessed in its place.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from gaugewright.errors import InputError
from gaugewright.wiring import conductors, pins
from gaugewright.wiring.bus import BusPicture, Station, check_bus, terminators_from_ohm
from gaugewright.wiring.conductors import AtHead, Run, at_head, ohm_per_km, smallest_conductor
from gaugewright.wiring.fuses import FuseChoice, check_fuse, choose_fuse
from gaugewright.wiring.gauges import Size
from gaugewright.wiring.pins import Wire, check_pins
from gaugewright.wiring.supply import (
    RUNNING_V,
    DaysParked,
    Device,
    Fed,
    System,
    days_parked_range,
    look_at_supply,
    supply_range_v,
)
from gaugewright.words import said

Part = Literal["supply", "cable", "fuse", "pins", "bus"]
USUAL_CODE: dict[System, str] = {"12 V": "C", "24 V": "F"}
"""Lowest supply that is planned for where nobody says: 9 V and 16 V (ISO 16750-2:2010)."""
FEW_DAYS = 14.0
"""A vehicle may stand so long over a holiday.  Common practice, no source. [d]"""
THINNEST_WITH_FUSE_MM2, THICKEST_MM2 = 0.5, 6.0


@dataclass(frozen=True, slots=True)
class Circuit:
    """What a fitter knows of the wiring; ``None`` and empty are not known yet."""

    system: System | None = None
    code: str | None = None
    """Of ISO 16750-2; ``None`` takes the usual one of the system."""
    fed: Fed | None = None
    battery_ah: float | None = None
    others_standing_a: float = 0.0
    """What else draws from the battery while parked. [A]"""
    loads: tuple[Device, ...] = ()
    """All that hangs at the far end of this cable."""
    run_m: float | None = None
    size: Size | None = None
    """Of the conductor; ``None`` takes the thinnest that is enough."""
    cable: conductors.Kind = "plain"
    hottest_c: float = 85.0
    fuse_a: float | None = None
    """``None`` takes the smallest that fits."""
    wires: tuple[Wire, ...] = ()
    is_one_supply: bool = False
    """Whether probe and unit take their ground at one point."""
    stations: tuple[Station, ...] = ()
    measured_ohm: float | None = None
    """Across A and B with everything switched off."""


@dataclass(frozen=True, slots=True)
class Remark:
    """What is wrong, open to a person, or worth knowing."""

    part: Part
    kind: pins.Kind
    message: str
    wire: str = ""
    """The wire's colour as typed, where the remark is about one."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """What a circuit comes to, as far as it is filled in."""

    circuit: Circuit
    code: str | None
    lowest_v: float | None
    load_a: float
    conductor: AtHead | None
    usual_head_v: float | None
    """With the engine running and the cable at 20 °C: what is there most of the time. [V]"""
    fuse: FuseChoice | None
    days: DaysParked | None
    """``None`` where nothing draws while parked, or the battery is not known."""
    bus: BusPicture | None
    remarks: tuple[Remark, ...]
    """The weightiest first."""

    @property
    def is_rs485(self) -> bool:
        """Whether a shared bus or its two lines are part of it."""
        ends = {pins.signal_of(t) for w in self.circuit.wires for t in (w.at_probe, w.at_unit)}
        return bool(self.circuit.stations) or bool(ends & {"a", "b"})

    @property
    def verdict(self) -> Literal["wrong", "open", "clear"]:
        """Tell whether anything is wrong, else open, else nothing."""
        kinds = {remark.kind for remark in self.remarks}
        return "wrong" if "wrong" in kinds else "open" if "open" in kinds else "clear"


def check_circuit(circuit: Circuit) -> Wiring:
    """Check all of a circuit that is filled in.

    Raises `InputError` for a figure that cannot be, such as a size that no cable has.

    >>> head = Device("probe", least_v=9, most_v=60, running_a=0.05, standing_a=0.01)
    >>> found = check_circuit(Circuit("24 V", fed="permanent", battery_ah=180, loads=(head,),
    ...     run_m=12, wires=(Wire("red", "+24V", "+24V"), Wire("black", "GND", "GND"),
    ...     Wire("white", "TX", "TX"))))
    >>> found.conductor.area_mm2, found.fuse.rating_a, round(found.days.days)
    (0.5, 1.0, 75)
    >>> found.verdict, found.remarks[0].message
    ('wrong', 'transmit meets transmit: cross it, transmit goes to receive')
    """
    code = circuit.code or (None if circuit.system is None else USUAL_CODE[circuit.system])
    lowest = None
    if circuit.system is not None and code is not None:
        lowest = supply_range_v(circuit.system, code)[0]
    load_a = sum(load.running_a for load in circuit.loads)
    conductor = _conductor(circuit, lowest, load_a)
    run = _run(circuit, conductor)
    fuse, no_fuse = _fuse(circuit, conductor, run, lowest, load_a)
    days = _days(circuit)
    bus = check_bus(circuit.stations) if circuit.stations else None
    usual = None
    if conductor is not None and circuit.system is not None and circuit.run_m is not None:
        cold = Run(circuit.run_m, ohm_per_km(conductor.size, kind=circuit.cable))
        usual = RUNNING_V[circuit.system] - cold.drop_v(load_a)
    remarks = [
        *_open(circuit),
        *_supply_remarks(circuit, code, conductor, days),
        *_cable_remarks(conductor, fuse, no_fuse),
        *_pin_remarks(circuit),
        *_bus_remarks(circuit, bus),
    ]
    order = {"wrong": 0, "open": 1, "note": 2}
    remarks.sort(key=lambda remark: order[remark.kind])
    return Wiring(circuit, code, lowest, load_a, conductor, usual, fuse, days, bus, tuple(remarks))


def _open(circuit: Circuit) -> Iterator[Remark]:
    if circuit.system is None:
        yield Remark("supply", "open", said("12 V or 24 V is not said yet"))
    if circuit.fed is None:
        yield Remark(
            "supply", "open", said("permanent or switched by the ignition is not said yet")
        )
    if not circuit.loads:
        yield Remark("supply", "open", said("nothing hangs on the cable yet: no current, no fuse"))
    if circuit.run_m is None:
        yield Remark("cable", "open", said("the cable's length is not known yet: no drop, no fuse"))
    if circuit.battery_ah is None:
        yield Remark(
            "supply", "open", said("the battery's Ah are not known: parked days cannot be said")
        )
    if not circuit.wires:
        yield Remark("pins", "open", said("no wire is in the pin map yet"))


def _conductor(circuit: Circuit, lowest: float | None, load_a: float) -> AtHead | None:
    if lowest is None or circuit.run_m is None or not circuit.loads:
        return None
    least_v = max(load.least_v for load in circuit.loads)

    def judged(size: Size) -> AtHead:
        return at_head(
            circuit.run_m or 0.0, size, load_a, lowest_supply_v=lowest or 0.0,
            head_least_v=least_v, hottest_c=circuit.hottest_c, kind=circuit.cable,
        )  # fmt: skip

    if circuit.size is not None:
        return judged(circuit.size)
    thickest = judged(THICKEST_MM2)
    if not thickest.is_enough:
        return thickest
    return smallest_conductor(
        circuit.run_m, load_a, lowest_supply_v=lowest, head_least_v=least_v,
        hottest_c=circuit.hottest_c, kind=circuit.cable,
    )  # fmt: skip


def _run(circuit: Circuit, conductor: AtHead | None) -> Run | None:
    if conductor is None or circuit.run_m is None:
        return None
    ohm = ohm_per_km(conductor.size, circuit.hottest_c, kind=circuit.cable)
    return Run(circuit.run_m, ohm)


def _fuse(
    circuit: Circuit,
    conductor: AtHead | None,
    run: Run | None,
    lowest: float | None,
    load_a: float,
) -> tuple[FuseChoice | None, str]:
    """Give the fuse, or in words why there is none."""
    if conductor is None or run is None or lowest is None:
        return None, ""
    area = conductor.area_mm2
    if area < THINNEST_WITH_FUSE_MM2:
        return None, said(
            "no fuse protects {area:g} mm²: take {thinnest_with_fuse_mm2:g} mm² or more",
            area=area,
            thinnest_with_fuse_mm2=THINNEST_WITH_FUSE_MM2,
        )
    if circuit.fuse_a is not None:
        return check_fuse(
            circuit.fuse_a, load_a=load_a, area_mm2=area, run=run, lowest_supply_v=lowest
        ), ""
    try:
        return choose_fuse(load_a=load_a, area_mm2=area, run=run, lowest_supply_v=lowest), ""
    except InputError as error:  # a thicker or shorter cable is wanted: a remark, not a refusal
        return None, error.problem


def _days(circuit: Circuit) -> DaysParked | None:
    own = sum(load.standing_a for load in circuit.loads) if circuit.fed == "permanent" else 0.0
    drawn = own + circuit.others_standing_a
    if circuit.battery_ah is None or circuit.fed is None or drawn <= 0:
        return None
    return days_parked_range(circuit.battery_ah, drawn)


def _supply_remarks(
    circuit: Circuit, code: str | None, conductor: AtHead | None, days: DaysParked | None
) -> Iterator[Remark]:
    drop = 0.0 if conductor is None else conductor.drop_v
    if circuit.system is not None and code is not None:
        for load in circuit.loads:
            seen = look_at_supply(
                circuit.system, code, circuit.fed or "permanent", load,
                battery_ah=circuit.battery_ah or 1.0, drop_v=drop,
            )  # fmt: skip
            for text in seen.outages:
                is_start = text.startswith("a start")
                yield Remark(
                    "supply",
                    "note" if is_start else "wrong",
                    said("{name}: {text}", name=load.name, text=text),
                )
            for text in seen.dangers:
                is_sure = text.startswith("the supply")
                yield Remark("supply", "wrong" if is_sure else "open", text)
    if circuit.fed == "ignition":
        yield Remark(
            "supply", "open",
            said(
                "fed by the ignition: nothing is seen while parked, so a theft at night is never "
                "seen; take a permanent feed, or have the owner's word that this is wanted"
            ),
        )  # fmt: skip
    if days is not None and days.least < FEW_DAYS:
        yield Remark(
            "supply", "open",
            said(
                "parked, the battery may be 20 % down after {least:.0f} days: say so to the "
                "owner, or draw less while parked",
                least=days.least,
            ),
        )  # fmt: skip


def _cable_remarks(
    conductor: AtHead | None, fuse: FuseChoice | None, no_fuse: str
) -> Iterator[Remark]:
    if conductor is not None:
        yield Remark("cable", "note" if conductor.is_enough else "wrong", conductor.why)
    if no_fuse:
        yield Remark("fuse", "wrong", no_fuse)
    for text in () if fuse is None else fuse.against:
        yield Remark("fuse", "wrong", text)


def _pin_remarks(circuit: Circuit) -> Iterator[Remark]:
    if circuit.wires:
        for found in check_pins(circuit.wires, is_one_supply=circuit.is_one_supply):
            yield Remark("pins", found.kind, found.message, found.wire)


def _bus_remarks(circuit: Circuit, bus: BusPicture | None) -> Iterator[Remark]:
    for text in () if bus is None else bus.wrong:
        yield Remark("bus", "wrong", text)
    if circuit.measured_ohm is not None:
        told = terminators_from_ohm(circuit.measured_ohm)
        is_right = told.startswith("two terminators")
        yield Remark(
            "bus", "note" if is_right else "wrong",
            said(
                "{measured_ohm:g} ohm across A and B: {told}",
                measured_ohm=circuit.measured_ohm,
                told=told,
            ),
        )  # fmt: skip
