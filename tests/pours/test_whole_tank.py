"""A tank file that is not this tank's: its probe set to another length, its size mistyped."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.pours.check import check_fill
from gaugewright.testing.fills import FAMILIES, longer, simulated_fill


def made_of(family, seed=4, pours=8):
    return simulated_fill(np.random.default_rng(seed), family, pours=pours)


def disagreement(checked):
    found = [f for f in checked.findings if f.kind == "tank_disagrees" and f.severity == "check"]
    return found[0].suggestion if found else ""


def error_of(made, checked):
    """Largest departure of the table from the truth, as a share of the capacity."""
    top = min(max(p.counts for p in made.fill.pours), checked.fit.counts[-1])
    at = np.linspace(made.probe.counts_empty, top, 100)
    off = np.interp(at, checked.fit.counts, checked.fit.litres) - made.truth.litres_at_counts(at)
    return float(np.abs(off).max()) / made.truth.capacity_l


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("factor", [0.8, 1.2, 4.0])
def test_a_probe_that_was_set_to_another_length_is_named_with_the_length_that_fits(family, factor):
    made = made_of(family)
    told = replace(made.probe, active_length_mm=factor * made.probe.active_length_mm)
    checked = check_fill(made.fill, made.tank, told)

    said = disagreement(checked)
    assert "was the probe set after its cut?" in said
    length = float(said.split("counts stood for ")[1].split(" mm")[0])
    assert length == pytest.approx(made.probe.active_length_mm, rel=0.05)
    assert error_of(made, checked) < 0.02


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("factor", [0.85, 1.15])
def test_a_tank_whose_length_is_mistyped_is_named_with_what_it_would_hold(family, factor):
    made = made_of(family)
    place = replace(made.probe, x_mm=min(1.0, factor) * made.probe.x_mm)
    checked = check_fill(made.fill, longer(made.tank, factor), place)

    said = disagreement(checked)
    assert "is its length or width mistyped?" in said or "was the probe set" in said
    assert error_of(made, checked) < 0.02


@pytest.mark.parametrize("family", FAMILIES)
def test_the_right_tank_file_is_not_questioned(family):
    made = made_of(family)
    assert disagreement(check_fill(made.fill, made.tank, made.probe)) == ""
