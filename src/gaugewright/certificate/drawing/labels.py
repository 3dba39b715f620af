"""Places for labels beside a scale, as near as can be and never on each other."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> Floats:
    """Give places at least ``gap`` apart, in the given order, between ``low`` and ``high``.

    The sum of squared moves is the least there is: with the gaps taken off, the places
    must only not fall, which is a pooling of neighbours.  ``wanted`` must rise and the
    labels must fit: ``(n - 1) * gap <= high - low``.

    >>> spread([10, 12, 60], gap=10, low=0, high=100).tolist()
    [6.0, 16.0, 60.0]
    """
    blocks: list[tuple[float, int]] = []
    for k, place in enumerate(wanted):
        mean, count = place - k * gap, 1
        while blocks and blocks[-1][0] > mean:
            before, many = blocks.pop()
            mean = (mean * count + before * many) / (count + many)
            count += many
        blocks.append((mean, count))
    flat = np.array([mean for mean, count in blocks for _ in range(count)])
    room = high - (len(wanted) - 1) * gap
    result: Floats = np.clip(flat, low, room) + gap * np.arange(len(wanted))
    return result


def fitting(ranks: Sequence[int], gap: float, room: float) -> list[int]:
    """Give which labels to keep, best rank (smallest) first, so that all fit. In order.

    >>> fitting([0, 3, 2, 1], gap=10, room=20)
    [0, 2, 3]
    """
    most = max(int(room / gap) + 1, 1) if room >= 0 else 1
    best = sorted(range(len(ranks)), key=lambda k: ranks[k])[:most]
    return sorted(best)
