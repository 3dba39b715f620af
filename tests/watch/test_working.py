"""Work without moving is told from rest; a drain while the engine idles is no work."""

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.watch.bins import Bins, bins_of
from gaugewright.watch.values import Track
from gaugewright.watch.working import working

TABLE = Table(np.array([0.0, 4000.0]), np.array([0.0, 400.0]), None)
QUANTUM_L = 0.1
SPELL = 45
"""Minutes of a spell; work and rest by turns, a short drive after each six."""


def digger(
    slosh_l: float = 2.0, *, drain_l: float = 0.0, drives: bool = True, period_s: float = 60.0
) -> tuple[Bins, np.ndarray]:
    """Return the minutes of a machine that digs, drives a bit and idles, and which are work."""
    rng = np.random.default_rng(5)
    each = int(SPELL * 60 / period_s)
    doing = np.repeat(np.tile([1, 1, 0, 1, 0, 2], 12), each)
    sd = np.choose(doing, [0.15, slosh_l, 5.0])
    litres = (
        300.0 - np.cumsum(np.full(doing.size, 2.0 / doing.size)) + sd * rng.normal(size=sd.size)
    )
    start = 2 * each + each // 2
    litres -= drain_l * np.clip((np.arange(sd.size) - start) / (240.0 / period_s), 0, 1)
    speed = np.where((doing == 2) & drives, 20.0, 0.0)
    time_s = 6e8 + period_s * np.arange(sd.size)
    on = np.ones(sd.size)
    bins = bins_of(Track("T", time_s, np.round(litres * 10), speed, on), TABLE)
    return bins, doing[bins.first] == 1


@pytest.mark.parametrize("period_s", [10.0, 60.0])
def test_minutes_at_work_and_at_rest_are_told_apart(period_s):
    bins, at_work = digger(period_s=period_s)

    found = working(bins, QUANTUM_L)

    assert found is not None
    standing = ~bins.moving
    assert (found != at_work)[standing].mean() < 0.03


def test_a_drain_from_an_idling_machine_is_no_work():
    bins, at_work = digger(drain_l=40.0)

    found = working(bins, QUANTUM_L)

    assert found is not None
    drained = slice(2 * SPELL + 15, 2 * SPELL + 35)
    assert not at_work[drained].any()
    assert not found[drained].any()


def test_a_machine_that_only_idles_has_no_two_kinds_of_minutes():
    bins, _ = digger(slosh_l=0.15)

    assert working(bins, QUANTUM_L) is None


def tipper(*, sloshes: float, filled_l: float = 0.0) -> tuple[Bins, np.ndarray]:
    """Return the minutes of a machine whose speed is not told, and when its engine is on."""
    rng = np.random.default_rng(8)
    on = np.repeat(np.tile([False, True], 20), SPELL)
    litres = 200.0 + np.where(on, sloshes, 0.15) * rng.normal(size=on.size)
    litres += filled_l * np.clip((np.arange(on.size) - SPELL - 20) / 8.0, 0, 1)
    time_s = 6e8 + 60.0 * np.arange(on.size)
    untold = np.full(on.size, np.nan)
    return bins_of(Track("T", time_s, np.round(litres * 10), untold, on * 1.0), TABLE), on


def test_a_machine_that_sloshes_whenever_its_engine_runs_is_at_work_then():
    bins, on = tipper(sloshes=2.0)

    found = working(bins, QUANTUM_L, is_speed_told=False)

    assert found is not None
    assert (found == on).all()


def test_a_machine_as_calm_with_its_engine_on_only_rests():
    bins, _ = tipper(sloshes=0.25)

    assert working(bins, QUANTUM_L, is_speed_told=False) is None


def test_fuel_that_flows_while_the_engine_runs_is_no_work():
    bins, on = tipper(sloshes=2.0, filled_l=150.0)

    found = working(bins, QUANTUM_L, is_speed_told=False)

    assert found is not None
    assert not found[SPELL + 21 : SPELL + 28].any()
    assert found[on].mean() > 0.95
