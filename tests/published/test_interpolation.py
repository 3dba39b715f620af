"""Monotone curves and straight-line reading against published sets and other libraries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.interpolate import interp1d

from gaugewright.errors import InputError
from gaugewright.metrology.monotone import JITTER, monotone_mode
from gaugewright.table.table import Table

# Pool-adjacent-violators sets.  The data are R's isoreg example, the set of F. Busing,
# "Monotone Regression" (2022), and two textbook sets, all quoted from memory; the answers
# were computed with scikit-learn 1.9.1 and SciPy, which agree.
POOLED = [
    ([3, 7, 5, 9, 8, 7, 10], [3, 6, 6, 8, 8, 8, 10]),
    ([1, 3, 2, 4, 3, 5, 7, 6, 8, 9], [1, 2.5, 2.5, 3.5, 3.5, 5, 6.5, 6.5, 8, 9]),
    ([1, 0, 4, 3, 3, 5, 4, 2, 0], [0.5, 0.5, 3, 3, 3, 3, 3, 3, 3]),
    (
        [1.5, 1.0, 4.0, 6.0, 5.7, 5.0, 7.8, 9.0, 7.5, 9.5, 9.0],
        [1.25, 1.25, 4, 16.7 / 3, 16.7 / 3, 16.7 / 3, 7.8, 8.25, 8.25, 9.25, 9.25],
    ),
]

VALUES = st.floats(-100, 100, allow_subnormal=False).map(lambda x: round(x, 3))


def isotonic(**limits):
    """The other library's regression; it takes a second to load, which only these tests pay."""
    from sklearn.isotonic import IsotonicRegression

    return IsotonicRegression(**limits)


@pytest.mark.parametrize(("data", "answer"), POOLED)
def test_published_pooled_sets_are_reproduced(data, answer):
    assert monotone_mode(data, np.ones(len(data))) == pytest.approx(np.array(answer), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.data(), st.integers(1, 25))
def test_independent_values_give_weighted_isotonic_regression(data, n):
    mean = data.draw(arrays.arrays(float, n, elements=VALUES))
    variances = data.draw(arrays.arrays(float, n, elements=st.floats(0.01, 100)))

    theirs = isotonic().fit_transform(np.arange(n), mean, sample_weight=1 / variances)

    assert monotone_mode(mean, variances) == pytest.approx(theirs, abs=1e-7)


def test_many_equal_values_are_pooled_too():
    mean = np.zeros(20)
    mean[[5, 8, 16, 17, 19]] = 37.099, 20.671, 50.375, 12.0, 1.0

    theirs = isotonic().fit_transform(np.arange(20), mean)

    assert monotone_mode(mean, np.full(20, 0.01)) == pytest.approx(theirs, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(arrays.arrays(float, 12, elements=st.integers(0, 3)))
def test_ties_are_pooled_as_isotonic_regression_pools_them(mean):
    theirs = isotonic(y_min=1.0).fit_transform(np.arange(12), mean)

    assert monotone_mode(mean, np.ones(12), lower=1.0) == pytest.approx(theirs, abs=1e-8)


def smooth_covariance(n, length, noise=0.0):
    x = np.linspace(0, 1, n)
    return np.exp(-0.5 * ((x[:, None] - x) / length) ** 2) + noise * np.eye(n)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10**6), st.booleans())
def test_a_full_covariance_meets_the_conditions_of_the_optimum(seed, is_bounded):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 30))
    mean = np.cumsum(rng.normal(0.3, 1, n))
    covariance = smooth_covariance(n, rng.uniform(0.02, 0.2), 0.01)
    lower = float(mean.mean()) if is_bounded else None

    values = monotone_mode(mean, covariance, lower=lower)

    # Karush, Kuhn, Tucker: the pull to the mean is held by walls that only push, and only
    # where the curve touches them.  The wall at rise i pushes all values from i up.
    padded = covariance + JITTER * covariance.max() * np.eye(n)
    pull = np.linalg.solve(padded, values - mean)
    push = np.cumsum(pull[::-1])[::-1]
    rise = np.diff(values, prepend=0.0 if lower is None else lower)
    tiny = 1e-6 * (1 + np.abs(pull).max())
    assert (np.diff(values) >= 0).all()
    if lower is None:
        assert abs(push[0]) < tiny  # nothing holds the first value
        push, rise = push[1:], rise[1:]
    assert (push > -tiny).all()
    assert (np.abs(push)[rise > 1e-9] < tiny).all()


def test_a_singular_smooth_covariance_is_solved_with_the_stated_jitter():
    x = np.linspace(0, 1, 100)
    mean = 300 * x + 4 * np.sin(60 * x)

    values = monotone_mode(mean, 4 * smooth_covariance(100, 0.3, 0.0), lower=0.0)

    assert (np.diff(values) >= 0).all()


def test_a_rising_mean_comes_back_as_it_is():
    mean = np.array([0.0, 1.0, 1.0, 7.5])

    assert monotone_mode(mean, smooth_covariance(4, 0.2), lower=0.0).tolist() == mean.tolist()


@pytest.mark.parametrize(
    ("mean", "covariance", "problem"),
    [
        ([], [], "list of numbers"),
        ([1.0, np.nan], [1, 1], "finite"),
        ([1.0, 2.0], [1, 0], "above 0"),
        ([1.0, 2.0], [1, 1, 1], "shape"),
        ([1.0, 2.0], [[1, 2], [0, 1]], "not symmetric"),
        ([1.0, 2.0], [[1, 2], [2, 1]], "not positive semidefinite"),
        ([1.0, 2.0], [[0, 0], [0, 0]], "above 0"),
        ([1.0, 2.0], [np.inf, 1], "finite"),
    ],
)
def test_a_belief_that_cannot_be_is_refused(mean, covariance, problem):
    with pytest.raises(InputError, match=problem):
        monotone_mode(mean, covariance)


# F. N. Fritsch, R. E. Carlson, "Monotone piecewise cubic interpolation" (1980), data set
# RPN 15A; H. Akima (1970).  Both from memory.
FRITSCH_CARLSON = (
    [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20],
    [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994],
)
AKIMA = ([0, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15], [10, 10, 10, 10, 10, 10, 10.5, 15, 50, 60, 85])


@pytest.mark.parametrize(("x", "y"), [FRITSCH_CARLSON, AKIMA])
def test_a_table_is_read_as_scipy_interpolates_and_never_falls(x, y):
    at = np.linspace(x[0], x[-1], 5001)

    litres = Table(np.array(x), np.array(y), None).litres_at(at)

    assert litres == pytest.approx(interp1d(x, y)(at), abs=1e-12)
    assert (np.diff(litres) >= 0).all()
