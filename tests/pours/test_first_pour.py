"""A decimal slip in the first pour that the probe sees, before any other can speak for the tank."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.pours.check import check_fill
from gaugewright.testing.fills import FAMILIES, simulated_fill


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("slip", [0.1, 10.0])
def test_a_decimal_slip_in_the_first_pour_is_named_and_the_right_pour_is_not(family, slip):
    made = simulated_fill(np.random.default_rng(23), family, pours=5)
    right = replace(made.fill, pours=made.fill.pours[:2])
    poured = right.pours[1]
    wrong = replace(poured, added_l=round(slip * poured.added_l, 2))

    found = check_fill(replace(right, pours=(right.pours[0], wrong)), made.tank, made.probe)
    asked = [f for f in found.findings if f.severity != "note" and f.step is not None]
    assert [f.kind for f in asked] == ["decimal_slip"]
    assert asked[0].value == pytest.approx(poured.added_l, abs=0.1)

    clean = check_fill(right, made.tank, made.probe)
    assert [f for f in clean.findings if f.severity != "note"] == []
