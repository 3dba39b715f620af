"""What circumstances add to the odds of a drain, and how the curves are fitted."""

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.watch_weighing import SHAPES, fitted, surprise
from tests.watch.test_detect import TABLE, less, truck

from gaugewright.watch.change import Change
from gaugewright.watch.look import look
from gaugewright.watch.weighing import CURVES, RULED_OUT, added, circumstances, parts, weighed


@pytest.mark.parametrize("value", [0.5, 1.0, 3.0, 59.0, 1e4])
def test_the_weights_of_the_knots_sum_to_one_wherever_a_value_lies(value):
    for curve in CURVES:
        assert sum(parts(curve, value)) == pytest.approx(1.0)


def test_the_curves_shipped_are_functions_of_what_the_command_fits():
    assert [(c.circumstance, c.knots) for c in CURVES] == [
        (c.circumstance, c.knots) for c in SHAPES
    ]


def test_better_odds_by_the_stories_are_never_made_worse():
    (stories,) = (curve for curve in CURVES if curve.circumstance == "stories")

    assert list(stories.adds) == sorted(stories.adds)
    assert added(stories, 99.0) == stories.adds[-1]


def test_no_circumstance_makes_up_for_what_the_stories_rule_out():
    seen = look(truck(less(20.0)), TABLE)
    fall = Change(2, 500, 502, -20.0, 0.1, -20.0, 1.0, True)

    scores = [weighed(seen, replace(fall, score=RULED_OUT - far)) for far in (0.0, 7.0)]

    assert scores[0] - scores[1] == pytest.approx(7.0)
    assert set(circumstances(seen, fall)) == {curve.circumstance for curve in CURVES}


def test_circumstances_do_not_hide_what_the_stories_leave_no_doubt_of():
    """Right after work and a refuel, on a machine that crept: 55 L within ten minutes."""
    seen = look(truck(less(55.0)), TABLE)
    low = int(seen.spells.low[2])
    fall = Change(2, low + 1, low + 11, -55.0, 0.5, -56.0, 4.0, True, fewest=2)
    fall = replace(fall, crept=True, blurred=True, after_refuel_s=0.0)

    unsure, sure = (weighed(seen, replace(fall, score=odds)) for odds in (12.0, 100.0))

    assert unsure < sure - 1.5
    assert sure > 1.5


def test_the_fit_finds_the_odds_that_made_the_falls():
    rng = np.random.default_rng(5)
    rows = (rng.random((4000, 2)) > 0.5) * 1.0
    odds = -0.5 + rows @ np.array([2.0, -1.0])
    drains = (rng.random(4000) < 1 / (1 + np.exp(-odds))) * 1.0

    found = fitted(rows, drains)

    assert found == pytest.approx([-0.5, 2.0, -1.0], abs=0.2)
    assert surprise(found[0] + rows @ found[1:], drains) < surprise(np.zeros(4000), drains)
