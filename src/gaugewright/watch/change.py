"""One change of the level inside a stop or across it, before anything is called an event."""

from dataclasses import dataclass

EDGE_BINS = 4
"""Nearer to a stop's end than this a change may be seen in part only."""


@dataclass(slots=True)
class Change:
    """One change of level: the bins around it, litres (negative: out), variance and score.

    It is filled in step by step while it is weighed, and left alone afterwards.

    ``fewest`` is the number of bins on the thinner side. ``outside_l`` is the same change as
    seen from outside the stop. ``blurred``: work without moving goes on so near by that
    where the rest begins is not sure. ``frozen``: the probe repeated itself before it, so that
    the moment is not known. ``inside`` tells whether records at rest show it. ``busy``: near
    work, motion or a stop's end. ``crept``: the vehicle moved meanwhile, too slowly
    to be seen to. ``between`` bins are plainly on the way from one level to the
    other. ``after_refuel_s`` is how long ago the last refuel ended. [L, L², s]
    """

    stop: int
    before: int
    after: int
    litres: float
    var_l2: float
    outside_l: float
    outside_l2: float
    inside: bool
    fewest: int = 9
    blurred: bool = False
    frozen: bool = False
    score: float = 0.0
    busy: bool = False
    between: int = 0
    crept: bool = False
    after_refuel_s: float = float("inf")
