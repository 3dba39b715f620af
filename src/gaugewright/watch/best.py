"""The litres of one change and how well they are known: inside its stop and outside together."""

from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen

_LAST_PART, _EDGE_PART, _INNER_PART = 0.35, 0.25, 0.004
"""What a stop may not show of a drain: in its last minute; so many minutes from its ends, by
their number; else. [1]"""
_EDGE_FAR = 6
_PUMP_PART, _PUMPED_PART = 0.25, 0.01
"""The same for a refuel: in the stop's last minute; by the number of minutes after it. [1]"""
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
    last = int(seen.spells.high[change.stop] - change.after)
    first = int(change.before + 1 - seen.spells.low[change.stop])
    near = max(min(first, last), 1)
    if change.litres > 0:
        part = _PUMP_PART if last <= 1 else _PUMPED_PART / last
    else:
        part = _LAST_PART if last <= 1 else _EDGE_PART / near if near < _EDGE_FAR else _INNER_PART
    inside_l2 = within**2 * (change.var_l2 + (part * inside) ** 2)
    if told is not None:
        inside, inside_l2 = told[0], within**2 * told[1]
    apart = max(sign * change.outside_l, 0.0) - inside
    share = inside_l2 / (inside_l2 + outside_l2)
    ratio = max(1.0, apart**2 / (inside_l2 + outside_l2))
    return inside + share * apart, inside_l2 * (1 - share) * ratio
