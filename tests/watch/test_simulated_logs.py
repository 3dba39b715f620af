"""The truth of the simulated logs that the watch is scored on."""

import numpy as np

from gaugewright.testing.log_sight import EXPANSION_PER_C
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.values import EventKind


def shown_and_stated(seed):
    """Return of each refuel what the level shows, and what is stated, over its litres at 15 °C.

    Read by a table without errors.
    """
    log = simulate_log("generator", seed, days=15, period_s=60.0, drains_per_day=0.0, plain=True)
    levels = np.linspace(0.0, min(log.sight.top_part, 1.0), 400) * log.capacity_l
    read = np.interp(log.track.counts, log.sight.counts_of(levels), levels)
    since = log.track.time_s
    for event in (e for e in log.truth if e.kind == EventKind.REFUEL):
        before = (since > event.start_s - 900) & (since < event.start_s)
        after = (since > event.end_s + 300) & (since < event.end_s + 900)
        if before.any() and after.any() and read[after].max() < 0.98 * levels[-1]:
            at_15_c = log.true_l[after].mean() - log.true_l[before].mean()
            shown = read[after].mean() - read[before].mean()
            yield shown / at_15_c, event.litres / event.litres_at_15_c


def test_a_refuel_is_stated_at_the_temperature_at_which_the_level_shows_it():
    shown, stated = np.array([row for seed in range(6) for row in shown_and_stated(seed)]).T

    assert shown.size > 5
    assert np.ptp(stated) > 10 * EXPANSION_PER_C
    assert np.abs(shown - stated).max() < 0.4 * np.abs(shown - 1).max()


def test_a_receipt_says_what_came_in_the_same_litres():
    log = simulate_log("long_haul", 3, days=20, period_s=60.0, plain=True)
    refuels = [event for event in log.truth if event.kind == EventKind.REFUEL]

    assert len(log.receipts) > 3
    for receipt in log.receipts:
        if receipt.refuel < len(refuels):
            assert receipt.true_l == refuels[receipt.refuel].litres
