"""Changes that belong together: a ramp found in pieces, its tail, and what comes back."""

import numpy as np
import numpy.typing as npt

from gaugewright.watch.values import Floats

MERGE_BINS = 3
TAIL_BINS = 12
TAIL_PART = 0.12
ECHO_PART = 0.015
ECHO_BINS = 6
BACK_PART = 0.9
BIG_PART = 0.05
WOBBLE_PART = 0.25
WOBBLE_SPAN_PART = 0.08


def groups_of(
    changes: Floats, stop_of: npt.NDArray[np.int64], span_l: float
) -> list[tuple[int, int, int]]:
    """Return the changes to take as one: stop, last bin before, first bin after.

    ``span_l`` is what the table spans. [L]
    """
    parts = _joined(changes, stop_of, ECHO_PART)
    if _comes_back(parts, BIG_PART * span_l):
        parts = _joined(changes, stop_of, BACK_PART)
    steady = _without_wobbles(parts, WOBBLE_SPAN_PART * span_l)
    return [(int(stop), int(a), int(b)) for stop, a, b, _ in steady]


def _without_wobbles(groups: list[list[float]], most_l: float) -> list[list[float]]:
    """Return the changes, those that go one way and at once the other taken as one. [L]

    That is what a machine at work does that was taken for one at rest; fuel does it only
    where a refuel and a drain meet, which are of another size.
    """
    out: list[list[float]] = []
    for group in groups:
        last = out[-1] if out else None
        if last is not None and last[0] == group[0] and group[1] - last[2] <= 1:
            small, big = sorted((abs(last[3]), abs(group[3])))
            if last[3] * group[3] < 0 and small >= WOBBLE_PART * big and big < most_l:
                last[2], last[3] = max(last[2], group[2]), last[3] + group[3]
                continue
        out.append(list(group))
    return out


def _comes_back(groups: list[list[float]], big_l: float) -> bool:
    """Return whether big changes usually come back in part by themselves within minutes.

    A second tank behind a balance pipe takes or gives its share by and by.
    """
    seen = []
    for i, one in enumerate(groups):
        following = groups[i + 1] if i + 1 < len(groups) else None
        if abs(one[3]) < big_l:
            continue
        near = (
            following is not None
            and following[0] == one[0]
            and following[1] - one[2] <= 1
            and following[3] * one[3] < 0
            and 0.04 * abs(one[3]) < abs(following[3]) < 0.9 * abs(one[3])
        )
        seen.append(near)
    return sum(seen) >= 3 and sum(seen) >= 0.2 * len(seen)


def _joined(changes: Floats, stop_of: npt.NDArray[np.int64], echo: float) -> list[list[float]]:
    """Return the changes taken together where they belong: stop, last before, first after."""
    groups: list[list[float]] = []
    order = np.lexsort((changes[:, 1], stop_of))
    for stop, (a, b, litres) in zip(
        stop_of[order].tolist(), changes[order, 1:4].tolist(), strict=True
    ):
        if groups and groups[-1][0] == stop and _belong(groups[-1], a, litres, echo):
            groups[-1][2] = max(groups[-1][2], b)
            groups[-1][3] += litres
        else:
            groups.append([stop, a, b, litres])
    return groups


def _belong(group: list[float], a: float, litres: float, echo: float) -> bool:
    """Return whether a change is the rest of the one before it: a ramp, or its tail."""
    apart = a - group[2]
    if group[3] * litres > 0 and apart <= max(MERGE_BINS, (group[2] - group[1]) // 4):
        return True
    small, big = sorted((abs(group[3]), abs(litres)))
    if group[3] * litres < 0 and abs(litres) > abs(group[3]):
        return False
    part = TAIL_PART if group[3] * litres > 0 else echo
    return apart <= (TAIL_BINS if part < 0.5 else ECHO_BINS) and small <= part * big
