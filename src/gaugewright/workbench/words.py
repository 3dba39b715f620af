"""Words in the reader's language and figures in the reader's units.

Every word on a screen goes through `gettext`; the source is English.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from gaugewright.app.language import catalogue, decimal_mark
from gaugewright.units import from_celsius, from_litres, from_mm, with_volumes_in
from gaugewright.words import Speech
from gaugewright.workbench.page import UnitsShown

THIN = "\N{NARROW NO-BREAK SPACE}"
FIXED = "\N{NO-BREAK SPACE}"
_FIGURE_AND_UNIT = re.compile(r"(?<=\d) (?=(?:L|US gal|imp gal|mm|in|counts|°C|°F|%|V|min|s)\b|%)")
_HYPHEN_MINUS = re.compile(r"(?<![\w\u2011-])-(?=\d)")

Say = Callable[[str], str]


def speech(units: UnitsShown, language: str) -> Speech:
    """Return how the rooms below are heard: their sentences in a language and in units."""
    say = catalogue(language).gettext
    return Speech(say, decimal_mark(language), units.volume_unit, units.length_unit)


@dataclass(frozen=True, slots=True)
class Figures:
    r"""Writes figures: thousands apart by a narrow space, units behind, never broken over lines.

    >>> write = Figures(UnitsShown(), "en")
    >>> write.plain(12512.0), write.volume(352.04), write.length(455.2)
    ('12\u202f512', '352.0\xa0L', '455\xa0mm')
    >>> Figures(UnitsShown(length_unit="in"), "de").length(455.2)
    '17,92\xa0in'
    """

    units: UnitsShown
    language: str

    @property
    def decimal_mark(self) -> str:
        """What stands before the decimals."""
        return decimal_mark(self.language)

    def plain(self, value: float | None, decimals: int = 0) -> str:
        """Write a bare figure; a dash where there is none."""
        if value is None or not isfinite(value):
            return "–"
        text = f"{abs(value):,.{decimals}f}"
        whole, _, rest = text.partition(".")
        grouped = whole.replace(",", THIN)
        is_negative = value < 0 and any(digit in "123456789" for digit in text)
        sign = "\N{MINUS SIGN}" if is_negative else ""
        return f"{sign}{grouped}{self.decimal_mark + rest if rest else ''}"

    def minus(self, sentence: str) -> str:
        """Write the minus of a sentence's figures as one, not as a hyphen; dates keep theirs.

        >>> Figures(UnitsShown(), "en").minus("2026-03-02: -20.7 ± 4.4 L")
        '2026-03-02: −20.7 ± 4.4 L'
        """
        return _HYPHEN_MINUS.sub("\N{MINUS SIGN}", sentence)

    def said(self, sentence: str) -> str:
        r"""Write a whole sentence as `minus` does, no figure parted from its unit by a line's end.

        >>> Figures(UnitsShown(), "en").said("adding 6 L should show 1290 ± 20 counts")
        'Adding 6\xa0L should show 1290\xa0±\xa020\xa0counts'
        """
        bound = _FIGURE_AND_UNIT.sub(FIXED, sentence).replace(" ± ", f"{FIXED}±{FIXED}")
        return self.minus(bound[:1].upper() + bound[1:])

    def service(self, sentence: str) -> str:
        r"""Write a sentence of the watch, which is kept in litres, in the book's unit.

        >>> Figures(UnitsShown("US gal"), "en").service("it fell by 30.2 ± 1.5 L")
        'It fell by 8.0\xa0±\xa00.4\xa0US gal'
        """
        return self.said(with_volumes_in(self.units.volume_unit, sentence))

    def counts(self, value: float | None, decimals: int = 0) -> str:
        """Write a probe's reading without its unit."""
        return self.plain(value, decimals)

    def volume(self, litres: float | None, decimals: int = 1) -> str:
        """Write a volume in the book's unit, with the unit."""
        if litres is None:
            return "–"
        unit = self.units.volume_unit
        return f"{self.plain(from_litres(litres, unit), decimals)}{FIXED}{unit}"

    def volume_figure(self, litres: float | None, decimals: int = 1) -> str:
        """Write a volume in the book's unit, without the unit."""
        if litres is None:
            return "–"
        return self.plain(from_litres(litres, self.units.volume_unit), decimals)

    def typed_volume(self, litres: float) -> str:
        """Write a volume as it was typed, to three decimals at most, without the unit.

        >>> write = Figures(UnitsShown(), "en")
        >>> write.typed_volume(4.55), write.typed_volume(20)
        ('4.55', '20.0')
        """
        value = round(from_litres(litres, self.units.volume_unit), 3)
        decimals = next(d for d in (1, 2, 3) if d == 3 or round(value, d) == value)
        return self.plain(value, decimals)

    def length(self, mm: float | None) -> str:
        """Write a length in the book's unit, with the unit."""
        if mm is None:
            return "–"
        unit = self.units.length_unit
        return f"{self.plain(from_mm(mm, unit), 2 if unit == 'in' else 0)}{FIXED}{unit}"

    def size(self, mm: float | None) -> str:
        """Write a length as it is typed into a field: no unit, no group, no needless zeros."""
        if mm is None:
            return ""
        value = round(from_mm(float(mm), self.units.length_unit), 3)
        return f"{value:g}".replace(".", self.decimal_mark)

    def temperature(self, celsius: float | None) -> str:
        """Write a temperature in the book's unit, with the unit."""
        if celsius is None:
            return "–"
        unit = self.units.temperature_unit
        return f"{self.plain(from_celsius(celsius, unit), 1)}{FIXED}{unit}"

    def time(self, at: datetime | None) -> str:
        """Write a time to the minute, with its zone's name."""
        if at is None:
            return "–"
        zone = at.tzname() or ""
        day = f"{at:%Y-%m-%d}".replace("-", "\N{NON-BREAKING HYPHEN}")
        return f"{day} {at:%H:%M}{FIXED}{zone}".rstrip(FIXED)


def stage_names(say: Say) -> dict[str, str]:
    """Give the stages' names in the reader's language."""
    return {
        "Survey": say("Survey"),
        "Plan": say("Plan"),
        "Bench": say("Bench"),
        "Mount": say("Mount"),
        "Pour": say("Pour"),
        "Table": say("Table"),
        "Prove": say("Prove"),
        "Certificate": say("Certificate"),
        "Watch": say("In service"),
    }


def shape_names(say: Say) -> dict[str, str]:
    """Give the shapes of tanks in the reader's language."""
    return {
        "box": say("Box"),
        "lying_cylinder": say("Lying cylinder"),
        "upright_cylinder": say("Upright cylinder"),
        "oval": say("Oval"),
        "obround": say("Obround: two half circles and a straight part"),
        "d_section": say("D-section: one side flat, one round"),
        "stepped": say("Box with a step"),
        "unknown": say("Not known: plate and height only"),
    }


def size_names(say: Say) -> dict[str, str]:
    """Give the sizes of tanks and probes in the reader's language."""
    return {
        "length_mm": say("Length"),
        "width_mm": say("Width"),
        "height_mm": say("Height"),
        "diameter_mm": say("Diameter"),
        "round_depth_mm": say("Depth of the round side"),
        "edge_radius_mm": say("Radius of the long edges"),
        "end_depth_mm": say("Depth of the dished ends"),
        "step_length_mm": say("Length of the step"),
        "step_height_mm": say("Height of the step"),
        "wall_mm": say("Wall thickness"),
        "x_mm": say("From the front end"),
        "y_mm": say("From the left side"),
        "tip_clearance_mm": say("Tip above the bottom"),
        "active_length_mm": say("Active length"),
        "counts_empty": say("Counts dry"),
        "counts_full": say("Counts immersed"),
    }


def fact_names(say: Say) -> dict[str, str]:
    """Give the facts that the survey asks for, by the names under which they are kept."""
    return {
        "registration": say("Registration or fleet number"),
        "fuel": say("Fuel"),
        "odometer": say("Odometer or hours"),
        "tracker": say("Device that will read the probe"),
        "condition": say("Condition of tank and brackets"),
        "probe_serial": say("Serial number of the probe"),
        "unit_serial": say("Serial number of the tracking unit"),
        "dispenser_certificate": say("Certificate of the dispenser: number, day"),
        "site": say("Place of the work"),
    }


def zone_kinds(say: Say) -> dict[str, str]:
    """Give what may be in the way on a tank's top in the reader's language."""
    return {
        "baffle": say("Baffle"),
        "sender": say("Sender"),
        "strap": say("Strap"),
        "pick-up": say("Pick-up"),
        "return": say("Return"),
        "other": say("Other"),
    }


def kind_names(say: Say) -> dict[str, str]:
    """Give the kinds of instruments in the reader's language."""
    return {
        "serial_text": say("Lines of text on a serial line"),
        "modbus_tcp": say("Modbus TCP"),
        "modbus_rtu": say("Modbus RTU"),
        "j1939": say("CAN J1939"),
        "manual": say("Typed by hand"),
    }
