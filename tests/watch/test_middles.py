"""Medians and quantiles by one place of the sorted order."""

import numpy as np
import pytest

from gaugewright.watch.middles import median, quantile

SHARES = (0.0, 0.1, 0.5, 0.8, 0.9, 1.0)


def values_of(kind, size, rng):
    if kind == "scattered":
        return rng.normal(size=size)
    if kind == "coarse":
        return rng.normal(size=size).round(1)
    if kind == "mostly one":
        return np.where(rng.random(size) < 0.9, 10.0, rng.normal(size=size))
    return rng.integers(0, 9, size)


@pytest.mark.parametrize("kind", ["scattered", "coarse", "mostly one", "whole"])
@pytest.mark.parametrize("size", [1, 2, 7, 64, 1500, 5001])
def test_they_are_those_of_numpy_to_the_last_bit(kind, size):
    values = values_of(kind, size, np.random.default_rng(size))
    before = values.copy()

    found = [median(values), *(quantile(values, share) for share in SHARES)]

    assert found == [np.median(values), *np.quantile(values, SHARES)]
    assert (values == before).all()


@pytest.mark.parametrize("size", [1, 2, 7, 1500, 5001])
@pytest.mark.parametrize("kind", ["scattered", "mostly one"])
def test_one_unknown_value_makes_them_unknown(kind, size):
    rng = np.random.default_rng(size)
    values = values_of(kind, size, rng)
    values[rng.integers(0, size)] = np.nan

    assert np.isnan(median(values))
    assert np.isnan([quantile(values, share) for share in (0.1, 0.5, 0.9)]).all()


def test_of_nothing_there_is_no_median():
    assert np.isnan(median(np.zeros(0)))
