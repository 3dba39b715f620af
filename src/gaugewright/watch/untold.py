"""When the engine ran, where no record tells: by the fuel that goes.

With the engine off a level stays; with it on it falls by about as much in every hour.  The rate is
learnt from the vehicle's own log, by turns with which quarters of an hour show it: two states,
each kept for a while (as in `gaugewright.watch.working`).  What is found so is a guess, good enough
to tell use from drift; no reason speaks of it as told.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gaugewright.watch.bins import Bins
from gaugewright.watch.compiled import compiled
from gaugewright.watch.middles import median, quantile
from gaugewright.watch.values import Floats
from gaugewright.watch.working import chances, working

Mask = npt.NDArray[np.bool_]

_BLOCK_S, _FAR_S, _HOUR_S = 900.0, 7200.0, 3600.0
"""Levels are held against each other over so long; farther apart a step tells nothing. [s]"""
_TURN_CHANCE = 0.1
_MOST_SAID = 4.0
"""What one step says at most, so that fuel which comes or goes otherwise is not use."""
_RATE_PART = 0.3
"""How uneven use is from one quarter of an hour to the next. [1]"""
_PLAIN = 4.0
"""So many times what levels scatter at rest a step's use must be, to be told from it."""
_ALWAYS_PART = 0.25
"""Where no more than this part of the steps shows less than half of the use, it never stops."""
LIKELY = 0.9
"""Stands for an engine that probably runs, where 1 is one that a record says does. [1]"""
_ROUNDS, _FEWEST, _NORMAL = 8, 60, 0.6745


def with_engine(bins: Bins, quantum_l: float, *, is_speed_told: bool) -> Bins:
    """Return the bins with a guess of when the engine ran, if no record tells and it is plain.

    Only for a log that tells no motion either, and shows no two kinds of minutes.
    """
    if np.isfinite(bins.running).any() or bins.moves:
        return bins
    if working(bins, quantum_l, is_speed_told=is_speed_told) is not None:
        return bins
    block = np.floor(bins.time_s / _BLOCK_S)
    first = np.flatnonzero(np.diff(block, prepend=block[0] - 1))
    level = np.array([median(part) for part in np.split(bins.level_l, first[1:])])
    ran = _ran(bins.time_s[first], level, 0.4 * quantum_l)
    if ran is None:
        return bins
    running = np.where(np.repeat(ran, np.diff(first, append=block.size)), LIKELY, 1.0 - LIKELY)
    return replace(bins, running=running)


def _ran(time_s: Floats, level: Floats, least_l: float) -> Mask | None:
    """Return in which blocks the engine ran, ``None`` where it cannot be told."""
    hours, went = np.diff(time_s) / _HOUR_S, level[:-1] - level[1:]
    told = hours < _FAR_S / _HOUR_S
    falls = (went / hours)[told & (went > 0)]
    if falls.size < _FEWEST:
        return None
    rate = quantile(falls, 0.6)
    rest = max(quantile(np.abs(went[told]), 0.1), least_l)
    ran = np.ones(level.size, np.bool_)
    for _ in range(_ROUNDS):
        odds = np.append(np.where(told, _odds(went, hours, rate, rest), 0.0), 0.0)
        joined = np.append(told, False)
        ran = (
            chances(np.ones_like(ran), joined, np.exp(odds), np.ones(ran.size), _TURN_CHANCE) > 0.5
        )
        on, off = told & ran[1:] & ran[:-1], told & ~ran[1:] & ~ran[:-1]
        if on.sum() < _FEWEST:
            return None
        rate = median(went[on] / hours[on])
        if off.sum() >= _FEWEST:
            rest = max(median(np.abs(went[off])) / _NORMAL, least_l)
    usual = rate * median(hours[told])
    if (went[told] < 0.5 * rate * hours[told]).mean() < _ALWAYS_PART:
        return np.ones(level.size, np.bool_)
    return ran if usual > _PLAIN * rest and off.sum() >= _FEWEST else None


@compiled
def _odds(went: Floats, hours: Floats, rate: float, rest: float) -> Floats:
    """Return the log odds of the engine on against off of each step from block to block."""
    out = np.empty(went.size)
    for i in range(went.size):
        use = rate * hours[i]
        wide = 2 * rest * rest + (_RATE_PART * use) ** 2
        off = went[i] - use
        log_odds = 0.5 * (went[i] ** 2 / (2 * rest * rest) - off * off / wide)
        log_odds += 0.5 * np.log(2 * rest * rest / wide)
        out[i] = min(max(log_odds, -_MOST_SAID), _MOST_SAID)
    return out
