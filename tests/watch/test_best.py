"""A refuel's litres from its stop and from outside it, where the stop may not show all of it."""

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.watch.best import best_litres
from gaugewright.watch.change import Change


def refuel(inside_l, outside_l, *, inside_sd=1.0, outside_sd=3.0, minutes_after=1):
    """Return the litres and their standard deviation of a refuel in a stop of 30 minutes."""
    change = Change(0, 30 - minutes_after - 4, 30 - minutes_after, inside_l, inside_sd**2,
                    outside_l, outside_sd**2, True)  # fmt: skip
    spells = SimpleNamespace(low=[0], high=[30])
    litres, var = best_litres(SimpleNamespace(spells=spells), change)
    return litres, var**0.5


def test_what_came_after_the_last_minute_at_rest_is_told_by_the_outside():
    litres, sd = refuel(200.0, 320.0)

    assert litres == pytest.approx(320.0, abs=1.0)
    assert sd < 6.0


def test_an_outside_that_has_less_does_not_pull_down_what_the_stop_shows():
    litres, _ = refuel(400.0, 392.0, outside_sd=4.0)

    assert litres == pytest.approx(400.0, abs=2.0)


def test_a_refuel_with_minutes_at_rest_after_it_is_that_of_the_stop():
    litres, sd = refuel(200.0, 212.0, minutes_after=12)

    assert litres == pytest.approx(200.0, abs=2.0)
    assert sd > 1.5 * refuel(200.0, 201.0, minutes_after=12)[1]


def test_an_outside_that_tells_nothing_leaves_the_last_minute_in_doubt():
    litres, sd = refuel(200.0, -3000.0, outside_sd=2e4)

    assert litres == pytest.approx(200.0, abs=5.0)
    assert sd > 50.0


@given(
    st.floats(20, 900), st.floats(-900, 1800), st.floats(0.05, 30), st.floats(0.5, 80),
    st.integers(1, 4),
)  # fmt: skip
def test_the_litres_lie_between_both_views(inside, outside, inside_sd, outside_sd, minutes):
    litres, sd = refuel(inside, outside, inside_sd=inside_sd, outside_sd=outside_sd,
                        minutes_after=minutes)  # fmt: skip

    low, high = sorted((inside, max(outside, 0.0)))
    assert low - 1e-6 <= litres <= high + 1e-6
    assert 0 < sd < 2000
