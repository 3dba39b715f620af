"""One vehicle's records, looked at: minutes, rest and motion, changes, the level carried on."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.across import carried
from gaugewright.watch.bins import Bins, bins_of, only
from gaugewright.watch.manner import SETTLING, Manner, manner_of
from gaugewright.watch.scan import all_changes
from gaugewright.watch.spells import HOLE_S, Spells, spells_of
from gaugewright.watch.spikes import sound
from gaugewright.watch.values import Floats, Track

_HOUR_S = 3600.0
LEAST_Z = 3.5
MERGE_BINS = 3
TAIL_BINS = 12
TAIL_PART = 0.12
ECHO_PART = 0.015
ECHO_BINS = 6


@dataclass(frozen=True, eq=False)
class Seen:
    """Everything one vehicle's records give before anything is called an event."""

    bins: Bins
    spells: Spells
    manner: Manner
    level_l: Floats
    burnt_l: Floats
    weight_l2: Floats
    wander_l2: Floats
    changes: Floats
    stop_of: npt.NDArray[np.int64]
    groups: list[tuple[int, int, int]]
    before_l: Floats
    before_l2: Floats
    after_l: Floats
    after_l2: Floats
    quantum_l: float
    start_l: Floats
    end_l: Floats


def look(track: Track, table: Table) -> Seen:
    """Bin, part into rest and motion, learn the manner, scan every stop and carry across."""
    bins = bins_of(track, table)
    quantum = float((table.litres[-1] - table.litres[0]) / (table.counts[-1] - table.counts[0]))
    bins = only(bins, sound(bins, quantum))
    spells = spells_of(bins, quantum)
    manner = manner_of(bins, spells, quantum)
    inside = np.repeat(np.arange(spells.low.size), spells.high - spells.low)
    rate, unsure = rates(bins, spells, manner, inside)
    hours = np.diff(bins.time_s, prepend=bins.time_s[:1]) / _HOUR_S
    joint = np.where(
        np.diff(inside, prepend=inside[:1]) == 0, rate, np.minimum(rate, np.roll(rate, 1))
    )
    hole = hours > HOLE_S / _HOUR_S
    dead = np.mean(bins.running < 0.5) < 0.03
    parked = still_pair(spells, inside)
    joint = np.where(hole & dead, 0.0, joint)
    odd = parked & (hours > odd_hole_h(hours, parked))
    joint = np.where(odd, 0.5 * manner.burn_l_h, joint)
    unsure = np.where(odd, unsure + (0.4 * manner.burn_l_h) ** 2 * hours, unsure)
    unsure = np.where(hole & (joint > 0), unsure + (0.3 * joint) ** 2 * hours, unsure)
    burnt = np.cumsum(joint * hours)
    level = bins.level_l + burnt
    weight = weights(bins, spells, manner, inside)
    wander = np.cumsum(unsure * hours)
    stops = spells.still & (spells.high - spells.low >= 2)
    changes = all_changes(spells.low[stops], spells.high[stops], LEAST_Z, level, weight, wander)
    stop_of = inside[changes[:, 1].astype(np.int64)] if len(changes) else np.zeros(0, np.int64)
    parts = joined(changes, stop_of, ECHO_PART)
    if comes_back(parts, 0.05 * float(np.ptp(table.litres))):
        parts = joined(changes, stop_of, 0.9)
    groups = [(int(s), int(a), int(b)) for s, a, b, _ in parts]
    start, end, gain, gain_l2 = ends(spells, level, weight, wander, groups)
    opened = unseen_jumps(spells, level, gain, gain_l2, manner)
    gain, gain_l2 = np.where(opened, 0.0, gain), np.where(opened, 1e6, gain_l2)
    args = (spells.low, spells.high, spells.still, bins.time_s, level)
    place = np.full(spells.low.size, manner.slope_l2 + manner.still_l2)
    shared = (gain, gain_l2, place, manner.rough_l2, manner.burn_l2_h)
    before, before_l2 = carried(*args, start, *shared, False)
    after, after_l2 = carried(*args, end, *shared, True)
    return Seen(
        bins, spells, manner, level, burnt, weight, wander, changes, stop_of, groups,
        before, before_l2, after, after_l2, quantum, start, end,
    )  # fmt: skip


def odd_hole_h(hours: Floats, parked: npt.NDArray[np.bool_]) -> float:
    """Return from which length a hole in a stop is odd for this vehicle: it may hide a drive.

    A unit that sleeps or loses its supply when parked leaves holes in most stops. [h]
    """
    holes = hours[parked & (hours > HOLE_S / _HOUR_S)]
    night = max(float(hours.sum()) / 24.0, 1.0)
    return 1e9 if holes.size > 0.5 * night else 1.5 * HOLE_S / _HOUR_S


def still_pair(spells: Spells, inside: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Return which bins rest in the same stop as the one before."""
    same: npt.NDArray[np.bool_] = np.diff(inside, prepend=-1) == 0
    return same & spells.still[inside]


def rates(
    bins: Bins, spells: Spells, manner: Manner, inside: npt.NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Return the consumption in each bin [L/h] and how unsure it is [L²/h]."""
    running = bins.running > 0.5
    still = spells.still[inside]
    rate = np.where(still, np.where(running, manner.idle_l_h, 0.0), manner.burn_l_h)
    unsure = np.where(
        still, np.where(running, manner.idle_l2_h, manner.wander_l2_h), manner.burn_l2_h
    )
    for part in _runs(running & still, inside):
        partner = np.searchsorted(bins.time_s[part], bins.time_s[part] + 900.0)
        fits = partner < part.size
        a, b = part[fits], part[partner[fits]]
        if a.size < 8:
            continue
        slope = (bins.level_l[a] - bins.level_l[b]) / (bins.time_s[b] - bins.time_s[a]) * _HOUR_S
        own = float(np.clip(np.median(slope), 0.5 * manner.idle_l_h, 1.7 * manner.idle_l_h))
        rate[part] = own
        unsure[part] = manner.wander_l2_h + (0.08 * own) ** 2
    return rate, unsure


def _runs(
    wanted: npt.NDArray[np.bool_], inside: npt.NDArray[np.int64]
) -> list[npt.NDArray[np.int64]]:
    """Return the runs of wanted bins of one spell that are long enough for a rate of their own."""
    if not wanted.any():
        return []
    cut = np.flatnonzero((np.diff(wanted) != 0) | (np.diff(inside) != 0)) + 1
    pieces = np.split(np.arange(wanted.size), cut)
    return [piece for piece in pieces if wanted[piece[0]] and piece.size >= 25]


def weights(bins: Bins, spells: Spells, manner: Manner, inside: npt.NDArray[np.int64]) -> Floats:
    """Return the variance of each bin's level at rest. [L²]"""
    running = bins.running > 0.5
    calm = np.where(bins.records > 1, manner.still_l2, manner.single_l2)
    out = np.where(running, np.maximum(manner.running_l2, calm), calm)
    since = np.arange(bins.time_s.size) - spells.low[inside]
    first = np.flatnonzero(since < SETTLING)
    moved = spells.low[inside[first]] > 0
    out[first[moved]] += manner.settling_l2[since[first[moved]]]
    till = spells.high[inside] - 1 - np.arange(bins.time_s.size)
    final = np.flatnonzero((till < manner.leaving_l2.size) & (spells.high[inside] < till.size))
    out[final] += manner.leaving_l2[till[final]]
    return out


def unseen_jumps(
    spells: Spells, level: Floats, gain: Floats, gain_l2: Floats, manner: Manner
) -> npt.NDArray[np.bool_]:
    """Return which stops hide a change that their own records do not show.

    The bins under way just before are held against those just after.
    """
    n = spells.low.size
    opened = np.zeros(n, np.bool_)
    for k in np.flatnonzero(spells.still):
        if k == 0 or k == n - 1 or spells.still[k - 1] or spells.still[k + 1]:
            continue
        before = level[max(spells.low[k - 1], spells.high[k - 1] - 12) : spells.high[k - 1]]
        after = level[spells.low[k + 1] : min(spells.high[k + 1], spells.low[k + 1] + 12)]
        if before.size == 0 or after.size == 0:
            continue
        jump = np.median(after) - np.median(before) - gain[k]
        var = manner.rough_l2 * (1 / before.size + 1 / after.size) * 1.6
        var += gain_l2[k] + 0.1 * manner.burn_l2_h
        opened[k] = jump * jump > 20.0 * var
    return opened


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
    start, end = np.full(n, np.nan), np.full(n, np.nan)
    gain, doubt = np.zeros(n), np.zeros(n)
    until, since = spells.high.copy(), spells.low.copy()
    for stop, a, b in groups:
        until[stop] = min(until[stop], a + 1)
        since[stop] = max(since[stop], b)
    for k in np.flatnonzero(spells.still & (spells.high > spells.low)):
        low, high = spells.low[k], spells.high[k]
        calm = since[k] <= low
        skip = 2 if calm and high - low >= 8 else 0
        head = slice(low + skip, min(low + skip + 5, max(until[k], low + 1)))
        tail = slice(max(high - 5, min(since[k], high - 1)), high)
        wa, wb = 1 / weight[head], 1 / weight[tail]
        start[k] = (wa * level[head]).sum() / wa.sum()
        end[k] = (wb * level[tail]).sum() / wb.sum()
        if high - low > 1:
            gain[k] = end[k] - start[k]
            doubt[k] = 1 / wa.sum() + 1 / wb.sum() + wander[high - 1] - wander[low]
    return start, end, gain, doubt


def comes_back(groups: list[list[float]], big_l: float) -> bool:
    """Return whether big changes usually come back in part by themselves within minutes.

    A second tank behind a balance pipe takes or gives its share by and by.
    """
    seen = []
    for one, following in zip(groups, [*groups[1:], None], strict=True):
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


def joined(changes: Floats, stop_of: npt.NDArray[np.int64], echo: float) -> list[list[float]]:
    """Return the changes taken together where they belong: stop, last before, first after."""
    groups: list[list[float]] = []
    for i in np.lexsort((changes[:, 1], stop_of)):
        _, a, b, litres, _ = changes[i]
        stop = int(stop_of[i])
        if groups and groups[-1][0] == stop and _belong(groups[-1], a, litres, echo):
            groups[-1][2] = max(groups[-1][2], b)
            groups[-1][3] += litres
        else:
            groups.append([stop, a, b, litres])
    return groups


def _belong(group: list[float], a: float, litres: float, echo: float) -> bool:
    """Return whether a change is the rest of the one before it: a ramp, or its tail."""
    apart = a - group[2]
    if group[3] * litres > 0 and apart <= MERGE_BINS:
        return True
    small, big = sorted((abs(group[3]), abs(litres)))
    if group[3] * litres < 0 and abs(litres) > abs(group[3]):
        return False
    part = TAIL_PART if group[3] * litres > 0 else echo
    return apart <= (TAIL_BINS if part < 0.5 else ECHO_BINS) and small <= part * big
