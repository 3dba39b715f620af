"""When a loss of fuel is proved: the published criteria of tank leak tests, applied.

A leak test states two chances: that a sound tank fails (false alarm) and that a leak of the
stated size is found (detection). Its evaluation gives the scatter of repeated results on
sound tanks, and from it the threshold and the least loss that can be found. Sources: US EPA,
Standard Test Procedures for Evaluating Leak Detection Methods, EPA/530/UST-90/007, section 7
(formulas from memory, checked by their figures); 40 CFR 280.43 (5 % and 95 %, allowance of
inventory control); the three outcomes: California State Water Board, list LG-113.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import inf, isfinite
from statistics import NormalDist

from gaugewright.errors import InputError

FALSE_ALARM, DETECTION = 0.05, 0.95
"""Chances of 40 CFR 280.43 for tests of tanks that stand still."""
FLOW_THROUGH_SHARE = 0.01
ALLOWANCE_L = 130 * 3.785411784
"""Monthly inventory control must show 1.0 % of the flow-through plus 130 US gallons (40 CFR
280.43 (a)); 492.1 L. It is made for tanks of tens of thousands of litres. [L]"""


class Outcome(StrEnum):
    """What a test may say; a test that could not have found the loss does not pass."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


@dataclass(frozen=True, slots=True)
class Proof:
    """What a test of this scatter can prove. [L, or the unit of the scatter]"""

    threshold: float
    """A measured loss of this much or more is called a loss."""
    least: float
    """The least loss that is called one with the stated chance."""

    def outcome(self, measured: float, required: float) -> Outcome:
        """Judge a measured loss where one of ``required`` must not be missed.

        >>> proof = proof_of(0.05)
        >>> [proof.outcome(loss, 0.2).value for loss in (0.03, 0.09)]
        ['pass', 'fail']
        >>> proof_of(0.08).outcome(0.03, 0.2).value
        'inconclusive'
        """
        if measured >= self.threshold:
            return Outcome.FAIL
        return Outcome.PASS if self.least <= required else Outcome.INCONCLUSIVE


def proof_of(
    scatter: float,
    *,
    false_alarm: float = FALSE_ALARM,
    detection: float = DETECTION,
    bias: float = 0.0,
    degrees_of_freedom: float = inf,
) -> Proof:
    """Return threshold and least loss from the scatter of results on sound tanks.

    ``scatter`` is their standard deviation, ``bias`` their mean, ``degrees_of_freedom`` how
    well the scatter is known (n - 1 of n results).  C = bias + t·s with t of 1 - false_alarm;
    least = C - bias + t·s with t of detection.

    >>> proof = proof_of(0.05)
    >>> round(proof.threshold, 4), round(proof.least, 4)
    (0.0822, 0.1645)
    """
    _chance("false_alarm", false_alarm)
    _chance("detection", detection)
    _scatter(scatter, degrees_of_freedom)
    above = -_quantile(false_alarm, degrees_of_freedom) * scatter
    found = _quantile(detection, degrees_of_freedom) * scatter
    return Proof(bias + above, above + found)


def false_alarm_chance(
    threshold: float, scatter: float, *, bias: float = 0.0, degrees_of_freedom: float = inf
) -> float:
    """Return P(T > (C - B) / s): how often a sound tank is called a loss.

    >>> round(false_alarm_chance(0.1, 0.05, degrees_of_freedom=40), 5)
    0.02616
    """
    _scatter(scatter, degrees_of_freedom)
    return _below((bias - threshold) / scatter, degrees_of_freedom)


def detection_chance(
    threshold: float,
    scatter: float,
    loss: float,
    *,
    bias: float = 0.0,
    degrees_of_freedom: float = inf,
) -> float:
    """Return P(T > (C - R - B) / s): how often a loss of this size is called one.

    >>> round(detection_chance(0.1, 0.05, 0.2, degrees_of_freedom=40), 5)
    0.97384
    """
    _scatter(scatter, degrees_of_freedom)
    return _below((loss + bias - threshold) / scatter, degrees_of_freedom)


def smallest_provable(
    scatter_l: float,
    false_per_year: float,
    looks_per_year: float,
    chance: float = DETECTION,
    *,
    degrees_of_freedom: float = inf,
) -> float:
    """Return the smallest provable drain of a vehicle: the least loss of its own test. [L]

    ``scatter_l`` is the standard deviation of changes of the level at which nothing was
    taken, ``looks_per_year`` how many such changes are judged in a year.  The false alarms
    of a year are spread over the looks.

    >>> round(smallest_provable(1.0, 1.0, 2000.0), 2)
    4.94
    """
    if not false_per_year > 0:
        raise InputError(f"must be above 0, found {false_per_year:g}", field="false_per_year")
    if not 2 * false_per_year <= looks_per_year < inf:
        raise InputError(
            f"must be at least twice the {false_per_year:g} false alarms of a year, "
            f"found {looks_per_year:g}",
            field="looks_per_year",
        )
    return proof_of(
        scatter_l,
        false_alarm=false_per_year / looks_per_year,
        detection=chance,
        degrees_of_freedom=degrees_of_freedom,
    ).least


@dataclass(frozen=True, slots=True)
class Inventory:
    """What was in a tank, came in and went out over some time. [L]"""

    opening_l: float
    delivered_l: float
    used_l: float
    closing_l: float

    @property
    def book_l(self) -> float:
        """What should be left: opening and deliveries less what was used. [L]"""
        return self.opening_l + self.delivered_l - self.used_l

    @property
    def over_l(self) -> float:
        """What is there beyond the book; negative: what is not explained. [L]

        >>> round(Inventory(400.0, 250.0, 330.0, 312.0).over_l, 1)
        -8.0
        """
        return self.closing_l - self.book_l


def inventory_allowance_l(flow_through_l: float) -> float:
    """Return how far a month's book may be off under 40 CFR 280.43 (a). [L]

    >>> round(inventory_allowance_l(10_000 * 3.785411784) / 3.785411784, 6)
    230.0
    """
    if not 0 <= flow_through_l < inf:
        raise InputError(f"must not be negative, found {flow_through_l:g}", field="flow_through_l")
    return FLOW_THROUGH_SHARE * flow_through_l + ALLOWANCE_L


def _quantile(chance: float, degrees_of_freedom: float) -> float:
    if degrees_of_freedom == inf:
        return NormalDist().inv_cdf(chance)
    from scipy.special import stdtrit  # takes longer to load than a small log to be read

    return float(stdtrit(degrees_of_freedom, chance))


def _below(t: float, degrees_of_freedom: float) -> float:
    from scipy.special import ndtr, stdtr

    return float(ndtr(t) if degrees_of_freedom == inf else stdtr(degrees_of_freedom, t))


def _chance(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise InputError(f"must be between 0 and 1, found {value:g}", field=name)


def _scatter(scatter: float, degrees_of_freedom: float) -> None:
    if not (isfinite(scatter) and scatter > 0):
        raise InputError(f"must be above 0, found {scatter:g}", field="scatter")
    if not degrees_of_freedom > 0:
        raise InputError(
            f"must be above 0, found {degrees_of_freedom:g}", field="degrees_of_freedom"
        )
