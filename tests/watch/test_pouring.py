"""A refuel's litres by the records at rest about it, however short the stop."""

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.values import Event, EventKind, Floats, Track

TABLE = Table(np.array([0.0, 4000.0]), np.array([0.0, 400.0]), np.array([1.0, 1.0]))
STEP_S, DAYS = 10.0, 6
DAY = round(86400 / STEP_S)
POURED_L, PUMP_S = 150.0, 150.0
NOON_S = 12 * 3600.0


def refuels(
    stands_s: float,
    leaves_s: float,
    wrong: dict[float, float] | None = None,
    silent: tuple[float, float] | None = None,
) -> list[Event]:
    """Return the refuels of six days: at noon the truck stands so long before and after the pump.

    Each place has a slope of its own. ``wrong`` are litres read at seconds since the pump was
    switched on; between the two of ``silent`` there are no records.
    """
    rng = np.random.default_rng(11)
    seconds: Floats = np.arange(DAYS * DAY) * STEP_S
    of_day = seconds % 86400 - NOON_S
    drives = (np.abs(of_day) < 4 * 3600) & ~((of_day > -stands_s) & (of_day < PUMP_S + leaves_s))
    litres = 230 - np.cumsum(POURED_L / (8 * 3600) * STEP_S * drives)
    poured = np.clip(of_day / PUMP_S, 0, 1) + np.floor(seconds / 86400)
    place = np.cumsum(np.diff(drives, prepend=False))
    level = litres + POURED_L * poured + rng.normal(0, 3.0, place[-1] + 1)[place] * ~drives
    level += np.where(drives, 4.0, 0.3) * rng.normal(size=seconds.size)
    for after_s, read_l in (wrong or {}).items():
        level[np.abs(of_day - after_s) < STEP_S / 2] = read_l
    kept = np.ones(seconds.size, np.bool_)
    if silent is not None:
        kept = (of_day < silent[0]) | (of_day > silent[1])
    track = Track(
        "T", 1.7e9 - 1.7e9 % 86400 + seconds[kept], np.round(10 * level[kept]),
        np.where(drives, 60.0, 0.0)[kept], drives[kept] * 1.0,
    )  # fmt: skip
    return [e for e in watch_vehicle(track, TABLE).events if e.kind == EventKind.REFUEL]


@pytest.mark.parametrize(("stands_s", "leaves_s"), [(40.0, 300.0), (200.0, 40.0), (45.0, 50.0)])
def test_half_a_minute_before_the_pump_and_after_it_is_enough(stands_s, leaves_s):
    found = refuels(stands_s, leaves_s)

    assert len(found) == DAYS
    assert np.allclose([event.litres for event in found], POURED_L, atol=1.0)
    assert max(event.u_litres for event in found) < 5.0


def test_wrong_readings_while_the_pump_runs_do_not_count():
    found = refuels(200.0, 300.0, wrong={60.0: 395.0, 100.0: 395.0, 110.0: 395.0})

    assert len(found) == DAYS
    assert np.allclose([event.litres for event in found], POURED_L, atol=1.0)


def test_a_refuel_in_a_hole_of_the_record_is_still_told_within_its_band():
    found = refuels(200.0, 1500.0, silent=(-60.0, 1400.0))

    assert len(found) == DAYS
    assert all(abs(event.litres - POURED_L) <= event.u_litres for event in found)
