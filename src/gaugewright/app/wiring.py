"""The wiring of a tank's probe: read as typed, checked, recorded, and what it needs brought.

A page, the JSON API and a wiring file use the same fields; `FIELDS` lists them.
"""

from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from gaugewright.app.files import naming_file, read_text
from gaugewright.app.tank_file import parse_tank_text
from gaugewright.app.typed import figure
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Recorded
from gaugewright.planning.cautions import CAUTIONS, DEFER
from gaugewright.wiring.bus import LEAST_ADDRESS, MOST_ADDRESS, Station
from gaugewright.wiring.circuit import Circuit, Wiring, check_circuit
from gaugewright.wiring.fuses import largest_fuse_a
from gaugewright.wiring.gauges import Gauge, Size, read_size, size_in_both
from gaugewright.wiring.pins import Wire, clash_of, signal_of
from gaugewright.wiring.supply import Device
from gaugewright.words import said

FIELDS = (
    "supply", "code", "fed", "battery_ah", "others_standing_ma", "length_m", "area_mm2", "cable",
    "hottest_c", "fuse_a", "is_one_ground", "bus_ohm", "loads", "wires", "stations",
)  # fmt: skip
LOAD_FIELDS = ("name", "least_v", "most_v", "running_ma", "standing_ma")
WIRE_FIELDS = ("colour", "at_probe", "at_unit")
STATION_FIELDS = ("name", "address", "is_terminated", "unit_loads")
MOST_ROWS = 40
"""No probe has more wires, no bus here more stations."""
MOST_M, MOST_MA = 200.0, 100_000.0
CAUTION_IDS = ("battery", "hot_exhaust")
"""Cautions that belong to wiring, from the one list that the plan prints."""
WORD_LENGTH = 60
LINES_WIRES, LINES_WRONG = 8, 3
"""So many wires and faults stand on the page that is carried along."""

T = TypeVar("T")


def circuit_from_mapping(mapping: Mapping[str, Any]) -> Circuit:
    """Read a circuit from the fields of a form, a JSON object or a wiring file.

    What is blank or left out is not known yet; numbers may be text with a decimal comma.
    Raises `InputError` naming the field that is misspelt or wrong.

    >>> circuit_from_mapping({"supply": "24", "length_m": "12,5"}).run_m
    12.5
    >>> circuit_from_mapping({"lenght_m": 12})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: lenght_m: no such field, did you mean length_m?
    """
    _require_known(mapping, FIELDS, "")
    get = _Typed(mapping, "")
    return Circuit(
        system=get.choice("supply", {"12": "12 V", "12 V": "12 V", "24": "24 V", "24 V": "24 V"}),
        code=get.word("code").upper() or None,
        fed=get.choice("fed", {"permanent": "permanent", "ignition": "ignition"}),
        battery_ah=get.number("battery_ah", 0.1, 5000),
        others_standing_a=(get.number("others_standing_ma", 0, MOST_MA) or 0.0) / 1000,
        loads=tuple(_rows(mapping, "loads", LOAD_FIELDS, _load)),
        run_m=get.number("length_m", 0.01, MOST_M),
        size=get.size("area_mm2"),
        cable=get.choice("cable", {c: c for c in ("plain", "tinned", "vehicle")}) or "plain",
        hottest_c=_or(get.number("hottest_c", -60, 200), 85.0),
        fuse_a=get.number("fuse_a", 0.1, 100),
        wires=tuple(_rows(mapping, "wires", WIRE_FIELDS, _wire)),
        is_one_supply=get.flag("is_one_ground"),
        stations=tuple(_rows(mapping, "stations", STATION_FIELDS, _station)),
        measured_ohm=get.number("bus_ohm", 0, 1e6),
    )


def checked_wiring_file(path: str) -> dict[str, Any]:
    """Return what a wiring file, TOML or JSON, comes to; ``-`` is standard input."""
    text = read_text(path)
    suffix = Path(path).suffix.lower()
    is_json = suffix == ".json" if suffix in (".json", ".toml") else text.lstrip()[:1] == "{"
    with naming_file(path):
        return checked_wiring(parse_tank_text(text, is_json=is_json, what="a wiring"))


def checked_wiring(mapping: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a circuit as typed comes to; see `wiring_record`."""
    return wiring_record(check_circuit(circuit_from_mapping(mapping)))


def record_wiring(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, typed: Mapping[str, Any], reason: str = ""
) -> Recorded:
    """Record the wiring of a tank's probe, as typed and what it came to.

    What is open or wrong is recorded as such: the journal says what stood there.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    yard.tank(job, tank_id)
    found = checked_wiring(typed)
    kept = {name: value for name, value in typed.items() if value not in ("", None, [])}
    return yard.record(job, stamp, k.WiringRecorded(tank_id, kept, found, reason=reason))


def wiring_record(found: Wiring) -> dict[str, Any]:
    """Return a checked circuit for a file, a page or a journal."""
    circuit, conductor = found.circuit, found.conductor
    return {
        "supply": circuit.system,
        "code": found.code,
        "lowest_v": found.lowest_v,
        "fed": circuit.fed,
        "load_ma": round(1000 * found.load_a, 3),
        "cable": None if conductor is None else {
            "length_m": circuit.run_m,
            "area_mm2": conductor.area_mm2,
            "awg": conductor.size.name if isinstance(conductor.size, Gauge) else None,
            "sizes": size_in_both(conductor.size),
            "is_chosen_here": circuit.size is None,
            "hottest_c": circuit.hottest_c,
            "drop_v": round(conductor.drop_v, 4),
            "drop_percent": round(100 * conductor.drop_share, 2),
            "least_head_v": round(conductor.head_v, 3),
            "usual_head_v": None if found.usual_head_v is None else round(found.usual_head_v, 3),
            "is_enough": conductor.is_enough,
        },
        "fuse": None if found.fuse is None else {
            "rating_a": found.fuse.rating_a,
            "colour": found.fuse.colour,
            "is_chosen_here": circuit.fuse_a is None,
            "least_short_circuit_a": round(found.fuse.short_circuit_a, 1),
            "largest_for_cable_a": None if conductor is None
            else largest_fuse_a(conductor.area_mm2),
            "fits": found.fuse.fits,
        },
        "days_parked": None if found.days is None else {
            "days": round(found.days.days, 1),
            "least": round(found.days.least, 1),
            "most": round(found.days.most, 1),
        },
        "pins": [
            {"colour": wire.colour, "at_probe": wire.at_probe, "at_unit": wire.at_unit,
             "signal_at_probe": signal_of(wire.at_probe), "signal_at_unit": signal_of(wire.at_unit),
             "clash": clash_of(wire)}
            for wire in circuit.wires
        ],
        "bus": None if found.bus is None else {
            "stations": len(circuit.stations),
            "idle_ohm": None if found.bus.idle_ohm is None else round(found.bus.idle_ohm, 1),
        },
        "is_rs485": found.is_rs485,
        "findings": [
            {"part": each.part, "kind": each.kind, "wire": each.wire, "message": each.message}
            for each in found.remarks
        ],
        "cautions": [
            *({"id": c.id, "text": c.text, "source": c.source}
              for c in CAUTIONS if c.id in CAUTION_IDS),
            {"id": "licensed_practice", "text": LICENSED, "source": "common practice, no source"},
        ],
        "verdict": found.verdict,
    }  # fmt: skip


def size_of_cable(cable: Mapping[str, Any]) -> str:
    """Return a checked cable's size; records from before gauges were read hold mm² alone.

    >>> size_of_cable({"area_mm2": 0.75})
    '0.75 mm² (18 AWG or thicker)'
    """
    return str(cable["sizes"]) if "sizes" in cable else size_in_both(cable["area_mm2"])


LICENSED = (
    "A check of figures, no permission: where the law keeps vehicle wiring, or circuits near fuel, "
    "for licensed people, one of them does it. " + DEFER
)


def wiring_lines(found: Mapping[str, Any]) -> list[str]:
    """Say a checked wiring in a few lines, for paper: what is on it, what is wrong with it.

    A page has room for so many wires and faults; how many more there are is said.

    >>> wiring_lines(checked_wiring({"supply": "24 V", "fed": "permanent", "length_m": 12,
    ...     "loads": [{"name": "probe", "least_v": 9, "most_v": 60, "running_ma": 50}],
    ...     "wires": [{"colour": "white", "at_probe": "TX", "at_unit": "TX"}]}))[:2]
    ['wiring: 24 V permanent, 12 m of 0.5 mm² (20 AWG or thicker), fuse 1 A; white TX-TX',
     'wrong in the wiring: transmit meets transmit: cross it, transmit goes to receive']
    """
    cable, fuse = found.get("cable"), found.get("fuse")
    parts = [" ".join(str(each) for each in (found.get("supply"), found.get("fed")) if each)]
    if cable:
        parts.append(f"{cable['length_m']:g} m of {size_of_cable(cable)}")
    if fuse:
        parts.append(f"fuse {fuse['rating_a']:g} A")
    pins = [
        f"{pin['colour'] or '?'} {pin['at_probe'] or '?'}-{pin['at_unit'] or '?'}"
        for pin in found.get("pins", ())
    ]
    if len(pins) > LINES_WIRES:
        pins = [*pins[:LINES_WIRES], f"and {len(pins) - LINES_WIRES} more wires in the job"]
    head = "wiring: " + (", ".join(part for part in parts if part) or "not known yet")
    wrong = [f"wrong in the wiring: {each['message']}" for each in found.get("findings", ())
             if each["kind"] == "wrong"]  # fmt: skip
    if len(wrong) > LINES_WRONG:
        wrong = [*wrong[:LINES_WRONG], f"and {len(wrong) - LINES_WRONG} more faults in the wiring"]
    return [f"{head}; {', '.join(pins)}" if pins else head, *wrong]


class _Typed:
    """Fields of one row as a person typed them; messages carry the row's name."""

    def __init__(self, mapping: Mapping[str, Any], where: str) -> None:
        self.mapping = mapping
        self.where = where

    def number(self, name: str, least: float, most: float) -> float | None:
        """Return a number within limits, ``None`` for a blank."""
        value = self.mapping.get(name)
        if value is None or (isinstance(value, str) and not value.strip()):
            return None
        field = self.where + name
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise InputError(
                said("{value!r} is not a number, wanted for example 1.5", value=value), field=field
            )
        try:
            found = figure(value, field)
        except OverflowError:  # a whole number of hundreds of digits
            raise InputError(said("is too large"), field=field) from None
        if not least <= found <= most:
            raise InputError(
                said(
                    "must be {least:g} to {most:g}, found {found:g}",
                    least=least,
                    most=most,
                    found=found,
                ),
                field=field,
            )
        return found

    def size(self, name: str) -> Size | None:
        """Return a conductor's size in mm² or by a gauge, ``None`` for a blank."""
        value = self.mapping.get(name)
        if not isinstance(value, str):
            return self.number(name, 0.05, 100)
        return read_size(value, self.where + name) if value.strip() else None

    def word(self, name: str) -> str:
        """Return a short text, empty for a blank."""
        value = self.mapping.get(name)
        if value is None:
            return ""
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise InputError(
                said("must be text, found {value!r}", value=value), field=self.where + name
            )
        text = str(value).strip()
        if len(text) > WORD_LENGTH or not text.isprintable():
            raise InputError(
                said("must be at most {word_length} letters on one line", word_length=WORD_LENGTH),
                field=self.where + name,
            )
        return text

    def choice(self, name: str, known: Mapping[str, T]) -> T | None:
        """Return what a word stands for, ``None`` for a blank."""
        word = self.word(name)
        if not word:
            return None
        plain = {key.lower().replace(" ", ""): value for key, value in known.items()}
        found = plain.get(word.lower().replace(" ", ""))
        if found is None:
            wanted = " or ".join(dict.fromkeys(str(value) for value in known.values()))
            raise InputError(
                said("'{word}' is not known, wanted {wanted}", word=word, wanted=wanted),
                field=self.where + name,
            )
        return found

    def flag(self, name: str) -> bool:
        """Return true or false, false for a blank."""
        value = self.mapping.get(name)
        if value is None or value == "":
            return False
        if not isinstance(value, bool):
            raise InputError(
                said("must be true or false, found {value!r}", value=value), field=self.where + name
            )
        return value


def _rows(
    mapping: Mapping[str, Any],
    name: str,
    known: Sequence[str],
    read: Callable[[Mapping[str, Any], str], T],
) -> list[T]:
    rows = mapping.get(name)
    if rows is None or rows == "":
        return []
    if not isinstance(rows, list):
        raise InputError(said("must be a list, found {rows!r}", rows=rows), field=name)
    if len(rows) > MOST_ROWS:
        raise InputError(
            said("at most {most_rows}, found {number}", most_rows=MOST_ROWS, number=len(rows)),
            field=name,
        )
    found = []
    for place, row in enumerate(rows, start=1):
        where = f"{name} {place} "
        if not isinstance(row, Mapping):
            raise InputError(
                said("must hold fields such as {value}, found {row!r}", value=known[0], row=row),
                field=where,
            )
        _require_known(row, known, where)
        if any(value not in (None, "", False) for value in row.values()):
            found.append(read(row, where))
    return found


def _require_known(mapping: Mapping[str, Any], known: Sequence[str], where: str) -> None:
    for name in mapping:
        if name not in known:
            near = get_close_matches(str(name), known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"wanted {', '.join(known)}"
            raise InputError(said("no such field, {hint}", hint=hint), field=f"{where}{name}")


def _load(row: Mapping[str, Any], where: str) -> Device:
    get = _Typed(row, where)
    needed: dict[str, float] = {}
    for name, most in (("least_v", 100.0), ("most_v", 1000.0), ("running_ma", MOST_MA)):
        value = get.number(name, 0, most)
        if value is None:
            raise InputError(
                said("is missing: it stands on the device's sheet"), field=where + name
            )
        needed[name] = value
    standing = get.number("standing_ma", 0, MOST_MA)
    return Device(
        get.word("name") or where.strip(),
        needed["least_v"],
        needed["most_v"],
        needed["running_ma"] / 1000,
        needed["running_ma"] / 1000 if standing is None else standing / 1000,
    )


def _wire(row: Mapping[str, Any], where: str) -> Wire:
    get = _Typed(row, where)
    return Wire(get.word("colour"), get.word("at_probe"), get.word("at_unit"))


def _station(row: Mapping[str, Any], where: str) -> Station:
    get = _Typed(row, where)
    address = get.number("address", LEAST_ADDRESS, MOST_ADDRESS)
    if address is not None and address != int(address):
        raise InputError(
            said("must be a whole number, found {address:g}", address=address),
            field=f"{where}address",
        )
    return Station(
        get.word("name") or where.strip(),
        None if address is None else int(address),
        get.flag("is_terminated"),
        _or(get.number("unit_loads", 0, 32), 1.0),
    )


def _or(value: float | None, usual: float) -> float:
    return usual if value is None else value
