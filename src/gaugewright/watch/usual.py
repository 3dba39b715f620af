"""What is usual between a vehicle's receipts and its tank, learned from its own receipts.

A table's error comes back in every refuel of like size, and the stated bands of refuels are
made to hold for every vehicle.  One vehicle's own receipts say more: by how much its tank
usually differs from what was paid (a share of the litres), and how much its refuels scatter
about that.  Receipts that say too much are among them, so the two are found together with which
receipts belong to the usual: a mixture of honest and others, solved by expectation
maximisation.

The share is bounded by `MOST_SHARE`, what a table and a dispenser may be off: who writes 3 % too
much on every receipt does not thereby make it usual.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from gaugewright.watch.values import Floats

FEWEST = 6
"""Receipts below which nothing is usual yet."""
MOST_SHARE = 0.012
"""What table and dispenser together may be off, as a share (assumed)."""
_SHARE_SD = 0.008
_HONEST = 0.8
"""Share of honest receipts before anything is known (assumed)."""
_WIDE_L, _SHORT = 25.0, 0.95
"""The others lie evenly over so many litres, nearly all on the short side (assumed). [L]"""
_KNOWN, _SCATTER = 20.0, 0.45
"""What is known of the scatter beforehand: as if 20 refuels had shown so much of the stated; set
on seeds below 70. [1]"""
OWN_L = 3.0
"""What any refuel may be off beside its band, as a standard deviation before that part; the
bands of refuels hold for nearly all, the few that they do not hold for are off by far. [L]"""
_LEAST, _MOST = 0.2, 1.5
_QUANTILE, _QUANTILE_OF_NORMAL = 0.4, 0.5244
"""Four in ten of a normal's values lie within 0.5244 standard deviations."""
_ROUNDS = 40
_ALL_AT_ONCE = 40
"""With more receipts than this one alone does not matter to what is usual."""
FEWEST_AT_TOP = 3
"""Other refuels to the probe's top from which on they say what is hidden above it."""
_HIDDEN_QUANTILE = 0.75
"""The largest of up to four others: an inflated receipt among them makes it milder, not harsher."""


@dataclass(frozen=True)
class Usual:
    """Tank less receipt is usually ``share`` of the litres, ``sd_share`` its standard deviation.

    ``scatter`` is how much the refuels scatter, as a part of their stated standard deviations.
    """

    share: float
    sd_share: float
    scatter: float

    def beyond(self, difference_l: float, paid_l: float) -> float:
        """Return what of a difference is not usual. [L]"""
        return difference_l - self.share * paid_l

    def sd(self, stated_sd_l: float, paid_l: float) -> float:
        """Return the standard deviation of that. [L]"""
        return hypot(self.scatter * hypot(stated_sd_l, OWN_L), self.sd_share * paid_l)


UNTOLD = Usual(0.0, 0.0, _SCATTER)
"""What is taken for usual of a vehicle with few receipts."""


def usual_without_each(
    differences_l: Floats, stated_sd_l: Floats, paid_l: Floats
) -> list[Usual | None]:
    """Return for each receipt what the vehicle's other receipts say is usual.

    ``None`` where there are fewer than `FEWEST` others.

    >>> d = np.array([2.0, 2.4, 1.8, 2.2, -17.9, 2.0, 1.9, 2.1])
    >>> found = usual_without_each(d, np.full(8, 3.0), np.full(8, 400.0))[4]
    >>> round(found.beyond(-17.9, 400.0)), found.sd(3.0, 400.0) < 2.5
    (-20, True)
    """
    n = differences_l.size
    if n - 1 < FEWEST:
        return [None] * n
    if n > _ALL_AT_ONCE:
        return _usual(differences_l[None], stated_sd_l[None], paid_l[None]) * n
    others = np.nonzero(~np.eye(n, dtype=bool))[1].reshape(n, n - 1)
    return _usual(differences_l[others], stated_sd_l[others], paid_l[others])


def hidden_without_each(missing_l: Sequence[float]) -> list[float | None]:
    """Return for each refuel to the probe's top what the others say is hidden above it. [L]

    ``missing_l`` is receipt less tank. No honest refuel hides more than the room above the
    probe, and one in four of the others may have a receipt that says too much without making
    that room too large. ``None`` where there are fewer than `FEWEST_AT_TOP` others.

    >>> hidden_without_each([2.0, 1.5, 24.0, 1.8, 0.5, 1.1])[2], hidden_without_each([2.0, 9.0])
    (1.8, [None, None])
    """
    if len(missing_l) <= FEWEST_AT_TOP:
        return [None] * len(missing_l)
    missing = np.maximum(np.array(missing_l, dtype=np.float64), 0.0)
    return [
        float(np.quantile(np.delete(missing, k), _HIDDEN_QUANTILE, method="higher"))
        for k in range(missing.size)
    ]


def _usual(d: Floats, stated: Floats, paid: Floats) -> list[Usual | None]:
    """Return for each row of receipts what is usual among them."""
    s = np.hypot(stated, OWN_L)
    # Begun narrow: begun wide, receipts a little too high would pass for scatter.
    middle = np.median(d / paid, axis=1, keepdims=True)
    off = np.quantile(np.abs(d - middle * paid) / s, _QUANTILE, axis=1, keepdims=True)
    scatter = np.clip(off / _QUANTILE_OF_NORMAL, _LEAST, _MOST)
    sd_share = np.zeros_like(middle)
    for _ in range(_ROUNDS):
        sd = scatter * s
        e = d - middle * paid
        honest = _HONEST * np.exp(-0.5 * (e / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
        others = (1 - _HONEST) * np.where(e < 0, _SHORT, 1 - _SHORT) / _WIDE_L
        weight = honest / (honest + others)
        precision = _sum(weight * (paid / sd) ** 2) + 1 / _SHARE_SD**2
        middle = _sum(weight * d * paid / sd**2) / precision
        sd_share = precision**-0.5
        squares = _sum(weight * ((d - middle * paid) / s) ** 2) + _KNOWN * _SCATTER**2
        scatter = np.clip(np.sqrt(squares / (_sum(weight) + _KNOWN)), _LEAST, _MOST)
    # The scatter is about the middle wherever it lies; only what is usual is bounded.
    share = np.clip(middle, -MOST_SHARE, MOST_SHARE)
    rows = zip(share[:, 0].tolist(), sd_share[:, 0].tolist(), scatter[:, 0].tolist(), strict=True)
    return [Usual(*row) for row in rows]


def _sum(values: Floats) -> Floats:
    total: Floats = values.sum(axis=1, keepdims=True)
    return total
