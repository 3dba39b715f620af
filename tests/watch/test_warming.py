"""The level that goes with the work done and the hour of the day is taken off, fuel is not."""

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.bins import Bins, bins_of
from gaugewright.watch.spells import spells_of
from gaugewright.watch.values import Track
from gaugewright.watch.warming import warmed

TABLE = Table(np.array([0.0, 4000.0]), np.array([0.0, 400.0]), None)
QUANTUM_L = 0.1
HOUR = 60
LITRES = 300.0


def month(heat: float, daily: float, drain_l: float = 0.0) -> Bins:
    """Return ten days, eight hours of drive each, of one level that warmth moves; parts of it."""
    rng = np.random.default_rng(11)
    drives = np.tile(np.repeat([False, True, False], [7 * HOUR, 8 * HOUR, 9 * HOUR]), 10)
    time_s = 6e8 + 60.0 * np.arange(drives.size)
    warm = np.zeros(drives.size)
    for i in range(1, drives.size):
        warm[i] = warm[i - 1] + (drives[i] - warm[i - 1]) * 60.0 / 7200.0
    level = LITRES * (1 + heat * warm + daily * np.sin(2 * np.pi * time_s / 86400.0 - 2.5))
    level -= drain_l * (np.arange(drives.size) > 5 * 24 * HOUR + 20 * HOUR)
    level += np.where(drives, 4.0, 0.1) * rng.normal(size=level.size)
    counts = np.round(10 * level)
    return bins_of(Track("T", time_s, counts, np.where(drives, 60.0, 0.0), drives * 1.0), TABLE)


def drift(bins: Bins) -> float:
    parked = bins.running < 0.5
    return float(np.std(bins.level_l[parked]))


def test_the_drift_of_warmth_is_taken_off():
    bins = month(heat=0.006, daily=0.004)

    level = warmed(bins, spells_of(bins, QUANTUM_L), QUANTUM_L)

    assert drift(bins) > 0.7
    assert drift(level) < 0.2


def test_a_drain_among_it_keeps_its_litres():
    bins = month(heat=0.006, daily=0.004, drain_l=8.0)

    level = warmed(bins, spells_of(bins, QUANTUM_L), QUANTUM_L).level_l

    at = 5 * 24 * HOUR + 20 * HOUR
    assert abs(level[at - 20 : at].mean() - level[at + 5 : at + 25].mean() - 8.0) < 0.25


def test_a_level_that_warmth_does_not_move_is_left_as_it_is():
    bins = month(heat=0.0, daily=0.0)

    level = warmed(bins, spells_of(bins, QUANTUM_L), QUANTUM_L)

    assert np.abs(level.level_l - bins.level_l).max() < 0.05
