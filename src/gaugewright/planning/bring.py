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
from gaugewright.words import ENGLISH, Length, Speech, Volume, said

Group = Literal["papers", "protection", "tools", "parts", "containers", "fuel"]
GROUPS: tuple[Group, ...] = ("papers", "protection", "tools", "parts", "containers", "fuel")
HEADINGS: dict[Group, str] = {
    "papers": said("PAPERS"),
    "protection": said("PROTECTION"),
    "tools": said("TOOLS"),
    "parts": said("PARTS"),
    "containers": said("CONTAINERS"),
    "fuel": said("FUEL"),
}
Check = Literal["slope", "meter", "dip", "temperatures", "residue"]

LINES, COLUMNS = 64, 80
"""What a page takes in a type that can be read in a yard."""


@dataclass(frozen=True, slots=True)
class Needs:
    """What the plan says that decides what is brought."""

    flange: Flange = field(default_factory=Flange)
    cut_length_mm: float | None = None
    """``None`` if the probe is not cut on site. [mm]"""
    cable_m: float = 0.0
    conductor: str = ""
    """Its size as said in a shop, in mm² and by the gauge."""
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
        what = said(
            "{pour_l:.0f} of clean diesel, metered, and {spare:.0f} spare",
            pour_l=Volume(needs.pour_l),
            spare=Volume(spare),
        )
        found.append(Item("fuel", what, said("for {stops} pours", stops=needs.stops)))
    return tuple(sorted(found, key=lambda item: GROUPS.index(item.group)))


def one_page(
    title: str,
    items: Sequence[Item],
    facts: Sequence[str] = (),
    *,
    cautions: Sequence[Caution] | None = None,
    ruling: Ruling | None = None,
    speech: Speech = ENGLISH,
) -> str:
    """Put cautions, facts and the list on one page of text, in the words of its reader.

    Raises `InputError` if they do not fit.

    >>> page = one_page("Tank 1", things_to_bring(Needs(pour_l=330, stops=5)))
    >>> page.splitlines()[0], len(page.splitlines()) <= LINES
    ('Tank 1', True)
    """
    shown = cautions_for() if cautions is None else cautions
    lines = [title[:COLUMNS]]
    if ruling is not None and ruling.record:
        lines += wrap(speech.says(ruling.record), COLUMNS)
    lines += [
        "",
        speech.says(said("CAUTIONS, in full in the plan; read before each step  [_] read by:")),
    ]
    lines += _flowed(f"! {speech.says(caution.short)}" for caution in shown)
    if facts:
        lines += ["", speech.says(said("THE PLAN")), *_flowed(map(speech.says, facts))]
    for group in GROUPS:
        own = [speech.says(item.what) for item in items if item.group == group]
        if own:
            lines += [speech.says(HEADINGS[group]), *_flowed(["[_] " + "  [_] ".join(own)])]
    if len(lines) > LINES:
        raise InputError(
            said(
                "{number} lines do not fit on one page of {lines}", number=len(lines), lines=LINES
            ),
            field="facts",
        )
    return "\n".join(lines) + "\n"


def _flowed(texts: Iterable[str]) -> list[str]:
    return [
        line
        for text in texts
        for line in wrap(text, COLUMNS, subsequent_indent="    ", break_on_hyphens=False)
    ]


def _papers(needs: Needs) -> list[Item]:
    items = [
        Item("papers", said("owner's written yes"), said("warranty and approval")),
        Item("papers", said("this plan and the tank's sheet")),
        Item("papers", said("fuel's safety data sheet")),
        Item("papers", said("seal numbers")),
    ]
    if not needs.is_opening_there:
        items.append(Item("papers", said("work permit, where the site wants one")))
        items.append(Item("papers", said("drilling template at 1:1, bar measured")))
    return items


def _protection(needs: Needs) -> list[Item]:
    items = [
        Item("protection", said("gloves against fuel and against cuts")),
        Item("protection", said("glasses")),
        Item("protection", said("antistatic shoes and clothes")),
        Item("protection", said("extinguisher for liquids")),
        Item("protection", said("binder and a tray")),
        Item("protection", said("wheel chocks")),
    ]
    if not needs.is_opening_there:
        items.append(Item("protection", said("gas meter, in the hands of one trained for it")))
    return items


def _tools(needs: Needs) -> list[Item]:
    items = [Item("tools", said("multimeter")), Item("tools", said("torque wrench, small"))]
    if not needs.is_opening_there:
        saw = hole_saw_mm(needs.flange.hole_mm)
        items += [
            Item("tools", said("hole saw {saw:g}, bi-metal, with a pilot drill", saw=Length(saw))),
            Item("tools", said("slow drill or hand brace, made for where vapour may be")),
            Item("tools", said("cutting grease, magnet, deburrer")),
            Item("tools", said("centre punch, marker, steel rule")),
        ]
        if needs.flange.bolts:
            items.append(
                Item(
                    "tools",
                    said("drill for {bolt_mm:g} screws", bolt_mm=Length(needs.flange.bolt_mm)),
                )
            )
    if needs.cut_length_mm is not None:
        items += [
            Item(
                "tools",
                said(
                    "tube cutter or fine saw, for a cut at {cut_length_mm:.1f}",
                    cut_length_mm=Length(needs.cut_length_mm),
                ),
            ),
            Item("tools", said("file, compressed air")),
        ]
    items.append(Item("tools", said("dip stick with mm scale")))
    words = {
        "slope": said("inclinometer, 0.1°"),
        "meter": said("measured can with its certificate"),
        "temperatures": said("thermometer made for fuel"),
        "residue": said("measured jug for what is left in the tank"),
    }
    items += [Item("tools", words[check]) for check in needs.checks if check in words]
    items.append(Item("tools", said("bonding lead with clamps")))
    return items


def _parts(needs: Needs) -> list[Item]:
    items = [
        Item("parts", said("probe, gasket, screws and their spares")),
        Item("parts", said("seals")),
    ]
    if needs.cut_length_mm is not None:
        items.append(Item("parts", said("end cap or spacer of the probe")))
    if needs.cable_m > 0:
        size = said(" of {conductor}", conductor=needs.conductor) if needs.conductor else ""
        length = ceil(1.1 * needs.cable_m)
        items.append(
            Item(
                "parts",
                said("{length} m of cable{size} in conduit", length=length, size=size),
                said("10 % more than drawn"),
            )
        )
        items.append(Item("parts", said("glands, crimps, ties, heat shrink")))
    if needs.fuse_a is not None:
        items.append(
            Item("parts", said("fuse {fuse_a:g} A with holder, and two spare", fuse_a=needs.fuse_a))
        )
    if needs.is_rs485:
        items.append(Item("parts", said("two terminators of 120 ohm")))
    return items


def _containers(needs: Needs) -> list[Item]:
    if needs.draining is None:
        return []
    counts: Counter[str] = Counter()
    for each in needs.draining.filled:
        counts[each.container.name] += each.count
    items = [
        Item("containers", said("{count} x {name}, closed and marked", count=count, name=name))
        for name, count in counts.items()
    ]
    if any(each.takes_two_or_a_trolley for each in needs.draining.filled):
        items.append(
            Item("containers", said("trolley or a second person: a full one is over 25 kg"))
        )
    if items:
        items.append(Item("containers", said("fuel pump bonded to tank and container, hoses")))
    return items
