"""Each stop by its ends: the level it began and ended with, and what it hides."""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.compiled import compiled
from gaugewright.watch.manner import Manner
from gaugewright.watch.middles import middle
from gaugewright.watch.spells import Spells
from gaugewright.watch.values import Floats

Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


def unseen_jumps(
    spells: Spells, level: Floats, gain: Floats, gain_l2: Floats, manner: Manner
) -> Mask:
    """Return which stops hide a change that their own records do not show.

    The bins under way just before are held against those just after.
    """
    opened = np.zeros(spells.low.size, np.bool_)
    _hidden(
        spells.low, spells.high, spells.still, level, gain, gain_l2,
        manner.rough_l2, manner.burn_l2_h, opened,
    )  # fmt: skip
    return opened


@compiled
def _hidden(
    low: Places,
    high: Places,
    still: Mask,
    level: Floats,
    gain: Floats,
    gain_l2: Floats,
    rough_l2: float,
    burn_l2_h: float,
    opened: Mask,
) -> None:
    for k in range(1, low.size - 1):
        if not still[k] or still[k - 1] or still[k + 1]:
            continue
        before = level[max(low[k - 1], high[k - 1] - 12) : high[k - 1]]
        after = level[low[k + 1] : min(high[k + 1], low[k + 1] + 12)]
        if before.size == 0 or after.size == 0:
            continue
        jump = middle(after.copy(), after.size) - middle(before.copy(), before.size) - gain[k]
        var = rough_l2 * (1.0 / before.size + 1.0 / after.size) * 1.6
        var += gain_l2[k] + 0.1 * burn_l2_h
        opened[k] = jump * jump > 20.0 * var


def ends(
    spells: Spells,
    level: Floats,
    weight: Floats,
    wander: Floats,
    groups: list[tuple[int, int, int]],
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return each stop's level at its start and end, what it gained, and the variance of that.

    The start is what stood before the first change, the end what stood after the last.
    """
    n = spells.low.size
    until, since = spells.high.copy(), spells.low.copy()
    for stop, a, b in groups:
        until[stop] = min(until[stop], a + 1)
        since[stop] = max(since[stop], b)
    start, end = np.full(n, np.nan), np.full(n, np.nan)
    gain, doubt = np.zeros(n), np.zeros(n)
    _ends(
        spells.low, spells.high, spells.still, until, since, level, weight, wander,
        start, end, gain, doubt,
    )  # fmt: skip
    return start, end, gain, doubt


@compiled
def _ends(
    lows: Places,
    highs: Places,
    still: Mask,
    until: Places,
    since: Places,
    level: Floats,
    weight: Floats,
    wander: Floats,
    start: Floats,
    end: Floats,
    gain: Floats,
    doubt: Floats,
) -> None:
    for k in range(lows.size):
        low, high = lows[k], highs[k]
        if not still[k] or high <= low:
            continue
        skip = 2 if since[k] <= low and high - low >= 8 else 0
        first_w, first_y = _weighed(
            level, weight, low + skip, min(low + skip + 5, max(until[k], low + 1))
        )
        last_w, last_y = _weighed(level, weight, max(high - 5, min(since[k], high - 1)), high)
        start[k], end[k] = first_y, last_y
        if high - low > 1:
            gain[k] = last_y - first_y
            doubt[k] = 1.0 / first_w + 1.0 / last_w + wander[high - 1] - wander[low]


@compiled
def _weighed(level: Floats, weight: Floats, first: int, end: int) -> tuple[float, float]:
    """Return the weight and the weighted mean of the bins from ``first`` up to ``end``."""
    total, summed = 0.0, 0.0
    for i in range(first, end):
        total += 1.0 / weight[i]
        summed += level[i] / weight[i]
    return total, summed / total
