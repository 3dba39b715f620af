"""What an Allan deviation says, with gaps and without."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.metrology.allan import AllanKind, allan_curve, allan_deviation, noise_exponent


def ar1(rng, size, tau, period=1.0):
    """White noise behind a first-order average of time constant ``tau``."""
    share = np.exp(-period / tau)
    noise = rng.normal(0, 1, size)
    out = np.zeros(size)
    for i in range(1, size):
        out[i] = share * out[i - 1] + (1 - share) * noise[i]
    return out


def test_the_interval_holds_the_true_deviation_of_white_noise_as_often_as_it_says():
    rng = np.random.default_rng(5)
    truth = 1 / np.sqrt(20)
    held = 0
    for _ in range(400):
        point = allan_deviation(rng.normal(0, 1, 600), 1.0, 20, exponent=0)
        held += point.low <= truth <= point.high

    assert 365 <= held <= 394  # 380 of 400 are due; four standard deviations of it


def test_the_interval_holds_with_a_third_of_the_readings_missing():
    rng = np.random.default_rng(6)
    truth = 1 / np.sqrt(8)
    held = 0
    for _ in range(400):
        white = rng.normal(0, 1, 600)
        for start in rng.integers(0, 560, 5):
            white[start : start + 40] = np.nan
        point = allan_deviation(white, 1.0, 8, exponent=0)
        held += point.low <= truth <= point.high

    assert 365 <= held <= 394


def test_a_gap_neither_adds_noise_nor_moves_the_deviation():
    rng = np.random.default_rng(7)
    white = rng.normal(0, 1, 40_000)
    holed = white.copy()
    holed[5_000:15_000] = np.nan

    whole, rest = (allan_deviation(values, 1.0, 16) for values in (white, holed))

    assert rest.deviation == pytest.approx(whole.deviation, rel=0.03)
    assert rest.terms < whole.terms


def test_readings_that_never_run_long_enough_give_nothing():
    comb = np.where(np.arange(100) % 3 == 0, np.nan, 1.0)

    assert allan_deviation(comb, 1.0, 2) is None


def test_white_noise_behind_an_average_turns_where_the_average_ends():
    values = ar1(np.random.default_rng(8), 30_000, tau=20.0)

    curve = allan_curve(values, 1.0, AllanKind.OVERLAPPING)
    peak = max(curve, key=lambda point: point.deviation)

    assert 16 <= peak.tau_s <= 64  # the peak of a first-order average is at 1.9 of its constant


@pytest.mark.parametrize(("exponent", "make"), [
    (0, lambda white: white),
    (-2, np.cumsum),
    (2, np.diff),
])  # fmt: skip
def test_the_kind_of_noise_is_told_with_gaps_too(exponent, make):
    values = np.array(make(np.random.default_rng(9).normal(0, 1, 4000)), dtype=float)
    values[1000:1500] = np.nan

    assert noise_exponent(values, 1) == exponent


@given(st.integers(0, 2**31), st.floats(-1e4, 1e4), st.floats(0.01, 100))
def test_an_offset_changes_nothing_and_a_scale_scales(seed, offset, scale):
    values = np.random.default_rng(seed).normal(0, 1, 64)

    plain = allan_deviation(values, 1.0, 4)
    moved = allan_deviation(offset + scale * values, 1.0, 4)

    assert moved.deviation == pytest.approx(scale * plain.deviation, rel=1e-6)
    assert moved.low <= moved.deviation <= moved.high


@given(st.integers(0, 2**31), st.floats(-50, 50))
def test_a_steady_drift_falls_out_of_the_hadamard_deviation(seed, drift):
    values = np.random.default_rng(seed).normal(0, 1, 64)

    plain, drifting = (
        allan_deviation(v, 1.0, 4, AllanKind.OVERLAPPING_HADAMARD)
        for v in (values, values + drift * np.arange(64))
    )

    assert drifting.deviation == pytest.approx(plain.deviation, rel=1e-6)


def test_readings_that_do_not_scatter_give_zero_and_no_kind_of_noise():
    point = allan_deviation(np.full(200, 7.0), 1.0, 5)

    assert (point.deviation, point.low, point.high) == (0.0, 0.0, 0.0)
    assert noise_exponent(np.full(200, 7.0)) is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"period_s": 0.0}, "period_s: must be above 0 s"),
        ({"averaging": 0}, "averaging: must be at least 1"),
        ({"exponent": 3}, "exponent: must be one of"),
        ({"probability": 1.0}, "probability: must be between"),
        ({"readings": np.zeros((2, 2))}, "one row of readings"),
    ],
)
def test_what_cannot_be_meant_is_refused(change, message):
    given_ = {"readings": np.zeros(50), "period_s": 1.0, "averaging": 1} | change

    with pytest.raises(InputError, match=message):
        allan_deviation(**given_)
