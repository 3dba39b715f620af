"""What looks like something else: slow drains, restarts, creeping, holes and frozen probes."""

from dataclasses import replace

import numpy as np
import pytest
from tests.watch.test_detect import HOUR, NIGHT, TABLE, drains, less, truck

from gaugewright.testing.logs import simulate_log
from gaugewright.watch.bins import Bins
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.spikes import sound
from gaugewright.watch.values import EventKind, Floats, Track

MINUTE = 6
"""Records in a minute, one each ten seconds."""


def generator(taken: Floats | None = None, frozen: slice | None = None, coarse: int = 1) -> Track:
    """Eight days, the engine on for seven hours of each at 6 L/h, ``taken`` litres gone besides.

    The probe repeats what it read first within ``frozen``, and steps by ``coarse`` counts.
    """
    rng = np.random.default_rng(3)
    time_h = np.arange(8 * 24 * HOUR) / HOUR
    running = (time_h % 24 > 8) & (time_h % 24 < 15)
    rate = np.repeat(rng.normal(6, 0.3, 8), 24 * HOUR)
    litres = 395 - 1.2 - np.cumsum(running * rate / HOUR)
    litres = litres + rng.normal(0, 0.3, litres.size)
    if taken is not None:
        litres = litres - taken
    counts = np.interp(np.clip(litres, 2, 400), TABLE.litres, TABLE.counts)
    counts = (counts / coarse).round() * coarse
    if frozen is not None:
        counts[frozen] = counts[frozen.start]
    return Track("G-1", 1.7e9 + 3600 * time_h, counts, np.zeros(counts.size), running * 1.0)


def test_fuel_taken_slowly_all_day_from_a_running_engine_is_not_taken_for_its_use():
    begin = 3 * 24 * HOUR + 8 * HOUR + 20 * MINUTE
    gone = np.clip((np.arange(8 * 24 * HOUR) - begin) / (6 * HOUR), 0, 1)

    watched = watch_vehicle(generator(70.0 * gone), TABLE)

    (event,) = watched.events
    assert event.kind == EventKind.DRAIN
    assert event.litres == pytest.approx(70, abs=8)


def test_what_a_running_engine_used_while_the_probe_was_frozen_is_no_drain():
    begin = 3 * 24 * HOUR + 9 * HOUR

    watched = watch_vehicle(generator(frozen=slice(begin, begin + HOUR), coarse=10), TABLE)

    assert watched.events == ()


def test_whole_counts_as_coarse_as_six_minutes_use_do_not_make_a_running_engine_drain():
    log = simulate_log("generator", 52, period_s=10.0)

    watched = watch_vehicle(log.track, log.table)

    drained = [event for event in watched.events if event.kind == EventKind.DRAIN]
    assert log.sight.counts_full == 250
    assert len(drained) > 10
    for event in drained:
        assert event.litres < 4 or any(
            true.start_s < event.end_s + 120 and true.end_s > event.start_s - 120
            for true in log.truth
        )


def test_one_wild_reading_amid_fuel_that_flows_is_left_out():
    level = np.concatenate([np.full(99, 130.0), 130.0 - 9.0 * np.arange(9), np.full(99, 50.0)])
    level += np.random.default_rng(1).normal(0, 0.1, level.size)
    level[104] += 40.0
    number = np.arange(level.size)
    still, on = np.zeros(level.size, np.bool_), np.ones(level.size)

    kept = sound(
        Bins(60.0 * number, level, on, number * 0 + 6, still, on, number, number), quantum_l=0.1
    )

    assert np.flatnonzero(~kept).tolist() == [104]


def test_a_probe_that_starts_anew_as_a_refuel_begins_is_no_drain_before_it():
    track = truck(lambda level: less(-150.0, NIGHT, 18)(level - 180))
    counts = track.counts.copy()
    counts[NIGHT - 2 : NIGHT + 1] = 0.0

    watched = watch_vehicle(replace(track, counts=counts), TABLE)

    (event,) = watched.events
    assert event.kind == EventKind.REFUEL
    assert event.litres == pytest.approx(150, abs=3)


def test_a_drain_that_a_refuel_makes_up_for_is_an_event_of_its_own():
    def change(level: Floats) -> Floats:
        drained = less(100.0, NIGHT, 10 * MINUTE)(level - 60)
        return less(-130.0, NIGHT + 10 * MINUTE, 3 * MINUTE)(drained)

    watched = watch_vehicle(truck(change), TABLE)

    assert [e.kind for e in watched.events] == [EventKind.DRAIN, EventKind.REFUEL]
    assert drains(watched) == pytest.approx([100], abs=8)


def test_a_level_that_falls_while_the_vehicle_creeps_is_less_likely_a_drain():
    still = truck(less(8.0, records=3))
    speed = still.speed_kmh.copy()
    speed[NIGHT : NIGHT + 3] = 2.0
    crept = replace(still, speed_kmh=speed)

    events = [watch_vehicle(one, TABLE, least_score=0.0).events[0] for one in (still, crept)]

    assert events[1].score < events[0].score - 2
    assert ["the vehicle crept meanwhile" in event.reason for event in events] == [False, True]


def test_fuel_that_went_in_a_hole_after_a_refuel_is_told_after_it():
    begin = NIGHT + 10 * MINUTE

    def change(level: Floats) -> Floats:
        filled = less(-150.0, NIGHT, 3 * MINUTE)(level - 180)
        return less(50.0, begin, 30 * MINUTE)(filled)

    keep = np.ones(truck(change).time_s.size, bool)
    keep[begin : 24 * HOUR + 6 * HOUR] = False

    watched = watch_vehicle(truck(change, keep), TABLE, least_score=0.0)

    refuel, drain = watched.events
    assert (refuel.kind, drain.kind) == (EventKind.REFUEL, EventKind.DRAIN)
    assert drain.start_s >= refuel.end_s


def test_a_unit_whose_speed_jitters_while_parked_is_not_said_to_creep():
    calm = truck(less(8.0, records=3))
    jitter = np.abs(np.random.default_rng(1).normal(0, 0.6, calm.time_s.size)).round(1)
    restless = replace(calm, speed_kmh=np.where(calm.speed_kmh > 0, calm.speed_kmh, jitter))

    (event,) = watch_vehicle(restless, TABLE).events

    assert event.litres == pytest.approx(8, abs=1)
    assert "crept" not in event.reason


def test_a_drain_right_before_a_refuel_whose_end_the_stop_does_not_show_is_found():
    begin = NIGHT - 5 * MINUTE
    leaves = NIGHT + 3 * MINUTE

    def change(level: Floats) -> Floats:
        drained = less(80.0, begin, 3 * MINUTE)(level - 150)
        return less(-200.0, NIGHT + MINUTE, 4 * MINUTE)(drained)

    track = truck(change)
    speed, ignition = track.speed_kmh.copy(), track.ignition.copy()
    speed[leaves : leaves + 120 * MINUTE] = 60.0
    ignition[leaves : leaves + 120 * MINUTE] = 1.0

    watched = watch_vehicle(replace(track, speed_kmh=speed, ignition=ignition), TABLE)

    drain = next(event for event in watched.events if event.kind == EventKind.DRAIN)
    assert drain.litres == pytest.approx(80, abs=8)


def test_what_an_engine_used_in_a_hole_that_ends_with_it_off_is_no_drain():
    """Eight hours on, an hour's hole, half of it with the engine still on: 3 L."""
    track = generator()
    day = 24 * HOUR
    keep = np.ones(track.time_s.size, bool)
    for number in range(8):
        keep[number * day + 14 * HOUR + 30 * MINUTE : number * day + 15 * HOUR + 30 * MINUTE] = (
            False
        )
    held = Track("G-1", *(column[keep] for column in (
        track.time_s, track.counts, track.speed_kmh, track.ignition)))  # fmt: skip

    assert watch_vehicle(held, TABLE).events == ()


def test_a_second_drain_as_work_begins_is_told_there_and_not_at_the_stops_other_end():
    log = simulate_log("excavator", 12, period_s=60.0)
    number = next(i for i, true in enumerate(log.truth) if abs(true.litres - 37.9) < 0.1)
    first, second = log.truth[number - 1 : number + 1]
    assert second.start_s - first.end_s < 300

    events = watch_vehicle(log.track, log.table).events

    told = [e for e in events if e.start_s < second.end_s + 120 and e.end_s > first.start_s - 120]
    assert [e.kind for e in told] == [EventKind.DRAIN, EventKind.DRAIN]
    assert told[1].litres == pytest.approx(second.litres, abs=told[1].u_litres)


def test_fuel_taken_right_after_a_quick_refuel_is_an_event_of_its_own():
    """As much as went in but for a quarter: it takes ten minutes, no reading that comes back."""
    filled = NIGHT + 2 * MINUTE

    def change(level: Floats) -> Floats:
        return less(75.0, filled, 10 * MINUTE)(less(-100.0, NIGHT, 2 * MINUTE)(level - 120))

    watched = watch_vehicle(truck(change), TABLE)

    assert [e.kind for e in watched.events] == [EventKind.REFUEL, EventKind.DRAIN]
    assert drains(watched) == pytest.approx([75], abs=6)


def test_what_happens_late_in_a_long_log_of_one_stop_is_not_left_out():
    """A machine that never moves and whose readings wobble all the time: many small changes."""
    log = simulate_log("generator", 49, period_s=60.0)

    watched = watch_vehicle(log.track, log.table)

    large = [true for true in log.truth if true.kind == EventKind.DRAIN and true.litres > 60]
    assert large
    for true in large:
        assert any(e.start_s < true.end_s and e.end_s > true.start_s for e in watched.events)


@pytest.mark.parametrize(
    "levels", [(417.0, 517.0, 483.0, 450.0, 434.0), (101.6, 216.6, 301.5, 234.8)]
)
def test_what_a_sleeping_unit_reads_between_a_refuel_and_a_drain_is_no_wild_reading(levels):
    """A quarter of an hour is too long for a wild reading, and the second went on as before."""
    level = np.concatenate([np.full(60, levels[0]), levels, np.full(60, levels[-1])])
    level += np.random.default_rng(1).normal(0, 0.1, level.size)
    number = np.arange(level.size)
    still, off = np.zeros(level.size, np.bool_), np.zeros(level.size)

    kept = sound(
        Bins(300.0 * number, level, off, number * 0 + 1, still, off, number, number), quantum_l=0.1
    )

    assert kept.all()


def test_fuel_taken_after_a_refuel_within_half_an_hour_is_told_though_the_unit_sleeps():
    """A record each ten minutes: what comes back within a few of them is no reading gone wild."""
    wakes = NIGHT + 3 * MINUTE

    def change(level: Floats) -> Floats:
        filled = less(-130.0, NIGHT, 4 * MINUTE)(level - 120)
        return less(105.0, NIGHT + 5 * MINUTE, 24 * MINUTE)(filled)

    number = np.arange(truck(change).time_s.size)
    asleep = (number > wakes) & (number < NIGHT + 2 * HOUR)

    watched = watch_vehicle(truck(change, ~asleep | (number % (10 * MINUTE) == 0)), TABLE)

    assert [e.kind for e in watched.events] == [EventKind.REFUEL, EventKind.DRAIN]
    assert drains(watched)[0] > 70
