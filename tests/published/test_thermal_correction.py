"""Thermal volume correction, Table 54B of 1980, against the edition of 2004 and round figures.

No printed worked example of ASTM D1250 / API MPMS 11.1 is at hand.  What stands here:

* the constants of the 15 °C base are 1.8 times those of the 60 °F base, which several public
  texts print (L. Bennett, "Elementary Orifice Flow Measurement", section "API 2540 method");
* the procedure of 2004, written down below on its own with its own constants, base
  temperature and temperature scale, as an independent route to the same factor;
* figures for diesel computed once with both editions by an independent program.
"""

from math import exp

import numpy as np
import pytest

from gaugewright.fuel import (
    EN_590_DENSITY_15_KG_M3,
    Fuel,
    thermal_expansion_per_k,
    volume_correction_factor,
    volume_ratio,
)

# API MPMS 11.1-2004: group, lowest density at 60 °F, K0, K1, K2 (several public texts agree).
GROUPS_2004 = [
    (838.3127, 103.8720, 0.2701, 0.0),
    (787.5195, 330.3010, 0.0, 0.0),
    (770.3520, 1489.0670, 0.0, -0.00186840),
    (610.6, 192.4571, 0.2438, 0.0),
]
ITS_90_TO_IPTS_68 = (
    -0.148759, -0.267408, 1.080760, 1.269056, -4.089591, -1.871251, 7.438081, -3.536296,
)  # fmt: skip


def ctl_2004(rho60, t_c):
    """Correct for temperature by the edition of 2004, base 60 °F, at vapour pressure."""
    tau = t_c / 630
    t68_c = t_c - sum(a * tau ** (i + 1) for i, a in enumerate(ITS_90_TO_IPTS_68))
    k0, k1, k2 = next(g[1:] for g in GROUPS_2004 if rho60 >= g[0])
    d60 = 0.01374979547
    a = d60 / 2 * ((k0 / rho60 + k1) / rho60 + k2)
    b = (2 * k0 + k1 * rho60) / (k0 + (k1 + k2 * rho60) * rho60)
    rho = rho60 * (1 + (exp(a * (1 + 0.8 * a)) - 1) / (1 + a * (1 + 1.6 * a) * b))
    alpha = (k0 / rho + k1) / rho + k2
    dt = (t68_c * 1.8 + 32) - 60.0068749
    return exp(-alpha * dt * (1 + 0.8 * alpha * (dt + d60)))


def vcf_2004(rho15, t_c):
    rho60 = rho15
    for _ in range(50):
        rho60 = rho15 / ctl_2004(rho60, 15.0)
    return ctl_2004(rho60, t_c) / ctl_2004(rho60, 15.0)


@pytest.mark.parametrize("rho15", [820, 830, 835, 840, 845, 860, 765, 745, 800])
@pytest.mark.parametrize("t_c", [-20, -10, 0, 5, 20, 30, 40, 50])
def test_the_1980_form_agrees_with_the_procedure_of_2004(rho15, t_c):
    assert volume_correction_factor(t_c, rho15) == pytest.approx(vcf_2004(rho15, t_c), abs=2e-5)


@pytest.mark.parametrize("t_c", [0, 30])
def test_in_the_transition_band_the_editions_differ_by_a_known_little(t_c):
    assert volume_correction_factor(t_c, 780) == pytest.approx(vcf_2004(780, t_c), abs=8e-5)


@pytest.mark.parametrize(
    ("rho15", "alpha"),
    [(820, 8.8420851e-4), (835, 8.5272588e-4), (840, 8.4376531e-4), (845, 8.3721396e-4),
     (860, 8.1812385e-4), (880, 7.9391529e-4)],
)  # fmt: skip
def test_expansion_of_diesel_and_heavier_fuel(rho15, alpha):
    assert thermal_expansion_per_k(rho15) == pytest.approx(alpha, rel=1e-7)


@pytest.mark.parametrize(
    ("rho15", "t_c", "factor"),
    [
        (820, -20, 1.030641), (820, 30, 0.986686), (835, 0, 1.012740), (835, 50, 0.969904),
        (840, -20, 1.029254), (840, 20, 0.995776), (840, 40, 0.978778), (845, 30, 0.987396),
        (838.5, 0, 1.012635), (839.0, 0, 1.012627), (838.5, 30, 0.987269), (839.0, 30, 0.987277),
        (765, 0, 1.017388), (780, 0, 1.015560), (780, 30, 0.984293), (800, 30, 0.986009),
    ],
)  # fmt: skip
def test_factor_against_an_independent_program(rho15, t_c, factor):
    assert volume_correction_factor(t_c, rho15) == pytest.approx(factor, abs=1e-6)


def test_the_constants_are_those_of_the_60_f_base_times_1_8():
    for rho15, (_, k0, k1, k2) in zip((860, 800, 780, 745), GROUPS_2004, strict=True):
        expected = 1.8 * (k0 / rho15**2 + k1 / rho15 + k2)
        assert thermal_expansion_per_k(rho15) == pytest.approx(expected, rel=1e-7)


def test_expansion_makes_no_visible_step_where_groups_meet():
    for border in (770.25, 787.75, 838.75):
        below, above = (thermal_expansion_per_k(border + d) for d in (-0.001, 0.001))
        # The largest step is 0.2 % of α: 4e-5 of the volume at 20 K.
        assert above == pytest.approx(below, rel=2.1e-3)


def test_400_litres_of_diesel_at_35_c_are_393_at_15_c():
    assert 400 * volume_correction_factor(35, 840) == pytest.approx(393.217, abs=5e-4)


def test_warm_fuel_loses_one_percent_at_12_k():
    assert 1 - Fuel().volume_ratio(27, 15) == pytest.approx(0.01, abs=3e-4)


def test_en_590_density_spans_a_border_between_two_groups():
    """EN 590: 820 to 845 kg/m³ at 15 °C; the border between jet and fuel oil is at 838.75."""
    low, high = EN_590_DENSITY_15_KG_M3
    assert (low, high) == (820, 845)
    ratios = [float(volume_ratio(30, 10, rho)) for rho in np.linspace(low, high, 251)]
    assert max(abs(np.diff(ratios))) < 2e-5
