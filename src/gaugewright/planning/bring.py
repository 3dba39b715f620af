"""What to bring: tools, parts, protective equipment, containers and papers, from the plan.

The lists are common practice, no source.  `one_page` puts them, cautions first, on one
page of text that prints at 80 columns.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import ceil
from textwrap import wrap
from typing import Literal

from gaugewright.errors import InputError
from gaugewright.planning.cautions import Caution, Ruling, cautions_for
from gaugewright.planning.draining import Draining
from gaugewright.planning.template import Flange, hole_saw_mm

Group = Literal["papers", "protection", "tools", "parts", "containers", "fuel"]
GROUPS: tuple[Group, ...] = ("papers", "protection", "tools", "parts", "containers", "fuel")
Check = Literal["slope", "meter", "dip", "temperatures"]

LINES, COLUMNS = 64, 80
"""What a page takes in a type that can be read in a yard."""


@dataclass(frozen=True, slots=True)
class Needs:
    """What the plan says that decides what is brought."""

    flange: Flange = field(default_factory=Flange)
    cut_length_mm: float | None = None
    """``None`` if the probe is not cut on site. [mm]"""
    cable_m: float = 0.0
    area_mm2: float | None = None
    fuse_a: float | None = None
    is_rs485: bool = False
    checks: tuple[Check, ...] = ()
    pour_l: float = 0.0
    stops: int = 0
    draining: Draining | None = None
    """``None`` for a tank that is empty already."""
    is_opening_there: bool = False
    """Whether the probe goes into an opening that exists: nothing is drilled."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to bring, and what for."""

    group: Group
    what: str
    why: str = ""


def things_to_bring(needs: Needs) -> tuple[Item, ...]:
    """List what the plan needs, group by group.

    >>> items = things_to_bring(Needs(pour_l=330, stops=5, checks=("slope",)))
    >>> [item.what for item in items if "saw" in item.what]
    ['hole saw 38 mm, bi-metal, with a pilot drill']
    >>> [item.what for item in items if item.group == "fuel"]
    ['330 L of clean diesel, metered, and 10 L spare']
    """
    found = [
        *_papers(needs),
        *_protection(needs),
        *_tools(needs),
        *_parts(needs),
        *_containers(needs),
    ]
    if needs.pour_l > 0:
        spare = max(10, 5 * ceil(0.02 * needs.pour_l / 5))
        what = f"{needs.pour_l:.0f} L of clean diesel, metered, and {spare} L spare"
        found.append(Item("fuel", what, f"for {needs.stops} pours"))
    return tuple(sorted(found, key=lambda item: GROUPS.index(item.group)))


def one_page(
    title: str,
    items: Sequence[Item],
    facts: Sequence[str] = (),
    *,
    cautions: Sequence[Caution] | None = None,
    ruling: Ruling | None = None,
) -> str:
    """Put cautions, facts and the list on one page of text.

    Raises `InputError` if they do not fit.

    >>> page = one_page("Tank 1", things_to_bring(Needs(pour_l=330, stops=5)))
    >>> page.splitlines()[0], len(page.splitlines()) <= LINES
    ('Tank 1', True)
    """
    shown = cautions_for() if cautions is None else cautions
    lines = [title[:COLUMNS]]
    if ruling is not None and ruling.record:
        lines += wrap(ruling.record, COLUMNS)
    lines += ["", "CAUTIONS, in full in the plan; read before each step  [_] read by:"]
    lines += _flowed(f"! {caution.short}" for caution in shown)
    if facts:
        lines += ["", "THE PLAN", *_flowed(facts)]
    for group in GROUPS:
        own = [item.what for item in items if item.group == group]
        if own:
            lines += [group.upper(), *_flowed(["[_] " + "  [_] ".join(own)])]
    if len(lines) > LINES:
        raise InputError(f"{len(lines)} lines do not fit on one page of {LINES}", field="facts")
    return "\n".join(lines) + "\n"


def _flowed(texts: Iterable[str]) -> list[str]:
    return [
        line
        for text in texts
        for line in wrap(text, COLUMNS, subsequent_indent="    ", break_on_hyphens=False)
    ]


def _papers(needs: Needs) -> list[Item]:
    items = [
        Item("papers", "owner's written yes", "warranty and approval"),
        Item("papers", "this plan and the tank's sheet"),
        Item("papers", "fuel's safety data sheet"),
        Item("papers", "seal numbers"),
    ]
    if not needs.is_opening_there:
        items.append(Item("papers", "work permit, where the site wants one"))
        items.append(Item("papers", "drilling template at 1:1, bar measured"))
    return items


def _protection(needs: Needs) -> list[Item]:
    items = [
        Item("protection", "gloves against fuel and against cuts"),
        Item("protection", "glasses"),
        Item("protection", "antistatic shoes and clothes"),
        Item("protection", "extinguisher for liquids"),
        Item("protection", "binder and a tray"),
        Item("protection", "wheel chocks"),
    ]
    if not needs.is_opening_there:
        items.append(Item("protection", "gas meter, in the hands of one trained for it"))
    return items


def _tools(needs: Needs) -> list[Item]:
    items = [Item("tools", "multimeter"), Item("tools", "torque wrench, small")]
    if not needs.is_opening_there:
        saw = hole_saw_mm(needs.flange.hole_mm)
        items += [
            Item("tools", f"hole saw {saw} mm, bi-metal, with a pilot drill"),
            Item("tools", "slow drill or hand brace, made for where vapour may be"),
            Item("tools", "cutting grease, magnet, deburrer"),
            Item("tools", "centre punch, marker, steel rule"),
        ]
        if needs.flange.bolts:
            items.append(Item("tools", f"drill for {needs.flange.bolt_mm:g} mm screws"))
    if needs.cut_length_mm is not None:
        items += [
            Item("tools", f"tube cutter or fine saw, for a cut at {needs.cut_length_mm:.1f} mm"),
            Item("tools", "file, compressed air"),
        ]
    items.append(Item("tools", "dip stick with mm scale"))
    words = {
        "slope": "inclinometer, 0.1°",
        "meter": "measured can with its certificate",
        "temperatures": "thermometer made for fuel",
    }
    items += [Item("tools", words[check]) for check in needs.checks if check in words]
    items.append(Item("tools", "bonding lead with clamps"))
    return items


def _parts(needs: Needs) -> list[Item]:
    items = [Item("parts", "probe, gasket, screws and their spares"), Item("parts", "seals")]
    if needs.cut_length_mm is not None:
        items.append(Item("parts", "end cap or spacer of the probe"))
    if needs.cable_m > 0:
        size = "" if needs.area_mm2 is None else f" of {needs.area_mm2:g} mm²"
        length = ceil(1.1 * needs.cable_m)
        items.append(Item("parts", f"{length} m of cable{size} in conduit", "10 % more than drawn"))
        items.append(Item("parts", "glands, crimps, ties, heat shrink"))
    if needs.fuse_a is not None:
        items.append(Item("parts", f"fuse {needs.fuse_a:g} A with holder, and two spare"))
    if needs.is_rs485:
        items.append(Item("parts", "two terminators of 120 ohm"))
    return items


def _containers(needs: Needs) -> list[Item]:
    if needs.draining is None:
        return []
    counts: Counter[str] = Counter()
    for each in needs.draining.filled:
        counts[each.container.name] += each.count
    items = [
        Item("containers", f"{count} x {name}, closed and marked") for name, count in counts.items()
    ]
    if any(each.takes_two_or_a_trolley for each in needs.draining.filled):
        items.append(Item("containers", "trolley or a second person: a full one is over 25 kg"))
    if items:
        items.append(Item("containers", "fuel pump bonded to tank and container, hoses"))
    return items
