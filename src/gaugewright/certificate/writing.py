"""Figures and words as they are written on the certificate."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from math import ceil, isfinite
from typing import Any

from gaugewright.certificate.glyphs import require_writable, spelled
from gaugewright.certificate.issue import UnitsName
from gaugewright.journal.kept_words import sentence_of
from gaugewright.units import (
    LengthUnit,
    TemperatureUnit,
    VolumeUnit,
    from_celsius,
    from_litres,
    from_mm,
)
from gaugewright.words import ENGLISH, Said, Speech, said

NOT_RECORDED = said("not recorded")
FIXED = "\N{NO-BREAK SPACE}"
_UNITS: Mapping[UnitsName, tuple[VolumeUnit, LengthUnit, TemperatureUnit]] = {
    "metric": ("L", "mm", "°C"),
    "us": ("US gal", "in", "°F"),
    "imperial": ("imp gal", "in", "°C"),
}


@dataclass(frozen=True, slots=True)
class Writer:
    r"""Writes figures in the document's units, the unit behind each, never apart from it.

    >>> write = Writer("us")
    >>> write.volume(352.04), write.length(455.2), write.temperature(15)
    ('93.00\xa0US\xa0gal', '17.92\xa0in', '59.0\xa0°F')
    >>> Writer("metric").near(352.04, 1.87)
    '352.0\xa0±\xa01.9\xa0L'
    """

    units: UnitsName = "metric"
    speech: Speech = ENGLISH
    """The document's language: its decimal mark, and the words that stand in drawings."""

    @property
    def volume_unit(self) -> VolumeUnit:
        """The unit of volume."""
        return _UNITS[self.units][0]

    @property
    def length_unit(self) -> LengthUnit:
        """The unit of length."""
        return _UNITS[self.units][1]

    @property
    def temperature_unit(self) -> TemperatureUnit:
        """The unit of temperature."""
        return _UNITS[self.units][2]

    @property
    def litres(self) -> Said:
        """What the reader calls the figures of fuel: litres or gallons."""
        return said("litres") if self.volume_unit == "L" else said("gallons")

    @property
    def places(self) -> int:
        """Decimals of a volume that show what a band is worth."""
        return 1 if self.volume_unit == "L" else 2

    def figure(self, value: float | None, decimals: int = 0) -> str:
        """Write a bare figure; a dash where there is none."""
        if value is None or not isfinite(value):
            return "–"
        text = f"{abs(value):.{decimals}f}".replace(".", self.speech.decimal_mark)
        is_negative = value < 0 and any(digit in "123456789" for digit in text)
        return f"\N{MINUS SIGN}{text}" if is_negative else text

    def volume(self, litres: float | None, decimals: int | None = None) -> str:
        """Write a volume with its unit."""
        if litres is None:
            return NOT_RECORDED
        return f"{self.volume_figure(litres, decimals)}{FIXED}{self._volume_words}"

    def volume_figure(self, litres: float, decimals: int | None = None) -> str:
        """Write a volume without its unit."""
        places = self.places if decimals is None else decimals
        return self.figure(from_litres(litres, self.volume_unit), places)

    def band_figure(self, litres: float, decimals: int | None = None) -> str:
        """Write the half-width of a band without its unit, never narrower than it is."""
        places = self.places if decimals is None else decimals
        value = from_litres(litres, self.volume_unit) * 10**places
        return self.figure(ceil(value - 1e-6) / 10**places, places)

    def near(self, litres: float, band_l: float | None) -> str:
        """Write a volume with its band, or that it has none."""
        if band_l is None:
            return said("{volume} (band unknown)", volume=self.volume(litres))
        plus_minus = f"{FIXED}±{FIXED}{self.band_figure(band_l)}{FIXED}{self._volume_words}"
        return f"{self.volume_figure(litres)}{plus_minus}"

    def band(self, litres: float | None) -> str:
        """Write a band alone."""
        if litres is None:
            return said("band unknown")
        return f"±{FIXED}{self.band_figure(litres)}{FIXED}{self._volume_words}"

    def length(self, mm: float | None) -> str:
        """Write a length with its unit."""
        if mm is None:
            return NOT_RECORDED
        places = 2 if self.length_unit == "in" else 0
        if places == 0 and abs(mm - round(mm)) > 0.05:
            places = 1
        return f"{self.figure(from_mm(mm, self.length_unit), places)}{FIXED}{self.length_unit}"

    def temperature(self, celsius: float | None) -> str:
        """Write a temperature with its unit."""
        if celsius is None:
            return NOT_RECORDED
        shown = self.figure(from_celsius(celsius, self.temperature_unit), 1)
        return f"{shown}{FIXED}{self.temperature_unit}"

    def per_degree(self, per_kelvin: float) -> str:
        """Write a volume for each degree of temperature."""
        per = per_kelvin / 1.8 if self.temperature_unit == "°F" else per_kelvin
        volume = self.volume(per, 2)
        return said("{volume} for each {unit}", volume=volume, unit=self.temperature_unit)

    def time(self, at: datetime | None) -> str:
        """Write a time to the minute, in UTC."""
        if at is None:
            return NOT_RECORDED
        return f"{at:%Y-%m-%d %H:%M}{FIXED}UTC"

    def day(self, at: datetime) -> str:
        """Write a day, in UTC."""
        return f"{at:%Y-%m-%d}"

    def recorded(self, record: Mapping[str, Any], name: str, otherwise: object = "") -> str:
        """Return a sentence as it was recorded, in English; in another language said anew.

        What was recorded without what it was made of stands in English in every language.
        """
        plain = free(record.get(name) or otherwise)
        if self.speech is ENGLISH:
            return plain
        made = sentence_of(record, name)
        return made if isinstance(made, Said) and spelled(made) == made else plain

    @property
    def _volume_words(self) -> str:
        return self.volume_unit.replace(" ", FIXED)


def in_a_row(texts: Iterable[str], between: str = ", ") -> Said:
    """Return texts one behind the other, each still to be said in its own way.

    >>> in_a_row([said("drain"), said("seal")], "; ")
    'drain; seal'
    """
    given = {f"part{place}": text for place, text in enumerate(texts)}
    return said(between.join(f"{{{name}}}" for name in given), **given)


def name(text: object, field: str) -> str:
    """Return a name that identifies something; every letter of it must be writable."""
    return require_writable(str(text), field) or NOT_RECORDED


def free(text: object) -> str:
    """Return words as somebody once recorded them, what has no glyph spelled by number."""
    return spelled(str(text))


def in_groups(digest: str) -> str:
    """Return a digest in groups of eight, to be read out and compared.

    >>> in_groups("b48bf2bc54f03358")
    'b48bf2bc 54f03358'
    """
    return " ".join(digest[k : k + 8] for k in range(0, len(digest), 8))
