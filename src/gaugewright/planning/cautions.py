"""Cautions, each at the step it belongs to, and the rules that stop a plan.

They tell facts and common practice, and defer to local codes, the vehicle's and the
tank's makers and to licensed people; nothing here is a permission.  Each fact names its
source.  Ids stand in the journal and never change.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from gaugewright.errors import InputError
from gaugewright.words import said

Stage = Literal["Survey", "Plan", "Bench", "Mount", "Pour"]

NO_SOURCE = "common practice, no source"
INDG314 = "HSE INDG314(rev1) 05/13, Hot work on small tanks and drums"
DEFER = "Local codes and the makers of vehicle and tank come first; if unsure, a licensed person."


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that is read, and acknowledged by name, before a step that can hurt someone."""

    id: str
    stage: Stage
    step: str
    """What is about to be done."""
    short: str
    """One line of it, for the page that is carried along."""
    text: str
    source: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "vehicle_secured",
        "Survey",
        said("before touching the vehicle"),
        said("wheels chocked, brake on, key in your pocket; props under a raised body"),
        said(
            "The vehicle stands level, wheels chocked, parking brake on, key in your "
            "pocket; nobody goes under a body or a bed that is only held by "
            "hydraulics."
        ),
        NO_SOURCE,
    ),
    Caution(
        "tank_contents",
        "Survey",
        said("before opening the tank"),
        said("diesel tanks only; petrol, ethanol or unknown contents stop the work"),
        said(
            "Only diesel tanks. Ask what the tank held last and ever: petrol, "
            "ethanol or an unknown fuel stops the work. A teaspoon of petrol can be "
            "enough for an explosion."
        ),
        INDG314,
    ),
    Caution(
        "vapour",
        "Survey",
        said("before opening the tank"),
        said("diesel may flash below 55 °C: no flame, no smoking, air moving"),
        said(
            "Diesel is not safe because its flash point is above 55 °C: winter or "
            "imported fuel may flash from 38 °C, and a little petrol lowers it a "
            "lot. No flame, no smoking, air moving."
        ),
        "EN 590 (above 55 °C); ASTM D975 (No. 1-D from 38 °C)",
    ),
    Caution(
        "hot_exhaust",
        "Survey",
        said("before choosing the cable's way"),
        said("exhaust cold; cable and head kept well away from it"),
        said(
            "Exhaust, turbo and filter housings burn skin and melt cable; let them "
            "cool, and keep cable and probe head well away from them."
        ),
        NO_SOURCE,
    ),
    Caution(
        "type_approval",
        "Plan",
        said("before deciding to drill"),
        said("owner's written yes; maker and local rules asked about approval"),
        said(
            "A fuel tank is tested as it left its maker (UN R34: 0.3 bar for 1 "
            "minute without a leak). A hole may end its approval and its warranty: "
            "ask the maker and local rules, get the owner's yes in writing. A probe "
            "in an existing opening avoids the question."
        ),
        "UN Regulation No. 34, hydraulic test",
    ),
    Caution(
        "drain_first",
        "Plan",
        said("before draining"),
        said("closed, marked containers in a tray; a full 20 L can weighs 18 kg"),
        said(
            "Drained fuel needs closed, marked containers in a tray, none filled to "
            "the brim, away from drains. A full 20 L can weighs 18 kg: lift with two "
            "or use a trolley."
        ),
        "weight from EN 590, at most 845 kg/m3; the rest " + NO_SOURCE,
    ),
    Caution(
        "battery",
        "Mount",
        said("before touching wires"),
        said("battery off at its switch, or minus off first and on last"),
        said(
            "Switch the battery off at its switch or take its minus lead off first, "
            "put it on last; wait as long as the vehicle's maker says for its "
            "computers to fall asleep."
        ),
        NO_SOURCE,
    ),
    Caution(
        "drilling",
        "Mount",
        said("before drilling"),
        said("hot work: tank off, or drained, cleaned, gas-free and tested by one licensed"),
        said(
            "Welding, cutting, grinding and sawing are hot work, and an empty tank "
            "still holds fuel in seams: take the tank off, or have it drained, "
            "cleaned, gas-freed and tested by someone licensed. Only cold, slow, "
            "lubricated cutting by hand; never a cut-off saw or torch. A worker was "
            "injured in 2021 cutting a diesel drum with a saw."
        ),
        INDG314 + "; Jersey HSI alert, 31 March 2021; 29 CFR 1910.252(a)(3)",
    ),
    Caution(
        "swarf",
        "Mount",
        said("while drilling"),
        said("grease the saw, magnet, vacuum made for fuel, look inside; gloves, glasses"),
        said(
            "Swarf in the tank ruins pump and injectors: grease the saw, a magnet "
            "for steel, a vacuum made for fuel for aluminium and plastic, then look "
            "inside with a lamp made for vapour. Gloves and glasses: swarf cuts."
        ),
        NO_SOURCE,
    ),
    Caution(
        "lifting",
        "Mount",
        said("before taking the tank down or lifting a step"),
        said("weight taken before straps are loosed; two people or a jack"),
        said(
            "Straps hold the tank: take its weight first. A half-full tank moves its "
            "fuel when it tilts. Two people or a jack made for it."
        ),
        NO_SOURCE,
    ),
    Caution(
        "cut_once",
        "Mount",
        said("before cutting the probe"),
        said("measured twice, typed twice, then cut; deburr"),
        said(
            "What is cut off cannot be put back: measure twice, type the figure "
            "twice, deburr, and check that nothing of the tube stays between the "
            "electrodes."
        ),
        NO_SOURCE,
    ),
    Caution(
        "static",
        "Pour",
        said("before fuel flows"),
        said("nozzle, probe and tank bonded to the chassis before fuel flows"),
        said(
            "Bond nozzle, probe and tank to the chassis before fuel flows and keep "
            "them bonded; no splash filling; wait after a pour before a stick goes "
            "in."
        ),
        "Regulation (EU) 44/2014 annex IX (no sparking charge); waiting " + NO_SOURCE,
    ),
    Caution(
        "spill",
        "Pour",
        said("before fuel flows"),
        said("somebody at the shut-off; tray and binder; nobody smokes"),
        said(
            "Somebody stays at the nozzle's shut-off. A tray under the filler, "
            "binder at hand, nobody smokes. Fuel on skin is washed off, wet clothes "
            "come off."
        ),
        NO_SOURCE,
    ),
    Caution(
        "roadworthy",
        "Pour",
        said("before the vehicle leaves"),
        said("no leak, full and running; guards, straps and cap back; papers"),
        said(
            "Look for leaks full and with the engine running; fuel cap, vents, "
            "straps and under-run guards are back; what was changed is in the "
            "vehicle's papers where the law wants it."
        ),
        NO_SOURCE,
    ),
)
"""Every caution in the order of the work."""

SAFE_CONTENTS = ("diesel", "hvo", "biodiesel")
"""Diesel (EN 590, flash point above 55 °C), paraffinic diesel and FAME (EN 14214, above
101 °C, from memory)."""
_PETROL = ("petrol", "gasoline", "benzin", "gas")
_LOW_FLASH = ("ethanol", "e85", "methanol", "kerosene", "jet", "paraffin", "naphtha", "avgas")


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What decides whether the work may be planned at all."""

    contents: str = "diesel"
    """What the tank holds or held last."""
    ever_held: tuple[str, ...] = ()
    """What else it is known to have held."""
    is_dangerous_goods: bool = False
    """Whether the vehicle carries dangerous goods (ADR and the like)."""
    licensed_person: str = ""
    """Who, licensed for it, decides on what stands in the way; blank is nobody."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A reason that ends the plan, with its source."""

    id: str
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class Ruling:
    """What stands in the way, and who was named to decide on it."""

    stops: tuple[Stop, ...]
    record: str
    """To go into the journal; blank if nothing stands in the way."""

    @property
    def is_stopped(self) -> bool:
        """Tell whether the plan ends here."""
        return bool(self.stops) and not self.record


def ruling(circumstances: Circumstances) -> Ruling:
    """Decide whether the plan stops, and why.

    A licensed person who is named is recorded with what they decide on.  That is no
    permission: the record says so.

    >>> ruling(Circumstances()).is_stopped
    False
    >>> ruling(Circumstances(contents="petrol")).stops[0].id
    'petrol'
    >>> named = ruling(Circumstances(contents="petrol", licensed_person="A. Example"))
    >>> named.is_stopped, named.record
    (False, 'A. Example is named as the licensed person who decides on: petrol. This plan gives no
    permission; local codes apply.')
    """
    stops = [
        *_of_contents(circumstances.contents, said("holds")),
        *(s for fuel in circumstances.ever_held for s in _of_contents(fuel, said("has held"))),
        *_of_vehicle(circumstances.is_dangerous_goods),
    ]
    unique = tuple({stop.id: stop for stop in stops}.values())
    name = circumstances.licensed_person.strip()
    if not unique or not name:
        return Ruling(unique, "")
    what = ", ".join(stop.id.replace("_", " ") for stop in unique)
    return Ruling(
        unique,
        said(
            "{name} is named as the licensed person who decides on: {what}. This "
            "plan gives no permission; local codes apply.",
            name=name,
            what=what,
        ),
    )


def require_may_plan(circumstances: Circumstances) -> Ruling:
    """Give the ruling, `InputError` with the reason if it stops the plan.

    >>> require_may_plan(Circumstances(contents="unknown"))   # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: contents: the plan stops: nobody knows what the tank...
    """
    found = ruling(circumstances)
    if found.is_stopped:
        first = found.stops[0]
        field = "dangerous_goods" if first.id == "dangerous_goods" else "contents"
        raise InputError(
            said("the plan stops: {reason} ({source})", reason=first.reason, source=first.source),
            field=field,
        )
    return found


def cautions_for(stages: Iterable[Stage] | None = None) -> tuple[Caution, ...]:
    """Give the cautions of some stages, of all without any, in the order of the work.

    >>> [caution.id for caution in cautions_for(["Pour"])]
    ['static', 'spill', 'roadworthy']
    """
    wanted = None if stages is None else set(stages)
    return tuple(c for c in CAUTIONS if wanted is None or c.stage in wanted)


def flashes_early(words: str) -> str:
    """Return the fuel among some words that may flash in a yard, blank if none is named.

    >>> flashes_early("Petrol, E5"), flashes_early("diesel, tank 2 of 2")
    ('petrol', '')
    """
    plain = "".join(c if c.isalnum() else " " for c in words.lower()).split()
    return next((word for word in plain if word in (*_PETROL, *_LOW_FLASH)), "")


def _of_contents(contents: str, verb: str) -> list[Stop]:
    fuel = contents.strip().lower()
    if fuel in SAFE_CONTENTS:
        return []
    if fuel in _PETROL:
        return [
            Stop(
                "petrol",
                said(
                    "the tank {verb} petrol, which gives off explosive vapour down to -40 "
                    "°C; a teaspoon of it left in a seam can be enough",
                    verb=verb,
                ),
                INDG314,
            )
        ]
    if fuel in _LOW_FLASH:
        return [
            Stop(
                "low_flash",
                said(
                    "the tank {verb} {fuel}, a fuel that may flash at the temperatures of a "
                    "yard; only fuels that flash above 55 °C are planned for here",
                    verb=verb,
                    fuel=fuel,
                ),
                "EN 590 for the limit; ASTM D975 for No. 1-D from 38 °C",
            )
        ]
    known = ", ".join(SAFE_CONTENTS)
    return [
        Stop(
            "unknown_contents",
            said(
                "nobody knows what the tank {verb} ('{strip}'); planned for here are {known}",
                verb=verb,
                strip=contents.strip(),
                known=known,
            ),
            INDG314,
        )
    ]


def _of_vehicle(is_dangerous_goods: bool) -> list[Stop]:
    if not is_dangerous_goods:
        return []
    return [
        Stop(
            "dangerous_goods",
            said(
                "the vehicle carries dangerous goods: added circuits must sit behind the "
                "battery master switch and its approval must be renewed by the body that "
                "gave it"
            ),
            "ADR 9.2.2 (2017)",
        )
    ]
