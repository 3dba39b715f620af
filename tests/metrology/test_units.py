"""Units at the edges: exact factors, there and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.units import (
    from_celsius,
    from_litres,
    from_mm,
    parse_length_mm,
    to_celsius,
    to_litres,
    to_mm,
)

values = st.floats(-1e6, 1e6)


@given(values, st.sampled_from(["L", "US gal", "imp gal"]))
def test_litres_there_and_back(value, unit):
    assert from_litres(to_litres(value, unit), unit) == pytest.approx(value, rel=1e-15)


@given(values, st.sampled_from(["mm", "in"]))
def test_lengths_there_and_back(value, unit):
    assert from_mm(to_mm(value, unit), unit) == pytest.approx(value, rel=1e-15)


@given(values, st.sampled_from(["°C", "°F"]))
def test_temperatures_there_and_back(value, unit):
    assert from_celsius(to_celsius(value, unit), unit) == pytest.approx(value, abs=1e-9)


def test_a_us_gallon_is_231_cubic_inches():
    assert to_litres(1, "US gal") == pytest.approx(231 * 25.4**3 / 1e6, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("10mm", 10), ("10", 10), ("0,5in", 12.7), ("1cm", 10), ("1.5 m", 1500), ('2"', 50.8),
     (" 1 ft ", 304.8), ("10 MM", 10)],
)  # fmt: skip
def test_a_typed_length_is_read_with_its_unit(text, mm):
    assert parse_length_mm(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize("text", ["", "mm", "10 furlongs", "1.234,5mm", "ten", "1e3mm", "nan"])
def test_a_length_that_is_none_is_refused(text):
    with pytest.raises(InputError, match=r"--every: .* is not a length"):
        parse_length_mm(text, field="--every")


def test_a_length_of_400_digits_is_refused():
    with pytest.raises(InputError, match="too large"):
        parse_length_mm("9" * 400)
