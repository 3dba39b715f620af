"""Receipts of one job held against its log."""

import numpy as np
import pytest

from gaugewright.app.watch_reconciled import held_against
from gaugewright.table.table import Table
from gaugewright.watch.receipts import Receipt
from gaugewright.watch.values import Event, EventKind, Noise, Track, Watched

T0 = 1_772_323_200.0
FILLED_S = T0 + 10 * 3600.0
TIME_S = T0 + 60.0 * np.arange(1440)
TRACK = Track("T-7", TIME_S, np.full(1440, 2000.0), np.zeros(1440), np.zeros(1440))
TABLE = Table(np.array([0.0, 4095.0]), np.array([20.0, 500.0]), None)


def verdict(before_l: float, after_l: float, paid_l: float) -> str:
    refuel = Event("T-7", EventKind.REFUEL, FILLED_S, FILLED_S + 360, after_l - before_l, 2.0,
                   before_l, after_l, 9.0, "", 600, 606)  # fmt: skip
    shown = Watched("T-7", (refuel,), (), Noise(0.3, 2, 2, 1, 10), 1440, 86_340.0, 5.0, 9.0)
    paid = (Receipt("T-7", FILLED_S + 600, paid_l, 1),)
    return held_against(paid, TRACK, TABLE, shown).lines[0].verdict


@pytest.mark.parametrize(
    ("before_l", "after_l", "expected"),
    [
        pytest.param(100.0, 450.0, "short", id="all of it in the probe's sight"),
        pytest.param(150.0, 500.0, "no_data", id="to the probe's top"),
        pytest.param(20.0, 370.0, "no_data", id="from below the probe's tip"),
    ],
)
def test_fuel_that_went_in_beyond_the_probe_is_not_called_short(before_l, after_l, expected):
    assert verdict(before_l, after_l, paid_l=370.0) == expected


def test_a_receipt_of_an_hour_without_records_says_so():
    heard = (TIME_S < FILLED_S + 3600 * 4) | (TIME_S > FILLED_S + 3600 * 6)
    track = Track("T-7", *(column[heard] for column in (
        TIME_S, TRACK.counts, TRACK.speed_kmh, TRACK.ignition)))  # fmt: skip
    nothing = Watched("T-7", (), (), Noise(0.3, 2, 2, 1, 10), 1320, 86_340.0, 5.0, 9.0)
    paid = (Receipt("T-7", FILLED_S + 5 * 3600.0, 90.0, 1),)

    line = held_against(paid, track, TABLE, nothing).lines[0]

    assert (line.verdict, "no records for 2.0 hours" in line.message) == ("no_data", True)
