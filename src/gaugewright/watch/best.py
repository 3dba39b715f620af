"""The litres of one change and how well they are known: inside its stop and outside together."""

from math import erf, exp, pi, sqrt

from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen

_LAST_PART, _EDGE_PART, _INNER_PART = 0.35, 0.25, 0.004
"""What a stop may not show of a drain: in its last minute; so many minutes from its ends, by
their number; else. [1]"""
_EDGE_FAR = 6
_PUMP_PART, _PUMPED_PART = 0.25, 0.01
"""The same for a refuel: in the stop's last minute; by the number of minutes after it. [1]"""
_GOES_ON = {1: 0.3, 2: 0.03}
"""Chance that a refuel goes on after the stop's last minute, which is the first or second after
it; where the outside tells (logs not scored). [1]"""
_LAST_MINUTE_PART = 0.005
"""What that one minute is off by of a refuel of which it shows all (logs not scored). [1]"""
WIDER, _WIDER_INSIDE, _WIDER_OUTSIDE, _WIDER_ALONE = 1.5, 1.2, 1.1, 2.5
"""Factors on what the readings bring to the bands, for tails wider than normal: a drain's from
inside the stop, from outside it, and from there alone, have their own; logs not scored."""


def best_litres(
    seen: Seen, change: Change, told: tuple[float, float] | None = None
) -> tuple[float, float]:
    """Return the litres of an event and their variance, from both views. [L, L²]

    ``told`` are the litres that its records at rest tell from end to end, and their variance.

    A change near the start or end of a stop may have begun before it or gone on after it, so
    that the records at rest show a part only; there the view from outside counts more. Where
    the views differ by more than both allow, the variance grows by as much (the ratio of
    Birge, Physical Review 40, 1932, from memory).
    """
    sign = 1.0 if change.litres > 0 else -1.0
    within, outside, alone = WIDER, WIDER, WIDER
    if sign < 0:
        within, outside, alone = _WIDER_INSIDE, _WIDER_OUTSIDE, _WIDER_ALONE
    inside, outside_l2 = abs(change.litres), outside**2 * change.outside_l2
    if not change.inside and told is None:
        return inside, alone**2 * change.var_l2
    last = max(int(seen.spells.high[change.stop] - change.after), 1)
    first = int(change.before + 1 - seen.spells.low[change.stop])
    near = max(min(first, last), 1)
    goes_on = 0.0
    if change.litres > 0:
        goes_on = _GOES_ON.get(last, 0.0) if outside_l2 < inside**2 else 0.0
        whole_part = _LAST_MINUTE_PART if goes_on else _PUMP_PART
        part = whole_part if last == 1 else _PUMPED_PART / last
    else:
        part = _LAST_PART if last == 1 else _EDGE_PART / near if near < _EDGE_FAR else _INNER_PART
    inside_l2 = within**2 * (change.var_l2 + (part * inside) ** 2)
    if told is not None:
        inside, inside_l2 = told[0], within**2 * told[1]
    outside_l = max(sign * change.outside_l, 0.0)
    apart = outside_l - inside
    share = inside_l2 / (inside_l2 + outside_l2)
    ratio = max(1.0, apart**2 / (inside_l2 + outside_l2))
    whole = inside + share * apart, inside_l2 * (1 - share) * ratio
    if not goes_on:
        return whole
    more = _went_on(goes_on, inside, inside_l2, apart, outside_l2)
    return _mixed(whole, (max(inside, outside_l), outside_l2), more)


def _went_on(
    chance: float, inside: float, inside_l2: float, apart: float, outside_l2: float
) -> float:
    """Return how likely more fuel came after what the stop shows, by Bayes' rule.

    Either both views are of the same litres, or the outside has up to as much again, any amount
    as likely as another.
    """
    both_l2 = inside_l2 + outside_l2
    same = (1 - chance) * exp(-0.5 * apart**2 / both_l2) / sqrt(2 * pi * both_l2)
    more = chance / inside * 0.5 * (1 + erf(apart / sqrt(2 * outside_l2)))
    return more / (same + more) if more > 0 else 0.0


def _mixed(
    one: tuple[float, float], other: tuple[float, float], chance: float
) -> tuple[float, float]:
    """Return the mean and variance of two estimates, the other one right with some chance."""
    apart = other[0] - one[0]
    var = (1 - chance) * one[1] + chance * other[1] + chance * (1 - chance) * apart**2
    return one[0] + chance * apart, var
