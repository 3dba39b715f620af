"""Figures as people type them: with a decimal comma, with a unit behind, or as plain numbers.

A bare figure is in litres, mm, °C or counts.  One parser reads them all.
"""

import re
from math import isfinite

from gaugewright.errors import InputError
from gaugewright.table.delimited import number
from gaugewright.units import (
    TemperatureUnit,
    VolumeUnit,
    parse_length_mm,
    to_celsius,
    to_litres,
)
from gaugewright.words import said

Typed = str | float
"""What comes from a screen: a number, or a text that holds one."""

MOST_L = 1e5
"""More than any vehicle's tank holds. [L]"""
MOST_COUNTS = 2.0**32
"""More than any probe sends. [counts]"""
COLDEST_C, HOTTEST_C = -60.0, 90.0
"""Fuel outside of this is a slip of the pen. [°C]"""

_VOLUMES: dict[str, VolumeUnit] = {
    "": "L", "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L",
    "us gal": "US gal", "usgal": "US gal", "us_gallons": "US gal",
    "imp gal": "imp gal", "impgal": "imp gal", "imperial_gallons": "imp gal",
}  # fmt: skip
_DEGREES: dict[str, TemperatureUnit] = {
    "": "°C", "°c": "°C", "c": "°C", "°f": "°F", "f": "°F",
}  # fmt: skip
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_PARTS = re.compile(r"\s*([-+\N{MINUS SIGN}]?[\d.,]+)\s*(.*?)\s*", re.DOTALL)


def figure(value: Typed, field: str) -> float:
    """Return a bare figure.  Raises `InputError` for what is no finite number.

    >>> figure("45,5", "counts"), figure(7, "counts")
    (45.5, 7.0)
    """
    if isinstance(value, str):
        return number(value, field=field)
    if not isfinite(value):
        raise InputError(said("must be a finite number, found {value}", value=value), field=field)
    return float(value)


def litres(value: Typed, field: str) -> float:
    """Return a volume. [L]

    >>> litres("45,5", "added_l"), litres("2 US gal", "added_l")
    (45.5, 7.570823568)
    >>> litres("12 gal", "added_l")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: added_l: '12 gal' is not a volume; wanted a number with L, \
US gal or imp gal, such as 45.5 L
    """
    text, unit = _parted(value)
    known = _VOLUMES.get(unit.lower())
    if known is None:
        raise InputError(
            said(
                "'{value}' is not a volume; wanted a number with L, US gal or imp gal, "
                "such as 45.5 L",
                value=value,
            ),
            field=field,
        )
    found = to_litres(figure(text, field), known)
    if abs(found) > MOST_L:
        raise InputError(
            said("{found:.0f} L is more than any tank holds", found=found), field=field
        )
    return found


def celsius(value: Typed, field: str) -> float:
    """Return a temperature. [°C]

    >>> celsius("59 °F", "fuel_c"), celsius("-3,5", "fuel_c")
    (15.0, -3.5)
    """
    text, unit = _parted(value)
    known = _DEGREES.get(unit.lower())
    if known is None:
        raise InputError(
            said(
                "'{value}' is not a temperature; wanted a number with °C or °F, such as 18.5 °C",
                value=value,
            ),
            field=field,
        )
    found = to_celsius(figure(text, field), known)
    if not COLDEST_C <= found <= HOTTEST_C:
        raise InputError(
            said(
                "{found:g} °C is outside {coldest_c:g} to {hottest_c:g} °C",
                found=found,
                coldest_c=COLDEST_C,
                hottest_c=HOTTEST_C,
            ),
            field=field,
        )
    return found


def counts(value: Typed, field: str = "counts") -> float:
    """Return a probe's reading. [counts]

    >>> counts("2512")
    2512.0

    Three decimals are a thousands mark: no probe is read off to a thousandth of a count.
    """
    found = figure(value, field)
    if isinstance(value, str) and _THOUSANDS.fullmatch(value.strip()):
        raise InputError(
            said(
                "'{shown}' seems to have a thousands mark; write the number without it",
                shown=value.strip(),
            ),
            field=field,
        )
    if abs(found) > MOST_COUNTS:
        raise InputError(said("{found:g} is more than any probe sends", found=found), field=field)
    return found


def length_mm(value: Typed, field: str) -> float:
    """Return a length. [mm]

    >>> length_mm("0,5in", "height_mm"), length_mm(600, "height_mm")
    (12.7, 600.0)
    """
    return parse_length_mm(value, field=field) if isinstance(value, str) else figure(value, field)


def _parted(value: Typed) -> tuple[Typed, str]:
    """Return the figure and the unit behind it."""
    if not isinstance(value, str):
        return value, ""
    found = _PARTS.fullmatch(value)
    return (value, "") if found is None else (found[1], found[2])
