"""A shared RS-485 bus: terminated at both ends and nowhere else, every address once.

TIA-485-A: 120 ohm at both ends of the line only, so that an idle terminated bus measures
60 ohm; at most 32 unit loads of 12 kilo-ohm (facts as printed in EURASIP J. Embedded
Systems 2016, 10.1186/s13639-016-0042-x, table 1, and common texts).
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from gaugewright.errors import InputError
from gaugewright.words import said

TERMINATOR_OHM = 120.0
MOST_UNIT_LOADS = 32.0
UNIT_LOAD_OHM = 12_000.0
LEAST_ADDRESS, MOST_ADDRESS = 1, 247
"""Addresses of a station on Modbus RTU; 0 is broadcast, 248 and up are reserved."""


@dataclass(frozen=True, slots=True)
class Station:
    """One device on the line, in the order in which the cable passes it."""

    name: str
    address: int | None
    """``None`` for the one that asks and has no address."""
    is_terminated: bool = False
    unit_loads: float = 1.0


@dataclass(frozen=True, slots=True)
class BusPicture:
    """What is wrong with a bus, and what a meter should show across it."""

    wrong: tuple[str, ...]
    idle_ohm: float | None
    """Across A and B with everything switched off; ``None`` without terminators."""


def check_bus(stations: Sequence[Station]) -> BusPicture:
    """Check addresses, termination and load of a line.

    Raises `InputError` for an address that no station may have.

    >>> line = [Station("unit", None, True), Station("front", 1), Station("rear", 1, True)]
    >>> check_bus(line)
    BusPicture(wrong=('address 1 is taken twice: front, rear',), idle_ohm=60.0)
    """
    if not stations:
        raise InputError(said("needs at least one station"), field="stations")
    wrong = [*_addresses(stations), *_terminators(stations)]
    loads = sum(station.unit_loads for station in stations)
    if loads > MOST_UNIT_LOADS:
        wrong.append(
            said(
                "{loads:g} unit loads hang on the line, at most {most_unit_loads:g}",
                loads=loads,
                most_unit_loads=MOST_UNIT_LOADS,
            )
        )
    count = sum(station.is_terminated for station in stations)
    return BusPicture(tuple(wrong), TERMINATOR_OHM / count if count else None)


def terminators_from_ohm(measured_ohm: float) -> str:
    """Say what a meter across A and B of a dead bus tells.

    Receivers in parallel take a little off; a sixth either way is allowed for that and for
    the resistors' own tolerance.

    >>> terminators_from_ohm(60)
    'two terminators: as it should be'
    >>> terminators_from_ohm(118)
    'one terminator: the other end has none'
    """
    if not (isfinite(measured_ohm) and measured_ohm >= 0):
        raise InputError(
            said("must be 0 ohm or more, found {measured_ohm:g}", measured_ohm=measured_ohm),
            field="measured_ohm",
        )
    if measured_ohm < 5:
        return said("a short circuit between A and B")
    if measured_ohm > 200:
        return said("no terminator, or the line is broken")
    for count, words in ((1, said("one terminator: the other end has none")),
                         (2, said("two terminators: as it should be"))):  # fmt: skip
        if abs(measured_ohm - TERMINATOR_OHM / count) <= TERMINATOR_OHM / count / 6:
            return words
    if measured_ohm < TERMINATOR_OHM / 2 * 5 / 6:
        return said("more than two terminators: take off all that are not at an end")
    return said(
        "{measured_ohm:g} ohm fits no number of 120 ohm terminators: look for a bad contact",
        measured_ohm=measured_ohm,
    )


def _addresses(stations: Sequence[Station]) -> list[str]:
    by_address: dict[int, list[str]] = defaultdict(list)
    for station in stations:
        if station.address is None:
            continue
        if not LEAST_ADDRESS <= station.address <= MOST_ADDRESS:
            raise InputError(
                said(
                    "{address} is outside {least_address} to {most_address}",
                    address=station.address,
                    least_address=LEAST_ADDRESS,
                    most_address=MOST_ADDRESS,
                ),
                field=f"address of {station.name}",
            )
        by_address[station.address].append(station.name)
    times = {2: said("twice"), 3: said("three times")}
    return [
        said(
            "address {address} is taken {often}: {names}",
            address=address,
            often=times.get(len(names)) or said("{number} times", number=len(names)),
            names=", ".join(names),
        )
        for address, names in sorted(by_address.items())
        if len(names) > 1
    ]


def _terminators(stations: Sequence[Station]) -> list[str]:
    wrong: list[str] = [
        said(
            "{name} stands in the middle of the line and must not be terminated", name=station.name
        )
        for station in stations[1:-1]
        if station.is_terminated
    ]
    ends = (stations[0], stations[-1]) if len(stations) > 1 else ()
    wrong += [
        said(
            "{name} stands at an end of the line and needs {terminator_ohm:g} ohm",
            name=station.name,
            terminator_ohm=TERMINATOR_OHM,
        )
        for station in ends
        if not station.is_terminated
    ]
    return wrong
