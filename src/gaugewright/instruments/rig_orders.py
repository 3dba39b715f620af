"""Orders to the rig, one line each: what a person at the yard would do, mistakes too."""

from collections.abc import Callable
from difflib import get_close_matches

from gaugewright.errors import InputError
from gaugewright.instruments.rig import Rig, RigFault
from gaugewright.tank.description import number

HELP = """\
pour LITRES           pour by the meter
pour LITRES say X     pour LITRES, but report X
pour_twice LITRES     pour the same again without telling
drain LITRES          take fuel out
tilt PITCH ROLL       put the vehicle on a slope, degrees
temperature C         warm or cool the fuel
water LITRES          put water under the fuel
disturb MM HZ         shake the surface; 0 0 stops it
vent open|blocked     the vent of the probe's tube
meter reset|keep      whether the dispenser starts each pour from 0
fault KIND            none, silent, garbage, half_line, frozen, out_of_scale,
                      broken_wire, short_circuit
state                 what is true, for checking
help                  this list"""


def order(rig: Rig, text: str) -> str:
    """Carry out one order and return what there is to say about it.

    Raises `InputError` for an order that is unknown or cannot be.

    >>> from gaugewright.probe import Probe
    >>> from gaugewright.tank.description import Tank
    >>> rig = Rig(
    ...     Tank("box", length_mm=1000, width_mm=600, height_mm=500),
    ...     Probe(x_mm=500, y_mm=300, tip_clearance_mm=20, active_length_mm=450),
    ... )
    >>> order(rig, "pour 45,5 say 54,5")
    'pouring; reported: 54.5 L'
    >>> order(rig, "tilt 1")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: tilt: 2 figures are wanted, found 1; tilt PITCH ROLL
    """
    word, *rest = text.split() or [""]
    if word not in _ORDERS:
        near = get_close_matches(word, _ORDERS, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(_ORDERS)}"
        raise InputError(f"{word!r} is no order; {hint}", field="order")
    return _ORDERS[word](rig, rest)


def _figures(name: str, rest: list[str], count: int) -> list[float]:
    if len(rest) != count:
        usage = next(line for line in HELP.splitlines() if line.startswith(f"{name} "))
        wanted = "1 figure is" if count == 1 else f"{count} figures are"
        usage = " ".join(usage.split("  ")[0].split())
        raise InputError(f"{wanted} wanted, found {len(rest)}; {usage}", field=name)
    return [number(name, text) for text in rest]


def _choice(name: str, rest: list[str], allowed: tuple[str, ...]) -> str:
    if len(rest) != 1 or rest[0] not in allowed:
        raise InputError(
            f"must be one of {', '.join(allowed)}, found {' '.join(rest) or 'nothing'}", field=name
        )
    return rest[0]


def _pour(rig: Rig, rest: list[str]) -> str:
    reported = None
    if len(rest) == 3 and rest[1] == "say":
        reported = number("say", rest[2])
        rest = rest[:1]
    (litres,) = _figures("pour", rest, 1)
    shown = rig.pour(litres)
    return f"pouring; reported: {shown if reported is None else reported:.1f} L"


def _pour_twice(rig: Rig, rest: list[str]) -> str:
    (litres,) = _figures("pour_twice", rest, 1)
    rig.pour(2 * litres)
    return f"pouring; reported: {litres:.1f} L"


def _drain(rig: Rig, rest: list[str]) -> str:
    rig.drain(*_figures("drain", rest, 1))
    return "drained"


def _tilt(rig: Rig, rest: list[str]) -> str:
    pitch, roll = _figures("tilt", rest, 2)
    rig.tilt(pitch, roll)
    return f"standing at pitch {pitch:g}, roll {roll:g} degrees"


def _temperature(rig: Rig, rest: list[str]) -> str:
    rig.warm(*_figures("temperature", rest, 1))
    return f"fuel at {rig.fuel_c:g} C"


def _water(rig: Rig, rest: list[str]) -> str:
    rig.add_water(*_figures("water", rest, 1))
    return f"{rig.water_l:g} L of water"


def _disturb(rig: Rig, rest: list[str]) -> str:
    size_mm, hz = _figures("disturb", rest, 2)
    rig.disturb(size_mm, hz)
    return "still" if size_mm == 0 else f"shaking by {size_mm:g} mm at {hz:g} Hz"


def _vent(rig: Rig, rest: list[str]) -> str:
    rig.is_vent_blocked = _choice("vent", rest, ("open", "blocked")) == "blocked"
    return f"vent {rest[0]}"


def _meter(rig: Rig, rest: list[str]) -> str:
    rig.resets_meter = _choice("meter", rest, ("reset", "keep")) == "reset"
    return "meter starts each pour from 0" if rig.resets_meter else "meter counts on"


def _fault(rig: Rig, rest: list[str]) -> str:
    rig.fault = RigFault(_choice("fault", rest, tuple(RigFault)))
    return f"fault {rig.fault}"


def _state(rig: Rig, rest: list[str]) -> str:
    return (
        f"time {rig.time_s:.1f} s, {rig.litres:.2f} L of {rig.capacity_l:.1f} L, "
        f"{'pouring' if rig.is_pouring else 'not pouring'}, meter {rig.shown_l:.1f} L, "
        f"pitch {rig.pitch_deg:g}, roll {rig.roll_deg:g}, fuel {rig.fuel_c:g} C, "
        f"water {rig.water_l:g} L, fault {rig.fault}"
    )


def _help(rig: Rig, rest: list[str]) -> str:
    return HELP


_ORDERS: dict[str, Callable[[Rig, list[str]], str]] = {
    "pour": _pour,
    "pour_twice": _pour_twice,
    "drain": _drain,
    "tilt": _tilt,
    "temperature": _temperature,
    "water": _water,
    "disturb": _disturb,
    "vent": _vent,
    "meter": _meter,
    "fault": _fault,
    "state": _state,
    "help": _help,
}
