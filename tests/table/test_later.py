"""A table carried to another probe and to a sister, against closed forms and known truths."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.fit import fit
from gaugewright.table.later.assumptions import Mounting
from gaugewright.table.later.carry import carried, levels_from_fit, levels_from_table
from gaugewright.table.later.known import known_from_fit, known_from_table
from gaugewright.table.later.sister import fit_with_sister, sister_known
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.testing.fills import simulated_fill
from gaugewright.testing.later import sister

BOX = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
AREA = 0.6  # L/mm
OLD = Probe(500, 300, 20, 460)
NEW = Probe(500, 300, 12, 440, 120, 3900)
CYLINDER = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)
OLD_ROUND = Probe(600, 300, 15, 570)


def box_table(band=2.0):
    """The box's litres by hand: area times height."""
    counts = np.arange(0.0, 4096.0, 65.0)
    return Table(counts, AREA * (20 + counts * 460 / 4095), np.full(len(counts), band))


def segment_l(level_mm, radius=300.0, length=1200.0):
    """Perry's Chemical Engineers' Handbook: partial volume of a lying cylinder. [L]"""
    h = np.clip(level_mm, 0.0, 2 * radius)
    area = radius**2 * np.arccos(1 - h / radius) - (radius - h) * np.sqrt(
        np.maximum(2 * radius * h - h**2, 0.0)
    )
    return area * length / 1e6


def test_a_box_is_carried_by_the_height_of_the_tip_and_the_scale_alone():
    found = carried(levels_from_table(box_table(), OLD, BOX), NEW).table_fit()

    wetted = (found.counts - 120) * 440 / 3780
    assert found.litres == pytest.approx(AREA * (12 + wetted), abs=0.01)
    assert (found.counts[0], found.counts[-1]) == (120, 3900)


def test_the_band_of_a_carried_box_is_the_root_of_all_squares_by_hand():
    old, new = Mounting(1.5, 3.0, 2.0, 0.0), Mounting(0.8, 1.0, 4.0, 0.0)
    found = carried(levels_from_table(box_table(), OLD, BOX, old), NEW, new).table_fit()

    u_scale = Assumptions().u_scale

    def scale_mm2(share, length, known):
        bow = [u_scale * length * np.sin(k * np.pi * share) / k for k in (1, 2)]
        ends = (1 - share) * known.u_zero_counts, share * known.u_span_counts
        return sum(b**2 for b in bow) + sum((e * length / 4095) ** 2 for e in ends)

    for counts in (500.0, 2000.0, 3400.0):
        new_share = (counts - 120) / 3780
        level = 12 + new_share * 440
        old_share = (level - 20) / 460
        mm2 = 1.5**2 + 0.8**2 + scale_mm2(old_share, 460, old) + scale_mm2(new_share, 440, new)
        by_hand = 1.96 * np.hypot(2.0 / 1.96, AREA * np.sqrt(mm2))
        assert np.interp(counts, found.counts, found.u95_litres) == pytest.approx(by_hand, rel=0.01)


def test_a_lying_cylinder_is_carried_along_its_own_curve():
    counts = np.linspace(0, 4095, 316)
    litres = segment_l(15 + counts * 570 / 4095)
    table = Table(counts, litres, np.full(len(counts), 1.0))
    probe = replace(OLD_ROUND, tip_clearance_mm=25, active_length_mm=500)
    found = carried(levels_from_table(table, OLD_ROUND, CYLINDER), probe).table_fit()

    wetted = found.counts * 500 / 4095
    assert found.litres == pytest.approx(segment_l(25 + wetted), abs=0.15)


def test_a_probe_beside_the_middle_of_a_round_bottom_hangs_from_another_height():
    counts = np.linspace(0, 4095, 316)
    table = Table(counts, segment_l(15 + counts * 570 / 4095), np.full(len(counts), 1.0))
    aside = replace(OLD_ROUND, y_mm=400, tip_clearance_mm=15, active_length_mm=480)
    found = carried(levels_from_table(table, OLD_ROUND, CYLINDER), aside)

    bottom = 300 - np.sqrt(300**2 - 100**2)
    litres = found.parts[0].curves.litres
    wetted = found.parts[0].curves.wetted_mm
    assert litres == pytest.approx(segment_l(bottom + 15 + wetted), abs=0.4)
    place = next(c for c in found.parts[0].curves.columns if c.name == "place_y")
    rise = np.sqrt(300**2 - 100**2) - np.sqrt(300**2 - 105**2)
    per_mm = found.parts[0].curves.per_mm_l
    # The section is made of chords, whose slope is that of the arc on the average only.
    assert place.effect_l / per_mm == pytest.approx(rise, rel=0.1)


def test_a_longer_probe_sees_above_the_old_one_only_what_the_tank_file_says():
    short = Probe(500, 300, 20, 300)
    counts = np.arange(0.0, 4096.0, 65.0)
    table = Table(counts, AREA * (20 + counts * 300 / 4095), np.full(len(counts), 1.0))
    found = carried(levels_from_table(table, short, BOX), OLD).table_fit()

    assert found.litres[-1] == pytest.approx(AREA * 480, abs=0.2)
    at_old_top = np.interp(4095 * 300 / 460, found.counts, found.u95_litres)
    assert found.u95_litres[-1] > 1.5 * at_old_top


@settings(max_examples=25, deadline=None)
@given(
    tip=st.floats(5, 40), length=st.floats(200, 440), band=st.floats(0.2, 8), u_tip=st.floats(0, 4)
)
def test_carrying_never_makes_a_band_narrower(tip, length, band, u_tip):
    probe = Probe(500, 300, tip, length)
    levels = levels_from_table(box_table(band), OLD, BOX)
    found = carried(levels, probe, Mounting(u_tip_mm=u_tip)).table_fit()

    inside = found.counts * length / 4095 + tip >= 20
    assert (found.u95_litres[inside] >= band * 0.995).all()


def test_what_a_fill_taught_is_its_own_table_again_before_any_new_pour():
    made = simulated_fill(np.random.default_rng(11), "oval")
    result = fit(made.fill, made.tank, made.probe)
    again = known_from_fit(result).table_fit()

    at = np.linspace(result.counts[0], result.counts[-1], 50)
    for name in ("litres", "u95_litres"):
        before = np.interp(at, result.counts, getattr(result, name))
        after = np.interp(at, again.counts, getattr(again, name))
        assert after == pytest.approx(before, abs=0.02 * result.litres[-1] / 100)


def test_all_that_a_fill_taught_carries_a_narrower_band_than_its_table_alone():
    made = simulated_fill(np.random.default_rng(12), "obround")
    result = fit(made.fill, made.tank, made.probe)
    table = Table(result.counts, result.litres, result.u95_litres)
    whole = carried(levels_from_fit(result), made.probe).table_fit()
    alone = carried(levels_from_table(table, made.probe, made.tank), made.probe).table_fit()

    assert result.u95_litres.mean() < whole.u95_litres.mean() < alone.u95_litres.mean()


def test_a_table_without_a_band_and_a_probe_that_cannot_stand_are_refused():
    bare = Table(np.array([0.0, 4095.0]), np.array([12.0, 288.0]), None)
    with pytest.raises(InputError, match="u_litres"):
        known_from_table(bare, OLD, BOX)
    levels = levels_from_table(box_table(), OLD, BOX)
    with pytest.raises(InputError, match="outside"):
        carried(levels, replace(NEW, x_mm=5000))
    with pytest.raises(InputError, match="counts_full must be above"):
        carried(levels, replace(NEW, counts_empty=4000, counts_full=100))


@pytest.mark.parametrize("family", ["box", "lying_cylinder", "d_section"])
def test_two_pours_agree_with_a_sister_and_not_with_a_longer_tank(family):
    made = simulated_fill(np.random.default_rng(5), family)
    levels = levels_from_fit(fit(made.fill, made.tank, made.probe))
    for longer, is_alike in ((0.0, True), (0.1, False)):
        hers = sister(np.random.default_rng(6), made, longer=longer)
        tank = replace(made.tank, length_mm=made.tank.length_mm * (1 + longer))
        both = fit_with_sister(hers.fill, sister_known(levels, hers.probe), tank, hers.probe)
        assert (both.agreement > 0.5) is is_alike
        assert (both.agreement < 0.1) is not is_alike
        assert (both.log_likelihood > -1.0) is is_alike
