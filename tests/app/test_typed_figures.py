"""Figures as people type them: 45,5 is 45.5 and never 455."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.app import typed
from gaugewright.errors import InputError


@given(st.integers(0, 99_999), st.integers(0, 999))
def test_a_decimal_comma_is_a_decimal_point(whole, thousandths):
    text = f"{whole},{thousandths:03d}"
    assert typed.litres(text, "added_l") == pytest.approx(whole + thousandths / 1000)


@given(st.floats(0.01, 20_000))
def test_a_gallon_is_a_gallon_whether_us_or_imperial(gallons):
    assert typed.litres(f"{gallons!r} US gal", "x") == pytest.approx(gallons * 3.785411784)
    assert typed.litres(f"{gallons!r}imp gal", "x") == pytest.approx(gallons * 4.54609)


@pytest.mark.parametrize(
    ("text", "celsius"), [("15", 15.0), ("59 °F", 15.0), ("14°F", -10.0), ("-3,5 °C", -3.5)]
)
def test_temperatures_are_read_in_both_scales(text, celsius):
    assert typed.celsius(text, "fuel_c") == pytest.approx(celsius)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (typed.litres, "5 mm"),
        (typed.litres, "5 gal"),
        (typed.litres, "1,234,5"),
        (typed.litres, "100001"),
        (typed.celsius, "451 °C"),
        (typed.celsius, "20 K"),
        (typed.counts, "1e10"),
        (typed.counts, "12a"),
        (typed.counts, "1,909"),
        (typed.length_mm, "1.180"),
        (typed.length_mm, "5 L"),
        (typed.figure, "inf"),
        (typed.figure, float("nan")),
    ],
)
def test_what_cannot_be_is_refused_with_the_field(read, text):
    with pytest.raises(InputError) as refused:
        read(text, "some_field")
    assert refused.value.field == "some_field"
