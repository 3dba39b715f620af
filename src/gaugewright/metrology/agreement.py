"""Whether two results agree within their bands: the E_n number, with three outcomes."""

from enum import StrEnum
from math import hypot, isfinite

from gaugewright.errors import InputError

_ROUNDING = 1e-12
"""Relative slack at the limit: 0.3 / 0.1 / 3 is not exactly 1 in binary."""


class Agreement(StrEnum):
    """What a comparison says; too wide a band is neither agreement nor the lack of it."""

    AGREES = "agrees"
    DISAGREES = "disagrees"
    CANNOT_TELL = "cannot tell"


def en_number(
    x: float, reference: float, expanded_u_x: float, expanded_u_reference: float
) -> float:
    """Return E_n = (x - X) / sqrt(U_x² + U_X²), the expanded uncertainties at k = 2.

    The two results must be uncorrelated.  |E_n| up to 1 is agreement.
    Source: ISO 13528:2015, 9.7; ISO/IEC 17043:2010, annex B.

    >>> round(en_number(100.30, 100.00, 0.25, 0.20), 6)
    0.937043
    """
    given = {
        "x": x,
        "reference": reference,
        "expanded_u_x": expanded_u_x,
        "expanded_u_reference": expanded_u_reference,
    }
    for name, value in given.items():
        if not isfinite(value):
            raise InputError(f"must be a finite number, found {value}", field=name)
    if expanded_u_x < 0 or expanded_u_reference < 0:
        raise InputError(
            f"uncertainties must not be negative, found {expanded_u_x:g} and "
            f"{expanded_u_reference:g}"
        )
    width = hypot(expanded_u_x, expanded_u_reference)
    if width == 0:
        raise InputError("E_n has no meaning where both results are exact")
    return (x - reference) / width


def is_within(value: float, limit: float) -> bool:
    """Tell whether ``|value|`` is at most ``limit``, on the limit included.

    A value that is on the limit but for the rounding of binary numbers counts as on it.

    >>> is_within((0.3 - 0.2) / 0.1, 1.0), is_within(1.001, 1.0)
    (True, False)
    """
    return abs(value) <= limit * (1 + _ROUNDING)


def judge(
    difference: float, half_width: float | None, *, tolerance: float, most_half_width: float
) -> Agreement:
    """Return whether a difference is agreement, or its band too wide to say.

    It agrees if it lies within the tolerance widened by its own band; it disagrees if
    it lies beyond.  Where the band is unknown or wider than ``most_half_width`` a small
    difference proves nothing, and the outcome is `Agreement.CANNOT_TELL`.

    >>> judge(0.4, 0.5, tolerance=0.2, most_half_width=1.0)
    <Agreement.AGREES: 'agrees'>
    >>> judge(0.4, 5.0, tolerance=0.2, most_half_width=1.0)
    <Agreement.CANNOT_TELL: 'cannot tell'>
    >>> judge(9.0, 5.0, tolerance=0.2, most_half_width=1.0)
    <Agreement.DISAGREES: 'disagrees'>
    """
    if half_width is None or not isfinite(difference):
        return Agreement.CANNOT_TELL
    if half_width < 0 or tolerance < 0:
        raise InputError(
            f"band and tolerance must not be negative, found {half_width:g} and {tolerance:g}"
        )
    if not is_within(difference, tolerance + half_width):
        return Agreement.DISAGREES
    if half_width > most_half_width:
        return Agreement.CANNOT_TELL
    return Agreement.AGREES
