"""One vehicle's records, looked at: minutes, rest and motion, changes, the level carried on."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from gaugewright.table.table import Table
from gaugewright.watch.across import carried
from gaugewright.watch.averaging import without_averaging
from gaugewright.watch.bins import Bins, bins_of, only
from gaugewright.watch.compiled import compiled
from gaugewright.watch.joining import groups_of
from gaugewright.watch.manner import SETTLING, Manner, manner_of
from gaugewright.watch.pipe import till_settled, without_pipe
from gaugewright.watch.plateaus import parted, tightened, without_excursions
from gaugewright.watch.scan import all_changes
from gaugewright.watch.spells import Spells, spells_of
from gaugewright.watch.spikes import mixed, sound
from gaugewright.watch.stops import ends, unseen_jumps
from gaugewright.watch.tilting import levelled
from gaugewright.watch.untold import with_engine
from gaugewright.watch.using import habit_of, used
from gaugewright.watch.values import Floats, Track
from gaugewright.watch.warming import warmed
from gaugewright.watch.working import ALL_WORK_TIMES

_HOUR_S = 3600.0
LEAST_Z = 4.2
FEWEST_BINS = 3
STANDING_PART = 0.05
"""From this part of all minutes on, work without moving is no chance. [1]"""
UNKNOWN_L2 = 1e6
EXCURSION_PART = 0.08
WARMTH_S = 3600.0
WARMTH_PART = 0.006
"""Fuel that cools by 5 K shrinks by as much, common practice, no source. [1]"""


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
    flowing_l: Floats
    raw_l: Floats
    """As read: neither pipe, tilt nor warmth taken off. [L]"""
    speed_kmh: Floats
    """Record by record. [km/h]"""
    own_warmth: Floats
    """Factor from litres as at the usual warmth to those at the fuel's own, bin by bin. [1]"""
    lag_s: float
    """Time constant of the probe's own averaging, NaN where it is not plain. [s]"""
    is_engine_told: bool
    """Whether any record tells if the engine ran; else that is a guess, or unknown."""
    is_speed_told: bool
    odd_h: float
    """From which length a hole in the record may hide work of the engine. [h]"""

    @cached_property
    def flows(self) -> bool:
        """Whether a second tank ever levels out."""
        return bool(self.flowing_l.any())

    @cached_property
    def may_tilt(self) -> bool:
        """Whether the tank may tilt with nothing told: the level often swings, or too little tells.

        Where no record tells of speed or engine, and no guess either, it may swing unseen.
        """
        bins, manner = self.bins, self.manner
        shakes = manner.running_l2 > ALL_WORK_TIMES**2 * manner.still_l2
        is_calm = bins.moves or (bool(np.isfinite(bins.running).any()) and not shakes)
        resting = np.repeat(self.spells.still, self.spells.high - self.spells.low)
        return not is_calm or float((~resting & ~bins.moving).mean()) > STANDING_PART


def look(track: Track, table: Table) -> Seen | None:
    """Bin, part into rest and motion, learn the manner, scan every stop and carry across.

    ``None`` where there are too few readings inside the table.
    """
    bins = bins_of(track, table)
    if bins.time_s.size < FEWEST_BINS:
        return None
    span = float(np.ptp(table.litres))
    quantum = float((table.litres[-1] - table.litres[0]) / (table.counts[-1] - table.counts[0]))
    bins = only(bins, ~mixed(track, table, bins))
    bins = only(bins, sound(bins, quantum))
    if bins.time_s.size < FEWEST_BINS:
        return None
    is_engine_told = bool(np.isfinite(bins.running).any())
    is_speed_told = bins.moves or bool(np.isfinite(track.speed_kmh).any())
    bins = with_engine(bins, quantum, is_speed_told=is_speed_told)
    raw = bins.level_l
    bins, flowing = without_pipe(bins, span)
    lag_s = float("nan")
    if not flowing.any():
        bins, lag_s = without_averaging(track, table, bins)
        raw = bins.level_l
    spells = spells_of(bins, quantum, is_speed_told=is_speed_told)
    bins, tilt_l2 = levelled(track, table, bins, spells)
    if tilt_l2.any():
        kept = sound(bins, quantum)
        bins, tilt_l2 = only(bins, kept), tilt_l2[kept]
        flowing, raw = flowing[kept], raw[kept]
        spells = spells_of(bins, quantum, is_speed_told=is_speed_told)
    unwarmed = bins.level_l
    bins = warmed(bins, spells, quantum)
    warm = bins.level_l > 0
    own_warmth = np.divide(unwarmed, bins.level_l, out=np.ones(warm.size), where=warm)
    manner = manner_of(bins, spells, quantum)
    inside = spells.inside
    nothing = np.zeros(bins.time_s.size, np.bool_)
    known_l2 = tilt_l2 + unseen_warmth(bins)
    habit = habit_of(track, bins, spells, manner)
    burnt, wander = used(habit, bins, spells, manner, nothing)
    level, wander = bins.level_l + burnt, wander + known_l2
    weight = weights(bins, spells, manner)
    stops = spells.still & (spells.high - spells.low >= 2)
    changes = all_changes(spells.low[stops], spells.high[stops], LEAST_Z, level, weight, wander)
    stop_of = inside[changes[:, 1].astype(np.int64)] if len(changes) else np.zeros(0, np.int64)
    groups = groups_of(changes, stop_of, span)
    sd = np.sqrt(weight)
    groups = tightened(parted(groups, level, sd), level, sd)
    groups = without_excursions(groups, bins.time_s, level, EXCURSION_PART * span)
    if flowing.any():
        groups = till_settled(groups, spells.high, level, flowing)
    burnt, wander = used(habit, bins, spells, manner, _within(groups, bins.time_s.size))
    level, wander = bins.level_l + burnt, wander + known_l2
    start, end, gain, gain_l2 = ends(spells, level, weight, wander, groups)
    opened = unseen_jumps(spells, level, gain, gain_l2, manner)
    gain, gain_l2 = np.where(opened, 0.0, gain), np.where(opened, 1e6, gain_l2)
    args = (spells.low, spells.high, spells.still, bins.time_s, level)
    place = np.full(spells.low.size, manner.slope_l2 + manner.still_l2)
    shared = (gain, gain_l2, place, manner.rough_l2, manner.burn_l2_h)
    before, before_l2 = carried(*args, start, *shared, False)
    after, after_l2 = carried(*args, end, *shared, True)
    first = spells.still & (before_l2 > UNKNOWN_L2) & np.isfinite(start)
    before = np.where(first, start, before)
    before_l2 = np.where(first, 2 * place, before_l2)
    return Seen(
        bins, spells, manner, level, burnt, weight, wander, changes, stop_of, groups,
        before, before_l2, after, after_l2, quantum, start, end, flowing, raw,
        track.speed_kmh, own_warmth, lag_s, is_engine_told, is_speed_told,
        float("inf") if habit.dead else habit.odd_h,
    )  # fmt: skip


def unseen_warmth(bins: Bins) -> Floats:
    """Return what warming or cooling in long holes adds to the variance, running up. [L²]"""
    long = np.flatnonzero(np.diff(bins.time_s) > WARMTH_S) + 1
    added = np.cumsum((WARMTH_PART * bins.level_l[long]) ** 2)
    until_next = np.diff(long, prepend=0, append=bins.time_s.size)
    return np.repeat(np.concatenate([[0.0], added]), until_next)


def _within(groups: list[tuple[int, int, int]], size: int) -> npt.NDArray[np.bool_]:
    """Return which bins lie in a change."""
    taken = np.zeros(size, np.bool_)
    for _, a, b in groups:
        taken[a : b + 1] = True
    return taken


def weights(bins: Bins, spells: Spells, manner: Manner) -> Floats:
    """Return the variance of each bin's level at rest. [L²]"""
    running = bins.running > 0.5
    calm = np.array([manner.single_l2, manner.still_l2])
    rest = np.concatenate([calm, np.maximum(manner.running_l2, calm)])
    out: Floats = rest[2 * running + (bins.records > 1)]
    _add_ends(spells.low, spells.high, manner.settling_l2[:SETTLING], manner.leaving_l2, out)
    return out


@compiled
def _add_ends(
    lows: npt.NDArray[np.int64],
    highs: npt.NDArray[np.int64],
    settling_l2: Floats,
    leaving_l2: Floats,
    out: Floats,
) -> None:
    """Add what the first and the last bins of each spell are less certain by. [L²]"""
    for k in range(lows.size):
        low, high = lows[k], highs[k]
        if low > 0:
            for i in range(low, min(high, low + settling_l2.size)):
                out[i] += settling_l2[i - low]
        if high < out.size:
            for i in range(max(low, high - leaving_l2.size), high):
                out[i] += leaving_l2[high - 1 - i]
