"""Propagation of distributions and the E_n number against published figures.

The JCGM 101:2008 figures are from memory of its clauses 9.2 and 9.3; an independent
computation (the closed form of the sum of rectangular quantities, SciPy) agrees.
"""

import numpy as np
import pytest
from scipy.stats import irwinhall

from gaugewright.errors import InputError
from gaugewright.metrology.agreement import en_number, is_within
from gaugewright.metrology.montecarlo import (
    ArcSine,
    Normal,
    Rectangular,
    StudentT,
    Triangular,
    propagate,
    trials_for,
)

ROOT_3 = np.sqrt(3)


def added(**inputs):
    return sum(inputs.values())


def run(inputs, trials=400_000, model=added):
    return propagate(model, inputs, generator=np.random.default_rng(20260504), trials=trials)


def test_four_normal_quantities():
    """JCGM 101, 9.2.2, table 2 (from memory): y 0.00, u 2.00, 95 % interval ±3.92."""
    result = run({name: Normal(0, 1) for name in "abcd"})

    assert result.mean == pytest.approx(0, abs=0.015)
    assert result.u == pytest.approx(2, abs=0.01)
    assert result.symmetric_interval(0.95) == pytest.approx((-3.92, 3.92), abs=0.025)


def test_four_rectangular_quantities():
    """JCGM 101, 9.2.3, table 3 (from memory): u 2.00, ±3.88, where u times 1.96 is ±3.92."""
    result = run({name: Rectangular(-ROOT_3, ROOT_3) for name in "abcd"})

    # The sum of 4 rectangular quantities is Irwin-Hall distributed: an exact second route.
    exact = (irwinhall(4).ppf(0.975) - 2) * 2 * ROOT_3
    assert exact == pytest.approx(3.88, abs=0.005)
    assert result.u == pytest.approx(2, abs=0.01)
    assert result.symmetric_interval(0.95) == pytest.approx((-exact, exact), abs=0.02)
    low, high = result.shortest_interval(0.95)
    assert high - low == pytest.approx(2 * exact, abs=0.03)


def test_one_wide_rectangular_quantity_among_narrow_ones():
    """JCGM 101, 9.2.4, table 4 (from memory): u 10.1, ±17.0, where u times 1.96 is ±19.9."""
    inputs = {name: Rectangular(-ROOT_3, ROOT_3) for name in "abc"}
    result = run(inputs | {"d": Rectangular(-10 * ROOT_3, 10 * ROOT_3)})

    assert result.u == pytest.approx(10.1, abs=0.06)
    assert result.symmetric_interval(0.95) == pytest.approx((-17.0, 17.0), abs=0.1)


def test_mass_calibration():
    """JCGM 101, 9.3 (from memory): δm 1.234 mg, u 0.0754 mg, 95 % shortest [1.084, 1.384] mg.

    m_N = 100 g; m_R,c 100 000.000 mg, u 0.050; δm_R,c 1.234 mg, u 0.020;
    ρ_a in [1.10, 1.30], ρ_W in [7000, 9000], ρ_R in [7950, 8050] kg/m³.
    """

    def model(mass, extra, air, weight, reference):
        return (mass + extra) * (1 + (air - 1.2) * (1 / weight - 1 / reference)) - 100_000

    result = run(
        {
            "mass": Normal(100_000, 0.050),
            "extra": Normal(1.234, 0.020),
            "air": Rectangular(1.10, 1.30),
            "weight": Rectangular(7000, 9000),
            "reference": Rectangular(7950, 8050),
        },
        model=model,
    )

    assert result.mean == pytest.approx(1.234, abs=5e-4)
    assert result.u == pytest.approx(0.0754, abs=4e-4)
    assert result.shortest_interval(0.95) == pytest.approx((1.084, 1.384), abs=0.004)


def test_trials_asked_for():
    """JCGM 101, 7.2.1 (from memory): at least 10^4 / (1 - p)."""
    assert trials_for(0.95) == 200_000
    assert trials_for(0.99) == 1_000_000


@pytest.mark.parametrize(
    ("given", "mean", "u"),
    [
        (Normal(3, 2), 3, 2),
        (Rectangular(1, 5), 3, 4 / np.sqrt(12)),
        (Triangular(1, 5), 3, 4 / np.sqrt(24)),
        (ArcSine(1, 5), 3, 2 / np.sqrt(2)),
        (StudentT(3, 2, 10), 3, 2 * np.sqrt(10 / 8)),
    ],
)
def test_distributions_have_the_moments_of_jcgm_101_table_1(given, mean, u):
    """JCGM 101, table 1 (from memory); the moments are textbook results."""
    result = run({"x": given})

    assert result.mean == pytest.approx(mean, abs=0.015)
    assert result.u == pytest.approx(u, rel=0.01)


def test_the_shortest_interval_of_a_skew_quantity_is_shorter():
    result = run({"x": Normal(0, 1)}, model=lambda x: np.exp(x))

    low, high = result.shortest_interval(0.95)
    below, above = result.symmetric_interval(0.95)
    assert high - low < 0.9 * (above - below)
    assert np.mean((result.values >= low) & (result.values <= high)) == pytest.approx(
        0.95, abs=1e-3
    )
    assert np.mean((result.values >= below) & (result.values <= above)) == pytest.approx(
        0.95, abs=1e-3
    )


def test_the_same_generator_gives_the_same_result():
    assert run({"x": Normal(0, 1)}, 1000).u == run({"x": Normal(0, 1)}, 1000).u


def test_what_cannot_be_propagated_is_refused():
    with pytest.raises(InputError, match="the model gave shape"):
        run({"x": Normal(0, 1)}, 100, model=lambda x: x.mean())
    with pytest.raises(InputError, match="values that are not finite"):
        run({"x": Normal(0, 1)}, 100, model=lambda x: np.where(x > 0, np.nan, x))
    with pytest.raises(InputError, match="trials are too few"):
        run({"x": Normal(0, 1)}, 10).symmetric_interval(0.99)
    with pytest.raises(InputError, match="probability: must be between 0 and 1"):
        run({"x": Normal(0, 1)}, 10).symmetric_interval(95)


@pytest.mark.parametrize(
    ("x", "reference", "u_x", "u_reference", "en"),
    [(100.30, 100.00, 0.25, 0.20, 0.937043), (200.9, 200.0, 0.6, 0.5, 1.152332)],
)
def test_en_number(x, reference, u_x, u_reference, en):
    """ISO 13528:2015, 9.7 and ISO/IEC 17043, annex B (formula from memory; values computed)."""
    assert en_number(x, reference, u_x, u_reference) == pytest.approx(en, abs=5e-7)


def test_en_exactly_on_the_limit_passes_although_it_computes_above_1():
    en = en_number(100.5, 100.0, 0.3, 0.4)

    assert is_within(en, 1.0)
