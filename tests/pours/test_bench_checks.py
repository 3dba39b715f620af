"""Zero and span on the bench."""

import pytest

from gaugewright.errors import InputError
from gaugewright.fuel import AIR_RELATIVE_PERMITTIVITY, CRC_LIQUIDS, coaxial_capacitance_pf_m
from gaugewright.pours.bench import (
    BenchKind,
    check_drips,
    check_repeatability,
    check_signals,
    check_usual,
    drip_wait_s,
)

TOP = 65535.0


def kinds(findings):
    return [f.kind for f in findings]


@pytest.mark.parametrize(("since_s", "left_s"), [(0, 15), (14.9, 0.1), (15, 0), (60, 0)])
def test_the_zero_waits_for_fifteen_seconds_of_dripping(since_s, left_s):
    assert drip_wait_s(since_s) == pytest.approx(left_s)
    assert bool(check_drips(since_s)) is (left_s > 0)


def test_a_time_before_the_probe_came_out_is_refused():
    with pytest.raises(InputError, match="out_since_s: must not be negative"):
        drip_wait_s(-1)


@pytest.mark.parametrize(
    ("dips", "sd", "is_found"),
    [
        ([3600, 3602], 0.1, False),
        ([3600, 3602.1], 0.1, True),
        ([3600, 3608], 3.0, False),
        ([3600, 3601, 3620], 0.1, True),
    ],
)
def test_dips_agree_within_the_tolerance_or_their_noise(dips, sd, is_found):
    found = check_repeatability(dips, [sd] * len(dips))
    assert kinds(found) == [BenchKind.NOT_REPEATABLE] * is_found


def test_one_dip_says_nothing_about_repeatability():
    with pytest.raises(InputError, match="two dips or more"):
        check_repeatability([3600], [0.1])
    with pytest.raises(InputError, match="dip_2: nan"):
        check_repeatability([3600, float("nan")], [0.1, 0.1])


@pytest.mark.parametrize("liquid", ["n-dodecane", "cyclohexane", "toluene", "methyl oleate"])
def test_a_bare_coaxial_probe_passes_in_every_fuel_that_is_told_right(liquid):
    permittivity = CRC_LIQUIDS[liquid].relative_permittivity
    zero = 40 * coaxial_capacitance_pf_m(10, 6, AIR_RELATIVE_PERMITTIVITY)
    span = 40 * coaxial_capacitance_pf_m(10, 6, permittivity)

    assert check_signals(zero, span, permittivity, TOP) == ()


def test_a_capacitance_that_never_gets_wet_brings_the_ratio_down_and_passes():
    assert check_signals(1000 + 400, 2100 + 400, 2.1, TOP) == ()


@pytest.mark.parametrize(
    ("zero", "span", "kind"),
    [
        (1000, 2100 * 1.05, BenchKind.RATIO_TOO_HIGH),
        (1000, 1100, BenchKind.RATIO_TOO_LOW),
        (1000, 900, BenchKind.RATIO_TOO_LOW),
        (0, 2000, BenchKind.OPEN_CIRCUIT),
        (TOP, 2000, BenchKind.TOUCHING),
        (1000, TOP, BenchKind.TOUCHING),
        (TOP, TOP, BenchKind.SHORT_CIRCUIT),
    ],
)
def test_each_fault_of_the_electrodes_is_named(zero, span, kind):
    assert kinds(check_signals(zero, span, 2.1, TOP)) == [kind]


def test_a_fuel_like_air_is_refused():
    with pytest.raises(InputError, match="relative_permittivity: a fuel's is above"):
        check_signals(1, 2, 1.0, TOP)


@pytest.mark.parametrize(
    ("empty", "full", "top", "expected"),
    [
        (49, 3600, 4095, []),
        (50, 3600, 4095, [BenchKind.EMPTY_UNUSUAL]),
        (12, 900, 1023, []),
        (13, 900, 1023, [BenchKind.EMPTY_UNUSUAL]),
        (10, 3000, 4095, [BenchKind.FULL_UNUSUAL]),
        (10, None, 4095, []),
    ],
)
def test_common_practice_scales_with_the_scale(empty, full, top, expected):
    assert kinds(check_usual(empty, full, scale_top=top)) == expected


@pytest.mark.parametrize(
    ("averaging", "in_service", "is_found"),
    [(8, False, False), (64, True, False), (64, False, True), (8, True, True)],
)
def test_averaging_is_light_while_setting_up_and_heavy_in_service(averaging, in_service, is_found):
    found = check_usual(10, 3600, averaging=averaging, in_service=in_service)
    assert bool(found) is is_found
