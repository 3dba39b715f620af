"""Pin map: which wire goes where, and whether what talks meets what listens.

Checked while a person types: a map may be half done, and says so; what is wrong is named
wire by wire.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from gaugewright.words import said

Signal = Literal["supply", "ground", "transmit", "receive", "a", "b", "analog", "shield"]
Kind = Literal["wrong", "open", "note"]

_SIGNALS: dict[Signal, tuple[str, ...]] = {
    "supply": ("supply", "plus", "power", "v+", "+", "vcc", "ub", "vin", "+ub", "kl30", "kl15"),
    "ground": ("ground", "gnd", "minus", "-", "0v", "mass", "earth", "kl31"),
    "transmit": ("transmit", "tx", "txd", "tx232", "out"),
    "receive": ("receive", "rx", "rxd", "rx232", "in"),
    "a": ("a", "485a", "rs485a", "rs-485 a", "a-", "d-", "data-"),
    "b": ("b", "485b", "rs485b", "rs-485 b", "b+", "d+", "data+"),
    "analog": ("analog", "analogue", "ain", "signal", "frequency"),
    "shield": ("shield", "screen", "drain"),
}
_COLOURS: dict[str, tuple[str, ...]] = {
    "black": ("black", "bk", "blk", "sw"),
    "brown": ("brown", "bn", "brn", "br"),
    "red": ("red", "rd", "rt"),
    "orange": ("orange", "og", "or", "org"),
    "yellow": ("yellow", "ye", "yel", "yl"),
    "green": ("green", "gn", "grn"),
    "blue": ("blue", "bu", "blu"),
    "violet": ("violet", "purple", "vt", "vio"),
    "grey": ("grey", "gray", "gy", "gry"),
    "white": ("white", "wh", "wht", "ws"),
    "pink": ("pink", "pk", "pnk"),
    "turquoise": ("turquoise", "tq"),
}
_MATES: dict[Signal, tuple[Signal, ...]] = {
    "supply": ("supply",),
    "ground": ("ground",),
    "transmit": ("receive",),
    "receive": ("transmit",),
    "a": ("a",),
    "b": ("b",),
    "analog": ("analog",),
    "shield": ("shield", "ground"),
}


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire as typed: its colour, and its signal at either end; blank is not known yet."""

    colour: str
    at_probe: str
    at_unit: str


@dataclass(frozen=True, slots=True)
class PinFinding:
    """What is wrong, open or worth knowing in a pin map."""

    kind: Kind
    wire: str
    """The wire's colour as typed, blank for the whole map."""
    message: str


def signal_of(text: str) -> Signal | None:
    """Read a signal as people write it; ``None`` if it is not one.

    >>> signal_of("TxD"), signal_of("RS-485 A"), signal_of("GND"), signal_of("+24V")
    ('transmit', 'a', 'ground', 'supply')
    >>> signal_of("banana") is None
    True
    """
    bare = re.sub(r"[\s_]+", " ", text.strip().lower())
    if re.fullmatch(r"\+?(?:12|24|9\.\.36|9-36) ?v", bare):
        return "supply"
    for signal, words in _SIGNALS.items():
        if bare in words or bare.replace(" ", "") in words:
            return signal
    return None


def colour_of(text: str) -> str | None:
    """Read a colour as people write it, with a stripe after a slash; ``None`` if it is none.

    >>> colour_of("WHT"), colour_of("gn/ye"), colour_of("see photo")
    ('white', 'green/yellow', None)
    """
    found = []
    for part in re.split(r"[/\-]", text.strip().lower()):
        name = next((n for n, words in _COLOURS.items() if part.strip() in words), None)
        if name is None:
            return None
        found.append(name)
    return "/".join(found)


def clash_of(wire: Wire) -> str | None:
    """Say what is wrong between a wire's two ends; ``None`` if they may meet or are not known.

    >>> clash_of(Wire("white", "TX", "RX")), clash_of(Wire("", "A", ""))
    (None, None)
    >>> clash_of(Wire("white", "GND", "+24V"))
    'supply meets ground: a short circuit, do not switch on'
    """
    one, other = signal_of(wire.at_probe), signal_of(wire.at_unit)
    if one is None or other is None or other in _MATES[one]:
        return None
    return _clash(one, other)


def check_pins(wires: Sequence[Wire], *, is_one_supply: bool = True) -> tuple[PinFinding, ...]:
    """Hold a pin map against what must meet what.

    Transmit meets receive, A meets A, supply and ground meet their like.  Probe and unit
    need a common ground: over the ground wire, or ``is_one_supply`` says both take ground
    at the same point; signals alone are not enough.

    >>> wires = [Wire("red", "+24V", "+24V"), Wire("black", "GND", "GND"),
    ...     Wire("white", "TX", "TX")]
    >>> [f.message for f in check_pins(wires) if f.kind == "wrong"]
    ['transmit meets transmit: cross it, transmit goes to receive']
    """
    findings = [f for wire in wires for f in _check_wire(wire)]
    findings += _check_twice(wires)
    findings += _check_whole(wires, is_one_supply)
    order = {"wrong": 0, "open": 1, "note": 2}
    return tuple(sorted(findings, key=lambda f: order[f.kind]))


def _check_wire(wire: Wire) -> list[PinFinding]:
    name = wire.colour.strip() or said("wire without a colour")
    found = []
    if not wire.colour.strip():
        found.append(PinFinding("open", name, said("no colour yet")))
    elif colour_of(wire.colour) is None:
        found.append(
            PinFinding(
                "open", name, said("'{colour}' is not a colour known here", colour=wire.colour)
            )
        )
    clash = clash_of(wire)
    if clash is not None:
        found.append(PinFinding("wrong", name, clash))
    ends: list[Signal] = []
    for text, where in ((wire.at_probe, said("at the probe")), (wire.at_unit, said("at the unit"))):
        if not text.strip():
            found.append(PinFinding("open", name, said("no signal {where} yet", where=where)))
            continue
        signal = signal_of(text)
        if signal is None:
            found.append(
                PinFinding(
                    "open",
                    name,
                    said("'{text}' {where} is not a signal known here", text=text, where=where),
                )
            )
        else:
            ends.append(signal)
    if "a" in ends or "b" in ends:
        found.append(
            PinFinding(
                "note", name,
                said("makers do not agree which line is A: if nothing comes, swap A and B once"),
            )
        )  # fmt: skip
    return found


def _clash(one: Signal, other: Signal) -> str:
    if one == other:
        mate = _MATES[one][0]
        return said(
            "{one} meets {other}: cross it, {one} goes to {mate}", one=one, other=other, mate=mate
        )
    if {one, other} == {"a", "b"}:
        return said("A meets B: swap the two lines, like goes to like on RS-485")
    if {one, other} == {"supply", "ground"}:
        return said("supply meets ground: a short circuit, do not switch on")
    wanted = " or ".join(_MATES[one])
    return said("{one} meets {other}: {one} goes to {wanted}", one=one, other=other, wanted=wanted)


def _check_twice(wires: Sequence[Wire]) -> list[PinFinding]:
    found: list[PinFinding] = []
    seen: set[str] = set()
    for wire in wires:
        colour = colour_of(wire.colour)
        if colour is not None and colour in seen:
            found.append(
                PinFinding(
                    "wrong", wire.colour.strip(), said("{colour} is there twice", colour=colour)
                )
            )
        if colour is not None:
            seen.add(colour)
    for end in ("at_probe", "at_unit"):
        taken: set[Signal] = set()
        for wire in wires:
            signal = signal_of(getattr(wire, end))
            if signal in taken and signal not in ("ground", "shield"):
                where = said("at the probe") if end == "at_probe" else said("at the unit")
                found.append(
                    PinFinding(
                        "wrong",
                        wire.colour.strip(),
                        said("{signal} {where} is there twice", signal=signal, where=where),
                    )
                )
            if signal is not None:
                taken.add(signal)
    return found


def _check_whole(wires: Sequence[Wire], is_one_supply: bool) -> list[PinFinding]:
    found: list[PinFinding] = []
    pairs = [(signal_of(w.at_probe), signal_of(w.at_unit)) for w in wires]
    ends = {end for pair in pairs for end in pair}
    if "supply" not in ends:
        found.append(PinFinding("open", "", said("no wire is the supply yet")))
    if ("ground", "ground") not in pairs:
        if is_one_supply and "ground" in ends:
            found.append(
                PinFinding(
                    "note", "",
                    said(
                        "no ground wire between probe and unit: both must take ground at one point"
                    ),
                )
            )  # fmt: skip
        else:
            found.append(
                PinFinding(
                    "wrong" if wires and "ground" in ends else "open", "",
                    said("no common ground between probe and unit: signals need one"),
                )
            )  # fmt: skip
    if ("a" in ends) != ("b" in ends):
        found.append(PinFinding("open", "", said("RS-485 needs both lines, A and B")))
    return found
