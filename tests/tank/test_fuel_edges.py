"""Fuel at the edges of its ranges, and how a probe sees it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.fuel import (
    CRC_LIQUIDS,
    Fuel,
    coaxial_capacitance_pf_m,
    level_scale_in_other_fuel,
    volume_correction_factor,
    volume_ratio,
)

temperatures = st.floats(-40, 90)
densities = st.floats(653, 1075)


@given(temperatures, temperatures, densities)
def test_there_and_back_again_gives_the_same_litres(a, b, density):
    assert volume_ratio(a, b, density) * volume_ratio(b, a, density) == pytest.approx(1, abs=1e-14)


@given(st.floats(-40, 80), st.floats(0.1, 10), densities)
def test_warming_always_adds_volume(t, more, density):
    assert volume_ratio(t, t + more, density) > 1


def test_any_shape_goes_in_and_comes_out_and_nan_stays_unknown():
    assert volume_correction_factor(15, 840).shape == ()
    assert volume_correction_factor([[15, 20], [25, np.nan]], 840).shape == (2, 2)
    assert np.isnan(volume_correction_factor([np.nan], 840)).all()


@pytest.mark.parametrize("density", [652.9, 1075.1, 0, -840, float("nan"), 0.84])
def test_a_density_of_no_petroleum_product_is_refused(density):
    with pytest.raises(InputError, match="density_15_kg_m3: must be 653 to 1075 kg/m³"):
        Fuel(density_15_kg_m3=density)


@pytest.mark.parametrize("t", [-51, 151, 288.15])
def test_a_temperature_outside_the_tables_is_refused(t):
    with pytest.raises(InputError, match="is outside -50 to 150 °C"):
        volume_correction_factor([15, t], 840)


def test_uncertainty_of_the_ratio_agrees_with_monte_carlo():
    generator = np.random.default_rng(3)
    fuel = Fuel(835, 7.2)
    warm, cold = generator.normal(30, 0.5, 4000), generator.normal(8, 0.3, 4000)
    density = generator.normal(835, 7.2, 4000)
    ratios = [float(volume_ratio(w, c, d)) for w, c, d in zip(warm, cold, density, strict=True)]

    u = fuel.u_volume_ratio(30, 8, u_from_c=0.5, u_to_c=0.3)

    assert u == pytest.approx(np.std(ratios), rel=0.05)


def test_only_road_diesel_is_within_en_590():
    assert Fuel(820).is_within_en_590
    assert not Fuel(780).is_within_en_590


def test_coaxial_capacitance_of_a_probe():
    # 2π ε₀ = 55.6325 pF/m: the tubes' ratio e leaves just that.
    assert coaxial_capacitance_pf_m(np.e, 1) == pytest.approx(55.6325, abs=5e-5)
    assert coaxial_capacitance_pf_m(10, 6, 2.1) == pytest.approx(228.7048, abs=5e-5)
    assert coaxial_capacitance_pf_m(6.5, 4) == pytest.approx(114.586215, abs=5e-7)


@pytest.mark.parametrize(("outer", "inner"), [(5, 5), (5, 8), (5, 0), (float("nan"), 1)])
def test_tubes_that_cannot_be_are_refused(outer, inner):
    with pytest.raises(InputError, match="outer tube must be wider"):
        coaxial_capacitance_pf_m(outer, inner)


def test_fuel_of_a_higher_permittivity_reads_high():
    assert level_scale_in_other_fuel(2.10, 2.177) == pytest.approx(1.07, abs=5e-4)
    with pytest.raises(InputError, match="a span needs a liquid"):
        level_scale_in_other_fuel(1.0, 2.1)
    with pytest.raises(InputError, match="must be 1 or more"):
        level_scale_in_other_fuel(2.1, 0.5)


def test_the_liquids_bracket_what_diesel_is_said_to_have():
    alkane, aromatic = CRC_LIQUIDS["n-hexadecane"], CRC_LIQUIDS["toluene"]
    assert alkane.relative_permittivity < 2.1 < aromatic.relative_permittivity
