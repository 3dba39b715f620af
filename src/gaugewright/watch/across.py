"""The level carried from stop to stop: what was there before each stop, and what after.

A filter runs forward and another backward over the bins under way and the stops. Neither
looks into the stop in question, so their difference is what went missing across it, seen
from outside: it knows nothing of slopes and load shifts there.
"""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled
from gaugewright.watch.values import Floats

_HOUR_S = 3600.0


@compiled
def carried(
    low: npt.NDArray[np.int64],
    high: npt.NDArray[np.int64],
    still: npt.NDArray[np.bool_],
    time_s: Floats,
    level: Floats,
    start_l: Floats,
    gain_l: Floats,
    gain_l2: Floats,
    place_l2: Floats,
    rough_l2: float,
    burn_l2_h: float,
    backward: bool,
) -> tuple[Floats, Floats]:
    """Return the level expected at the near side of each spell, and its variance. [L, L²]

    ``level`` is free of consumption. ``start_l`` is the level at the near side of each stop
    (for a backward run: its far side), ``gain_l`` what the stop itself added, ``gain_l2`` how
    doubtful that is, ``place_l2`` the variance of its level for slope.
    """
    n = low.size
    mean, var = np.empty(n), np.empty(n)
    v, p = 0.0, 1e9
    before_s = -1.0
    for k in range(n):
        s = n - 1 - k if backward else k
        if still[s]:
            if high[s] > low[s]:
                near = high[s] - 1 if backward else low[s]
                if before_s >= 0:
                    p += burn_l2_h * min(abs(time_s[near] - before_s), 7200.0) / _HOUR_S
                mean[s], var[s] = v, p
                if start_l[s] == start_l[s]:
                    g = p / (p + place_l2[s])
                    v += g * (start_l[s] - v)
                    p *= 1 - g
                far = low[s] if backward else high[s] - 1
                before_s = time_s[far]
            else:
                mean[s], var[s] = v, p
            v += -gain_l[s] if backward else gain_l[s]
            p += gain_l2[s]
        else:
            mean[s], var[s] = v, p
            count = high[s] - low[s]
            for j in range(count):
                i = high[s] - 1 - j if backward else low[s] + j
                if before_s >= 0:
                    p += burn_l2_h * min(abs(time_s[i] - before_s), 7200.0) / _HOUR_S
                before_s = time_s[i]
                g = p / (p + rough_l2)
                off = level[i] - v
                if off * off > 25 * (p + rough_l2):
                    g *= 0.1
                v += g * off
                p *= 1 - g
    return mean, var
