r"""Sentences that a room below the screens says, ready to be said in another language.

`said` gives the English text as it always was, a plain `str` to everybody; beside it the
sentence keeps its template and its figures.  A screen hands it to a `Speech`, which looks
the template up in a catalogue and writes the figures in the reader's units.  No room below
the screens knows a language.

>>> from gaugewright.units import L_PER_US_GALLON
>>> text = said("the tip is {tip:g} above the bottom: {dead} stay", tip=Length(25.4),
...             dead=Volume(12 * L_PER_US_GALLON))
>>> text
'the tip is 25.4 mm above the bottom: 45.4 L stay'
>>> german = {"the tip is {tip:g} above the bottom: {dead} stay": "{dead} bleiben, {tip} frei"}
>>> Speech(lambda t: german.get(t, t), ",", "US gal", "in").says(text)
'12,0 US gal bleiben, 1,00 in frei'
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from string import Formatter
from typing import Any, NamedTuple, TypeVar

from gaugewright.units import LengthUnit, VolumeUnit, from_litres, from_mm, to_litres

T = TypeVar("T")

_UNITS: dict[str, VolumeUnit] = {"L": "L", "US gal": "US gal", "imp gal": "imp gal"}

_VOLUME = re.compile(r"(-?\d+(?:\.\d+)?)(?: ± (\d+(?:\.\d+)?))? (L|US gal|imp gal)")
"""What `units.Volumes` writes: with a decimal point, in the unit of the book at the time."""


class Volume(NamedTuple):
    """A volume in a sentence. [L]"""

    litres: float


class Length(NamedTuple):
    """A length in a sentence. [mm]"""

    mm: float


class Written(NamedTuple):
    """A volume that was written once, in the unit of the book at the time."""

    text: str


def is_written_volume(text: str) -> bool:
    """Tell whether a text is a volume as `units.Volumes` writes it.

    >>> is_written_volume("18.5 ± 1.8 US gal"), is_written_volume("18,5 gallons")
    (True, False)
    """
    return _VOLUME.fullmatch(text) is not None


class Said(str):
    """A sentence in English that can still be said otherwise; everywhere else a `str`."""

    __slots__ = ("figures", "template")

    template: str
    figures: Mapping[str, object]

    def __getnewargs__(self) -> tuple[str]:
        """Give what a copy is made from; template and figures follow by themselves."""
        return (str(self),)


def said(template: str, /, **figures: object) -> Said:
    """Return a sentence; ``{name}`` in it stands for a figure.

    The template is what is extracted for translators, so it is written out at the call.
    A figure may be a sentence itself.

    >>> said("still {way} {speed:.1f} counts/s", way=said("rising"), speed=3)
    'still rising 3.0 counts/s'
    """
    made = Said(ENGLISH.written(template, figures))
    made.template = template
    made.figures = figures
    return made


def together(*parts: str) -> Said:
    """Return sentences one after another, each still to be said in its own way.

    >>> together(said("It fits."), "", said("Go on."))
    'It fits. Go on.'
    """
    given = {f"part{n}": part for n, part in enumerate(p for p in parts if p)}
    return said(" ".join(f"{{{name}}}" for name in given), **given)


@dataclass(frozen=True, slots=True)
class Speech:
    """How sentences are said to one reader: language, decimal mark, units."""

    gettext: Callable[[str], str]
    decimal_mark: str = "."
    volume_unit: VolumeUnit = "L"
    length_unit: LengthUnit = "mm"
    converts: bool = True
    """Whether a volume that was written in another unit is turned into this reader's."""

    def says(self, text: str) -> str:
        """Return a text as this reader reads it; what was not `said` stays as it is."""
        if not isinstance(text, Said):
            return text
        template = self.gettext(text.template) if text.template else ""
        try:
            return self.written(template, text.figures)
        except (KeyError, IndexError, ValueError):
            # A translation that names a figure wrongly: English is better than no sentence.
            return self.written(text.template, text.figures)

    def all_of(self, value: T) -> T:
        """Return a value with every sentence in it said, however deep it stands.

        >>> Speech(str.upper).all_of({"notes": [said("go on")], "at": ("here", 3)})
        {'notes': ['GO ON'], 'at': ('here', 3)}
        """
        return self._all_of(value)  # type: ignore[no-any-return]  # the same type comes back

    def _all_of(self, value: Any) -> Any:
        if isinstance(value, str):
            return self.says(value)
        if isinstance(value, Mapping):
            return {**value, **changed} if (changed := self._changed(value.items())) else value
        if type(value) in (list, tuple):
            if not (changed := self._changed(enumerate(value))):
                return value
            return type(value)(changed.get(place, each) for place, each in enumerate(value))
        if is_dataclass(value) and not isinstance(value, type):
            parts = ((each.name, getattr(value, each.name)) for each in fields(value) if each.init)
            return replace(value, **changed) if (changed := self._changed(parts)) else value
        return value

    def _changed(self, parts: Iterable[tuple[Any, Any]]) -> dict[Any, Any]:
        """Return the parts of a value that are said otherwise."""
        found = {}
        for name, before in parts:
            after = self._all_of(before)
            if after is not before:
                found[name] = after
        return found

    def volume(self, text: str) -> str:
        """Return a written volume in this reader's unit and decimal mark; other text as it is.

        >>> Speech(str, ",").volume("18.5 ± 1.8 US gal"), Speech(str).volume("300 L")
        ('70,0 ± 6,8 L', '300 L')
        """
        found = _VOLUME.fullmatch(text)
        if found is None:
            return text
        unit: VolumeUnit = _UNITS[found[3]]
        if self.converts and unit != self.volume_unit:
            turned = [
                f"{from_litres(to_litres(float(figure), unit), self.volume_unit):.1f}"
                for figure in found.groups()[:2]
                if figure is not None
            ]
            text = f"{' ± '.join(turned)} {self.volume_unit}"
        return text.replace(".", self.decimal_mark)

    def written(self, template: str, figures: Mapping[str, object]) -> str:
        """Return a template with its figures in it."""
        return _Writer(self).vformat(template, (), figures)


class _Writer(Formatter):
    def __init__(self, speech: Speech) -> None:
        self.speech = speech

    def format_field(self, value: Any, format_spec: str) -> str:
        speech = self.speech
        if isinstance(value, Volume):
            in_unit = from_litres(value.litres, speech.volume_unit)
            # In gallons a figure is never cut to whole ones, nor written out to the last digit.
            spec = (format_spec or ".1f") if speech.volume_unit == "L" else ".1f"
            return f"{self._figure(format(in_unit, spec))} {speech.volume_unit}"
        if isinstance(value, Written):
            return speech.volume(value.text)
        if isinstance(value, Length):
            is_mm = speech.length_unit == "mm"
            spec = (format_spec or ".0f") if is_mm else ".2f"
            text = format(from_mm(value.mm, speech.length_unit), spec)
            return f"{self._figure(text)} {speech.length_unit}"
        if isinstance(value, str):
            text = format(speech.says(value), format_spec)
            return self._figure(text) if _VOLUME.fullmatch(text) else text
        text = format(value, format_spec)
        return self._figure(text) if isinstance(value, float) else text

    def _figure(self, text: str) -> str:
        return text.replace(".", self.speech.decimal_mark)


ENGLISH = Speech(str, converts=False)
"""The language of the source, in litres and millimetres; a written volume stays as it is."""
