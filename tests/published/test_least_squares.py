"""The solver that fits tables, against the GUM's calibration line and ISO/TS 28037."""

import numpy as np
import pytest
from scipy.stats import t as student

from gaugewright.errors import InputError
from gaugewright.metrology.least_squares import adjust, log_density

# JCGM 100:2008, H.3, table H.6: thermometer readings and corrections. [°C]
T = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
B = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
T0 = 20.0


def _gum_h3():
    design = np.column_stack([np.ones(11), T - T0])
    first = adjust(design, B, np.ones(11))
    s2 = first.chi_squared / 9
    return first.mean, first.covariance * s2, np.sqrt(s2)


def test_gum_h3_thermometer_line():
    # JCGM 100:2008, H.3.3: y1 -0.1712, s 0.0029; y2 0.00218, s 0.00067; r -0.930; s 0.0035.
    mean, covariance, s = _gum_h3()
    u = np.sqrt(np.diag(covariance))

    assert mean[0] == pytest.approx(-0.1712, abs=5e-5)
    assert mean[1] == pytest.approx(0.00218, abs=5e-6)
    assert u[0] == pytest.approx(0.0029, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, abs=5e-6)
    assert covariance[0, 1] / (u[0] * u[1]) == pytest.approx(-0.930, abs=5e-4)
    assert s == pytest.approx(0.0035, abs=5e-5)


def test_gum_h3_correction_at_30_degrees_needs_the_correlation():
    # JCGM 100:2008, H.3.4: b(30 °C) = -0.1494, u 0.0041, 9 degrees of freedom, t95 2.26.
    mean, covariance, _ = _gum_h3()
    at = np.array([1.0, 10.0])

    assert at @ mean == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at @ covariance @ at) == pytest.approx(0.0041, abs=5e-5)
    without_r = np.sqrt(at @ np.diag(np.diag(covariance)) @ at)
    assert without_r == pytest.approx(0.0073, abs=5e-5)
    assert student.ppf(0.975, 9) == pytest.approx(2.26, abs=5e-3)


@pytest.mark.parametrize(
    ("y", "u", "expected"),
    [
        # ISO/TS 28037:2010, 6.3 (p. 13) and p. 15, as quoted in the documentation of GTC.
        ([3.3, 5.6, 7.1, 9.3, 10.7, 12.1], [0.5] * 6, (1.867, 0.465, 1.757, 0.120, -0.050, 1.665)),
        (
            [3.2, 4.3, 7.6, 8.6, 11.7, 12.8],
            [0.5, 0.5, 0.5, 1.0, 1.0, 1.0],
            (0.885, 0.530, 2.057, 0.178, -0.082, 4.131),
        ),
    ],
)
def test_iso_ts_28037_straight_lines(y, u, expected):
    design = np.column_stack([np.ones(6), np.arange(1, 7)])
    line = adjust(design, y, np.square(u))

    found = (
        line.mean[0], line.u[0], line.mean[1], line.u[1], line.covariance[0, 1], line.chi_squared
    )  # fmt: skip
    assert found == pytest.approx(expected, abs=6e-4)


def test_a_shared_error_of_the_reference_is_not_averaged_away():
    # The pattern of GTC's merge of type A and type B: a common error of 0.01 °C in all b.
    design = np.column_stack([np.ones(11), T - T0])
    s2 = _gum_h3()[2] ** 2
    shared = adjust(design, B, s2 * np.eye(11) + 0.01**2)

    assert shared.u[0] == pytest.approx(np.hypot(0.002877598, 0.01), abs=1e-8)
    assert shared.u[1] == pytest.approx(0.000667939, abs=1e-9)


def test_prior_and_evidence_are_those_of_the_joint_normal_distribution():
    rng = np.random.default_rng(4)
    design, noise = rng.normal(size=(7, 12)), np.diag(rng.uniform(0.5, 2, 7))
    prior_u = rng.uniform(0.5, 3, 12)
    observed = rng.normal(size=7)
    total = design * prior_u @ (design * prior_u).T + noise
    gain = (design * prior_u**2).T @ np.linalg.inv(total)

    found = adjust(design, observed, noise, prior_u)

    assert found.mean == pytest.approx(gain @ observed, abs=1e-10)
    assert found.covariance == pytest.approx(
        np.diag(prior_u**2) - gain @ design * prior_u**2, abs=1e-10
    )
    assert found.log_evidence == pytest.approx(log_density(observed, total), abs=1e-9)


def test_unknowns_that_cannot_be_told_apart_are_refused():
    with pytest.raises(InputError, match="cannot tell the unknowns apart"):
        adjust([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]], [1.0, 2.0, 3.0], [1.0, 1.0, 1.0])
    with pytest.raises(InputError, match="1 observations cannot fix 2 unknowns"):
        adjust([[1.0, 1.0]], [1.0], [1.0])
