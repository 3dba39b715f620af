"""Headroom against brute force: the probe as a drawn outline, moved in small steps."""

from math import atan2, cos, hypot, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import label

from gaugewright.errors import InputError
from gaugewright.planning.headroom import RigidProbe, headroom, steepest_lean

PROBES = [
    RigidProbe(500, head_mm=60, tube_mm=20, flange_mm=80, hole_mm=38, boss_mm=5),
    RigidProbe(700, head_mm=40, tube_mm=16, flange_mm=70, hole_mm=40, boss_mm=20),
    RigidProbe(300, head_mm=0, tube_mm=25, flange_mm=100, hole_mm=60, boss_mm=0),
    RigidProbe(150, head_mm=120, tube_mm=20, flange_mm=140, hole_mm=50, boss_mm=10),
    RigidProbe(600, head_mm=80, tube_mm=30, flange_mm=90, hole_mm=31, boss_mm=8),
]


def fits_through(probe, lean):
    """Whether a long strip of the tube's width passes a slot of the hole's width and depth."""
    # Corners of the slot seen along the tube; the gap between the facing rims is what is free.
    across = np.array([cos(lean), -sin(lean)])
    left = [np.array([-probe.hole_mm / 2, z]) @ across for z in (0, probe.boss_mm)]
    right = [np.array([probe.hole_mm / 2, z]) @ across for z in (0, probe.boss_mm)]
    return min(right) - max(left) >= probe.tube_mm - 1e-9


def tops_of(probe, inserted, leans):
    """Highest point of the drawn outline, by length inserted and lean; infinite where it clashes.

    The lower side of the tube rests on the rim: it is lifted by its half width.
    """
    left = (probe.length_mm - inserted)[:, None]
    # Corners of flange and head: along the tube, and to either side of it.
    along = np.stack([left, left, left + probe.head_mm, left + probe.head_mm])
    aside = np.array([-1, 1, -1, 1])[:, None, None] * probe.flange_mm / 2
    heights = along * np.cos(leans) + aside * np.sin(leans)
    tops = probe.boss_mm + heights.max(axis=0) + probe.tube_mm / 2 * np.sin(leans)
    clashes = heights[:2].min(axis=0) < -1e-9
    clashes |= ~np.array([fits_through(probe, lean) for lean in leans])
    return np.where(clashes, np.inf, tops)


def goes_in(tops, height):
    """Whether small steps of sliding and turning bring the probe from outside to its seat."""
    pieces, _ = label(tops <= height, structure=np.ones((3, 3)))
    return bool(pieces[-1, 0]) and bool((pieces[0] == pieces[-1, 0]).any())


@pytest.mark.parametrize("probe", PROBES)
def test_a_probe_goes_in_with_the_headroom_found_and_not_with_less(probe):
    needed = headroom(probe).needed_mm
    tops = tops_of(probe, np.linspace(0, probe.length_mm, 600), np.linspace(0, pi / 2, 900))

    # Leans are 0.1 degrees apart: a fraction of a per cent of height over a long probe.
    slack = 0.004 * (probe.length_mm + probe.head_mm)
    assert goes_in(tops, needed + slack)
    assert not goes_in(tops, needed - slack)


@settings(max_examples=60)
@given(st.floats(10, 60), st.floats(0, 60), st.floats(0.2, 1.0))
def test_the_steepest_lean_is_the_last_that_fits(hole, boss, share):
    probe = RigidProbe(500, tube_mm=share * hole, hole_mm=hole, boss_mm=boss)
    lean = steepest_lean(probe)

    assert fits_through(probe, lean)
    assert lean > pi / 2 - 0.01 or not fits_through(probe, lean + 0.01)


def test_a_leaning_tube_fits_a_round_hole_in_space_too():
    probe = RigidProbe(500, tube_mm=20, hole_mm=40, boss_mm=15)
    lean = steepest_lean(probe)
    turns = np.linspace(0, 2 * pi, 721)
    for z, sign in ((probe.boss_mm / 2, 1), (-probe.boss_mm / 2, -1)):
        # Where the tube meets the plane: an ellipse longer by 1/cos, shifted by z tan.
        x = probe.tube_mm / 2 * np.cos(turns) / cos(lean) + z * sin(lean) / cos(lean)
        y = probe.tube_mm / 2 * np.sin(turns)
        furthest = float(np.hypot(x, y).max())
        assert furthest == pytest.approx(probe.hole_mm / 2, rel=1e-9), sign


@given(st.floats(100, 1500), st.floats(0, 200), st.floats(0, 60))
def test_leaning_never_needs_less_than_the_head_and_a_longer_probe_never_less(length, head, boss):
    short = headroom(RigidProbe(length, head_mm=head, boss_mm=boss))
    longer = headroom(RigidProbe(length + 50, head_mm=head, boss_mm=boss))

    assert boss + head <= short.needed_mm <= short.upright_mm
    assert short.upright_mm < longer.upright_mm
    assert short.leaning_mm <= longer.leaning_mm + 1e-9
    assert short.needed_mm <= longer.needed_mm + 1e-9


@given(st.floats(20, 80), st.floats(1.0, 2.0))
def test_a_wider_hole_lets_a_probe_lean_further(hole, times):
    narrow = steepest_lean(RigidProbe(500, tube_mm=20, hole_mm=hole))
    wide = steepest_lean(RigidProbe(500, tube_mm=20, hole_mm=hole * times))

    assert wide >= narrow - 1e-12


def test_a_hole_that_fits_exactly_lets_it_in_upright_only():
    found = headroom(RigidProbe(500, tube_mm=38, hole_mm=38))

    assert found.steepest_deg == pytest.approx(0, abs=1e-9)
    assert found.needed_mm == pytest.approx(found.upright_mm)


def test_the_seat_itself_takes_the_turn_of_the_head():
    # A short probe with a wide flange: what counts is the head's corner as the flange comes down.
    probe = RigidProbe(40, head_mm=120, tube_mm=20, flange_mm=140, hole_mm=60, boss_mm=0)
    lean = min(steepest_lean(probe), atan2(80, 140))

    assert headroom(probe).leaning_mm >= 120 * cos(lean) + 150 * sin(lean) - 1e-9
    assert headroom(probe).leaning_mm <= hypot(120, 150) + 1e-9


def test_the_verdict_says_what_is_missing():
    found = headroom(PROBES[0])

    assert found.verdict(565) == "upright, 0 mm to spare"
    assert found.verdict(450).startswith("leaning 51.0°, 54 mm to spare; the tip reaches")
    assert found.verdict(450, inside_mm=100).startswith("not leaning: the tip needs")
    assert found.verdict(395).startswith("impossible: 395 mm above the tank, 396 mm needed")
    with pytest.raises(InputError, match="headroom_mm: must be 0 mm or more, found nan"):
        found.verdict(float("nan"))


def test_the_tip_reaches_as_far_sideways_as_it_leans():
    found = headroom(PROBES[0])

    assert found.inside_mm <= 500 * sin(radians(found.steepest_deg)) + 10
    assert found.inside_mm > 0.5 * 500 * sin(radians(found.steepest_deg))


@pytest.mark.parametrize(
    ("sizes", "field"),
    [
        ({"length_mm": 0}, "length_mm"),
        ({"length_mm": float("nan")}, "length_mm"),
        ({"length_mm": 500, "tube_mm": 40}, "hole_mm"),
        ({"length_mm": 500, "head_mm": -1}, "head_mm"),
        ({"length_mm": 500, "boss_mm": float("inf")}, "boss_mm"),
    ],
)
def test_a_probe_that_cannot_be_is_refused_by_name(sizes, field):
    with pytest.raises(InputError) as refused:
        RigidProbe(**sizes)
    assert refused.value.field == field
