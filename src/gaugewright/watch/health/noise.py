"""Health of the noise: does it grow, and does the probe average too little or too much?"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from gaugewright.metrology.allan import AllanKind, Deviation, allan_curve
from gaugewright.watch.health.blocks import MOVING, OFF, RUNNING
from gaugewright.watch.health.case import (
    DAY_S,
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    evenly,
    span_of,
)
from gaugewright.watch.health.loops import drives_on
from gaugewright.watch.middles import median
from gaugewright.watch.values import Event, EventKind, Floats

GROWTH, GROWTH_T = 1.8, 4.0
LEAST_NOISE = 0.001
"""Noise below this share of the span is of no account, however much it grew."""
MOST_ON_MOVE = 0.027
"""Scatter of a record on the move from which averaging is called too light. Share of capacity
(common practice, no source)."""
WANTED_ON_MOVE = 0.006
"""Scatter on the move that the advice aims at. Share of capacity (common practice)."""
HEAVY_S = 90.0
"""Time constant from which averaging is called too heavy: a refuel of five minutes then shows
for ten, and a drain of one minute for five (common practice, no source). [s]"""
MOST_FOR_CURVE = 30_000
LEAST_FOR_CURVE, LEAST_FREEDOM = 200, 8
STATES = ((OFF, "at rest"), (RUNNING, "with the engine running"), (MOVING, "on the move"))
SHORTEST_DRIVE = 12
MOST_REFUELS = 40
LONGEST_LAG_S = 900.0
SHORT_S, LONG_S, SLOSH_S = 60.0, 480.0, 60.0
MOST_ADVISED_S = 120.0
"""Longer averaging hides more than it shows (common practice, no source). [s]"""


def _told(lag_s: float) -> str:
    """A time constant in words; long ones are not told apart."""
    return span_of(lag_s) if lag_s < LONGEST_LAG_S else f"{span_of(LONGEST_LAG_S)} or more"


def growing(case: Case) -> Iterator[HealthNote]:
    """Noise by the day, at rest and on the move: the last third against the first."""
    best: tuple[float, str, float, float] | None = None
    for state, where in STATES:
        days = _daily_noise(case, state)
        if days.shape[0] < 9:
            continue
        third = days.shape[0] // 3
        early, late = np.log(days[:third, 1]), np.log(days[-third:, 1])
        spread = np.sqrt(early.var(ddof=1) / third + late.var(ddof=1) / third) + 0.02
        t = float(late.mean() - early.mean()) / float(spread)
        before, after = float(np.exp(early.mean())), float(np.exp(late.mean()))
        if after / before < GROWTH or t < GROWTH_T or after < LEAST_NOISE * case.span:
            continue
        if best is None or t > best[0]:
            best = (t, where, before, after)
    if best is None:
        return
    t, where, before, after = best
    litres = after * case.litres_per_count(case.low + 0.5 * case.span)
    yield case.note(
        HealthKind.NOISE_GROWING,
        *case.span_s,
        f"The noise {where} grew from {before:.1f} to {after:.1f} counts from record to record "
        f"(first and last third of the log; {litres:.1f} L; {t:.1f} times its standard "
        "uncertainty).",
        "Look for a loose or wet connector, a chafed screen, or a probe that works loose in its "
        "flange.",
    )


def _daily_noise(case: Case, state: int) -> Floats:
    """Start of each day [s] and the standard deviation of a record in it, shape (n, 2)."""
    blocks = case.blocks
    at = np.flatnonzero((blocks.state == state) & (blocks.steps >= 3))
    if not at.size:
        return np.zeros((0, 2))
    # The noisiest fifth of a day is left out: a refuel or a spike is no noise.
    noise = np.sqrt(0.5 * blocks.squares[at] / blocks.steps[at] + 1.0 / 12.0)
    day = np.floor(blocks.start_s[at] / DAY_S).astype(np.int64)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(day)) + 1, [day.size]])
    found = [
        (float(day[low]) * DAY_S, _calm_mean(noise[low:high]))
        for low, high in pairwise(edges.tolist())
        if high - low >= 5
    ]
    return np.array(found).reshape(-1, 2)


def _calm_mean(noise: Floats) -> float:
    """Return the mean without the highest fifth."""
    noise.sort()
    calm = noise[: noise.size * 4 // 5]
    return float(calm.sum()) / calm.size


def averaging(case: Case) -> Iterator[HealthNote]:
    """The scatter on the move and the probe's own lag against what a record is needed for."""
    lag_s = lag_of(case)
    is_heavy = lag_s is not None and lag_s > HEAVY_S
    values, _ = _on_move(case)
    if not is_heavy and _is_calm(case, values):
        return
    curve = _curve(case, values)
    wanted = advised_averaging_s(case, curve)
    if lag_s is not None and is_heavy:
        target = max(case.period_s, 30.0 if wanted is None else min(wanted, 60.0))
        yield case.note(
            HealthKind.AVERAGING_HEAVY,
            *case.span_s,
            f"The reading follows the fuel with a time constant of about {_told(lag_s)}: it takes "
            f"three times as long to come within 5 %.",
            "Drains look slow and small and refuels late. "
            + (
                f"Set the averaging to {span_of(target)}."
                if wanted is None
                else "By the Allan deviation of its own records on the move, "
                f"{span_of(target)} of averaging would do."
            ),
        )
        return
    if not curve:
        return
    first = curve[0].deviation / case.capacity_l
    if first < MOST_ON_MOVE or wanted is None or wanted <= case.period_s:
        return
    then = min(curve, key=lambda p: abs(p.tau_s - wanted)).deviation
    yield case.note(
        HealthKind.AVERAGING_LIGHT,
        *case.span_s,
        f"On the move a record scatters by {curve[0].deviation:.1f} L ({100 * first:.1f} % of the "
        f"tank), averages over {span_of(wanted)} by {then:.1f} L (Allan deviation of its own "
        "records).",
        f"Set the probe or the unit to average over {span_of(wanted)}.",
    )


def curve_on_move(case: Case) -> tuple[Deviation, ...]:
    """Return the Allan curve of the litres on the move, in seconds and litres.

    The overlapping Hadamard deviation, from which steady consumption falls out.
    """
    return _curve(case, _on_move(case)[0])


def _curve(case: Case, values: Floats) -> tuple[Deviation, ...]:
    if values.size < LEAST_FOR_CURVE:
        return ()
    curve = allan_curve(values, case.period_s, AllanKind.OVERLAPPING_HADAMARD)
    return tuple(p for p in curve if p.tau_s <= HOUR_S and p.degrees_of_freedom > LEAST_FREEDOM)


def _is_calm(case: Case, values: Floats) -> bool:
    """Return whether the curve's first point says already that a record scatters little."""
    if values.size < LEAST_FOR_CURVE:
        return True
    # The curve's first point is of second differences; of so many its freedom is never small.
    bend = values[2:] - 2 * values[1:-1] + values[:-2]
    bend = bend[np.isfinite(bend)]
    if bend.size < LEAST_FOR_CURVE or case.period_s > HOUR_S:
        return False
    deviation = float(np.sqrt(np.mean(bend * bend) / 6.0))
    return deviation < 0.999 * MOST_ON_MOVE * case.capacity_l


def _on_move(case: Case) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Litres on the move at even times, and the drive of each; enough for a firm curve. [L]"""
    found: tuple[Floats, npt.NDArray[np.int64]] | None = case.kept.get("drives")
    if found is not None:
        return found
    blocks, track = case.blocks, case.track
    moving = blocks.state == MOVING
    edges = np.flatnonzero(np.diff(np.concatenate([[0], moving.view(np.int8), [0]])))
    bounds = np.append(blocks.first, track.time_s.size)
    firsts, lasts = bounds[edges[::2]], bounds[edges[1::2]]
    long = lasts - firsts >= SHORTEST_DRIVE
    found = case.kept["drives"] = drives_on(
        track.time_s, track.counts, firsts[long], lasts[long], case.period_s,
        case.table.counts, case.table.litres, 0.04 * case.capacity_l, MOST_FOR_CURVE,
    )  # fmt: skip
    return found


def advised_averaging_s(case: Case, curve: tuple[Deviation, ...]) -> float | None:
    """Return the least averaging time at which the scatter on the move is small enough. [s]

    Where it never is, the time at which it is least, two minutes at most.
    """
    if not curve:
        return None
    usable = [p for p in curve if p.tau_s <= MOST_ADVISED_S + 0.5 * case.period_s] or [curve[0]]
    for point in usable:
        if point.deviation <= WANTED_ON_MOVE * case.capacity_l:
            return point.tau_s
    return min(usable, key=lambda p: p.deviation).tau_s


def lag_of(case: Case) -> float | None:
    """Return the probe's time constant, from refuels or from the motion; None if unseen. [s]"""
    if "lag_s" not in case.kept:
        lags = _lag_after_refuels(case), _lag_on_move(case)
        case.kept["lag_s"] = max((lag for lag in lags if lag is not None), default=None)
    lag_s: float | None = case.kept["lag_s"]
    return lag_s


def _lag_on_move(case: Case) -> float | None:
    """The time constant that makes slosh as smooth as it is seen. [s]

    Second differences over one minute against eight, from which steady consumption falls out.
    For noise that lasts ``SLOSH_S`` (slosh, and the road's own slope) behind a first-order lag
    they are 6 - 8 r(t) + 2 r(2t), r(t) = (T exp(-t/T) - s exp(-t/s)) / (T - s).
    """
    values, drive = _on_move(case)
    period = case.period_s
    steps = max(1, round(SHORT_S / period)), round(LONG_S / period)
    if values.size < 10 * steps[1] or steps[1] < 3 * steps[0]:
        return None
    powers = []
    for k in steps:
        bend = values[2 * k :] - 2 * values[k:-k] + values[: -2 * k]
        bend = bend[np.isfinite(bend) & (drive[2 * k :] == drive[: -2 * k])]
        if bend.size * period < 2 * HOUR_S:
            return None
        # The middle of the squares: a refuel or an event is no slosh.
        powers.append(median(np.abs(bend)) ** 2)
    if powers[1] <= 0:
        return None
    lags = np.geomspace(1.0, 3000.0, 200)
    short, long = (_bend(k * period, lags) for k in steps)
    return float(np.interp(-powers[0] / powers[1], -short / long, lags))


def _bend(t_s: float, lag_s: Floats) -> Floats:
    """Second difference over a time, squared, of slosh behind a lag, per variance."""
    apart = np.where(np.abs(lag_s - SLOSH_S) < 0.5, SLOSH_S + 0.5, lag_s)

    def alike(t: float) -> Floats:
        part: Floats = (apart * np.exp(-t / apart) - SLOSH_S * np.exp(-t / SLOSH_S)) / (
            apart - SLOSH_S
        )
        return part

    return 6 - 8 * alike(t_s) + 2 * alike(2 * t_s)


def _lag_after_refuels(case: Case) -> float | None:
    """The time constant from how the reading comes to rest after refuels. [s]

    From four fifths to nineteen twentieths of a rise an exponential takes ln 4 of its time
    constant; a pump that runs steadily without any lag takes 0.15 of the refuel, which is taken
    off.  The median over refuels of a fifth of the tank and more, at rest; where too few of
    them stay, on the move, where only a lag of minutes can be told.
    """
    refuels = [e for e in case.events(EventKind.REFUEL) if e.litres >= 0.2 * case.capacity_l]
    for at_rest in (True, False):
        found = [_lag_after(case, event, at_rest) for event in evenly(refuels, MOST_REFUELS)]
        known = [lag for lag in found if lag is not None]
        if len(known) >= 3:
            lag_s = median(np.array(known))
            return lag_s if at_rest or lag_s > HEAVY_S else None
    return None


def _lag_after(case: Case, event: Event, at_rest: bool) -> float | None:
    """The time constant by one refuel; ``None`` where the vehicle leaves too soon. [s]"""
    track = case.track
    low, high = np.searchsorted(track.time_s, [event.start_s - 120.0, event.end_s + HOUR_S])
    time_s, counts = track.time_s[low:high], track.counts[low:high]
    if at_rest:
        leave = np.flatnonzero((time_s >= event.end_s) & (track.speed_kmh[low:high] > 3.0))
        stop = int(leave[0]) if leave.size else time_s.size
        time_s, counts = time_s[:stop], counts[:stop]
    if time_s.size < 8 or time_s[-1] - event.end_s < 240.0:
        return None
    level = case.litres(np.where(np.isfinite(counts), counts, case.low))
    if not at_rest:
        level = np.median(sliding_window_view(level, 3), axis=1)
        time_s = time_s[1:-1]
    start, end = float(level[0]), median(level[-3:])
    if end - start < 0.15 * case.capacity_l:
        return None
    rise = np.maximum.accumulate((level - start) / (end - start))
    tail = _crossing(time_s, rise, 0.95) - _crossing(time_s, rise, 0.80)
    poured = _crossing(time_s, rise, 0.5) - _crossing(time_s, rise, 0.1)
    # Between a tenth and a half of the rise a steady pump takes 0.4 of its time.
    return float(max(0.0, tail - 0.15 * poured / 0.4) / np.log(4.0))


def _crossing(time_s: Floats, rise: Floats, share: float) -> float:
    at = int(np.searchsorted(rise, share))
    if at == 0:
        return float(time_s[0])
    if at >= rise.size:
        return float(time_s[-1])
    part = (share - rise[at - 1]) / max(rise[at] - rise[at - 1], 1e-9)
    return float(time_s[at - 1] + part * (time_s[at] - time_s[at - 1]))
