"""The kernel: litres below a plane, its inverse, the column above a place."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.prisms import extrude, solid_of_revolution
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import Solid, column, level_of_litres, level_range, litres_below

SOLIDS = {
    "box": solid_of(Tank("box", length_mm=1000.0, width_mm=600.0, height_mm=500.0)),
    "cylinder": solid_of(Tank("lying_cylinder", length_mm=1200.0, diameter_mm=600.0)),
    "dished": solid_of(
        Tank("oval", length_mm=900.0, width_mm=700.0, height_mm=500.0, ends="dished",
             end_depth_mm=80.0),
        fine=False,
    ),
    "stepped": solid_of(
        Tank("stepped", length_mm=1000.0, width_mm=600.0, height_mm=500.0, edge_radius_mm=40.0,
             step_length_mm=350.0, step_height_mm=180.0),
    ),
    "hollow": solid_of(
        Tank("section", length_mm=800.0, corner_radius_mm=20.0, section_mm=(
            (0, 0), (600, 0), (600, 500), (300, 500), (300, 250), (0, 250))),
        fine=False,
    ),
    "cone": solid_of_revolution(np.array([0, 900.0]), np.array([0, 400.0]), is_upright=True),
}  # fmt: skip
EVERY = pytest.mark.parametrize("solid", SOLIDS.values(), ids=SOLIDS.keys())
ANY = st.sampled_from(list(SOLIDS.values()))
SLOPE = st.one_of(st.just(0.0), st.floats(-0.3, 0.3))
PLACE = st.floats(-500, 1500)


def clipped_l(solid, level, slope_x, slope_y):
    """Litres by cutting every triangle at the plane, corner by corner: slow and plain."""
    total = 0.0
    for triangle in solid.vertices[solid.triangles]:
        polygon = []
        over = triangle[:, 2] - slope_x * triangle[:, 0] - slope_y * triangle[:, 1] - level
        for k in range(3):
            j = (k + 1) % 3
            if over[k] <= 0:
                polygon.append(triangle[k])
            if (over[k] <= 0) != (over[j] <= 0):
                share = over[k] / (over[k] - over[j])
                polygon.append(triangle[k] + share * (triangle[j] - triangle[k]))
        # Pyramids to a point of the plane: the cut itself then adds nothing.
        for k in range(1, len(polygon) - 1):
            corners = [polygon[0], polygon[k], polygon[k + 1]]
            total += np.linalg.det(np.array(corners) - [0, 0, level]) / 6
    return total * 1e-6


@EVERY
@pytest.mark.parametrize("slope", [(0.0, 0.0), (0.05, 0.0), (-0.02, 0.11)])
def test_litres_agree_with_cutting_every_triangle(solid, slope):
    low, high = level_range(solid, slope_x=slope[0], slope_y=slope[1])
    levels = np.linspace(low, high, 12)[1:-1] + 0.123
    expected = [clipped_l(solid, level, *slope) for level in levels]
    found = litres_below(solid, levels, slope_x=slope[0], slope_y=slope[1])
    assert found == pytest.approx(np.array(expected), rel=1e-9, abs=1e-12 * solid.volume_l)


@EVERY
def test_one_level_and_many_give_the_same_litres(solid):
    # Many levels take the path that sums polynomials, one level the other.
    low, high = level_range(solid, slope_x=0.07)
    levels = np.linspace(low, high, 900)
    many = litres_below(solid, levels, slope_x=0.07)
    single = [float(litres_below(solid, level, slope_x=0.07)) for level in levels[::37]]
    assert many[::37] == pytest.approx(single, abs=1e-12 * solid.volume_l)


@settings(max_examples=80, deadline=None)
@given(ANY, SLOPE, SLOPE, st.floats(0, 1))
def test_liquid_and_air_fill_the_solid_between_them(solid, slope_x, slope_y, share):
    # Half a turn about the length's axis turns the air into liquid.
    turned = Solid(solid.vertices * [1, -1, -1], solid.triangles)
    low, high = level_range(solid, slope_x=slope_x, slope_y=slope_y)
    level = low + share * (high - low)
    liquid = litres_below(solid, level, slope_x=slope_x, slope_y=slope_y)
    air = litres_below(turned, solid.top_mm - level, slope_x=-slope_x, slope_y=slope_y)
    assert liquid + air == pytest.approx(solid.volume_l, rel=1e-11)


@settings(max_examples=60, deadline=None)
@given(ANY, SLOPE, SLOPE, st.lists(st.floats(-1000, 2000), min_size=2, max_size=60))
def test_litres_never_fall_as_the_level_rises(solid, slope_x, slope_y, levels):
    litres = litres_below(solid, np.sort(levels), slope_x=slope_x, slope_y=slope_y)
    assert (np.diff(litres) >= -1e-12 * solid.volume_l).all()
    assert (litres >= -1e-12 * solid.volume_l).all()
    assert (litres <= solid.volume_l * (1 + 1e-12)).all()


@settings(max_examples=80, deadline=None)
@given(ANY, SLOPE, SLOPE, PLACE, PLACE, st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_the_level_of_some_litres_holds_these_litres(solid, slope_x, slope_y, x, y, shares):
    slope = {"slope_x": slope_x, "slope_y": slope_y, "at_x_mm": x, "at_y_mm": y}
    litres = np.array(shares) * solid.volume_l
    levels = level_of_litres(solid, litres, **slope)
    assert litres_below(solid, levels, **slope) == pytest.approx(
        litres, rel=1e-9, abs=1e-11 * solid.volume_l
    )


@EVERY
def test_the_inverse_returns_levels_to_better_than_1e_9(solid):
    low, high = level_range(solid, slope_x=0.04, slope_y=0.01, at_x_mm=300, at_y_mm=100)
    slope = {"slope_x": 0.04, "slope_y": 0.01, "at_x_mm": 300, "at_y_mm": 100}
    levels = low + (high - low) * np.linspace(0.02, 0.98, 97)
    found = level_of_litres(solid, litres_below(solid, levels, **slope), **slope)
    assert found == pytest.approx(levels, abs=1e-9 * (high - low), rel=0)


@EVERY
def test_nothing_and_everything_have_the_levels_of_just_empty_and_just_full(solid):
    slope = {"slope_x": -0.03, "slope_y": 0.02, "at_x_mm": 200.0, "at_y_mm": 50.0}
    found = level_of_litres(solid, [0.0, solid.volume_l], **slope)
    assert found == pytest.approx(level_range(solid, **slope), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(ANY, SLOPE, SLOPE, PLACE, PLACE, st.floats(-200, 700))
def test_the_same_plane_seen_from_another_place_holds_the_same(
    solid, slope_x, slope_y, x, y, level
):
    there = litres_below(solid, level, slope_x=slope_x, slope_y=slope_y, at_x_mm=x, at_y_mm=y)
    here = litres_below(solid, level - slope_x * x - slope_y * y, slope_x=slope_x, slope_y=slope_y)
    assert there == pytest.approx(here, abs=1e-9 * solid.volume_l)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["box", "cylinder", "dished"]), SLOPE, SLOPE)
def test_tilting_a_half_full_symmetric_solid_about_its_middle_changes_nothing(
    name, slope_x, slope_y
):
    solid = SOLIDS[name]
    x, y, z = 0.5 * (solid.vertices.min(axis=0) + solid.vertices.max(axis=0))
    found = litres_below(solid, z, slope_x=slope_x, slope_y=slope_y, at_x_mm=x, at_y_mm=y)
    assert found == pytest.approx(solid.volume_l / 2, rel=1e-11)


@settings(max_examples=60, deadline=None)
@given(
    ANY,
    st.floats(1e4, allow_infinity=False) | st.sampled_from([1e16, 1e25, 1e308]),
    st.sampled_from([-1, 1]),
    st.booleans(),
)
def test_a_place_however_far_outside_is_refused_with_where_the_tank_is(solid, far, sign, is_y):
    place = (300.0, sign * far) if is_y else (sign * far, 300.0)
    with pytest.raises(InputError, match="is outside the tank, which reaches from x"):
        column(solid, *place)


def test_positive_slope_x_puts_the_fuel_to_the_rear():
    low_end = litres_below(SOLIDS["box"], 250, slope_x=0.05, at_x_mm=0)
    assert low_end == pytest.approx(0.6 * 250 + 0.6 * 0.05 * 500, rel=1e-12)


def test_a_dry_corner_is_a_pyramid():
    # The plane meets the edges 100, 200 and 50 mm from the low corner: a b c / 6.
    found = litres_below(SOLIDS["box"], -450.0 - 0.0, slope_x=0.5, slope_y=0.0, at_x_mm=0.0)
    assert found == pytest.approx(0.5 * 100 * 50 * 600 * 1e-6, rel=1e-12)
    corner = litres_below(SOLIDS["box"], 50.0 - 600.0 * 0.25 - 500.0, slope_x=0.5, slope_y=0.25)
    assert corner == pytest.approx(100 * 200 * 50 / 6 * 1e-6, rel=1e-12)


def test_levels_of_any_shape_come_back_in_that_shape():
    box = SOLIDS["box"]
    assert litres_below(box, 100).shape == ()
    assert litres_below(box, [100, 200]).shape == (2,)
    assert litres_below(box, [[100, 200, 300], [500, 0, 250]]).round(9).tolist() == [
        [60, 120, 180],
        [300, 0, 150],
    ]
    assert litres_below(box, []).shape == (0,)
    assert level_of_litres(box, 60).shape == ()
    assert level_of_litres(box, [[60], [120]]).shape == (2, 1)
    assert level_of_litres(box, []).shape == (0,)


def test_a_missing_reading_stays_missing():
    found = litres_below(SOLIDS["box"], [100, np.nan, 200])
    assert found[1] != found[1]
    assert found[[0, 2]] == pytest.approx([60, 120])
    assert np.isnan(level_of_litres(SOLIDS["box"], [60, np.nan])).tolist() == [False, True]


def test_planes_beside_the_solid_hold_nothing_or_everything_exactly():
    for solid in SOLIDS.values():
        found = litres_below(solid, [-1e9, -np.inf, 0, solid.top_mm, 1e9, np.inf])
        assert found.tolist() == [0, 0, 0, *[solid.volume_l] * 3]


@pytest.mark.parametrize("litres", [-1e-9, 300.001, np.inf])
def test_litres_that_the_solid_cannot_hold_are_refused(litres):
    with pytest.raises(InputError, match=r"outside what the tank holds, 0 to 300 L"):
        level_of_litres(SOLIDS["box"], [10, litres])


@pytest.mark.parametrize("slope", [np.nan, np.inf])
def test_a_slope_that_is_no_number_is_refused(slope):
    with pytest.raises(InputError, match="slope_y"):
        litres_below(SOLIDS["box"], 10, slope_y=slope)


@pytest.mark.parametrize("hair", [0.0, 1e-13, 1e-11, 1e-9])
def test_corners_at_the_same_height_and_almost_the_same_height_are_exact(hair):
    corners = np.array([[0, 0], [100, hair], [100, 100 - hair], [0, 100.0]])
    solid = extrude(corners, 0, 100)
    levels = np.array([0, hair / 2, hair, 50, 100 - hair, 100 - hair / 2, 100])
    assert litres_below(solid, levels) == pytest.approx(levels * 0.01, abs=1e-10)


def test_the_column_above_a_place_goes_from_the_lowest_to_the_highest_inside_point():
    assert column(SOLIDS["stepped"], 200, 300) == pytest.approx((0, 500))
    assert column(SOLIDS["stepped"], 900, 300) == pytest.approx((180, 500))
    bottom, top = column(SOLIDS["cylinder"], 600, 150)
    assert (bottom, top) == pytest.approx((300 - 300 * np.sqrt(0.75), 300 + 300 * np.sqrt(0.75)),
                                          abs=0.02)  # fmt: skip
    assert column(SOLIDS["hollow"], 400, 200) == pytest.approx((0, 250))


@pytest.mark.parametrize("place", [(0, 0), (1000, 600), (1000, 300), (500, 600), (333.3, 200)])
def test_a_place_on_the_wall_is_inside(place):
    assert column(SOLIDS["box"], *place) == pytest.approx((0, 500))


@pytest.mark.parametrize("place", [(-0.1, 300), (1000.1, 300), (500, 601), (np.nan, 300)])
def test_a_place_beside_the_tank_is_refused(place):
    with pytest.raises(InputError, match="is outside the tank, which reaches from x 0 to 1000 mm"):
        column(SOLIDS["box"], *place)


def test_a_surface_that_looks_inwards_is_refused():
    box = SOLIDS["box"]
    with pytest.raises(InputError, match="look outwards"):
        Solid(box.vertices, box.triangles[:, ::-1])


def test_a_solid_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        SOLIDS["box"].vertices[0, 0] = 1.0
