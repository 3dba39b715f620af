"""Tanks joined by a balance pipe: one level, the sum of their litres, both shapes in the fit."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.journal.book import open_book
from gaugewright.pours.check import check_fill
from gaugewright.probe import Probe
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.curves import curves_of
from gaugewright.table.fill import Fill, Pour
from gaugewright.tank.description import Tank, joined_tanks
from gaugewright.tank.dimensions import perturbed, uncertain_dimensions
from gaugewright.tank.levels import litres_at
from gaugewright.tank.shapes import solid_of

LEFT = Tank("box", length_mm=1000, width_mm=600, height_mm=500, edge_radius_mm=60)
RIGHT = Tank("lying_cylinder", length_mm=900, diameter_mm=480)
PROBE = Probe(500, 300, tip_clearance_mm=20, active_length_mm=460)
BOTH = joined_tanks(LEFT, (RIGHT,))


@given(st.floats(0, 500))
def test_joined_tanks_hold_the_sum_of_both_at_one_level(level_mm):
    alone = litres_at(LEFT, level_mm) + litres_at(RIGHT, min(level_mm, 480.0))

    assert float(litres_at(BOTH, level_mm)) == pytest.approx(float(alone), abs=1e-6)


def test_the_sizes_of_each_tank_are_open():
    names = [name for name, _ in uncertain_dimensions(BOTH)]

    assert names[-2:] == ["joined_0.length_mm", "joined_0.diameter_mm"]
    longer = perturbed(BOTH, "joined_0.length_mm", 10.0)
    gained = solid_of(longer, fine=False).volume_l - solid_of(BOTH, fine=False).volume_l
    assert gained == pytest.approx(np.pi * 2.4**2 * 0.1, rel=1e-6)  # 10 mm of cylinder, dm
    assert longer.length_mm == LEFT.length_mm


def test_a_tank_that_stands_higher_than_the_other_is_allowed_for():
    columns = {column.name: column for column in curves_of(BOTH, PROBE, Assumptions()).columns}

    middle = columns["joined_0_height"].effect_l[len(columns["joined_0_height"].effect_l) // 2]
    # 10 mm more or less of a cylinder about 480 mm wide and 900 mm long, near half full
    assert abs(middle) == pytest.approx(0.48 * 0.9 * 10, rel=0.12)


def filled(litres_each: float, number: int) -> Fill:
    levels = np.linspace(0, 500, 4001)
    held = np.asarray(litres_at(BOTH, levels))
    pours = []
    for step in range(number + 1):
        level = float(np.interp(5.0 + litres_each * step, held, levels))
        counts = round(float(PROBE.counts_of(max(level - PROBE.tip_clearance_mm, 0.0))))
        pours.append(Pour(step, litres_each if step else 0.0, counts))
    return Fill(tuple(pours), residual_l=5.0, u_residual_l=0.5)


def test_a_fill_of_both_is_fitted_with_both_shapes_and_finds_nothing_wrong():
    checked = check_fill(filled(40.0, 9), BOTH, PROBE)

    assert [f.kind for f in checked.findings if f.severity != "note"] == []
    fit = checked.fit
    level = PROBE.wetted_mm(fit.counts) + PROBE.tip_clearance_mm
    truth = np.asarray(litres_at(BOTH, level))
    seen = (fit.counts > 100) & (fit.counts < 3400)
    assert np.all(np.abs(fit.litres - truth)[seen] <= fit.u95_litres[seen])


def band(fit, counts):
    return float(np.interp(counts, fit.counts, fit.u95_litres))


@pytest.mark.parametrize("counts", [500, 1500, 2500])
def test_with_the_slope_read_both_shapes_say_more_than_no_shape(counts):
    fill = filled(90.0, 4)
    level = replace(fill, pours=tuple(replace(p, pitch_deg=0.0, roll_deg=0.0) for p in fill.pours))

    known, none = check_fill(level, BOTH, PROBE).fit, check_fill(level, None, None).fit

    assert band(known, counts) < 0.9 * band(none, counts)


def test_a_side_slope_that_nobody_read_opens_the_band_of_tanks_across_the_frame():
    """The probe stands in one of them: a slope moves fuel to or from the other unseen."""
    fill = filled(90.0, 4)
    level = replace(fill, pours=tuple(replace(p, pitch_deg=0.0, roll_deg=0.0) for p in fill.pours))

    unread, read = check_fill(fill, BOTH, PROBE).fit, check_fill(level, BOTH, PROBE).fit

    assert band(unread, 1500) > 2.0 * band(read, 1500)


def test_a_link_is_known_by_its_tanks_and_follows_what_is_described_anew(tmp_path):
    from datetime import UTC, datetime

    from gaugewright.app.scales import described
    from gaugewright.journal import kinds as k

    box = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
    rod = {"x_mm": 500, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 460}
    by = {"at": datetime(2026, 5, 4, tzinfo=UTC), "person": "Ada", "device": "laptop"}
    with open_book(tmp_path / "yard.book") as book:
        book.record("J-1", 0, [k.JobOpened("Yard", "Tipper"), k.TankDescribed("L", box)], **by)
        book.record("J-1", 2, [k.TankDescribed("R", box, rod)], **by)
        state = book.record("J-1", 3, [k.TanksLinked("B", ("L", "R"), "pipe")], **by).state
        both, probe = described(state.tanks["B"])
        assert probe is not None
        assert (both.shape, len(both.joined), both.joined[0].length_mm) == ("box", 1, 1000)
        longer = k.TankDescribed("L", {**box, "length_mm": 1200}, reason="measured again")
        state = book.record("J-1", 4, [longer], **by).state

    assert described(state.tanks["B"])[0].joined[0].length_mm == 1200
