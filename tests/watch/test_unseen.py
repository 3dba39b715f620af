"""What a refuel's litres mean: at the fuel's own warmth, and with what no probe sees."""

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.unseen import UNSEEN, UNSEEN_PART
from gaugewright.watch.values import Event, EventKind, Floats, Track

TABLE = Table(np.array([0.0, 4000.0]), np.array([0.0, 400.0]), np.array([1.0, 1.0]))
HOUR = 60
DAYS = 10


def refuelled(
    into_l: float, *, swing: float = 0.0, hour: int = 20, until_h: float = 0, sinks_l: float = 0.0
) -> Event:
    """Return the one refuel of ten days of a truck, at an hour of the sixth that it stands.

    It burns 2 L an hour for eight hours a day; its fuel is warmed by the hour of the day and
    swells by ``swing`` of its litres; the probe sees no more than 400 L, and ``sinks_l`` less
    from six minutes after the pump stopped until it drives.
    """
    rng = np.random.default_rng(5)
    drives = np.tile(np.repeat([False, True, False], [7 * HOUR, 8 * HOUR, 9 * HOUR]), DAYS)
    time_s = 6e8 - 6e8 % 86400 + 60.0 * np.arange(drives.size)
    at = 5 * 24 * HOUR + hour * HOUR
    litres = 280.0 - np.cumsum(drives * 2.0 / HOUR)
    litres += into_l * np.clip((np.arange(drives.size) - at) / 5, 0, 1)
    level: Floats = litres * (1 + swing * np.sin(2 * np.pi * time_s / 86400.0))
    level += np.where(drives, 2.0, 0.1) * rng.normal(size=level.size)
    minute = np.arange(drives.size)
    is_lower = (minute >= at + 11) & (minute < 6 * 24 * HOUR + 7 * HOUR)
    top_l = np.where(is_lower, 400.0 - sinks_l, 400.0)
    counts = np.round(10 * np.minimum(np.clip(level, 0.0, 400.0), top_l))
    end = at + int(until_h * HOUR) if until_h else drives.size
    track = Track("T", time_s, counts, np.where(drives, 60.0, 0.0), drives * 1.0)
    cut = Track(
        "T", *(column[:end] for column in (time_s, counts, track.speed_kmh, track.ignition))
    )
    (event,) = watch_vehicle(cut, TABLE).events
    assert event.kind == EventKind.REFUEL
    return event


@pytest.mark.parametrize("hour", [5, 18])
def test_litres_are_those_at_the_temperature_that_the_fuel_has(hour):
    """A meter without compensation counts them so, and so does the level: here 1 % apart."""
    warm = 1 + 0.008 * np.sin(2 * np.pi * hour / 24)

    event = refuelled(100.0, swing=0.008, hour=hour)

    assert abs(warm - 1) > 0.007
    assert event.litres == pytest.approx(100.0 * warm, abs=0.35)


def test_what_is_above_the_table_is_told_by_when_the_level_comes_down():
    event = refuelled(224.0)  # 184 L before it: the last 8 L are above the probe

    assert 400.0 - event.before_l < 219.0
    assert event.litres == pytest.approx(224.0, abs=event.u_litres)
    assert abs(event.litres - 224.0) < 3.0
    assert event.u_litres < UNSEEN_PART * 400.0
    assert "above the top of the table, by when the level came down" in event.reason


def test_a_reading_that_stood_at_the_top_and_sank_is_said_to_hide_what_is_above():
    event = refuelled(224.0, sinks_l=3.0)

    assert event.after_l < 399.0
    assert event.reason.endswith(UNSEEN)
    assert event.litres == pytest.approx(224.0, abs=event.u_litres)


def test_until_the_level_has_come_down_nothing_is_said_of_what_is_above():
    event = refuelled(224.0, until_h=6)

    assert event.litres < 219.0
    assert event.u_litres > UNSEEN_PART * 400.0
    assert event.reason.endswith(UNSEEN)


def test_a_second_tank_behind_a_pipe_is_waited_for():
    """Right after a refuel the probe's tank holds what is still to flow to the other."""
    log = simulate_log("long_haul", 56, days=20, period_s=60.0)
    assert log.sight.balance
    refuels = [true for true in log.truth if true.kind == EventKind.REFUEL]
    off, held = [], []
    for event in watch_vehicle(log.track, log.table).events:
        meant = [t for t in refuels if t.start_s < event.end_s and t.end_s > event.start_s]
        if event.kind == EventKind.REFUEL and len(meant) == 1:
            off.append(abs(event.litres / meant[0].litres - 1))
            held.append(abs(event.litres - meant[0].litres) <= event.u_litres)

    assert len(off) > 10
    assert np.median(off) < 0.03
    assert np.mean(held) > 0.85
