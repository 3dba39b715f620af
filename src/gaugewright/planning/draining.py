"""The fuel that is in the tank first: where it goes, what it weighs, how long it takes.

Container weights, the share to which they are filled and the flow of a hand pump are
common practice, no source.  Weight is at EN 590's heaviest, 845 kg/m3 at 15 °C.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isfinite

from gaugewright.errors import InputError
from gaugewright.words import Volume, said

HEAVIEST_KG_PER_L = 0.845
FILL_SHARE = 0.95
"""Room left for the fuel to expand: 5 % is 60 K of warming."""
ONE_PERSON_KG = 25.0
"""More than this is not lifted by one person.  Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Container:
    """A kind of container and how many of it are at hand."""

    name: str
    litres: float
    empty_kg: float
    count: int = 1_000_000
    """At hand; as many as needed unless given."""

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        if not (isfinite(self.litres) and self.litres > 0):
            raise InputError(
                said("must be above 0 L, found {litres:g}", litres=self.litres), field=self.name
            )
        if not (isfinite(self.empty_kg) and self.empty_kg >= 0):
            raise InputError(
                said("must be 0 kg or more, found {empty_kg:g}", empty_kg=self.empty_kg),
                field=self.name,
            )
        if self.count < 0:
            raise InputError(
                said("must be 0 or more, found {count}", count=self.count), field=self.name
            )

    @property
    def full_kg(self) -> float:
        """Return the weight when filled as far as it may be. [kg]"""
        return self.empty_kg + self.litres * FILL_SHARE * HEAVIEST_KG_PER_L


CONTAINERS = (
    Container("1,000 L tote", 1000, 60, 0),
    Container("200 L drum", 200, 20),
    Container("60 L drum", 60, 4),
    Container("20 L can", 20, 1.5),
)


@dataclass(frozen=True, slots=True)
class Filled:
    """So many containers of one kind, and what they hold together."""

    container: Container
    count: int
    litres: float

    @property
    def takes_two_or_a_trolley(self) -> bool:
        """Tell whether one of them is too heavy for one person."""
        return self.container.full_kg > ONE_PERSON_KG


@dataclass(frozen=True, slots=True)
class Draining:
    """How a tank is emptied."""

    litres: float
    filled: tuple[Filled, ...]
    fuel_kg: float
    total_kg: float
    """With the containers. [kg]"""
    minutes: float


def drain(
    litres: float,
    containers: Sequence[Container] = CONTAINERS,
    *,
    flow_l_per_min: float = 20.0,
    settle_min: float = 10.0,
    change_min: float = 2.0,
) -> Draining:
    """Share the fuel out over containers, the largest that is filled first.

    What fits into one goes into the smallest that takes it all.  Time is the flow, a
    change of container each, and settling until the last of it has run together.

    Raises `InputError` if what is at hand does not hold it.

    >>> found = drain(330)
    >>> [(each.count, each.container.name, each.litres) for each in found.filled]
    [(1, '200 L drum', 190.0), (1, '200 L drum', 140.0)]
    >>> round(found.fuel_kg), round(found.minutes, 1)
    (279, 30.5)
    """
    for name, value in (("litres", litres), ("settle_min", settle_min), ("change_min", change_min)):
        if not (isfinite(value) and value >= 0):
            raise InputError(said("must be 0 or more, found {value:g}", value=value), field=name)
    if not (isfinite(flow_l_per_min) and flow_l_per_min > 0):
        raise InputError(
            said("must be above 0 L/min, found {flow_l_per_min:g}", flow_l_per_min=flow_l_per_min),
            field="flow_l_per_min",
        )
    filled = _shared_out(litres, containers)
    changes = sum(each.count for each in filled)
    fuel_kg = litres * HEAVIEST_KG_PER_L
    empty_kg = sum(each.count * each.container.empty_kg for each in filled)
    minutes = 0.0
    if litres > 0:
        minutes = litres / flow_l_per_min + change_min * changes + settle_min
    return Draining(litres, filled, fuel_kg, fuel_kg + empty_kg, minutes)


@dataclass(slots=True)
class _Stock:
    container: Container
    count: int


def _shared_out(litres: float, containers: Sequence[Container]) -> tuple[Filled, ...]:
    left = litres
    filled: list[Filled] = []
    unused = [_Stock(c, c.count) for c in sorted(containers, key=_size, reverse=True)]
    while left > 1e-9:
        takes_all = [
            each.container
            for each in unused
            if each.count and _holds(each.container) >= left * (1 - 1e-12)
        ]
        if takes_all:
            return (*filled, Filled(min(takes_all, key=_size), 1, left))
        largest = next((each for each in unused if each.count), None)
        if largest is None:
            held = sum(c.count * _holds(c) for c in containers)
            raise InputError(
                said(
                    "{litres:g} do not go into what is at hand, which holds {held:g} filled "
                    "to {fill_share:g} %",
                    litres=Volume(litres),
                    held=Volume(held),
                    fill_share=100 * FILL_SHARE,
                ),
                field="containers",
            )
        container = largest.container
        count = min(int(left / _holds(container)), largest.count)
        filled.append(Filled(container, count, count * _holds(container)))
        left -= filled[-1].litres
        largest.count -= count
    return tuple(filled)


def _size(container: Container) -> float:
    return container.litres


def _holds(container: Container) -> float:
    return container.litres * FILL_SHARE


def fill_minutes(
    litres: float, stops: int, *, flow_l_per_min: float = 35.0, settle_min: float = 3.0
) -> float:
    """Minutes that a fill takes: the flow and, at each stop, settling and writing down.

    >>> fill_minutes(350, 10)
    40.0
    """
    if not (isfinite(litres) and litres >= 0) or stops < 0:
        raise InputError(
            said(
                "must be 0 or more, found {litres:g} in {stops} stops",
                litres=Volume(litres),
                stops=stops,
            ),
            field="litres",
        )
    if not (isfinite(flow_l_per_min) and flow_l_per_min > 0):
        raise InputError(
            said("must be above 0 L/min, found {flow_l_per_min:g}", flow_l_per_min=flow_l_per_min),
            field="flow_l_per_min",
        )
    return litres / flow_l_per_min + stops * settle_min


def cans_to_carry(litres: float, can: Container = CONTAINERS[-1]) -> int:
    """Give how many cans bring so much fuel to the vehicle.

    >>> cans_to_carry(330)
    18
    """
    return ceil(litres / (can.litres * FILL_SHARE) * (1 - 1e-12))
