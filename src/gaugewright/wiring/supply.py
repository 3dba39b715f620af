"""The vehicle's supply: how low it goes, what a start does, how long a parked battery lasts.

Supply codes and the generator's voltage are those of ISO 16750-2:2010 as reprinted; the
starting profile is from memory and only bounds what to expect.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from types import MappingProxyType
from typing import Literal

from gaugewright.errors import InputError
from gaugewright.words import said

System = Literal["12 V", "24 V"]
Fed = Literal["permanent", "ignition"]

CODES: Mapping[System, Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "12 V": MappingProxyType(
            {"A": (6.0, 16.0), "B": (8.0, 16.0), "C": (9.0, 16.0), "D": (10.5, 16.0)}
        ),
        "24 V": MappingProxyType(
            {"E": (10.0, 32.0), "F": (16.0, 32.0), "G": (22.0, 32.0), "H": (18.0, 32.0)}
        ),
    }
)
"""Lowest and highest supply at which a device works fully, by code (ISO 16750-2:2010)."""
RUNNING_V: Mapping[System, float] = MappingProxyType({"12 V": 14.0, "24 V": 28.0})
CRANKING_V: Mapping[System, tuple[float, ...]] = MappingProxyType(
    {"12 V": (8.0, 4.5, 3.0), "24 V": (10.0, 8.0, 6.0)}
)
"""Lowest voltage of a start, by severity level 1 to 3.  From memory of ISO 16750-2, not seen."""
LOAD_DUMP_V: Mapping[System, tuple[float, float]] = MappingProxyType(
    {"12 V": (35.0, 101.0), "24 V": (58.0, 202.0)}
)
"""Load dump: clamped centrally (typical), and at most without clamping.  ISO 16750-2:2010;
the 101 V of 12 V systems is from memory."""
ALLOWED_DOWN = 0.20
"""Share of the battery that a parked vehicle may lose.  Common practice, no source."""
USABLE_OF_RATED = 0.8
"""An aged battery holds this share of its plate.  Common practice, no source."""
SELF_DISCHARGE_PER_DAY = 0.001
"""Share lost each day without any load.  Common practice, no source."""
USABLE_RANGE = (0.7, 0.9)
SELF_DISCHARGE_RANGE = (0.0005, 0.002)
STANDING_RANGE = (0.9, 1.1)
"""What the three figures above, and a standing current off a sheet as a share of it, may
really be.  Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Device:
    """What hangs on the supply, by its own sheet."""

    name: str
    least_v: float
    most_v: float
    running_a: float
    standing_a: float
    """With the vehicle parked, its mean over sleep and wake. [A]"""

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        for field in ("least_v", "most_v", "running_a", "standing_a"):
            value = getattr(self, field)
            if not (isfinite(value) and value >= 0):
                raise InputError(
                    said("must be 0 or more, found {value:g}", value=value),
                    field=f"{self.name} {field}",
                )
        if self.least_v >= self.most_v:
            raise InputError(
                said(
                    "lowest supply, {least_v:g} V, must be under the highest, {most_v:g} V",
                    least_v=self.least_v,
                    most_v=self.most_v,
                ),
                field=self.name,
            )


@dataclass(frozen=True, slots=True)
class DaysParked:
    """Days until a parked battery has lost a fifth: expected, and from the worst to the best."""

    days: float
    least: float
    """Old battery, quick self-discharge, current above its sheet, all at once. [d]"""
    most: float


@dataclass(frozen=True, slots=True)
class SupplyPicture:
    """What a supply does to a device."""

    outages: tuple[str, ...]
    """When it goes dark though the vehicle is in use."""
    dangers: tuple[str, ...]
    """What can destroy it."""
    blind: str | None
    """What nobody will see, ``None`` if it always sees."""
    days_parked: float | None
    """Until the battery is 20 % down; ``None`` if nothing draws while parked."""


def look_at_supply(
    system: System,
    code: str,
    fed: Fed,
    device: Device,
    *,
    battery_ah: float,
    drop_v: float = 0.0,
    others_standing_a: float = 0.0,
) -> SupplyPicture:
    """Hold a device against a supply of ISO 16750-2, its cable's drop taken off.

    >>> device = Device("head", least_v=9, most_v=36, running_a=0.05, standing_a=0.01)
    >>> found = look_at_supply("24 V", "F", "ignition", device, battery_ah=180)
    >>> found.blind
    'fed by the ignition: nothing is seen while parked, so a theft at night is never seen'
    >>> found.days_parked is None
    True
    """
    low, high = supply_range_v(system, code)
    if not (isfinite(drop_v) and drop_v >= 0):
        raise InputError(
            said("must be 0 V or more, found {drop_v:g}", drop_v=drop_v), field="drop_v"
        )
    outages = []
    if low - drop_v < device.least_v:
        outages.append(
            said(
                "at the lowest supply, {low:g} V, {arrive_v:.1f} V arrive; {name} needs "
                "{least_v:g} V",
                low=low,
                arrive_v=low - drop_v,
                name=device.name,
                least_v=device.least_v,
            )
        )
    dips = [v for v in CRANKING_V[system] if v - drop_v < device.least_v]
    if dips:
        outages.append(
            said(
                "a start that pulls the supply to {dip_v:g} V resets it: leave readings out "
                "for some seconds after a start",
                dip_v=dips[0],
            )
        )
    dangers = _dangers(system, high, device)
    standing = device.standing_a if fed == "permanent" else 0.0
    blind = None
    if fed == "ignition":
        blind = said(
            "fed by the ignition: nothing is seen while parked, so a theft at night is never seen"
        )
    drawn = standing + others_standing_a
    days = days_parked(battery_ah, drawn) if drawn > 0 else None
    return SupplyPicture(tuple(outages), tuple(dangers), blind, days)


def supply_range_v(system: System, code: str) -> tuple[float, float]:
    """Give the lowest and highest supply of a code. [V]

    >>> supply_range_v("24 V", "f")
    (16.0, 32.0)
    >>> supply_range_v("12 V", "F")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: code: 'F' is no code of a 12 V supply, wanted A, B, C or D
    """
    if system not in CODES:
        raise InputError(
            said("{system!r} is no supply, wanted 12 V or 24 V", system=system), field="system"
        )
    codes = CODES[system]
    if code.upper() not in codes:
        *most, last = codes
        raise InputError(
            said(
                "{code!r} is no code of a {system} supply, wanted {wanted} or {last}",
                code=code,
                system=system,
                wanted=", ".join(most),
                last=last,
            ),
            field="code",
        )
    return codes[code.upper()]


def days_parked(
    battery_ah: float,
    standing_a: float,
    *,
    down: float = ALLOWED_DOWN,
    usable: float = USABLE_OF_RATED,
    self_discharge_per_day: float = SELF_DISCHARGE_PER_DAY,
) -> float:
    """Days until a parked vehicle's battery has lost a share of its charge. [d]

    ``down`` is a share of what the battery holds now, ``usable`` of its plate.

    >>> round(days_parked(180, 0.010, self_discharge_per_day=0), 1)   # 28.8 Ah at 0.24 Ah a day
    120.0
    >>> round(days_parked(180, 0.010), 1)
    75.0
    """
    for name, value, most in (
        ("battery_ah", battery_ah, 5000.0), ("standing_a", standing_a, 1000.0),
        ("down", down, 1.0), ("usable", usable, 1.0),
    ):  # fmt: skip
        if not (isfinite(value) and 0 < value <= most):
            raise InputError(
                said(
                    "must be above 0 and at most {most:g}, found {value:g}", most=most, value=value
                ),
                field=name,
            )
    if not (isfinite(self_discharge_per_day) and 0 <= self_discharge_per_day < 1):
        raise InputError(
            said(
                "must be 0 to 1 a day, found {self_discharge_per_day:g}",
                self_discharge_per_day=self_discharge_per_day,
            ),
            field="self_discharge_per_day",
        )
    holds = battery_ah * usable
    return down * holds / (24 * standing_a + self_discharge_per_day * holds)


def days_parked_range(battery_ah: float, standing_a: float) -> DaysParked:
    """Give the days a battery lasts, with the ends between which they may really lie. [d]

    The ends take every assumption at its worst or best at once: bounds, not a 95 % band.

    >>> found = days_parked_range(180, 0.010)
    >>> round(found.least), round(found.days), round(found.most)
    (49, 75, 109)
    """
    ends = [
        days_parked(battery_ah, current * standing_a, usable=usable, self_discharge_per_day=loss)
        for current, usable, loss in zip(
            reversed(STANDING_RANGE), USABLE_RANGE, reversed(SELF_DISCHARGE_RANGE), strict=True
        )
    ]
    return DaysParked(days_parked(battery_ah, standing_a), ends[0], ends[1])


def _dangers(system: System, high: float, device: Device) -> list[str]:
    found: list[str] = []
    if device.most_v < high:
        found.append(
            said(
                "the supply reaches {high:g} V, {name} stands {most_v:g} V at most",
                high=high,
                name=device.name,
                most_v=device.most_v,
            )
        )
    clamped, bare = LOAD_DUMP_V[system]
    if device.most_v < clamped:
        found.append(
            said(
                "a load dump reaches {clamped:g} V where the generator clamps it and up to "
                "{bare:g} V where it does not; {name} stands {most_v:g} V at most: a "
                "suppressor or its maker's word on load dump is wanted",
                clamped=clamped,
                bare=bare,
                name=device.name,
                most_v=device.most_v,
            )
        )
    return found
