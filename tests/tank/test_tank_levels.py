"""Dip tables, and what a slope does to the litres read."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.levels import dip_table, litres_at, slope_error_l

BOX = Tank("box", length_mm=1000.0, width_mm=600.0, height_mm=505.0)
CYLINDER = Tank("lying_cylinder", length_mm=1200.0, diameter_mm=600.0)


def test_a_dip_table_runs_from_empty_to_full_and_ends_at_the_top():
    table = dip_table(BOX, 10)
    assert table.level_mm[:3].tolist() == [0, 10, 20]
    assert table.level_mm[-2:].tolist() == [500, 505]
    assert table.litres == pytest.approx(0.6 * table.level_mm)


@pytest.mark.parametrize("every", [0.1, 0.3, 1.0, 7.0, 101.0, 505.0, 600.0])
def test_the_top_is_a_row_once_whatever_the_step(every):
    table = dip_table(BOX, every)
    assert table.level_mm[0] == 0
    assert table.level_mm[-1] == 505
    assert (np.diff(table.level_mm) > 1e-6).all()
    assert np.diff(table.level_mm)[:-1] == pytest.approx(every, abs=1e-9)


def test_fuel_runs_to_the_rear_when_the_front_end_is_up():
    front = litres_at(BOX, 250, pitch_deg=2, x_mm=100, y_mm=300)
    rear = litres_at(BOX, 250, pitch_deg=2, x_mm=900, y_mm=300)
    assert front > 150 > rear
    # The same level seen 400 mm off the middle is the middle's level moved by the slope.
    assert rear == pytest.approx(150 - 0.6 * 400 * np.tan(np.radians(2)))


def test_fuel_runs_to_the_right_when_the_left_side_is_up():
    left = litres_at(BOX, 250, roll_deg=2, x_mm=500, y_mm=100)
    assert left == pytest.approx(150 + 0.6 * 200 * np.tan(np.radians(2)))


def test_on_a_slope_the_bottom_row_may_hold_fuel():
    table = dip_table(BOX, 10, pitch_deg=3, x_mm=100, y_mm=300)
    assert table.litres[0] > 0
    assert table.litres[-1] <= 303
    assert (np.diff(table.litres) >= 0).all()


def test_inner_parts_are_taken_off_in_proportion():
    fitted = replace(BOX, displaced_l=3.03)
    table = dip_table(fitted, 100)
    assert table.litres == pytest.approx(0.99 * 0.6 * table.level_mm)


def test_what_a_slope_makes_the_table_misread_vanishes_at_the_middle_of_a_half_full_tank():
    assert slope_error_l(CYLINDER, 300, pitch_deg=4, roll_deg=-3) == pytest.approx(0, abs=1e-9)
    misread = slope_error_l(CYLINDER, [150, 450], pitch_deg=3, x_mm=900, y_mm=300)
    assert (misread > 0).all()


def test_no_slope_is_no_error():
    assert slope_error_l(CYLINDER, [100, 200], pitch_deg=0, x_mm=100, y_mm=300).tolist() == [0, 0]


@pytest.mark.parametrize("level", [-0.1, 505.1, np.inf])
def test_a_level_outside_the_tank_is_refused(level):
    with pytest.raises(InputError, match=r"level_mm: .* is outside the tank, 0 to 505 mm"):
        litres_at(BOX, [10, level])


def test_a_missing_level_stays_missing():
    assert np.isnan(litres_at(BOX, [100, np.nan])).tolist() == [False, True]


@pytest.mark.parametrize("every", [0, -1, np.nan, np.inf, 0.005])
def test_a_step_that_gives_no_table_is_refused(every):
    with pytest.raises(InputError) as refusal:
        dip_table(BOX, every)
    assert refusal.value.field == "every_mm"


@pytest.mark.parametrize("angle", [46, -90, np.nan])
def test_a_slope_that_no_vehicle_stands_on_is_refused(angle):
    with pytest.raises(InputError, match="pitch_deg"):
        dip_table(BOX, 10, pitch_deg=angle)


def test_a_place_outside_the_tank_is_refused():
    with pytest.raises(InputError, match="x 1500 mm, y 300 mm is outside the tank"):
        dip_table(BOX, 10, x_mm=1500)
