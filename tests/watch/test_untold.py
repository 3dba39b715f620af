"""Logs that do not tell the speed, the engine, or either: what the readings alone still say."""

from dataclasses import replace

import numpy as np
import pytest
from tests.watch.test_detect import HOUR, NIGHT, TABLE, drains, less, truck
from tests.watch.test_misleading import generator

from gaugewright.testing.logs import simulate_log
from gaugewright.watch.bins import bins_of
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.untold import with_engine
from gaugewright.watch.values import EventKind, Floats, Track

QUANTUM_L = 0.1


def without(track: Track, *columns: str) -> Track:
    nothing = np.full(track.time_s.size, np.nan)
    return replace(track, **dict.fromkeys(columns, nothing))


def thirsty(use_l_h: float) -> tuple[Track, Floats]:
    """Return eight days of a machine that never moves, and what its ignition would tell."""
    track = generator()
    hours = (track.time_s - track.time_s[0]) / 3600
    more = np.cumsum(track.ignition) / HOUR * (use_l_h - 6.0)
    refuelled = 150.0 * (hours > 100.0)
    counts = track.counts - np.interp(more - refuelled, [-400, 400], [-4000, 4000])
    return replace(track, counts=np.clip(counts, 5, 3995)), track.ignition


def test_when_an_engine_ran_is_told_by_the_fuel_that_went():
    track, ignition = thirsty(9.0)
    bins = bins_of(without(track, "speed_kmh", "ignition"), TABLE)

    found = with_engine(bins, QUANTUM_L, is_speed_told=False)

    assert ((found.running > 0.5) == (ignition[bins.first] > 0.5)).mean() > 0.95


def test_a_tank_from_which_nothing_is_used_tells_of_no_engine():
    track, _ = thirsty(0.0)
    bins = bins_of(without(track, "speed_kmh", "ignition"), TABLE)

    assert with_engine(bins, QUANTUM_L, is_speed_told=False) is bins


def test_what_a_record_tells_of_the_engine_stands():
    track, _ = thirsty(9.0)
    bins = bins_of(without(track, "speed_kmh"), TABLE)

    assert with_engine(bins, QUANTUM_L, is_speed_told=False) is bins


@pytest.mark.parametrize("use_l_h", [6.0, 9.0])
def test_a_refuel_of_a_machine_of_which_nothing_is_told_is_found_and_its_use_is_no_drain(use_l_h):
    track, _ = thirsty(use_l_h)

    watched = watch_vehicle(without(track, "speed_kmh", "ignition"), TABLE)

    (event,) = watched.events
    assert event.kind == EventKind.REFUEL
    assert abs(event.litres - 150.0) < event.u_litres
    assert "engine running" not in event.reason


def test_a_vehicle_whose_speed_is_not_told_does_not_lose_fuel_by_stopping_on_slopes():
    plain = without(truck(lambda litres: litres, place_l=5.0), "speed_kmh")
    drained = without(truck(less(40.0), place_l=5.0), "speed_kmh")

    assert drains(watch_vehicle(plain, TABLE)) == []
    (litres,) = drains(watch_vehicle(drained, TABLE))
    assert litres == pytest.approx(40.0, abs=2.0)


def test_a_small_fall_with_the_engine_on_may_be_a_slope_where_no_speed_is_told():
    level = truck(less(9.0))
    middle_s = 1.7e9 + 10.0 * (NIGHT + 6)
    idles = np.abs(level.time_s - middle_s) < 3 * 3600
    track = without(replace(level, ignition=np.where(idles, 1.0, level.ignition)), "speed_kmh")

    watched = watch_vehicle(track, TABLE)

    assert drains(watched) == []
    (found,) = [one for one in watched.undecided if one.start_s < middle_s < one.end_s]
    assert "no record tells whether the vehicle moved" in found.reason


def test_fuel_that_comes_while_the_engine_runs_is_found_where_no_speed_is_told():
    log = simulate_log("city", 42, days=12, period_s=10.0)

    watched = watch_vehicle(without(log.track, "speed_kmh"), log.table)

    came = [true for true in log.truth if true.kind == EventKind.REFUEL]
    found = [event for event in watched.events if event.kind == EventKind.REFUEL]
    assert len(came) > 3
    assert len(found) == len(came)
    for true, event in zip(came, found, strict=True):
        assert event.start_s - 120 < true.end_s
        assert event.end_s + 120 > true.start_s
