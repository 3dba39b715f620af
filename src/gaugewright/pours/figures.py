"""What a person may have meant: the usual ways in which a figure is written wrong."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from gaugewright.units import VolumeUnit, from_litres, to_litres


@dataclass(frozen=True, slots=True)
class Misreading:
    """A figure that may have been meant instead, and how it went wrong."""

    value: float
    how: str
    """``swapped``, ``slip`` or ``digit``."""


def typed(value: float) -> str:
    """Return a figure as a person types it.

    >>> typed(54.0), typed(54.25), typed(1702)
    ('54.0', '54.25', '1702')
    """
    if isinstance(value, int):
        return str(value)
    text = f"{value:.3f}".rstrip("0")
    return text + "0" if text.endswith(".") else text


def swapped_digits(text: str) -> list[float]:
    """Return the figures that differ by two neighbouring digits exchanged.

    The decimal point stays where it is.

    >>> swapped_digits("54.0")
    [45.0, 50.4]
    >>> swapped_digits("1702")
    [7102.0, 1072.0, 1720.0]
    """
    places = [i for i, c in enumerate(text) if c.isdigit()]
    found = []
    for left, right in pairwise(places):
        if text[left] != text[right]:
            figures = list(text)
            figures[left], figures[right] = figures[right], figures[left]
            found.append(float("".join(figures)))
    return found


def wrong_digits(text: str) -> list[float]:
    """Return the figures that differ in one digit.

    >>> len(wrong_digits("45.0")), 95.0 in wrong_digits("45.0")
    (27, True)
    """
    found = []
    for i, c in enumerate(text):
        if c.isdigit():
            found += [float(text[:i] + d + text[i + 1 :]) for d in "0123456789" if d != c]
    return found


@lru_cache(maxsize=4096, typed=True)
def misread_litres(litres: float, unit: VolumeUnit) -> list[Misreading]:
    """Return what may have been meant by a volume that was typed in some unit. [L]

    >>> [round(from_litres(m.value, "US gal"), 6) for m in misread_litres(54.131387510, "US gal")
    ...  if m.how == "swapped"]
    [41.3, 13.4]
    """
    if unit == "L":
        return list(misreadings(litres))
    typed_value = round(from_litres(litres, unit), 3)
    return [Misreading(to_litres(m.value, unit), m.how) for m in misreadings(typed_value)]


def misreadings(value: float, *, slips: bool = True) -> tuple[Misreading, ...]:
    """Return what may have been meant by a typed figure, the likeliest ways first.

    >>> [m.value for m in misreadings(54.0) if m.how != "digit"]
    [45.0, 50.4, 5.4, 540.0]
    """
    text = typed(value)
    found = [(v, "swapped") for v in swapped_digits(text)]
    if slips:
        found += [(v, "slip") for v in (value / 10, value * 10)]
    found += [(v, "digit") for v in wrong_digits(text)]
    # A tenth of a figure differs from the same figure typed in its last bit only.
    seen: dict[str, Misreading] = {}
    for other, how in found:
        if other > 0:
            seen.setdefault(f"{other:.12g}", Misreading(other, how))
    return tuple(seen.values())
