"""A probe that averages: its time constant is learnt from refuels, and taken off beside them."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.watch.averaging import without_averaging
from gaugewright.watch.bins import bins_of, only
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.values import EventKind, Floats, Track

TABLE = Table(np.array([0.0, 4000.0]), np.array([0.0, 400.0]), np.array([1.0, 1.0]))
STEP_S = 5.0
DAY = round(86400 / STEP_S)
POURED_L, PUMP_L_S = 180.0, 1.0
REFUELS = 6


def averaged(lag_s: float, period_s: float, leaves_s: float, falls_l: float = 0.0) -> Track:
    """Return seven days of a truck that is filled each day but the last at noon, read by a probe
    that averages with ``lag_s``.

    It stands for ten minutes before, and leaves so many seconds after the pump has stopped.
    ``falls_l`` are drained from four to two minutes before the pump runs on the fourth day.
    """
    rng = np.random.default_rng(3)
    seconds: Floats = np.arange((REFUELS + 1) * DAY) * STEP_S
    of_day = seconds % 86400
    pump_s = POURED_L / PUMP_L_S
    drives = (of_day > 8 * 3600) & (of_day < 18 * 3600)
    drives &= ~((of_day > 12 * 3600 - 600) & (of_day < 12 * 3600 + pump_s + leaves_s))
    litres = 230 - np.cumsum(POURED_L / 36000 * STEP_S * drives)
    for day in range(REFUELS):
        noon = day * 86400 + 12 * 3600
        litres += POURED_L * np.clip((seconds - noon) / pump_s, 0, 1)
    litres -= falls_l * np.clip((seconds - 3 * 86400 - 12 * 3600 + 240) / 120, 0, 1)
    level = litres + np.where(drives, 4.0, 0.5) * rng.normal(size=seconds.size)
    if lag_s:
        keep = float(np.exp(-STEP_S / lag_s))
        for k in range(1, level.size):
            level[k] = keep * level[k - 1] + (1 - keep) * level[k]
    at = slice(0, None, round(period_s / STEP_S))
    return Track(
        "T", 1.7e9 - 1.7e9 % 86400 + seconds[at], np.round(10 * level[at]),
        np.where(drives, 60.0, 0.0)[at], drives[at] * 1.0,
    )  # fmt: skip


@pytest.mark.parametrize(("lag_s", "period_s"), [(20.0, 10.0), (60.0, 10.0), (50.0, 30.0)])
def test_the_time_constant_is_learnt_from_how_refuels_settle(lag_s, period_s):
    track = averaged(lag_s, period_s, 300.0)

    found = watch_vehicle(track, TABLE).noise.lag_s

    assert found == pytest.approx(lag_s, rel=0.1)


@pytest.mark.parametrize("lag_s", [0.0, 1.0])
def test_without_averaging_nothing_is_changed(lag_s):
    track = averaged(lag_s, 30.0, 300.0)
    bins = bins_of(track, TABLE)

    left, found = without_averaging(track, TABLE, bins)

    assert left is bins
    assert np.isnan(found)


def test_a_vehicle_that_leaves_before_its_probe_has_settled_got_what_the_pump_gave():
    """Two minutes after the pump a time constant of a minute leaves 8 of 60 L to come."""
    watched = watch_vehicle(averaged(60.0, 10.0, 120.0), TABLE)

    litres = [event.litres for event in watched.events if event.kind == EventKind.REFUEL]
    assert len(litres) == REFUELS
    assert np.median(litres) == pytest.approx(POURED_L, abs=1.5)
    assert np.allclose(litres, POURED_L, atol=4.0)


def test_a_drain_minutes_before_a_refuel_and_the_refuel_are_each_seen_whole():
    events = watch_vehicle(averaged(60.0, 10.0, 300.0, falls_l=30.0), TABLE).events

    (drain,) = [event for event in events if event.kind == EventKind.DRAIN]
    refuel = next(event for event in events if event.start_s >= drain.end_s)
    assert drain.litres == pytest.approx(30.0, abs=1.5)
    assert refuel.litres == pytest.approx(POURED_L, abs=1.5)


def test_a_reading_of_nothing_beside_a_refuel_does_not_spread():
    """What follows a probe that starts anew is not turned round as if it had fallen and risen."""
    track = averaged(60.0, 10.0, 300.0)
    noon = int(np.argmax(track.counts[: DAY // 2] > track.counts[0] + 900))
    wrong = track.counts.copy()
    wrong[noon + 16 : noon + 18] = 0.0
    faulty = Track("T", track.time_s, wrong, track.speed_kmh, track.ignition)

    right, other = (
        without_averaging(one, TABLE, bins_of(one, TABLE))[0].level_l for one in (track, faulty)
    )

    apart = np.abs(right - other)
    assert np.sum(apart > 2.0) <= 2


def test_two_halves_of_a_minute_stay_two_where_what_lay_between_was_left_out():
    track = averaged(60.0, 10.0, 300.0)
    noon = int(np.argmax(track.counts[: DAY // 2] > track.counts[0] + 900))
    speed = track.speed_kmh.copy()
    speed[noon + 15 : noon + 27] = np.where(np.arange(12) % 6 == 3, 50.0, 0.0)
    halted = Track("T", track.time_s, track.counts, speed, track.ignition)
    bins = bins_of(halted, TABLE)
    halves = only(bins, ~bins.moving)

    left, lag_s = without_averaging(halted, TABLE, halves)

    assert np.isfinite(lag_s)
    assert left.level_l.size == halves.level_l.size


def test_a_level_that_creeps_up_by_little_after_the_pump_is_no_averaging_of_a_minute():
    """A litre a second and a time constant of a minute leave 60 L to come, not 2."""
    track = averaged(0.0, 10.0, 300.0)
    of_day = track.time_s % 86400 - 12 * 3600 - POURED_L / PUMP_L_S
    creeps = 20.0 * (1 - np.exp(-np.clip(of_day, 0, None) / 60.0)) * (of_day < 3600)

    track = replace(track, counts=np.round(track.counts + creeps))

    assert not watch_vehicle(track, TABLE).noise.lag_s > 15.0


def test_the_first_reading_after_a_frozen_probe_is_no_overshoot_and_fall():
    track = averaged(50.0, 30.0, 900.0)
    noon_s = track.time_s[0] + 3 * 86400 + 12 * 3600
    frozen = (track.time_s > noon_s - 400) & (track.time_s < noon_s + POURED_L / PUMP_L_S + 300)
    counts = track.counts.copy()
    counts[frozen] = counts[frozen][0]

    watched = watch_vehicle(replace(track, counts=counts), TABLE, least_score=-np.inf)

    assert {event.kind for event in watched.events} == {EventKind.REFUEL}
    assert len(watched.events) == REFUELS
