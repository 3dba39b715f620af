"""Records in minutes: the level of a minute is the middle of its litres."""

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.watch.bins import bins_of
from gaugewright.watch.values import Track

TABLE = Table(np.array([10.0, 500.0, 900.5, 4000.0]), np.array([3.0, 90.0, 200.0, 400.0]), None)


def binned(counts, period_s=10.0):
    nothing = np.zeros(counts.size)
    track = Track("T", 6e8 + period_s * np.arange(counts.size), counts, nothing, nothing)
    return bins_of(track, TABLE)


@pytest.mark.parametrize("part", [0.0, 0.37])
def test_litres_are_those_of_the_table_for_whole_counts_and_others(part):
    counts = np.random.default_rng(3).integers(0, 4100, 600).astype(float) + part

    bins = binned(counts, period_s=60.0)

    assert bins.level_l == pytest.approx(np.interp(counts, TABLE.counts, TABLE.litres), abs=1e-9)


@pytest.mark.parametrize("records", [2, 5, 6, 8, 9, 30, 60])
def test_a_minute_has_the_mean_of_the_middle_third_of_its_litres(records):
    counts = np.random.default_rng(records).integers(20, 3900, records * 50).astype(float)

    bins = binned(counts, period_s=60.0 / records)

    litres = np.sort(np.interp(counts, TABLE.counts, TABLE.litres).reshape(50, records))
    cut = (records - 1) // 2 if records < 6 else records // 3
    assert bins.records.tolist() == [records] * 50
    assert bins.level_l == pytest.approx(litres[:, cut : records - cut].mean(axis=1), abs=1e-9)


def test_counts_far_outside_the_table_are_left_out():
    counts = np.array([100.0, -500.0, np.nan, 65535.0, 4300.0, 100.0])

    assert binned(counts).records.tolist() == [3]
