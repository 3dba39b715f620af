"""Faults planted in simulated logs, each by itself, with the moment at which it begins.

They act on the records as a real fault would; the truth of the fuel stays what it was. All
sizes are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from gaugewright.table.table import Table
from gaugewright.testing.logs import SimulatedLog
from gaugewright.watch.health.case import Delivery, HealthKind
from gaugewright.watch.values import Event, EventKind, Floats, Noise, Track, Watched


@dataclass(frozen=True, eq=False)
class Faulty:
    """A log with one fault in it."""

    track: Track
    table: Table
    kind: HealthKind
    start_s: float
    size: float
    """Of the fault, in the unit that its maker's docstring names."""


Maker = Callable[[np.random.Generator, SimulatedLog], Faulty | None]


def _with_counts(log: SimulatedLog, counts: Floats) -> Track:
    return replace(log.track, counts=counts)


def _full(log: SimulatedLog) -> float:
    return float(log.sight.counts_full)


def _as_sent(log: SimulatedLog, counts: Floats) -> Floats:
    """Whole counts within the probe's scale; what was not sent stays unsent."""
    return np.clip(np.round(counts), 0.0, _full(log))


def zero_drift(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """The reading wanders off evenly, by 2 to 10 % of full scale over the log."""
    size = float(rng.uniform(0.02, 0.10) * rng.choice([-1, 1]))
    t = log.track.time_s
    share = (t - t[0]) / (t[-1] - t[0])
    counts = _as_sent(log, log.track.counts + size * share * _full(log))
    return Faulty(_with_counts(log, counts), log.table, HealthKind.ZERO_DRIFT, float(t[0]), size)


def probe_moved(rng: np.random.Generator, log: SimulatedLog) -> Faulty | None:
    """While parked somebody shifts the probe, by 2 to 12 % of full scale; its averaging follows."""
    parked = np.flatnonzero(log.track.ignition < 0.5)
    middle = parked[(parked > 0.3 * log.track.time_s.size) & (parked < 0.7 * log.track.time_s.size)]
    if not middle.size:
        return None
    at = int(rng.choice(middle))
    size = float(rng.uniform(0.02, 0.12) * rng.choice([-1, 1]))
    counts, t = log.track.counts.copy(), log.track.time_s
    since_s = t[at:] - t[max(at - 1, 0)]
    counts[at:] += size * _full(log) * (1.0 - np.exp(-since_s / max(log.sight.lag_s, 0.1)))
    return Faulty(
        _with_counts(log, _as_sent(log, counts)),
        log.table,
        HealthKind.PROBE_MOVED,
        float(t[at]),
        size,
    )


def _moves(log: SimulatedLog) -> bool:
    """Whether it is on the move often enough for anything to be seen there."""
    return float((log.track.speed_kmh > 3.0).mean()) > 0.03


def water(rng: np.random.Generator, log: SimulatedLog) -> Faulty | None:
    """From one refuel on water lies under the tip: 1 to 6 % of full scale more at rest.

    On the move it is shaken away from the tip most of the time.
    """
    if not _moves(log):
        return None
    refuels = [e for e in log.truth if e.kind == EventKind.REFUEL]
    if not refuels:
        return None
    start = refuels[int(rng.integers(0, max(1, len(refuels) // 2)))].end_s
    t = log.track.time_s
    size = float(rng.uniform(0.01, 0.06))
    left = float(rng.uniform(0.0, 0.4))
    moving = log.track.speed_kmh > 3.0
    # It needs a minute or two to gather under the tip again.
    there = lfilter([0.2], [1, -0.8], np.where(moving, left, 1.0), zi=[0.8])[0]
    shaken = np.where(moving, np.clip(there + rng.normal(0, 0.15, t.size), 0, 1), there)
    counts = log.track.counts + np.where(t >= start, size * _full(log) * shaken, 0.0)
    return Faulty(
        _with_counts(log, _as_sent(log, counts)), log.table, HealthKind.WATER, start, size
    )


def past_top(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """The probe is too short: it reads full at 80 to 93 % of what the tank holds."""
    share = float(rng.uniform(0.80, 0.93))
    top = float(log.sight.counts_of(np.array([share * log.capacity_l]))[0])
    counts = np.minimum(log.track.counts, np.floor(top))
    at = np.flatnonzero(log.track.counts > top)
    start = float(log.track.time_s[at[0]]) if at.size else float(log.track.time_s[-1])
    own = log.table
    rows = own.counts < np.floor(top)
    assert own.u_litres is not None
    ends = (np.interp(np.floor(top), own.counts, column) for column in (own.litres, own.u_litres))
    litres, u_litres = (
        np.append(column[rows], end)
        for column, end in zip((own.litres, own.u_litres), ends, strict=True)
    )
    table = Table(np.append(own.counts[rows], np.floor(top)), litres, u_litres)
    return Faulty(_with_counts(log, counts), table, HealthKind.PAST_TOP, start, share)


def noise_growing(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """A loose contact: white noise that grows to 0.5 to 3 % of full scale by the end."""
    size = float(rng.uniform(0.005, 0.03))
    t = log.track.time_s
    grown = np.clip((t - t[0]) / (t[-1] - t[0]) * 1.6 - 0.5, 0.0, 1.0)
    counts = log.track.counts + rng.normal(0, 1, t.size) * grown * size * _full(log)
    return Faulty(
        _with_counts(log, _as_sent(log, counts)),
        log.table,
        HealthKind.NOISE_GROWING,
        float(t[0]),
        size,
    )


def averaging_light(rng: np.random.Generator, log: SimulatedLog) -> Faulty | None:
    """Hardly any averaging: slosh of 3 to 8 % of full scale comes through on the move."""
    if not _moves(log):
        return None
    size = float(rng.uniform(0.03, 0.08))
    moving = log.track.speed_kmh > 3.0
    counts = log.track.counts + moving * rng.normal(0, size * _full(log), moving.size)
    return Faulty(
        _with_counts(log, _as_sent(log, counts)),
        log.table,
        HealthKind.AVERAGING_LIGHT,
        float(log.track.time_s[0]),
        size,
    )


def averaging_heavy(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """A time constant of 4 to 15 minutes, set to hide the slosh. [s]"""
    lag_s = float(rng.uniform(240, 900))
    t, sent = log.track.time_s, log.track.counts
    out = np.empty_like(sent)
    out[0] = sent[0]
    keep = np.exp(-np.diff(t) / lag_s)
    for i in range(1, t.size):
        out[i] = keep[i - 1] * out[i - 1] + (1 - keep[i - 1]) * sent[i]
    return Faulty(
        _with_counts(log, _as_sent(log, out)),
        log.table,
        HealthKind.AVERAGING_HEAVY,
        float(t[0]),
        lag_s,
    )


def wrong_table(rng: np.random.Generator, log: SimulatedLog) -> Faulty | None:
    """The table of a tank of another shape; its largest departure as a share of capacity."""
    own = log.table
    level = (own.counts - own.counts[0]) / (own.counts[-1] - own.counts[0])
    lying = np.arccos(1 - 2 * level) / np.pi - (1 - 2 * level) * 2 / np.pi * np.sqrt(
        np.clip(level - level**2, 0, None)
    )
    shapes = [level, lying, level**1.35, 1 - (1 - level) ** 1.35]
    span = own.litres[-1] - own.litres[0]
    made = [own.litres[0] + span * shape for shape in shapes]
    apart = np.array([np.abs(m - own.litres).max() / span for m in made])
    fits = np.flatnonzero(apart > 0.03)
    if not fits.size:
        return None
    k = int(rng.choice(fits))
    table = Table(own.counts, made[k], own.u_litres)
    return Faulty(
        log.track, table, HealthKind.WRONG_TABLE, float(log.track.time_s[0]), float(apart[k])
    )


def frozen(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """The value stands still for 1 to 5 hours, begun while the vehicle runs. [h]"""
    hours = float(rng.uniform(1, 5))
    t = log.track.time_s
    running = np.flatnonzero((log.track.ignition > 0.5) & (t < t[-1] - 3600 * hours))
    at = int(rng.choice(running))
    stop = int(np.searchsorted(t, t[at] + 3600 * hours))
    counts = log.track.counts.copy()
    counts[at:stop] = counts[at]
    return Faulty(_with_counts(log, counts), log.table, HealthKind.FROZEN, float(t[at]), hours)


def out_of_scale(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """A fault code in 0.5 to 5 % of the records."""
    share = float(rng.uniform(0.005, 0.05))
    counts = log.track.counts.copy()
    counts[rng.random(counts.size) < share] = 65535.0
    return Faulty(
        _with_counts(log, counts),
        log.table,
        HealthKind.OUT_OF_SCALE,
        float(log.track.time_s[0]),
        share,
    )


def _rows(log: SimulatedLog, rows: npt.NDArray[np.int64], time_s: Floats | None = None) -> Track:
    """Return the records in these rows, with these times or their own."""

    def taken(column: Floats | None) -> Floats | None:
        return None if column is None else column[rows]

    t = log.track
    return Track(
        t.vehicle,
        t.time_s[rows] if time_s is None else time_s,
        t.counts[rows],
        t.speed_kmh[rows],
        t.ignition[rows],
        *(taken(c) for c in (t.fuel_c, t.supply_v, t.pitch_deg, t.roll_deg, t.engine_fuel_l)),
    )


def supply_lost(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """The probe or the whole unit hangs on the ignition: no records, or empty ones, parked."""
    parked = log.track.ignition < 0.5
    start = float(log.track.time_s[0])
    if rng.random() < 0.5:
        track = _rows(log, np.flatnonzero(~parked))
        return Faulty(track, log.table, HealthKind.SUPPLY_LOST, start, 1.0)
    counts = np.where(parked, 0.0, log.track.counts)
    return Faulty(_with_counts(log, counts), log.table, HealthKind.SUPPLY_LOST, start, 2.0)


def missing(rng: np.random.Generator, log: SimulatedLog) -> Faulty:
    """Bad reception: holes of 5 to 40 minutes, 6 to 25 % of the time at work."""
    share = float(rng.uniform(0.06, 0.25))
    t = log.track.time_s
    keep = np.ones(t.size, np.bool_)
    running = np.flatnonzero(log.track.ignition > 0.5)
    wanted = share * running.size
    while np.count_nonzero(~keep[running]) < wanted:
        at = int(rng.choice(running))
        keep[at : int(np.searchsorted(t, t[at] + 60 * rng.uniform(5, 40)))] = False
    track = _rows(log, np.flatnonzero(keep))
    return Faulty(track, log.table, HealthKind.RECORDS_MISSING, float(t[0]), share)


def clock_jump(rng: np.random.Generator, log: SimulatedLog) -> Faulty | None:
    """For one to six days the clock is 1 to 3 hours off, ahead or behind. [h]"""
    t = log.track.time_s
    hours = float(rng.integers(1, 4) * rng.choice([-1, 1]))
    start = float(rng.uniform(t[0] + 86400, t[-1] - 8 * 86400))
    inside = (t >= start) & (t < start + 86400 * rng.uniform(1, 6))
    moved = np.where(inside, t + 3600 * hours + 1.0, t)
    order = np.argsort(moved, kind="stable")
    twice = np.concatenate([[False], np.diff(moved[order]) <= 0])
    order = order[~twice]
    track = _rows(log, order, moved[order])
    return Faulty(track, log.table, HealthKind.CLOCK_JUMP, start, hours)


MAKERS: dict[str, Maker] = {
    "zero_drift": zero_drift,
    "probe_moved": probe_moved,
    "water": water,
    "past_top": past_top,
    "noise_growing": noise_growing,
    "averaging_light": averaging_light,
    "averaging_heavy": averaging_heavy,
    "wrong_table": wrong_table,
    "frozen": frozen,
    "out_of_scale": out_of_scale,
    "supply_lost": supply_lost,
    "missing": missing,
    "clock_jump": clock_jump,
}


def truly_watched(log: SimulatedLog, track: Track | None = None) -> Watched:
    """Return what a perfect detector would say of a log, for checks that need no detector."""
    track = log.track if track is None else track
    events = []
    for e in log.truth:
        first, last = np.searchsorted(track.time_s, [e.start_s, e.end_s])
        last = min(int(last), track.time_s.size - 1)
        before, after = (0.0, e.litres) if e.kind == EventKind.REFUEL else (e.litres, 0.0)
        events.append(
            Event(
                track.vehicle,
                e.kind,
                e.start_s,
                e.end_s,
                e.litres,
                1.0,
                before,
                after,
                9.0,
                e.how,
                int(first),
                last,
            )
        )
    sight = log.sight
    noise = Noise(sight.noise_l, sight.slosh_l, sight.along_l, 0.1, sight.lag_s)
    span_s = float(track.time_s[-1] - track.time_s[0])
    return Watched(track.vehicle, tuple(events), (), noise, track.time_s.size, span_s, 1.0, 1.0)


def deliveries_of(log: SimulatedLog) -> tuple[Delivery, ...]:
    """Return honest receipts of a log: what came, to the supplier's 0.2 %."""
    return tuple(Delivery(r.time_s, r.true_l) for r in log.receipts)
