"""How long to cut: both ways, what may be wrong, what is then seen, and typing it twice."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.planning.length import (
    Part,
    confirmed,
    cut_by_depth,
    cut_by_stand_off,
    seen_by,
    ways_agree,
)
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank

BOX = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
LYING = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)


@given(st.floats(200, 1500), st.floats(0, 60), st.floats(5, 60), st.floats(0, 10))
def test_depth_and_seat_are_cut_clearance_and_cap_together(depth, seat, clearance, cap):
    cut = cut_by_depth(depth, seat_mm=seat, tip_clearance_mm=clearance, cap_mm=cap)

    assert cut.cut_length_mm + cap + clearance == pytest.approx(depth + seat)


@given(st.floats(300, 1500), st.floats(0, 40), st.floats(0, 200), st.floats(0, 8))
def test_both_ways_of_measuring_one_tank_agree(depth, seat, more, cap):
    # Uncut, the probe stands on the bottom and reaches above its seat by the stand-off.
    full = depth + seat + more
    stood = cut_by_stand_off(full, more, cap_mm=cap)
    dipped = cut_by_depth(depth, seat_mm=seat, tip_clearance_mm=45 - cap, cap_mm=cap)

    assert stood.cut_length_mm == pytest.approx(dipped.cut_length_mm)
    assert stood.tip_clearance_mm == pytest.approx(dipped.tip_clearance_mm)


def test_the_stand_off_way_cuts_off_45_mm_more_than_it_stands_off():
    assert cut_by_stand_off(700, 195).cut_length_mm == 700 - 195 - 45


def test_two_measurements_a_centimetre_apart_do_not_agree():
    dipped = cut_by_depth(500, seat_mm=8)
    agree, apart = ways_agree(dipped, cut_by_stand_off(700, 182))

    assert not agree
    assert apart == pytest.approx(-10)


def test_uncertainties_are_added_in_squares_and_worst_cases_straight():
    cut = cut_by_depth(500, u_depth_mm=3, u_seat_mm=4, u_cut_mm=0)

    assert cut.u_mm == pytest.approx(5)
    assert cut.least_mm == pytest.approx(20 - 6 - 8)


@pytest.mark.parametrize(
    ("flex", "u_depth", "verdict"),
    [(5, 1, "clears"), (15, 1, "clears"), (17, 1, "may touch"), (5, 5, "may touch"),
     (20, 1, "touches"), (30, 1, "touches")],
)  # fmt: skip
def test_the_tip_touches_when_the_bottom_comes_up_far_enough(flex, u_depth, verdict):
    assert cut_by_depth(500, bottom_flex_mm=flex, u_depth_mm=u_depth).verdict == verdict


def test_the_probability_of_touching_is_that_of_a_simulation():
    cut = cut_by_depth(500, bottom_flex_mm=18, u_depth_mm=1, u_seat_mm=1, u_cut_mm=1)
    rng = np.random.default_rng(3)
    errors = rng.normal(size=(200_000, 3)).sum(axis=1)

    assert cut.touch_probability == pytest.approx(np.mean(2 + errors <= 0), abs=0.004)


def test_a_cut_known_exactly_touches_or_not():
    sure = {"u_depth_mm": 0, "u_seat_mm": 0, "u_cut_mm": 0}

    assert cut_by_depth(500, bottom_flex_mm=19, **sure).touch_probability == 0
    assert cut_by_depth(500, bottom_flex_mm=20, **sure).touch_probability == 1


# What the probe sees


def test_dead_stock_blind_part_and_counts_of_a_box_are_those_by_hand():
    seen = seen_by(BOX, Probe(500, 300, tip_clearance_mm=25, active_length_mm=440))

    assert seen.dead_stock_l == pytest.approx(15)
    assert seen.blind_above_l == pytest.approx(21)
    assert seen.blind_above_mm == pytest.approx(35)
    assert seen.litres_per_count == pytest.approx(0.6 * 440 / 4095)


@given(st.floats(5, 60), st.floats(100, 520), st.floats(250, 950))
def test_dead_stock_what_is_seen_and_the_blind_part_are_the_tank(clearance, active, x):
    seen = seen_by(LYING, Probe(x, 300, clearance, active))

    between = seen.litres[-1] - seen.litres[0]
    assert seen.dead_stock_l + between + seen.blind_above_l == pytest.approx(seen.capacity_l)
    # Litres per count, summed over the counts seen, are the litres between.
    counts = (seen.level_mm - seen.level_mm[0]) / active * 4095
    assert np.trapezoid(seen.litres_per_count, counts) == pytest.approx(between, rel=0.01)


def test_a_reversed_scale_sees_as_much():
    up = seen_by(BOX, Probe(500, 300, 20, 460))
    down = seen_by(BOX, Probe(500, 300, 20, 460, counts_empty=4095, counts_full=0))

    assert down.litres_per_count == pytest.approx(up.litres_per_count)


def test_averaging_makes_smaller_changes_visible():
    probe = Probe(500, 300, 20, 460)
    one = seen_by(BOX, probe, noise_counts=3, samples=1).smallest_visible_l
    many = seen_by(BOX, probe, noise_counts=3, samples=64).smallest_visible_l

    assert (many < one / 5).all()
    # Two readings of sd s differ by less than 1.96 sqrt(2) s in 95 of 100: simulated.
    rng = np.random.default_rng(5)
    readings = np.rint(1000.4 + rng.uniform(-0.5, 0.5, (50_000, 1)) + rng.normal(0, 3, (50_000, 2)))
    per_count = seen_by(BOX, probe).litres_per_count[0]
    share = np.mean(np.abs(np.diff(readings, axis=1)) * per_count <= one[0])
    assert share == pytest.approx(0.95, abs=0.03)


# Typing it twice


@pytest.mark.parametrize(
    ("first", "second"), [("485", "485"), ("485", "485,0"), ("48,5cm", "485 mm"), ("19in", "482.6")]
)
def test_the_same_length_typed_twice_is_confirmed(first, second):
    assert confirmed(first, second) == pytest.approx(confirmed(second, first))


@pytest.mark.parametrize(
    ("first", "second", "message"),
    [
        ("485", "458", r"two digits are swapped"),
        ("485", "486", r"486 mm is not 485 mm as typed before; measure again"),
        ("48,5", "485", r"485 mm is not 48.5 mm"),
        ("485", "", r"'' is not a length"),
        ("-485", "-485", r"must be above 0 mm, found -485"),
        ("nan", "nan", r"'nan' is not a length"),
    ],
)
def test_what_differs_or_is_no_length_is_not_confirmed(first, second, message):
    with pytest.raises(InputError, match=message) as refused:
        confirmed(first, second)
    assert refused.value.field == "cut_length_mm"


@given(st.integers(100, 2000), st.integers(100, 2000))
def test_only_equal_lengths_are_confirmed(first, second):
    if first == second:
        assert confirmed(str(first), str(second)) == first
    else:
        with pytest.raises(InputError):
            confirmed(str(first), str(second))


# Bad input


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: cut_by_depth(15), "depth_mm: 15 mm leaves nothing"),
        (lambda: cut_by_depth(float("nan")), "depth_mm: must be 0 mm or more"),
        (lambda: cut_by_depth(500, cap_mm=-1), "cap_mm: must be 0 mm or more"),
        (lambda: cut_by_depth(500, u_depth_mm=-1), "depth: an uncertainty must not be negative"),
        (lambda: cut_by_stand_off(100, 80), "stand_off_mm: 80 mm and 45 mm to cut off leave"),
        (lambda: cut_by_stand_off(700, 100, cap_mm=50), "cap_mm: a cap of 50 mm is longer"),
        (lambda: Part("seat", float("inf"), 1, 1), "seat: must be finite"),
        (
            lambda: seen_by(BOX, Probe(500, 300, 500, 100)),
            "probe.tip_clearance_mm: 500 mm is above",
        ),
        (lambda: seen_by(BOX, Probe(500, 300, 20, 460), noise_counts=-1), "noise_counts"),
        (lambda: seen_by(BOX, Probe(500, 300, 20, 460), samples=0), "samples: must be 1 or more"),
        (lambda: seen_by(BOX, Probe(1500, 300, 20, 460)), "outside the tank"),
    ],
)
def test_a_length_that_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
