"""How much the circumstances of a fall of the level add to the odds that it is a drain.

The three stories of `gaugewright.watch.stories` weigh litres against litres. What they leave out
is how often each kind of fall turned out to be a drain: one just after a stop began, one that took
hours, one while the vehicle crept. A sum of one curve for each circumstance says so (an additive
logistic model: Hastie and Tibshirani, Generalized Additive Models, 1990, from memory). The curves
were fitted to simulated logs that are not scored, by ``python -m benchmarks.watch_weighing``,
which prints the table below (the last knot of the stories was fitted later on half of them, with
the others as they stood); each curve is made of straight lines between its knots and flat
beyond them.
"""

from bisect import bisect_right
from dataclasses import dataclass, field
from math import log

from gaugewright.watch.best import best_litres
from gaugewright.watch.change import Change
from gaugewright.watch.look import Seen


@dataclass(frozen=True, slots=True)
class Curve:
    """What one circumstance adds to the odds, in natural logarithms, at some of its values.

    ``by_log``: straight between the logarithms of the knots.
    """

    circumstance: str
    knots: tuple[float, ...]
    adds: tuple[float, ...]
    by_log: bool = True
    places: tuple[float, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Keep where the knots lie, by logarithm or plainly."""
        places = tuple(log(knot) for knot in self.knots) if self.by_log else self.knots
        object.__setattr__(self, "places", places)


RULED_OUT = -4.0
"""Odds by the stories below which no circumstance makes up for them; the first knot. [1]"""

START = -1.78
CURVES = (
    Curve(
        "stories",
        (-4.0, -1.0, 1.0, 3.0, 6.0, 12.0, 40.0),
        (-4.97, -1.95, -0.86, 0.61, 2.88, 4.30, 6.00),
        by_log=False,
    ),
    Curve(
        "since_bins", (1.0, 2.0, 4.0, 10.0, 40.0, 400.0), (-0.33, 0.33, -0.28, -0.23, -0.10, 0.61)
    ),
    Curve("minutes", (1.0, 2.0, 5.0, 20.0, 120.0, 700.0), (-0.38, 0.13, 0.86, 1.12, -2.16, 0.43)),
    Curve("drifts", (4.0, 15.0, 40.0, 120.0, 500.0), (-0.18, -0.46, -0.63, 0.08, 1.20)),
    Curve("litres", (2.0, 4.0, 8.0, 16.0, 60.0), (-1.26, 0.21, 0.40, 0.73, -0.08)),
    Curve("fewest_bins", (1.0, 2.0, 4.0, 12.0, 100.0), (-2.30, -0.53, 0.17, -0.36, 3.02)),
    Curve("till_bins", (1.0, 2.0, 4.0, 10.0, 40.0, 400.0), (1.08, 1.40, 0.51, -0.31, -0.91, -1.77)),
    Curve("refuelled_min", (1.0, 10.0, 60.0, 1000.0), (-1.62, -0.36, 0.54, 1.44)),
    Curve("shown", (0.0, 1.0), (-0.61, 0.61), by_log=False),
    Curve("crept", (0.0, 1.0), (1.38, -1.38), by_log=False),
    Curve("blurred", (0.0, 1.0), (0.65, -0.65), by_log=False),
)


def circumstances(seen: Seen, change: Change) -> dict[str, float]:
    """Return what the curves are functions of, for one fall of the level.

    ``stories`` the logarithm of the odds so far; ``since_bins`` how many bins at rest there are
    up to it; ``minutes`` it took at most; ``drifts`` its litres in what the level does by itself in
    an hour; ``litres``, by both views; ``fewest_bins`` on the thinner side; ``till_bins`` how many
    are left after it until the stop ends; ``refuelled_min`` how long ago the last refuel ended;
    ``shown`` 1 if records at rest show it, ``crept`` 1 if the vehicle crept meanwhile,
    ``blurred`` 1 if work without moving is near.
    """
    time_s = seen.bins.time_s
    size = max(best_litres(seen, change)[0], 0.1)
    return {
        "stories": change.score,
        "since_bins": max(change.before + 1 - int(seen.spells.low[change.stop]), 0) + 1.0,
        "minutes": max(float(time_s[change.after] - time_s[change.before]) / 60.0, 0.5),
        "drifts": size / seen.manner.wander_l2_h**0.5,
        "litres": size,
        "fewest_bins": float(max(change.fewest, 1)),
        "till_bins": max(int(seen.spells.high[change.stop]) - change.after, 0) + 1.0,
        "refuelled_min": min(max(change.after_refuel_s / 60.0, 1.0), 1e4),
        "shown": float(change.inside),
        "crept": float(change.crept),
        "blurred": float(change.blurred),
    }


def weighed(seen: Seen, change: Change) -> float:
    """Return the logarithm of the odds that a fall of the level is a drain, all told."""
    told = circumstances(seen, change)
    sums = START + sum(added(curve, told[curve.circumstance]) for curve in CURVES)
    return sums + min(told["stories"] - RULED_OUT, 0.0)


def added(curve: Curve, value: float) -> float:
    """Return what a curve adds at one value.

    >>> added(Curve("litres", (1.0, 100.0), (-1.0, 1.0)), 10.0)
    0.0
    >>> added(Curve("crept", (0.0, 1.0), (0.0, -2.0), by_log=False), 7.0)
    -2.0
    """
    low, share = _between_knots(curve, value)
    return curve.adds[low] + share * (curve.adds[low + 1] - curve.adds[low])


def parts(curve: Curve, value: float) -> list[float]:
    """Return the weight of each knot at one value: they sum to 1. [1]"""
    low, share = _between_knots(curve, value)
    out = [0.0] * len(curve.knots)
    out[low], out[low + 1] = 1.0 - share, share
    return out


def _between_knots(curve: Curve, value: float) -> tuple[int, float]:
    """Return the knot below a value and how far it is to the next, flat beyond the last. [1]"""
    places = curve.places
    x = log(value) if curve.by_log else value
    if x <= places[0]:
        return 0, 0.0
    if x >= places[-1]:
        return len(places) - 2, 1.0
    low = bisect_right(places, x) - 1
    return low, (x - places[low]) / (places[low + 1] - places[low])
