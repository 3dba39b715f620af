"""Rounding a value with its band, and whether two results agree."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.metrology.agreement import Agreement, en_number, is_within, judge
from gaugewright.metrology.rounding import (
    decimals_for,
    format_with_band,
    round_to,
    round_with_band,
)

bands = st.floats(1e-9, 1e9)


@given(st.floats(-1e6, 1e6), bands)
def test_rounding_moves_a_value_by_less_than_six_percent_of_its_band(value, band):
    rounded, half_width = round_with_band(value, band)

    assert abs(rounded - value) <= 0.0501 * band + 1e-12 * abs(value)
    assert half_width == pytest.approx(band, rel=0.051)


@given(bands)
def test_a_rounded_band_has_two_significant_digits(band):
    digits = f"{round_to(band, decimals_for(band)):.12e}".split("e")[0].replace(".", "")
    assert set(digits[2:]) <= {"0"}


@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(0, allow_nan=False, allow_infinity=False),
)
def test_any_value_and_band_can_be_shown(value, band):
    assert format_with_band(value, band, "L").count("L") == 1


def test_a_band_that_rounds_up_keeps_two_digits():
    assert round_with_band(5.04321, 0.0996) == (5.04, 0.1)
    assert format_with_band(5.04321, 0.0996, "L") == "5.04 ± 0.10 L"


def test_value_and_band_are_shown_to_the_same_place():
    assert format_with_band(183.4217, 1.2345, "L") == "183.4 ± 1.2 L"
    assert format_with_band(-0.004, 0.21, "L") == "0.00 ± 0.21 L"
    assert format_with_band(1234567, 21300, "counts") == "1235000 ± 21000 counts"
    assert format_with_band(183, 12, "L") == "183 ± 12 L"


def test_exact_and_unknown_are_told_apart():
    assert format_with_band(20.5, 0.0, "L") == "20.5 L (exact)"
    assert format_with_band(20.5, None, "L") == "20.5 L (band unknown)"
    assert format_with_band(-0.0, None, "L") == "0 L (band unknown)"
    assert round_with_band(20.123456, None) == (20.123456, None)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0, 0.0])
def test_a_band_that_is_none_is_refused(bad):
    with pytest.raises(InputError):
        decimals_for(bad)


def test_a_value_that_is_not_finite_is_refused():
    with pytest.raises(InputError, match="cannot round nan"):
        round_to(float("nan"), 1)


def test_a_limit_is_within_although_binary_numbers_round():
    assert (0.3 - 0.2) / 0.1 != 1.0  # why the slack is there
    assert is_within((0.4 - 0.3) / 0.1, 1.0)
    assert not is_within(1 + 1e-9, 1.0)


def test_en_of_two_exact_results_has_no_meaning():
    with pytest.raises(InputError, match="both results are exact"):
        en_number(1, 1, 0, 0)
    with pytest.raises(InputError, match="must not be negative"):
        en_number(1, 1, -1, 1)
    with pytest.raises(InputError, match="reference: must be a finite number"):
        en_number(1, float("nan"), 1, 1)


@given(st.floats(-100, 100), st.floats(0, 50))
def test_the_outcomes_do_not_depend_on_the_sign(difference, half_width):
    def outcome(d):
        return judge(d, half_width, tolerance=1, most_half_width=5)

    assert outcome(difference) is outcome(-difference)


def test_a_difference_is_judged_in_three_ways():
    def outcome(difference, half_width):
        return judge(difference, half_width, tolerance=1, most_half_width=5)

    assert outcome(2, 1) is Agreement.AGREES  # on the limit
    assert outcome(2.1, 1) is Agreement.DISAGREES
    assert outcome(2, 6) is Agreement.CANNOT_TELL  # too wide to prove anything
    assert outcome(8, 6) is Agreement.DISAGREES  # wide, and still beyond
    assert outcome(0, None) is Agreement.CANNOT_TELL
    assert outcome(float("nan"), 1) is Agreement.CANNOT_TELL
