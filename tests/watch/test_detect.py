"""Refuels and drains told from slope, load, spikes, frozen values and holes in the record."""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.table.table import Table
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.detect import difference_l2, watch_vehicle
from gaugewright.watch.holes import across_holes
from gaugewright.watch.look import look
from gaugewright.watch.values import EventKind, Floats, Track, Watched

TABLE = Table(
    np.array([0.0, 2000.0, 4000.0]), np.array([2.0, 200.0, 400.0]), np.array([1.0, 1.5, 2.0])
)
HOUR = 360
"""Records in an hour, one each ten seconds."""


def truck(
    change: Callable[[Floats], Floats], keep: Floats | None = None, place_l: float = 3.0
) -> Track:
    """Five days: parked at night, four drives a day, then ``change`` made to the litres.

    The vehicle stands each time in a place with a slope of its own.
    """
    rng = np.random.default_rng(7)
    hours = np.tile(np.array([6.0, 1.5, 0.7, 1.5, 1.0, 2.0, 0.8, 1.5, 9.0]), 5)
    drives = np.tile([False, True, False, True, False, True, False, True, False], 5)
    moving = np.repeat(drives, (hours * HOUR).astype(int))
    place = np.repeat(rng.normal(0, place_l, hours.size) * ~drives, (hours * HOUR).astype(int))
    litres = 380 - np.cumsum(np.where(moving, 9.0 / HOUR, 0.0))
    noise = np.where(moving, 4.0, 0.3) * rng.normal(size=moving.size)
    litres = change(litres) + place + noise
    time = 1.7e9 + 10.0 * np.arange(moving.size)
    kept = np.ones(moving.size, bool) if keep is None else keep
    counts = np.interp(np.clip(litres, 2, 400), TABLE.litres, TABLE.counts).round()
    return Track(
        "T-7", time[kept], counts[kept], np.where(moving, 60.0, 0.0)[kept], moving[kept] * 1.0
    )


NIGHT = 24 * HOUR + 3 * HOUR
"""Three in the morning of the second day, in the middle of a stop."""


def less(litres: float, at: int = NIGHT, records: int = 12) -> Callable[[Floats], Floats]:
    """Return a drain of ``litres`` that lasts ``records`` records."""

    def change(level: Floats) -> Floats:
        gone = np.clip((np.arange(level.size) - at) / records, 0, 1)
        return level - litres * gone

    return change


def drains(watched: Watched) -> list[float]:
    return [e.litres for e in watched.events if e.kind == EventKind.DRAIN]


def test_a_vehicle_from_which_nothing_is_taken_has_no_events():
    watched = watch_vehicle(truck(lambda level: level), TABLE)

    assert watched.events == ()


@pytest.mark.parametrize("litres", [6.0, 15.0, 60.0])
@pytest.mark.parametrize("records", [6, 60, 360])
def test_a_drain_at_rest_is_found_with_its_litres_within_the_band(litres, records):
    watched = watch_vehicle(truck(less(litres, records=records)), TABLE)

    (event,) = watched.events
    assert event.kind == EventKind.DRAIN
    assert abs(event.litres - litres) <= event.u_litres
    start = 1.7e9 + 10.0 * NIGHT
    near_s = 120 + 0.1 * 10 * records
    assert event.start_s == pytest.approx(start, abs=near_s)
    assert event.end_s == pytest.approx(start + 10.0 * records, abs=near_s)


def test_the_reason_names_litres_band_and_what_was_missing_afterwards():
    (event,) = watch_vehicle(truck(less(30.0)), TABLE).events

    assert "at rest with the engine off the level fell by" in event.reason
    assert "carried from before the stop to after it" in event.reason
    assert event.first < event.last


def untold(track: Track) -> Track:
    nothing = np.full(track.time_s.size, np.nan)
    return replace(track, speed_kmh=nothing, ignition=nothing)


def test_where_nothing_tells_of_the_engine_only_what_none_can_use_is_called_a_drain():
    watched = watch_vehicle(untold(truck(less(60.0))), TABLE)

    (litres,) = drains(watched)
    assert litres == pytest.approx(60, abs=5)
    assert "while no record tells of the engine the level fell by" in watched.events[0].reason


@pytest.mark.parametrize(("litres", "records"), [(60.0, 3 * HOUR), (9.0, 12)])
def test_a_slow_or_a_small_fall_of_which_nothing_tells_is_not_decidable(litres, records):
    watched = watch_vehicle(untold(truck(less(litres, records=records))), TABLE)

    assert drains(watched) == []
    middle_s = 1.7e9 + 10.0 * (NIGHT + records / 2)
    (fall,) = [one for one in watched.undecided if one.start_s < middle_s < one.end_s]
    assert "it may be use, a slope or fuel taken" in fall.reason


def test_a_refuel_and_a_drain_in_one_stop_are_two_events():
    def change(level: Floats) -> Floats:
        filled = less(-150.0, NIGHT, 18)(level - 180)
        return less(20.0, NIGHT + 60, 12)(filled)

    watched = watch_vehicle(truck(change), TABLE)

    assert [e.kind for e in watched.events] == [EventKind.REFUEL, EventKind.DRAIN]
    assert watched.events[1].litres == pytest.approx(20, abs=2)


def test_two_drains_in_a_row_are_two_events():
    def change(level: Floats) -> Floats:
        return less(12.0, NIGHT + 120)(less(18.0)(level))

    assert drains(watch_vehicle(truck(change), TABLE)) == pytest.approx([18, 12], abs=1.5)


def test_a_load_that_shifts_and_goes_again_with_the_next_drive_is_not_called_a_drain():
    def change(level: Floats) -> Floats:
        shifted = np.zeros(level.size)
        shifted[NIGHT : 24 * HOUR + 6 * HOUR] = -14.0
        return level + shifted

    watched = watch_vehicle(truck(change), TABLE)

    assert drains(watched) == []
    assert any("shift" in one.reason for one in watched.undecided)


def test_a_spike_down_and_back_is_no_event():
    def change(level: Floats) -> Floats:
        level = level.copy()
        level[NIGHT : NIGHT + 3] = 2.0
        return level

    assert watch_vehicle(truck(change), TABLE).events == ()


def hole(before: int, after: int) -> Floats:
    """Which records are there, with a hole of so many records around `NIGHT`."""
    keep = np.ones(truck(lambda level: level).time_s.size, bool)
    keep[NIGHT - before : NIGHT + after] = False
    return keep


def test_a_level_that_fell_across_a_hole_in_the_record_is_one_drain_over_the_hole():
    (event,) = watch_vehicle(truck(less(25.0), hole(120, 240)), TABLE).events

    assert event.kind == EventKind.DRAIN
    assert event.end_s - event.start_s >= 3500
    assert event.litres == pytest.approx(25, abs=event.u_litres)


@pytest.mark.parametrize("litres", [0.0, 30.0])
def test_a_fall_that_the_engine_may_have_used_in_a_long_hole_is_no_drain(litres):
    """Eight hours without records, and two drives of the day in them."""
    watched = watch_vehicle(truck(less(litres), hole(60, 2900)), TABLE)

    assert watched.events == ()
    (open_one,) = watched.undecided
    said = r"across a hole in the record, in which the engine may have used up to \d+ L"
    assert re.search(said, open_one.reason)
    assert open_one.litres < -litres


def test_a_drain_of_more_than_the_engine_can_use_in_a_hole_is_one_with_room_for_that_use():
    (event,) = watch_vehicle(truck(less(160.0), hole(60, 2900)), TABLE).events

    assert event.kind == EventKind.DRAIN
    assert event.litres == pytest.approx(160, abs=event.u_litres)
    assert "with no record for 8 h of it, in which fuel may also have come" in event.reason


def test_a_drain_in_a_hole_is_told_there_though_the_readings_before_it_wobble():
    """An excavator without records while parked; its last minutes before the hole step by 7 L."""
    log = simulate_log("excavator", 20, days=31, period_s=60.0)
    true = next(true for true in log.truth if abs(true.litres - 72.4) < 0.1)

    events = watch_vehicle(log.track, log.table).events

    told = [e for e in events if e.start_s < true.end_s and e.end_s > true.start_s]
    assert [e.kind for e in told] == [EventKind.DRAIN]
    assert told[0].litres == pytest.approx(true.litres, abs=told[0].u_litres)


def test_too_few_records_say_so():
    track = truck(lambda level: level)
    short = Track(
        "T-7", track.time_s[:2], track.counts[:2], track.speed_kmh[:2], track.ignition[:2]
    )

    watched = watch_vehicle(short, TABLE)

    assert watched.events == ()
    assert "too few records" in watched.notes[0]


def test_a_table_without_a_band_is_said_to_be_unknown_not_exact():
    bare = Table(TABLE.counts, TABLE.litres, None)

    assert "unknown" in watch_vehicle(truck(less(30.0)), bare).notes[0]


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 50_000))
def test_the_time_of_the_clock_does_not_change_what_is_found(minutes):
    track = truck(less(22.0))
    later = Track(
        "T-7", track.time_s + 60.0 * minutes, track.counts, track.speed_kmh, track.ignition
    )

    (here,), (there,) = watch_vehicle(track, TABLE).events, watch_vehicle(later, TABLE).events

    assert there.start_s - here.start_s == pytest.approx(60.0 * minutes, abs=1e-3)
    assert there.litres == pytest.approx(here.litres)


def test_near_levels_share_the_error_of_the_table():
    near, far = difference_l2(TABLE, 200, 195), difference_l2(TABLE, 200, 20)

    assert near < 0.05 * far
    assert far < (1.5**2 + 1.1**2) / 1.96**2


@pytest.mark.parametrize("kind", ["long_haul", "city", "excavator", "generator"])
def test_most_of_what_was_planted_in_a_week_of_any_work_is_found(kind):
    log = simulate_log(kind, 501, days=7, period_s=30.0, plain=True)

    watched = watch_vehicle(log.track, log.table)

    big = [t for t in log.truth if t.litres > 0.05 * log.capacity_l]
    hit = [
        any(
            e.kind == t.kind and e.start_s - 120 < t.end_s and e.end_s + 120 > t.start_s
            for e in watched.events
        )
        for t in big
    ]
    assert len(big) > 2
    assert np.mean(hit) > 0.8


def test_a_load_that_shifts_is_taken_off_where_the_log_tells_the_tilt():
    rng = np.random.default_rng(3)
    plain = truck(lambda level: level)
    moving = plain.speed_kmh > 0
    stop = np.cumsum(np.diff(moving.astype(int), prepend=0) != 0)
    pitch = rng.normal(0, 1.5, stop.max() + 1)[stop] * ~moving
    pitch[NIGHT : 24 * HOUR + 6 * HOUR] -= 3.0
    tilted = truck(lambda level: level - 60.0 + 5.0 * pitch, place_l=0.0)
    told = Track(
        "T-7", tilted.time_s, tilted.counts, tilted.speed_kmh, tilted.ignition, pitch_deg=pitch
    )

    assert watch_vehicle(tilted, TABLE).undecided
    watched = watch_vehicle(told, TABLE)
    assert watched.events == ()
    assert watched.undecided == ()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_records_whatever_are_judged_without_a_fault(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 400))
    period = float(rng.choice([5, 30, 60, 300, 900]))
    step = rng.choice([period, 20 * period, 90_000.0], n, p=[0.95, 0.04, 0.01])
    counts = np.clip(2000 + np.cumsum(rng.normal(0, rng.choice([0, 1, 30]), n)), -200, 4400)
    counts[rng.random(n) < rng.choice([0, 0.1])] = np.nan
    speed = np.where(np.cumsum(rng.random(n) < 0.05) % 2 > 0, 50.0, rng.choice([0.0, np.nan]))
    ignition = np.where(rng.random(n) < rng.choice([0, 0.5, 1]), 1.0, rng.choice([0.0, np.nan]))
    more = {
        name: np.cumsum(rng.random(n)) if name == "engine_fuel_l" else rng.normal(size=n)
        for name in ("engine_fuel_l", "pitch_deg", "roll_deg")
        if rng.random() < 0.4
    }
    track = Track("T-7", 1.7e9 + np.cumsum(step), counts.round(), speed, ignition, **more)

    watched = watch_vehicle(track, TABLE)

    assert watched.records == n
    assert all(e.litres > 0 and e.u_litres > 0 and e.start_s <= e.end_s for e in watched.events)
    starts = [e.start_s for e in watched.events]
    assert starts == sorted(starts)


def moved_about(fall_l: float) -> Track:
    """A month of a trailer that stands elsewhere ninety times, of which no record tells.

    Its cooler runs all the time and is all that the ignition's column tells of.
    """
    rng = np.random.default_rng(3)
    n = 30 * 1440
    level = np.where(np.arange(n) >= 20_000, 300.0 - fall_l, 300.0) + 0.3 * rng.normal(size=n)
    for k in np.sort(rng.choice(np.arange(200, n - 200), 90, replace=False)):
        level[k:] += rng.normal(0, 6.0)
        level[k:] -= 0.1 * (level[k] - 300.0 + (fall_l if k >= 20_000 else 0.0))
    counts = np.interp(np.clip(level, 2, 400), TABLE.litres, TABLE.counts).round()
    return Track("T-9", 1.7e9 + 60.0 * np.arange(n), counts, np.full(n, np.nan), np.ones(n))


@pytest.mark.parametrize("litres", [0.0, 60.0])
def test_falls_as_frequent_as_rises_that_are_no_refuels_are_not_decidable(litres):
    watched = watch_vehicle(moved_about(litres), TABLE)

    assert len(drains(watched)) <= 3
    assert any(abs(drained - litres) < 6.0 for drained in drains(watched)) or not litres
    assert sum("rises as far without a refuel" in each.reason for each in watched.undecided) >= 10
    assert watched.provable_parked_l > 10.0


def stops(pours: bool) -> Track:
    """Forty stops of an hour between drives, every third begun with a pour of 60 L."""
    rng = np.random.default_rng(5)
    moving = np.tile(np.repeat([True, False], [60, 60]), 40)
    begins = np.flatnonzero(np.diff(moving.astype(int)) == -1)[2:-1:3]
    level = 200.0 - np.cumsum(np.where(moving, 0.35, 0.0))
    for at in begins:
        litres = np.clip((np.arange(level.size) - at - 1) / 4.0, 0.0, 1.0)
        level = level + (60.0 if pours else 0.1) * litres
    level = level - (np.linspace(0, level[-1] - 60.0, level.size) if pours else 0.0)
    level += np.where(moving, 2.0, 0.2) * rng.normal(size=level.size)
    counts = np.interp(np.clip(level, 2, 400), TABLE.litres, TABLE.counts).round()
    time = 1.7e9 + 60.0 * np.arange(level.size)
    return Track("T-3", time, counts, np.where(moving, 50.0, 0.0), moving * 1.0)


def test_refuels_that_begin_stops_do_not_make_the_first_minutes_of_all_stops_doubtful():
    watched = watch_vehicle(stops(pours=True), TABLE)
    refuels = [event for event in watched.events if event.kind == EventKind.REFUEL]

    assert len(refuels) == 13
    assert np.median([event.u_litres for event in refuels]) < 6.0


def test_a_hole_of_an_engine_that_never_rests_is_its_use_and_one_without_a_fall_no_refuel():
    rng = np.random.default_rng(9)
    n = 10 * 1440
    hours = np.arange(n) / 60.0
    level = 390.0 - 1.5 * hours
    keep = np.ones(n, np.bool_)
    keep[5000:5300] = False
    generator = Track("G-1", 1.7e9 + 3600 * hours, level, np.zeros(n), np.ones(n))
    litres = np.clip(level + 0.4 * rng.normal(size=n), 2, 400)
    for told in (litres, np.where(np.arange(n) >= 5300, litres + 7.5, litres)):
        counts = np.interp(told, TABLE.litres, TABLE.counts).round()
        track = replace(
            generator,
            time_s=generator.time_s[keep],
            counts=counts[keep],
            speed_kmh=generator.speed_kmh[keep],
            ignition=generator.ignition[keep],
        )
        assert watch_vehicle(track, TABLE).events == ()


def test_a_fall_across_a_night_without_records_is_named_unless_it_is_told_already():
    track = truck(less(7.0), hole(10 * HOUR, 2 * HOUR))
    seen = look(track, TABLE)
    (open_one,) = across_holes("T-7", seen, [], 400.0)

    assert "the level fell by" in open_one.reason
    assert open_one.litres == pytest.approx(-7.0, abs=2.0)
    assert across_holes("T-7", seen, [(open_one.start_s, open_one.end_s)], 400.0) == []
    same = look(truck(lambda level: level, hole(10 * HOUR, 2 * HOUR)), TABLE)
    assert across_holes("T-7", same, [], 400.0) == []
