"""The published steady-state test against its vector and critical values.

S. Cao, R. R. Rhinehart, "An efficient method for on-line identification of steady
state", J. Process Control 5(6), 1995, 363-374; critical values: the same authors,
J. Process Control 7(2), 1997, 149-152 (1.44 from memory, confirmed by simulation; the
others from two independent simulations of 176,000 and 2,000,000 values).
"""

import numpy as np
import pytest

from gaugewright.pours.noise import R_CRITICAL, r_statistic

ROW = [10.0, 10.2, 9.9, 10.1, 9.8, 10.0, 10.3, 10.6, 10.9, 11.2]
RATIOS = [
    1.800000,
    0.794286,
    0.678039,
    0.826533,
    0.693684,
    1.060485,
    2.277665,
    4.126864,
    6.383760,
]


def test_the_ratio_follows_the_recursion_of_the_paper():
    assert r_statistic(ROW) == pytest.approx(RATIOS, abs=5e-7)


@pytest.mark.parametrize(("lambda_1", "limit"), [(0.2, 45), (0.1, 190)])
def test_a_ramp_without_noise_comes_to_its_limit(lambda_1, limit):
    ratio = r_statistic(np.arange(2000.0), (lambda_1, 0.1, 0.1))[-1]

    assert ratio == pytest.approx(limit, rel=1e-6)


def test_white_noise_exceeds_the_critical_values_as_often_as_published():
    noise = np.random.default_rng(7).normal(size=60_000)

    ratios = r_statistic(noise)[200:]

    for share, critical in R_CRITICAL.items():
        expected = 1 - share
        # Neighbouring ratios hang together: some 20 of them are worth one.
        assert (ratios > critical).mean() == pytest.approx(
            expected, abs=3 * (expected / 3000) ** 0.5
        )


def test_a_reading_that_never_changes_has_no_ratio():
    assert np.isnan(r_statistic([2512.0] * 50)).all()
