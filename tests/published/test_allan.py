"""Allan deviations against the published test suites.

W. J. Riley, Handbook of Frequency Stability Analysis, NIST Special Publication 1065,
2008: section 12.4, the 1000-point suite (pp. 107-108) and the nine-point set; the printed
suite is carried by the open package AllanTools, whose 2024.6 gives the same figures. Last
digit of the Hadamard deviation at 100: printed ...860, computed ...861.
"""

import numpy as np
import pytest

from gaugewright.metrology.allan import AllanKind, allan_deviation

SUITE = [
    (AllanKind.PLAIN, (2.922319e-01, 9.965736e-02, 3.897804e-02)),
    (AllanKind.OVERLAPPING, (2.922319e-01, 9.159953e-02, 3.241343e-02)),
    (AllanKind.MODIFIED, (2.922319e-01, 6.172376e-02, 2.170921e-02)),
    (AllanKind.TIME, (1.687202e-01, 3.563623e-01, 1.253382e00)),
    (AllanKind.HADAMARD, (2.943883e-01, 1.052754e-01, 3.910860e-02)),
    (AllanKind.OVERLAPPING_HADAMARD, (2.943883e-01, 9.581083e-02, 3.237638e-02)),
]
NINE = [892, 809, 823, 798, 671, 644, 883, 903, 677]
NINE_POINTS = [
    (AllanKind.PLAIN, (91.22945, 115.8082)),
    (AllanKind.OVERLAPPING, (91.22945, 85.95287)),
    (AllanKind.MODIFIED, (91.22945, 74.78849)),
    (AllanKind.HADAMARD, (70.80608, 116.7980)),
]
PHASES = 1001
"""Summed readings of the suite: one more than readings."""


def thousand_points():
    """The handbook's generator: n(i+1) = 16807 n(i) mod 2147483647."""
    n, found = 1234567890, []
    for _ in range(1000):
        found.append(n / 2147483647)
        n = 16807 * n % 2147483647
    return np.array(found)


def test_the_generator_is_the_handbooks():
    suite = thousand_points()

    assert suite.mean() == pytest.approx(0.4897744629, abs=5e-11)
    assert suite.min() == pytest.approx(0.0013717599, abs=5e-11)
    assert suite.max() == pytest.approx(0.9957452943, abs=5e-11)


@pytest.mark.parametrize(("kind", "printed"), SUITE)
def test_the_thousand_points_give_the_printed_deviations(kind, printed):
    suite = thousand_points()

    for averaging, deviation in zip((1, 10, 100), printed, strict=True):
        found = allan_deviation(suite, 1.0, averaging, kind)
        assert found.deviation == pytest.approx(deviation, rel=5e-7)


@pytest.mark.parametrize(("kind", "printed"), NINE_POINTS)
def test_the_nine_points_give_the_printed_deviations(kind, printed):
    for averaging, deviation in zip((1, 2), printed, strict=True):
        found = allan_deviation(NINE, 1.0, averaging, kind)
        assert found.deviation == pytest.approx(deviation, rel=1e-6)


def table_5(exponent, m, n):
    """Degrees of freedom of the overlapping deviation, SP 1065, table 5; n summed readings."""
    if exponent == 2:
        return (n + 1) * (n - 2 * m) / (2 * (n - m))
    if exponent == 0:
        return (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m**2 / (4 * m**2 + 5)
    if exponent == -1:
        return 5 * n**2 / (4 * m * (n + 3 * m))
    return (n - 2) / m * ((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m**2) / (n - 3) ** 2


@pytest.mark.parametrize("exponent", [2, 0, -1, -2])
@pytest.mark.parametrize("averaging", [10, 100])
def test_degrees_of_freedom_agree_with_the_closed_forms_of_table_5(exponent, averaging):
    found = allan_deviation(thousand_points(), 1.0, averaging, exponent=exponent)

    # The closed forms are approximations; the handbook's own examples differ as much.
    expected = table_5(exponent, averaging, PHASES)
    assert found.degrees_of_freedom == pytest.approx(expected, rel=0.07)


GREENHALL = [(0, 100, 12.8149), (-1, 10, 114.669), (-2, 10, 91.0384), (2, 10, 507.173)]


@pytest.mark.parametrize(("exponent", "averaging", "freedom"), GREENHALL)
def test_degrees_of_freedom_agree_with_greenhall_and_riley(exponent, averaging, freedom):
    """Their combined algorithm (PTTI 2003) as AllanTools 2024.6 computes it."""
    found = allan_deviation(thousand_points(), 1.0, averaging, exponent=exponent)

    assert found.degrees_of_freedom == pytest.approx(freedom, rel=5e-3)
