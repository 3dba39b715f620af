"""Conductors: resistance by size and temperature, and what is left of the supply at the end.

Resistances are the largest that a standard allows at 20 °C.

* IEC 60228, class 5 (flexible), copper, plain and tinned: as reprinted alike by four public
  texts (cable makers' and design sites' tables of IEC 60228 / HD 383 / DIN VDE 0295).
* Vehicle cable (ISO 6722-1): from memory, not seen; a few per cent lower.
* American wire gauge: by formula, see `gauges`.

Temperature: the copper formula 1 + 0.00393 (t - 20) by default.  IEC 60228 itself prints
factors that equal (230 + t)/250, the same as 1 + 0.004 (t - 20); both can be asked for.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from types import MappingProxyType
from typing import Literal

from gaugewright.errors import InputError
from gaugewright.wiring.gauges import STRANDED, TINNED, Gauge, Size, size_in_both
from gaugewright.words import said

Kind = Literal["plain", "tinned", "vehicle"]
Factor = Literal["copper 0.00393", "IEC 60228 table"]

IEC_60228_CLASS_5_PLAIN: Mapping[float, float] = MappingProxyType(
    {0.25: 76.0, 0.34: 53.0, 0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95,
     6.0: 3.30}
)  # fmt: skip
"""mm² → ohm/km at 20 °C.  0.25 and 0.34 mm² are from DIN VDE 0295 for small sizes."""
IEC_60228_CLASS_5_TINNED: Mapping[float, float] = MappingProxyType(
    {0.25: 79.0, 0.34: 56.0, 0.5: 40.1, 0.75: 26.7, 1.0: 20.0, 1.5: 13.7, 2.5: 8.21, 4.0: 5.09,
     6.0: 3.39}
)  # fmt: skip
VEHICLE_CABLE: Mapping[float, float] = MappingProxyType(
    {0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71, 6.0: 3.14}
)
"""ISO 6722-1, bare copper, mm² → ohm/km at 20 °C.  From memory, the standard was not seen."""
_TABLES: Mapping[Kind, Mapping[float, float]] = MappingProxyType(
    {
        "plain": IEC_60228_CLASS_5_PLAIN,
        "tinned": IEC_60228_CLASS_5_TINNED,
        "vehicle": VEHICLE_CABLE,
    }
)
COPPER_PER_K = 0.00393
COLDEST_C, HOTTEST_C = -60.0, 200.0


def temperature_factor(conductor_c: float, factor: Factor = "copper 0.00393") -> float:
    """Resistance at a temperature over that at 20 °C.

    >>> round(temperature_factor(85), 5), temperature_factor(60, "IEC 60228 table")
    (1.25545, 1.16)
    """
    if not (isfinite(conductor_c) and COLDEST_C <= conductor_c <= HOTTEST_C):
        raise InputError(
            said(
                "{conductor_c:g} °C is outside {coldest_c:g} to {hottest_c:g} °C",
                conductor_c=conductor_c,
                coldest_c=COLDEST_C,
                hottest_c=HOTTEST_C,
            ),
            field="conductor_c",
        )
    if factor == "IEC 60228 table":
        return (230 + conductor_c) / 250
    return 1 + COPPER_PER_K * (conductor_c - 20)


def ohm_per_km(
    size: Size,
    conductor_c: float = 20.0,
    *,
    kind: Kind = "plain",
    factor: Factor = "copper 0.00393",
) -> float:
    """Resistance of a conductor of a standard size, mm² or a gauge. [ohm/km]

    Raises `InputError` for a size that the table does not have; nothing is interpolated.

    >>> ohm_per_km(1.5), round(ohm_per_km(1.5, 85), 3)
    (13.3, 16.697)
    >>> ohm_per_km(0.6)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: area_mm2: 0.6 mm² is no size of this cable, wanted one of 0.25,
    0.34, 0.5, 0.75, 1, 1.5, 2.5, 4, 6, or a gauge such as 14 AWG
    """
    hotter = temperature_factor(conductor_c, factor)
    if isinstance(size, Gauge):
        return size.ohm_per_km * STRANDED * (TINNED if kind == "tinned" else 1.0) * hotter
    table = _TABLES[kind]
    if size not in table:
        sizes = ", ".join(f"{known:g}" for known in table)
        raise InputError(
            said(
                "{size:g} mm² is no size of this cable, wanted one of {sizes}, or a gauge such "
                "as 14 AWG",
                size=size,
                sizes=sizes,
            ),
            field="area_mm2",
        )
    return table[size] * hotter


@dataclass(frozen=True, slots=True)
class Run:
    """One pair of conductors from the supply to the probe's head."""

    length_m: float
    """One way; the current goes out and back. [m]"""
    ohm_per_km: float
    """Of one conductor, at its temperature. [ohm/km]"""

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        for name in self.__slots__:
            value = getattr(self, name)
            if not (isfinite(value) and value > 0):
                raise InputError(said("must be above 0, found {value:g}", value=value), field=name)

    @property
    def loop_ohm(self) -> float:
        """Return the resistance out and back. [ohm]"""
        return 2 * self.length_m * self.ohm_per_km / 1000

    def drop_v(self, current_a: float) -> float:
        """Return the voltage lost on the way out and back. [V]

        >>> round(Run(12, 39.0).drop_v(0.5), 3)
        0.468
        """
        if not (isfinite(current_a) and current_a >= 0):
            raise InputError(
                said("must be 0 A or more, found {current_a:g}", current_a=current_a),
                field="current_a",
            )
        return current_a * self.loop_ohm


@dataclass(frozen=True, slots=True)
class AtHead:
    """What arrives at the probe's head at the lowest supply and the hottest cable."""

    size: Size
    """As it was asked for: mm², or a gauge."""
    drop_v: float
    head_v: float
    drop_share: float
    """Of the lowest supply."""
    is_enough: bool
    why: str

    @property
    def area_mm2(self) -> float:
        """Return the area of its copper; of a gauge to 0.01 mm². [mm²]"""
        return round(self.size.area_mm2, 2) if isinstance(self.size, Gauge) else self.size


def at_head(
    run_m: float,
    size: Size,
    current_a: float,
    *,
    lowest_supply_v: float,
    head_least_v: float,
    hottest_c: float = 85.0,
    kind: Kind = "plain",
    most_drop_share: float = 0.03,
) -> AtHead:
    """Give the voltage at the head in the worst case, and whether it is enough.

    Enough is both: not under what the head needs, and not more than 3 % lost (common
    design figure) of the lowest supply.

    >>> found = at_head(12, 0.5, 0.5, lowest_supply_v=10, head_least_v=9)
    >>> found.is_enough, found.why
    (False, '0.59 V of 10 V are lost on 12 m of 0.5 mm² (20 AWG or thicker) at 85 °C (5.9 %, at
    most 3 % wanted)')
    """
    if not (isfinite(lowest_supply_v) and lowest_supply_v > 0):
        raise InputError(
            said("must be above 0 V, found {lowest_supply_v:g}", lowest_supply_v=lowest_supply_v),
            field="lowest_supply_v",
        )
    drop = Run(run_m, ohm_per_km(size, hottest_c, kind=kind)).drop_v(current_a)
    head = lowest_supply_v - drop
    share = drop / lowest_supply_v
    lost = said(
        "{drop:.2f} V of {lowest_supply_v:g} V are lost on {run_m:g} m of {size_in_both} at "
        "{hottest_c:g} °C",
        drop=drop,
        lowest_supply_v=lowest_supply_v,
        run_m=run_m,
        size_in_both=size_in_both(size),
        hottest_c=hottest_c,
    )
    if head < head_least_v:
        why = said(
            "{lost}; {head:.2f} V are left, {head_least_v:g} V wanted",
            lost=lost,
            head=head,
            head_least_v=head_least_v,
        )
    elif share > most_drop_share:
        why = said(
            "{lost} ({lost_percent:.1f} %, at most {most_percent:g} % wanted)",
            lost=lost,
            lost_percent=100 * share,
            most_percent=100 * most_drop_share,
        )
    else:
        why = said("{lost}; {head:.2f} V are left", lost=lost, head=head)
    return AtHead(size, drop, head, share, head >= head_least_v and share <= most_drop_share, why)


def smallest_conductor(
    run_m: float,
    current_a: float,
    *,
    lowest_supply_v: float,
    head_least_v: float,
    hottest_c: float = 85.0,
    kind: Kind = "plain",
    most_drop_share: float = 0.03,
    least_mm2: float = 0.5,
) -> AtHead:
    """Give the thinnest conductor that is enough; below 0.5 mm² it would break first.

    The least size is common practice, no source.  Raises `InputError` if none is enough.

    >>> smallest_conductor(12, 0.5, lowest_supply_v=10, head_least_v=9).area_mm2
    1.0
    """
    for area in _TABLES[kind]:
        if area < least_mm2:
            continue
        found = at_head(
            run_m, area, current_a, lowest_supply_v=lowest_supply_v, head_least_v=head_least_v,
            hottest_c=hottest_c, kind=kind, most_drop_share=most_drop_share,
        )  # fmt: skip
        if found.is_enough:
            return found
    raise InputError(
        said("no conductor up to {area:g} mm² is enough: {why}", area=area, why=found.why),
        field="run_m",
    )
