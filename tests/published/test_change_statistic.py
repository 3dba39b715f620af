"""The statistic of a change, on series whose change is known.

Annual flow of the Nile at Aswan, 1871 to 1970 (10^8 m³): the series that comes with the open
packages statsmodels and R. Cobb, "The problem of the Nile: conditional solution to a
changepoint problem", Biometrika 65(2), 1978: one fall of the mean after 1898. Means, sums of
squares and the largest cumulative sum were computed apart from this code; the change-point
library ruptures 1.1 finds the same place (in this test where it is installed).
"""

import importlib.util

import numpy as np
import pytest

from gaugewright.metrology.steps import one_step

NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
    1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
    940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
    821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
    1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def test_the_nile_fell_after_1898():
    found = one_step(NILE)

    assert found.at == 28
    assert found.before == pytest.approx(1097.75)
    assert found.after == pytest.approx(849.9722, abs=5e-5)
    assert found.squares_without == pytest.approx(2835156.75)
    assert found.squares_with == pytest.approx(1597457.1944, abs=5e-5)
    assert found.largest_sum == pytest.approx(4995.2, abs=0.05)
    assert found.chance_by_noise < 1e-6


def test_the_thousand_points_of_the_nist_suite_have_no_step():
    n, suite = 1234567890, []
    for _ in range(1000):
        suite.append(n / 2147483647)
        n = 16807 * n % 2147483647

    assert one_step(suite).chance_by_noise > 0.05


def test_the_stated_chance_is_how_often_noise_alone_comes_so_far():
    rng = np.random.default_rng(3)
    chances = np.array([one_step(rng.normal(0, 2, 60)).chance_by_noise for _ in range(1500)])

    assert (chances < 0.05).mean() == pytest.approx(0.05, abs=0.02)
    assert (chances < 0.01).mean() == pytest.approx(0.01, abs=0.01)


@pytest.mark.skipif(
    importlib.util.find_spec("ruptures") is None, reason="the library to compare with is optional"
)
def test_the_place_is_the_one_that_a_change_point_library_finds():
    import ruptures

    places = ruptures.Dynp(model="l2", min_size=2, jump=1).fit(np.array(NILE, float)).predict(1)
    made, breaks = ruptures.pw_constant(200, 1, 1, noise_std=0.5, seed=1)

    assert places == [one_step(NILE).at, len(NILE)]
    assert one_step(made[:, 0]).at == breaks[0]
