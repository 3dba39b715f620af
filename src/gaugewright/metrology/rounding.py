"""A value and its band as they are shown: rounded together, with the unit.

The uncertainty is given to two significant digits and the value to the same decimal
place (JCGM 100:2008, 7.2.6).
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from math import isfinite

from gaugewright.errors import InputError

_EVERY_DIGIT = Context(prec=1000, rounding=ROUND_HALF_EVEN)
"""Wide enough for any double beside the last digit of any other."""


def decimals_for(uncertainty: float, digits: int = 2) -> int:
    """Return how many decimals show an uncertainty to so many significant digits.

    Negative for tens and hundreds.  A round-up that adds a digit is seen: 0.0996 is
    0.10, which has two significant digits at two decimals.

    >>> decimals_for(0.213), decimals_for(0.0996), decimals_for(21.3), decimals_for(2130)
    (2, 2, 0, -2)
    """
    if not (isfinite(uncertainty) and uncertainty > 0):
        raise InputError(f"an uncertainty must be above 0 to be rounded, found {uncertainty:g}")
    decimals = digits - 1 - _exponent(uncertainty)
    rounded = round_to(uncertainty, decimals)
    return digits - 1 - _exponent(rounded)


def round_to(value: float, decimals: int) -> float:
    """Return ``value`` rounded to decimals (negative: tens), halves to even.

    Halves are judged on the digits as they are shown, so 2.675 at two decimals is 2.68,
    though the nearest double lies below it.

    >>> round_to(2.675, 2), round_to(1234.5, -2)
    (2.68, 1200.0)
    """
    if not isfinite(value):
        raise InputError(f"cannot round {value}, wanted a finite number")
    return float(_quantized(value, decimals))


def round_with_band(
    value: float, half_width: float | None, digits: int = 2
) -> tuple[float, float | None]:
    """Return the value and the half-width of its band, both rounded to what is known.

    With a half-width of 0 (exact) or ``None`` (unknown) the value stays as it is.

    >>> round_with_band(10.05762, 0.02716)
    (10.058, 0.027)
    """
    if not half_width:
        return value, half_width
    decimals = decimals_for(half_width, digits)
    return round_to(value, decimals), round_to(half_width, decimals)


def format_with_band(value: float, half_width: float | None, unit: str, digits: int = 2) -> str:
    """Return text such as ``183.4 ± 1.2 L``.

    A band of 0 is ``exact``, ``None`` is ``band unknown``; then the value is shown with
    the digits it has, at most four decimals.

    >>> format_with_band(183.4217, 1.2345, "L")
    '183.4 ± 1.2 L'
    >>> format_with_band(20, None, "L"), format_with_band(20, 0, "L")
    ('20 L (band unknown)', '20 L (exact)')
    >>> format_with_band(1234.5, 213, "L")
    '1230 ± 210 L'
    """
    if not half_width:
        known = "band unknown" if half_width is None else "exact"
        shown = f"{value:.4f}".rstrip("0").rstrip(".")
        return f"{'0' if shown == '-0' else shown} {unit} ({known})"
    decimals = decimals_for(half_width, digits)
    return f"{_shown(value, decimals)} ± {_shown(half_width, decimals)} {unit}"


def _shown(value: float, decimals: int) -> str:
    text = f"{_quantized(value, decimals):.{max(decimals, 0)}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def _quantized(value: float, decimals: int) -> Decimal:
    exact = Decimal(repr(float(value)))
    return exact.quantize(Decimal(1).scaleb(-decimals), context=_EVERY_DIGIT)


def _exponent(value: float) -> int:
    return Decimal(repr(float(value))).adjusted()
