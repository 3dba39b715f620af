"""Blade fuses: which one protects a conductor and still carries the load.

ISO 8820-3:2015 (scope: types C, E and F, 32 V or 58 V, at most 100 A, breaking capacity
1000 A).  The operating times are as makers' sheets of blade fuses quote them; the
standard's own table was not seen.  A fuse is no trip point at its rating: at 135 % it may
hold for ten minutes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from math import isfinite
from types import MappingProxyType

from gaugewright.errors import InputError
from gaugewright.wiring.conductors import Run
from gaugewright.words import said

RATINGS_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
"""Of type C; from a secondary text."""
COLOURS: Mapping[float, str] = MappingProxyType(
    {1: "black", 2: "grey", 3: "violet", 4: "pink", 5: "tan", 7.5: "brown", 10: "red",
     15: "blue", 20: "yellow", 25: "clear", 30: "green", 40: "amber"}
)  # fmt: skip
"""From memory: read the number on the fuse, not its colour."""
OPERATING_S: Mapping[float, tuple[float, float | None]] = MappingProxyType(
    {1.10: (360_000.0, None), 1.35: (0.75, 600.0), 1.60: (0.25, 50.0), 2.00: (0.15, 5.0),
     3.50: (0.08, 0.5), 6.00: (0.0, 0.15)}
)  # fmt: skip
"""Multiple of the rating → (at least, at most) seconds of a type C fuse; ``None`` has no end."""
CARRIES = 0.75
"""A fuse carries this share of its rating for good.  Common practice, from memory."""
CLEARS = 2.0
"""At this multiple of the rating it opens within 5 s; from memory as a design rule."""
CONDUCTOR_A: Mapping[float, float] = MappingProxyType(
    {0.5: 5.0, 0.75: 7.5, 1.0: 10.0, 1.5: 15.0, 2.5: 20.0, 4.0: 30.0, 6.0: 40.0}
)
"""Largest fuse for a conductor, mm² → A.  Common practice, no source: deliberately low for
bundled cable near heat; local rules and the vehicle maker's come first."""


@dataclass(frozen=True, slots=True)
class FuseChoice:
    """A fuse, and why it fits or what stands against it."""

    rating_a: float
    colour: str
    short_circuit_a: float
    """At the far end, conductors hot, lowest supply. [A]"""
    against: tuple[str, ...]
    """Empty if the fuse fits."""

    @property
    def fits(self) -> bool:
        """Tell whether nothing stands against it."""
        return not self.against


def check_fuse(
    rating_a: float, *, load_a: float, area_mm2: float, run: Run, lowest_supply_v: float
) -> FuseChoice:
    """Hold a fuse against its load, its conductor and the short circuit at the far end.

    >>> run = Run(5, 39.0)
    >>> check_fuse(3, load_a=0.5, area_mm2=0.5, run=run, lowest_supply_v=24).fits
    True
    >>> check_fuse(10, load_a=0.5, area_mm2=0.5, run=run, lowest_supply_v=24).against
    ('10 A does not protect a conductor of 0.5 mm², at most 5 A',)
    """
    if rating_a not in RATINGS_A:
        sizes = ", ".join(f"{r:g}" for r in RATINGS_A)
        raise InputError(
            said(
                "{rating_a:g} A is no rating, wanted one of {sizes}", rating_a=rating_a, sizes=sizes
            ),
            field="rating_a",
        )
    if not (isfinite(load_a) and load_a >= 0):
        raise InputError(
            said("must be 0 A or more, found {load_a:g}", load_a=load_a), field="load_a"
        )
    if not (isfinite(lowest_supply_v) and lowest_supply_v > 0):
        raise InputError(
            said("must be above 0 V, found {lowest_supply_v:g}", lowest_supply_v=lowest_supply_v),
            field="lowest_supply_v",
        )
    most = largest_fuse_a(area_mm2)
    short = lowest_supply_v / run.loop_ohm
    against = []
    if load_a > CARRIES * rating_a:
        against.append(
            said(
                "{rating_a:g} A carries {carried_a:g} A for good, the load is {load_a:g} A",
                rating_a=rating_a,
                carried_a=CARRIES * rating_a,
                load_a=load_a,
            )
        )
    if rating_a > most:
        against.append(
            said(
                "{rating_a:g} A does not protect a conductor of {area_mm2:g} mm², at most "
                "{most:g} A",
                rating_a=rating_a,
                area_mm2=area_mm2,
                most=most,
            )
        )
    if short < CLEARS * rating_a:
        against.append(
            said(
                "a short circuit at the far end draws only {short:.1f} A, {clears_a:g} A wanted "
                "for the fuse to open within 5 s",
                short=short,
                clears_a=CLEARS * rating_a,
            )
        )
    return FuseChoice(rating_a, COLOURS[rating_a], short, tuple(against))


def largest_fuse_a(area_mm2: float) -> float:
    """Give the largest fuse for a conductor. [A]

    >>> largest_fuse_a(1.5)
    15.0
    """
    if not (isfinite(area_mm2) and area_mm2 >= min(CONDUCTOR_A)):
        raise InputError(
            said(
                "{area_mm2:g} mm² is under {least_mm2:g} mm², no fuse protects it here",
                area_mm2=area_mm2,
                least_mm2=min(CONDUCTOR_A),
            ),
            field="area_mm2",
        )
    return CONDUCTOR_A[max(size for size in CONDUCTOR_A if size <= area_mm2)]


def choose_fuse(*, load_a: float, area_mm2: float, run: Run, lowest_supply_v: float) -> FuseChoice:
    """Choose the smallest fuse that carries the load and protects the conductor.

    Raises `InputError`, with what stands against each, if there is none.

    >>> choose_fuse(load_a=0.8, area_mm2=0.75, run=Run(8, 32.6), lowest_supply_v=16).rating_a
    2.0
    """
    last: FuseChoice | None = None
    for rating in RATINGS_A:
        found = check_fuse(
            rating, load_a=load_a, area_mm2=area_mm2, run=run, lowest_supply_v=lowest_supply_v
        )
        if found.fits:
            return found
        if load_a <= CARRIES * rating:
            last = found
            break
    against = (
        said("{load_a:g} A is above every fuse", load_a=load_a)
        if last is None
        else reduce(_then, last.against)
    )
    raise InputError(said("no fuse fits: {against}", against=against), field="load_a")


def _then(first: str, second: str) -> str:
    return said("{first}; {second}", first=first, second=second)
