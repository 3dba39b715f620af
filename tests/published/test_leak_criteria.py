"""Leak-test criteria, inventory control and reconciliation against published figures.

40 CFR 280.43; EPA/530/UST-90/007 section 7 (formulas from memory; the figures were computed
twice, apart from this code); California State Water Board, list LG-113 (three outcomes);
State of Wisconsin, training for owners of underground tanks, conversion of a stick reading.
"""

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.criteria import (
    ALLOWANCE_L,
    Inventory,
    Outcome,
    detection_chance,
    false_alarm_chance,
    inventory_allowance_l,
    proof_of,
    smallest_provable,
)

GALLON_L = 3.785411784


def test_a_known_scatter_proves_3_29_of_itself_at_5_and_95_per_cent():
    assert proof_of(1.0).least == pytest.approx(3.28971, abs=5e-6)


@pytest.mark.parametrize(("freedom", "t"), [(20, 1.72472), (40, 1.68385)])
def test_the_threshold_is_students_t_times_the_scatter(freedom, t):
    assert proof_of(1.0, degrees_of_freedom=freedom).threshold == pytest.approx(t, abs=5e-6)


def test_a_leak_of_0_2_gallons_an_hour_needs_a_scatter_of_0_0608():
    assert proof_of(0.0607957).least == pytest.approx(0.2, abs=1e-6)
    assert proof_of(0.1 / 1.68385, degrees_of_freedom=40).least == pytest.approx(0.2, abs=2e-6)


@pytest.mark.parametrize(
    ("scatter", "bias", "freedom", "false_alarm", "detection"),
    [
        (0.05, 0.0, 40, 0.02616, 0.97384),
        (0.06, 0.01, 40, 0.07073, 0.96290),
        (0.0608, 0.0, np.inf, 0.05001, 0.94999),
    ],
)
def test_chances_at_a_threshold_of_0_1_and_a_leak_of_0_2(
    scatter, bias, freedom, false_alarm, detection
):
    known = {"bias": bias, "degrees_of_freedom": freedom}

    assert false_alarm_chance(0.1, scatter, **known) == pytest.approx(false_alarm, abs=6e-6)
    assert detection_chance(0.1, scatter, 0.2, **known) == pytest.approx(detection, abs=6e-6)


@pytest.mark.parametrize(
    ("rate", "scatter", "outcome"),
    [
        (0.02, 0.05, Outcome.PASS),
        (0.09, 0.05, Outcome.FAIL),
        (0.02, 0.09, Outcome.INCONCLUSIVE),
        (0.30, 0.09, Outcome.FAIL),
    ],
)
def test_a_test_that_could_not_see_the_leak_does_not_pass(rate, scatter, outcome):
    assert proof_of(scatter).outcome(rate, required=0.2) is outcome


def test_the_chances_hold_when_the_procedure_is_played_through():
    """41 results on sound tanks give the scatter; then sound and leaking tanks are tested."""
    rng = np.random.default_rng(11)
    false, found, tests = 0, 0, 4000
    for _ in range(tests):
        known = rng.normal(0, 0.05, 41)
        proof = proof_of(float(known.std(ddof=1)), degrees_of_freedom=40)
        false += rng.normal(0, 0.05) >= proof.threshold
        found += rng.normal(proof.least, 0.05) >= proof.threshold

    assert false / tests == pytest.approx(0.05, abs=0.012)
    assert found / tests == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize(
    ("through_gallons", "limit_gallons"), [(0, 130), (2400, 154), (10_000, 230), (38_000, 510)]
)
def test_inventory_control_allows_1_per_cent_and_130_gallons(through_gallons, limit_gallons):
    limit = inventory_allowance_l(through_gallons * GALLON_L)

    assert limit / GALLON_L == pytest.approx(limit_gallons, abs=1e-9)
    assert pytest.approx(492.104, abs=5e-4) == ALLOWANCE_L


def test_a_stick_of_33_and_a_quarter_inches_is_339_gallons():
    """Wisconsin's worked example: 33 in is 337 gal, 34 in is 345 gal."""
    chart = Table(np.array([33.0, 34.0]), np.array([337.0, 345.0]), None)

    assert float(chart.litres_at(33.25)) == pytest.approx(339.0)


@pytest.mark.parametrize(("sold", "book", "over"), [(1500, 2500, 700), (500, 3500, -300)])
def test_the_book_is_opening_and_delivered_less_used_and_over_is_what_is_there_beyond(
    sold, book, over
):
    """The two worked examples of New Jersey Administrative Code 18:18-7.7, in gallons."""
    month = Inventory(opening_l=1000.0, delivered_l=3000.0, used_l=sold, closing_l=3200.0)

    assert (month.book_l, month.over_l) == (book, over)


@pytest.mark.parametrize("looks", [500.0, 2000.0, 20_000.0])
def test_a_provable_drain_is_found_as_often_and_called_falsely_as_seldom_as_stated(looks):
    rng = np.random.default_rng(12)
    scatter, false_per_year = 1.3, 1.0
    least = smallest_provable(scatter, false_per_year, looks)
    threshold = proof_of(scatter, false_alarm=false_per_year / looks).threshold
    years = 400

    false = (rng.normal(0, scatter, (years, int(looks))) >= threshold).sum() / years
    found = (rng.normal(least, scatter, 20_000) >= threshold).mean()

    assert false == pytest.approx(1.0, abs=0.2)
    assert found == pytest.approx(0.95, abs=0.006)


@pytest.mark.parametrize(
    ("scatter", "false", "looks", "named"),
    [(0.0, 1, 100, "scatter"), (1.0, 0, 100, "false_per_year"), (1.0, 1, 1, "looks_per_year")],
)
def test_what_proves_nothing_is_refused(scatter, false, looks, named):
    with pytest.raises(InputError, match=named):
        smallest_provable(scatter, false, looks)
