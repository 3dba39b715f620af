"""Health of the records themselves: frozen, beyond the scale, missing, unpowered."""

from collections.abc import Iterator

import numpy as np

from gaugewright.watch.health.blocks import OFF
from gaugewright.watch.health.case import (
    ABOVE,
    HOUR_S,
    Case,
    HealthKind,
    HealthNote,
    moment_of,
    span_of,
)
from gaugewright.watch.health.loops import count_beyond, dead_in

FROZEN_CHANGES = 25.0
"""A run of equal values is a fault where so many changes were due in it; by chance alone it
comes once in e^25 runs."""
FROZEN_S = 600.0
END_SHARE = 0.006
"""So near to its highest or lowest value a probe is at its end. Share of the span."""
END_CHANGES = 12.0
BEYOND_SHARE = 0.002
"""Share of records beyond the scale from which it is more than a spike now and then."""
BEYOND_MARGIN = 0.02
MISSING_SHARE = 0.03
HOLE_S = 2 * HOUR_S
DEAD_STOPS, DEAD_SHARE = 5, 0.7
LOW_SUPPLY = 0.75
"""Supply while parked against supply while running from which it is called lost."""


def frozen(case: Case) -> Iterator[HealthNote]:
    """Values that stood still while the vehicle's own readings should have moved."""
    due = _changes_due(case)
    runs = case.runs
    at_end = _at_top(case) | _at_bottom(case)
    long_s = runs.end_s - runs.start_s
    found = np.flatnonzero((due >= FROZEN_CHANGES) & (long_s >= FROZEN_S) & ~at_end)
    if not found.size:
        return
    worst = int(found[np.argmax(due[found])])
    times = "once" if found.size == 1 else f"{found.size} times"
    yield case.note(
        HealthKind.FROZEN,
        runs.start_s[found[0]],
        runs.end_s[found[-1]],
        f"The reading stood still {times}, in all {span_of(float(long_s[found].sum()))}; the "
        f"longest at {runs.value[worst]:.0f} counts for {span_of(float(long_s[worst]))} from "
        f"{moment_of(float(runs.start_s[worst]))}, in which {due[worst]:.0f} changes were due.",
        "Check the data line and its connector, and that the unit does not repeat its last value.",
    )


def past_top(case: Case) -> Iterator[HealthNote]:
    """The probe stood full while fuel was used: the tank is filled beyond its reach."""
    due = _changes_due(case)
    runs = case.runs
    top = _at_top(case) & (due >= END_CHANGES) & (runs.by_state[:, 1:].sum(axis=1) > 0)
    if not top.any():
        return
    hours = float(_active_s(case)[top].sum()) / HOUR_S
    rate = litres_per_hour(case)
    unseen = "" if rate is None else f", about {rate * hours:.0f} L by its usual consumption"
    first, last = runs.start_s[top][0], runs.end_s[top][-1]
    case.kept["top"] = float(np.median(runs.value[top])) - END_SHARE * case.span
    yield case.note(
        HealthKind.PAST_TOP,
        first,
        last,
        f"The probe stood at its highest value, {np.median(runs.value[top]):.0f} counts, "
        f"{int(top.sum())} times for {hours:.1f} h of running in all: fuel above its reach was "
        f"used unseen{unseen}.",
        "Refuels into that part read too small and drains from it are not seen. Fit a longer "
        "probe, or fill only as far as it reads.",
    )


def below_tip(case: Case) -> Iterator[HealthNote]:
    """The probe stood empty, or at a floor above empty, while fuel was used."""
    due = _changes_due(case)
    runs = case.runs
    floor = _at_bottom(case) & (due >= END_CHANGES) & (runs.by_state[:, 1:].sum(axis=1) > 0)
    if not floor.any():
        return
    hours = float(_active_s(case)[floor].sum()) / HOUR_S
    value = float(np.median(runs.value[floor]))
    first, last = float(runs.start_s[floor][0]), float(runs.end_s[floor][-1])
    if value <= case.low + 0.02 * case.span:
        yield case.note(
            HealthKind.BELOW_TIP,
            first,
            last,
            f"The probe stood at its lowest value, {value:.0f} counts, for {hours:.1f} h of "
            "running: the fuel was below its tip.",
            "What was used there is not seen. Refuel earlier, or check the probe's length.",
        )
        return
    yield case.note(
        HealthKind.WATER,
        first,
        last,
        f"The reading never falls below {value:.0f} counts, {value - case.low:.0f} above the "
        f"table's lowest, though the engine ran {hours:.1f} h there: something other than fuel "
        "wets the tip.",
        "Draw a sample from the lowest point: water or sludge. Drain it off; then check the zero.",
    )


def out_of_scale(case: Case) -> Iterator[HealthNote]:
    """Counts that this table's probe cannot send."""
    counts, time_s = case.track.counts, case.track.time_s
    margin = BEYOND_MARGIN * case.span
    number = count_beyond(counts, case.low - margin, case.high + margin)
    if number < 10 or number < BEYOND_SHARE * counts.size:
        return
    beyond = (counts > case.high + margin) | (counts < case.low - margin)
    share = number / counts.size
    at = np.flatnonzero(beyond)
    values, often = np.unique(counts[at], return_counts=True)
    usual = float(values[np.argmax(often)])
    wrong = share > 0.2
    yield case.note(
        HealthKind.WRONG_TABLE if wrong else HealthKind.OUT_OF_SCALE,
        time_s[at[0]],
        time_s[at[-1]],
        f"{number} records ({100 * share:.1f} %) are outside the table's {case.low:.0f} to "
        f"{case.high:.0f} counts, most often {usual:.0f}.",
        "The table is of a probe with another scale: key in the one of this vehicle."
        if wrong
        else (
            "So little above the table's last row a tank filled beyond it reads, or a probe that "
            "was moved; if it is neither, check the probe's connector and supply."
            if case.high < usual <= case.high + ABOVE * case.span
            else "Check the probe's connector and supply; a value like that is often a fault code."
        ),
    )


def missing(case: Case) -> Iterator[HealthNote]:
    """Holes in the record while the vehicle was at work."""
    time_s = case.track.time_s
    both = case.work.holes
    lost = time_s[both + 1] - time_s[both] - case.period_s
    # A longer one may be a stop without records, which is another note.
    in_work = lost < HOLE_S
    lost_s = float(lost[in_work].sum())
    seen_s = case.work.records * case.period_s
    if next(_dead_stops(case), None) is not None:
        return  # stops without records: another note
    if not in_work.any() or lost_s < MISSING_SHARE * (seen_s + lost_s) or lost_s < HOUR_S:
        return
    kept = both[in_work]
    longest = int(np.argmax(lost[in_work]))
    yield case.note(
        HealthKind.RECORDS_MISSING,
        time_s[kept[0]],
        time_s[kept[-1] + 1],
        f"{100 * lost_s / (seen_s + lost_s):.0f} % of the time at work has no records, "
        f"{span_of(lost_s)} in {kept.size} holes; the longest "
        f"{span_of(float(lost[in_work][longest]))} from {moment_of(float(time_s[kept[longest]]))}.",
        "What happens in a hole cannot be told. Check the unit's reception, memory and supply.",
    )


def supply(case: Case) -> Iterator[HealthNote]:
    """Power lost while parked: by the voltage, by dead stops or by readings that fall to zero."""
    found = next(_low_voltage(case), None) or next(_zero_parked(case), None)
    if found is None:
        found = next(_dead_stops(case), None)
    if found is not None:
        yield found


_SUPPLY_ADVICE = (
    "A drain while parked is not seen. Feed the probe and the unit from a permanent, fused supply, "
    "not from the ignition."
)


def _low_voltage(case: Case) -> Iterator[HealthNote]:
    volts, ignition = case.track.supply_v, case.track.ignition
    if volts is None:
        return
    on, off = volts[ignition > 0.5], volts[ignition <= 0.5]
    on, off = on[np.isfinite(on)], off[np.isfinite(off)]
    if on.size < 50 or off.size < 50:
        return
    usual = float(np.median(on))
    low = off < LOW_SUPPLY * usual
    if usual <= 0 or low.mean() < 0.05 or low.sum() < 20:
        return
    yield case.note(
        HealthKind.SUPPLY_LOST,
        *case.span_s,
        f"While parked the supply is below {LOW_SUPPLY * usual:.1f} V in {100 * low.mean():.0f} % "
        f"of the records (median of those {np.median(off[low]):.1f} V, running {usual:.1f} V).",
        _SUPPLY_ADVICE,
    )


def _zero_parked(case: Case) -> Iterator[HealthNote]:
    counts, ignition = case.track.counts, case.track.ignition
    floor = case.low + 0.01 * case.span
    parked, running, dead_parked, dead_running, first, last = dead_in(counts, ignition, floor)
    if parked < 100 or running < 100:
        return
    share, other = dead_parked / parked, dead_running / running
    if share < 0.03 or share < 10 * other:
        return
    yield case.note(
        HealthKind.SUPPLY_LOST,
        case.track.time_s[first],
        case.track.time_s[last],
        f"{100 * share:.0f} % of the records while parked carry no reading or an empty one, "
        f"against {100 * other:.1f} % with the ignition on.",
        _SUPPLY_ADVICE,
    )


def _dead_stops(case: Case) -> Iterator[HealthNote]:
    """Stops of 20 min and more in which next to no record came."""
    time_s, after, until = case.track.time_s, case.work.stop_after, case.work.stop_until
    if after.size < DEAD_STOPS:
        return
    dead = until - after <= 3
    if dead.sum() < DEAD_STOPS or dead.mean() < DEAD_SHARE:
        return
    first, last = after[dead][0], until[dead][-1]
    long_s = float((time_s[until] - time_s[after])[dead].sum())
    yield case.note(
        HealthKind.SUPPLY_LOST,
        time_s[first],
        time_s[last],
        f"In {int(dead.sum())} of {after.size} stops of 20 min and more no records came, "
        f"{span_of(long_s)} in all.",
        _SUPPLY_ADVICE,
    )


def _changes_due(case: Case) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How many changes were due in each run, by how often this vehicle's readings change.

    Parked readings stand still for hours with good reason, so that only running counts.
    """
    shares = np.array([0.0 if np.isnan(s) else s for s in case.blocks.change_share])
    shares[OFF] = 0.0
    due: np.ndarray[tuple[int], np.dtype[np.float64]] = case.runs.by_state @ shares
    return due


def _active_s(case: Case) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Seconds of each run in which the engine ran."""
    runs = case.runs
    active = runs.by_state[:, 1:].sum(axis=1) / np.maximum(runs.by_state.sum(axis=1), 1)
    seconds: np.ndarray[tuple[int], np.dtype[np.float64]] = (runs.end_s - runs.start_s) * active
    return seconds


def _at_top(case: Case) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    means = case.blocks.mean[np.isfinite(case.blocks.mean)]
    if not means.size:
        return np.zeros(case.runs.value.size, np.bool_)
    top: np.ndarray[tuple[int], np.dtype[np.bool_]] = (
        case.runs.value >= means.max() - END_SHARE * case.span
    )
    return top


def _at_bottom(case: Case) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    means = case.blocks.mean[np.isfinite(case.blocks.mean)]
    if not means.size:
        return np.zeros(case.runs.value.size, np.bool_)
    bottom: np.ndarray[tuple[int], np.dtype[np.bool_]] = (
        case.runs.value <= means.min() + END_SHARE * case.span
    )
    return bottom


def litres_per_hour(case: Case) -> float | None:
    """Usual consumption of an hour of running, from falls between events; None if unknown. [L/h]"""
    blocks = case.blocks
    ok = np.isfinite(blocks.mean)
    level = case.litres(blocks.mean[ok])
    start, end, active = blocks.start_s[ok], blocks.end_s[ok], case.active[ok]
    if level.size < 50:
        return None
    hours = np.where(active, end - start + case.period_s, 0.0) / HOUR_S
    fall = -np.diff(level)
    quiet = np.ones(fall.size, np.bool_)
    for event in case.watched.events:
        low, high = np.searchsorted(start, [event.start_s - 300.0, event.end_s + 300.0])
        quiet[max(int(low) - 1, 0) : int(high) + 1] = False
    quiet &= np.abs(fall) < 0.1 * case.capacity_l
    quiet &= start[1:] - end[:-1] < HOUR_S
    used = 0.5 * (hours[1:] + hours[:-1])
    total = float(used[quiet].sum())
    return float(fall[quiet].sum()) / total if total > 2.0 else None
