"""Litres and gallons, millimetres and inches, °C and °F: for the edges only.

Inside the program everything is mm, litres and °C; a person's units are converted where
they type and where they read.  The factors are exact: the inch is 25.4 mm and the US
gallon 231 cubic inches (NIST Handbook 44, appendix C), the imperial gallon 4.54609 L
(UK Units of Measurement Regulations 1995).
"""

import re
from dataclasses import dataclass
from math import isfinite
from typing import Literal

from gaugewright.errors import InputError

MM_PER_INCH = 25.4
L_PER_US_GALLON = 3.785411784
L_PER_IMPERIAL_GALLON = 4.54609

VolumeUnit = Literal["L", "US gal", "imp gal"]
LengthUnit = Literal["mm", "in"]
TemperatureUnit = Literal["°C", "°F"]

_LITRES: dict[VolumeUnit, float] = {
    "L": 1.0,
    "US gal": L_PER_US_GALLON,
    "imp gal": L_PER_IMPERIAL_GALLON,
}
_MM: dict[LengthUnit, float] = {"mm": 1.0, "in": MM_PER_INCH}
_LENGTH_WORDS = {
    "": 1.0, "mm": 1.0, "cm": 10.0, "m": 1000.0,
    "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH,
    "″": MM_PER_INCH, "ft": 12 * MM_PER_INCH,
}  # fmt: skip


def to_litres(value: float, unit: VolumeUnit) -> float:
    """Return litres. [L]

    >>> to_litres(1, "US gal")
    3.785411784
    """
    return value * _LITRES[unit]


def from_litres(litres: float, unit: VolumeUnit) -> float:
    """Return a volume in a person's unit.

    >>> from_litres(45.4609, "imp gal")
    10.0
    """
    return litres / _LITRES[unit]


@dataclass(frozen=True, slots=True)
class Volumes:
    """Volumes in the words of a person's unit.

    >>> say = Volumes("US gal")
    >>> say.said(54.131387510), say.about(70), say.near(70, 7)
    ('14.3 US gal', '18.5 US gal', '18.5 ± 1.8 US gal')
    """

    unit: VolumeUnit = "L"

    def said(self, litres: float) -> str:
        """Return a volume as it was typed, to three decimals at most."""
        return f"{round(from_litres(litres, self.unit), 3):.12g} {self.unit}"

    def about(self, litres: float) -> str:
        """Return a computed volume, to one decimal."""
        return f"{from_litres(litres, self.unit):.1f} {self.unit}"

    def near(self, litres: float, u95_litres: float) -> str:
        """Return a computed volume with its band."""
        band = from_litres(u95_litres, self.unit)
        return f"{from_litres(litres, self.unit):.1f} ± {band:.1f} {self.unit}"


_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d\d0", re.ASCII)
_LITRES_SAID = re.compile(r"([-+]?)(\d+(?:\.\d+)?)(?: ± (\d+(?:\.\d+)?))? L\b")


def with_volumes_in(unit: VolumeUnit, sentence: str) -> str:
    """Return a sentence that was written in litres with its figures in a person's unit.

    For sentences that are kept as they were said, such as those of the watch.

    >>> with_volumes_in("US gal", "the level fell by 30.2 ± 1.5 L within 4 min; +7.0 L came")
    'the level fell by 8.0 ± 0.4 US gal within 4 min; +1.8 US gal came'
    """
    if unit == "L":
        return sentence

    def turned(found: re.Match[str]) -> str:
        figures = [
            f"{from_litres(float(figure), unit):.1f}" for figure in found.groups()[1:] if figure
        ]
        return f"{found[1]}{' ± '.join(figures)} {unit}"

    return _LITRES_SAID.sub(turned, sentence)


def to_mm(value: float, unit: LengthUnit) -> float:
    """Return millimetres. [mm]

    >>> to_mm(2, "in")
    50.8
    """
    return value * _MM[unit]


def from_mm(mm: float, unit: LengthUnit) -> float:
    """Return a length in a person's unit.

    >>> from_mm(127, "in")
    5.0
    """
    return mm / _MM[unit]


def to_celsius(value: float, unit: TemperatureUnit) -> float:
    """Return degrees Celsius. [°C]

    >>> to_celsius(59, "°F")
    15.0
    """
    return value if unit == "°C" else (value - 32) / 1.8


def from_celsius(celsius: float, unit: TemperatureUnit) -> float:
    """Return a temperature in a person's unit.

    >>> from_celsius(15, "°F")
    59.0
    """
    return celsius if unit == "°C" else celsius * 1.8 + 32


def parse_length_mm(text: str, *, field: str | None = None) -> float:
    """Return the length that a person typed, in mm if no unit is written. [mm]

    The decimal mark may be a comma.

    >>> parse_length_mm("10mm"), parse_length_mm("0,5in"), parse_length_mm("1 cm")
    (10.0, 12.7, 10.0)
    >>> parse_length_mm("1,000", field="length_mm")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: length_mm: '1,000' seems to have a thousands mark; write the \
number without it
    """
    found = re.fullmatch(r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+))\s*([^\d\s.,]*)\s*", text, re.ASCII)
    factor = None if found is None else _LENGTH_WORDS.get(found[2].lower())
    if found is None or factor is None:
        raise InputError(
            f"'{text}' is not a length; wanted a number with mm, cm, m, in or ft, such as 10mm",
            field=field,
        )
    if factor == 1.0 and _THOUSANDS.fullmatch(found[1]):
        # Nobody writes the last nought of a thousandth of a millimetre.
        raise InputError(
            f"'{text}' seems to have a thousands mark; write the number without it", field=field
        )
    value = float(found[1].replace(",", ".")) * factor
    if not isfinite(value):
        raise InputError(f"'{text}' is too large for a length", field=field)
    return value
