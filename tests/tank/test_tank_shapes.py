"""Every shape against its closed form, at every level, and as a closed surface."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.dimensions import perturbed, uncertain_dimensions
from gaugewright.tank.meshes import require_closed
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column, litres_below

SIZE = {"length_mm": 1000.0, "width_mm": 640.0, "height_mm": 520.0}


def segment(h, diameter):
    """Area of a circle's segment of height h, closed form."""
    c = np.clip(1 - 2 * h / diameter, -1, 1)
    return diameter**2 / 4 * (np.arccos(c) - c * np.sqrt(1 - c * c))


def rounded_box_area(h, width, height, radius):
    """Two half circles cut apart by a rectangle."""
    ends = segment(np.minimum(h, radius), 2 * radius) if radius else 0.0
    top = segment(np.maximum(h - height + 2 * radius, radius), 2 * radius) if radius else 0.0
    half = np.pi * radius**2 / 2
    inner = np.clip(h - radius, 0, height - 2 * radius) * 2 * radius
    return (width - 2 * radius) * h + ends + inner + np.maximum(top - half, 0)


def closed_form_l(tank, h):
    """Litres in a level tank, by the textbook formula of its shape."""
    length, width, height = tank.length_mm, tank.width_mm, tank.height_mm
    match tank.shape:
        case "box":
            v = length * rounded_box_area(h, width, height, tank.edge_radius_mm)
        case "lying_cylinder":
            d = tank.diameter_mm
            v = length * segment(h, d) + np.pi * tank.end_depth_mm * h**2 * (1 - 2 * h / (3 * d))
        case "upright_cylinder":
            v = np.pi * tank.diameter_mm**2 / 4 * h
        case "oval":
            v = length * segment(h, height) + np.pi * tank.end_depth_mm * h**2 * (
                1 - 2 * h / (3 * height)
            )
            v = v * width / height
        case "obround":
            v = length * rounded_box_area(h, width, height, min(width, height) / 2)
        case "d_section":
            depth = tank.round_depth_mm
            v = length * ((width - depth) * h + segment(h, height) * depth / height)
        case "stepped":

            def area(at):
                return rounded_box_area(at, width, height, tank.edge_radius_mm)

            cut, short = tank.step_height_mm, length - tank.step_length_mm
            if tank.step_at == "bottom":
                v = short * area(h) + tank.step_length_mm * np.maximum(area(h) - area(cut), 0)
            else:
                v = short * area(h) + tank.step_length_mm * area(np.minimum(h, height - cut))
    return v * 1e-6


STEP = {"step_length_mm": 300.0, "step_height_mm": 200.0}
TANKS = {
    "box": Tank("box", **SIZE),
    "box with round edges": Tank("box", **SIZE, edge_radius_mm=80.0),
    "box with edges as round as can be": Tank("box", **SIZE, edge_radius_mm=260.0),
    "lying cylinder": Tank("lying_cylinder", length_mm=1200.0, diameter_mm=600.0),
    "lying cylinder, dished": Tank(
        "lying_cylinder", length_mm=1200.0, diameter_mm=600.0, ends="dished", end_depth_mm=110.0
    ),
    "short cylinder, half-sphere ends": Tank(
        "lying_cylinder", length_mm=10.0, diameter_mm=600.0, ends="dished", end_depth_mm=300.0
    ),
    "upright cylinder": Tank("upright_cylinder", diameter_mm=600.0, height_mm=900.0),
    "oval": Tank("oval", **SIZE),
    "oval, dished": Tank("oval", **SIZE, ends="dished", end_depth_mm=70.0),
    "flat obround": Tank("obround", **SIZE),
    "standing obround": Tank("obround", length_mm=1000.0, width_mm=400.0, height_mm=700.0),
    "round obround": Tank("obround", length_mm=1000.0, width_mm=600.0, height_mm=600.0),
    "d section": Tank("d_section", **SIZE, round_depth_mm=210.0),
    "half oval": Tank("d_section", **SIZE, round_depth_mm=640.0),
    "step at the bottom": Tank("stepped", **SIZE, **STEP),
    "step at the bottom, round edges": Tank("stepped", **SIZE, **STEP, edge_radius_mm=60.0),
    "step below the edge": Tank(
        "stepped", **SIZE, step_length_mm=300.0, step_height_mm=45.0, edge_radius_mm=60.0
    ),
    "step at the edge": Tank(
        "stepped", **SIZE, step_length_mm=300.0, step_height_mm=60.0, edge_radius_mm=60.0
    ),
    "step at the top": Tank("stepped", **SIZE, **STEP, step_at="top", edge_radius_mm=60.0),
    "high step at the top": Tank(
        "stepped",
        **SIZE,
        step_length_mm=990.0,
        step_height_mm=500.0,
        step_at="top",
        edge_radius_mm=60.0,
    ),
}
CUT_EDGES = (TANKS["step below the edge"], TANKS["high step at the top"])
AT_A_BOUND = ("box with edges as round as can be", "half oval", "step at the edge")
EVERY = pytest.mark.parametrize("tank", TANKS.values(), ids=TANKS.keys())


def top_of(tank):
    return tank.diameter_mm if tank.shape == "lying_cylinder" else tank.height_mm


@EVERY
@pytest.mark.parametrize(("fine", "share"), [(True, 1e-5), (False, 2e-4)])
def test_litres_agree_with_the_closed_form_at_every_level(tank, fine, share):
    levels = np.linspace(0, top_of(tank), 1501)
    expected = closed_form_l(tank, levels)

    found = litres_below(solid_of(tank, fine=fine), levels)

    assert np.abs(found - expected).max() <= share * expected[-1]


@EVERY
def test_full_volume_is_exact_and_top_and_bottom_are_where_they_are_said_to_be(tank):
    for fine in (True, False):
        solid = solid_of(tank, fine=fine)
        # A step that cuts through a rounded edge cuts a facet, which is not exact.
        rel = 1e-5 if tank in CUT_EDGES else 1e-12
        assert solid.top_mm == top_of(tank)
        assert solid.vertices[:, 2].min() == 0
        assert solid.volume_l == pytest.approx(
            float(closed_form_l(tank, np.array(top_of(tank)))), rel=rel
        )


@EVERY
def test_the_surface_is_closed_and_looks_outwards(tank):
    for fine in (True, False):
        solid = solid_of(tank, fine=fine)
        require_closed(solid.vertices, solid.triangles)
        used = np.unique(solid.triangles)
        assert len(used) == len(solid.vertices)


@EVERY
def test_the_coarse_mesh_is_small(tank):
    assert len(solid_of(tank, fine=False).triangles) <= 1500


@pytest.mark.parametrize("name", sorted(set(TANKS) - {"round obround"}))
def test_a_small_change_of_a_size_moves_the_corners_of_the_coarse_mesh_a_little(name):
    tank = TANKS[name]
    before = solid_of(tank, fine=False)
    for dimension, _ in uncertain_dimensions(tank):
        for delta in (1e-3, -1e-3):
            if dimension == "edge_radius_mm" and tank.edge_radius_mm in (0.0, 260.0):
                continue  # at a bound the shape is another one on one side
            after = solid_of(perturbed(tank, dimension, delta), fine=False)
            if name in AT_A_BOUND:
                assert after.volume_l == pytest.approx(before.volume_l, rel=1e-3)
            else:
                assert np.abs(after.vertices - before.vertices).max() < 3e-3
                assert (after.triangles == before.triangles).all()


def test_cuts_across_the_tilted_box_agree_with_the_trapezium():
    # Bottom and top dry nowhere: litres are those at the middle, whatever the slope.
    solid = solid_of(TANKS["box"])
    found = litres_below(solid, 260.0, slope_x=0.1, slope_y=-0.2, at_x_mm=500, at_y_mm=320)
    assert found == pytest.approx(0.26 * 640, rel=1e-12)


L_SHAPE = ((0.0, 0.0), (600.0, 0.0), (600.0, 500.0), (300.0, 500.0), (300.0, 250.0), (0.0, 250.0))


@pytest.mark.parametrize("corners", [L_SHAPE, L_SHAPE[::-1], L_SHAPE[2:] + L_SHAPE[:2]])
def test_a_hollow_section_holds_its_area_times_its_length_either_way_round(corners):
    solid = solid_of(Tank("section", length_mm=1000.0, section_mm=corners))
    require_closed(solid.vertices, solid.triangles)
    assert litres_below(solid, [100, 250, 300, 500]) == pytest.approx([60, 150, 165, 225])


def test_rounded_corners_take_off_outside_and_add_inside():
    radius = 40.0
    tank = Tank("section", length_mm=1000.0, section_mm=L_SHAPE, corner_radius_mm=radius)
    solid = solid_of(tank)
    require_closed(solid.vertices, solid.triangles)
    corner = (1 - np.pi / 4) * radius**2 * 1e-3
    assert solid.volume_l == pytest.approx(225 - 5 * corner + corner, rel=1e-12)


def test_a_section_of_a_box_with_round_corners_is_the_box_with_round_edges():
    box = TANKS["box with round edges"]
    corners = ((0.0, 0.0), (640.0, 0.0), (640.0, 520.0), (0.0, 520.0))
    section = Tank("section", length_mm=1000.0, section_mm=corners, corner_radius_mm=80.0)
    levels = np.linspace(0, 520, 53)
    assert litres_below(solid_of(section), levels, slope_x=0.03) == pytest.approx(
        litres_below(solid_of(box), levels, slope_x=0.03), rel=1e-12, abs=1e-9
    )


def test_a_section_drawn_anywhere_starts_at_the_left_side_and_the_bottom():
    moved = tuple((y - 250.0, z + 90.0) for y, z in L_SHAPE)
    solid = solid_of(Tank("section", length_mm=1000.0, section_mm=moved))
    assert solid.vertices.min(axis=0).tolist() == [0, 0, 0]
    assert column(solid, 500, 150) == (0, 250)


@pytest.mark.parametrize(
    ("corners", "radius", "problem"),
    [
        (((0, 0), (100, 100), (100, 0), (0, 100)), 0, "no area"),
        (((0, 0), (300, 100), (300, 0), (0, 150)), 0, "crosses or touches itself"),
        (((0, 0), (100, 0), (200, 0)), 0, "no area"),
        (((0, 0), (0, 0), (200, 0), (100, 90)), 0, "same corner twice"),
        (((0, 0), (200, 0)), 0, "at least 3 corners"),
        (((0, 0), (600, 0), (600, 500), (0, 500)), 251, "does not fit"),
    ],
)
def test_a_section_that_cannot_be_is_refused(corners, radius, problem):
    with pytest.raises(InputError, match=problem):
        solid_of(
            Tank("section", length_mm=1000.0, section_mm=corners, corner_radius_mm=float(radius))
        )


def test_the_wall_is_taken_off_on_every_side():
    outside = Tank("box", length_mm=1006.0, width_mm=646.0, height_mm=526.0, wall_mm=3.0)
    assert solid_of(outside).volume_l == pytest.approx(solid_of(TANKS["box"]).volume_l, rel=1e-12)
    stepped = replace(
        TANKS["step at the bottom"],
        **{"length_mm": 1006.0, "width_mm": 646.0, "height_mm": 526.0, "wall_mm": 3.0},
    )
    assert solid_of(stepped).volume_l == pytest.approx(
        solid_of(TANKS["step at the bottom"]).volume_l, rel=1e-12
    )


def test_the_wall_of_a_section_and_of_a_dished_end_is_taken_off():
    corners = ((0.0, 0.0), (646.0, 0.0), (646.0, 526.0), (0.0, 526.0))
    section = Tank(
        "section", length_mm=1006.0, section_mm=corners, corner_radius_mm=83.0, wall_mm=3.0
    )
    assert solid_of(section).volume_l == pytest.approx(
        solid_of(TANKS["box with round edges"]).volume_l, rel=1e-12
    )
    dished = Tank(
        "lying_cylinder",
        length_mm=1200.0,
        diameter_mm=606.0,
        ends="dished",
        end_depth_mm=113.0,
        wall_mm=3.0,
    )
    assert solid_of(dished).volume_l == pytest.approx(
        solid_of(TANKS["lying cylinder, dished"]).volume_l, rel=1e-12
    )


def test_dished_ends_lie_outside_the_straight_part():
    solid = solid_of(TANKS["lying cylinder, dished"])
    assert solid.vertices[:, 0].min() == -110
    assert solid.vertices[:, 0].max() == 1310
    bottom, top = column(solid, -55, 300)
    assert top - bottom == pytest.approx(600 * np.sqrt(0.75), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(50, 3000),
    st.floats(100, 2500),
    st.floats(100, 2500),
    st.floats(0.001, 0.5),
    st.floats(0, 1),
)
def test_round_edges_of_any_size_agree_with_the_closed_form(length, width, height, round_, share):
    tank = Tank(
        "box",
        length_mm=length,
        width_mm=width,
        height_mm=height,
        edge_radius_mm=round_ * min(width, height),
    )
    solid = solid_of(tank)
    expected = closed_form_l(tank, np.array(share * height))
    assert float(litres_below(solid, share * height)) == pytest.approx(
        float(expected), abs=1e-5 * solid.volume_l
    )


def test_a_tank_that_holds_less_than_its_inner_parts_take_is_refused():
    with pytest.raises(InputError, match=r"displaced_l: 400 L is not less than the 332\.8 L"):
        solid_of(replace(TANKS["box"], displaced_l=400.0))


def test_a_section_of_many_round_corners_stays_small_and_exact():
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    reach = 400 + 40 * np.cos(15 * turn)
    corners = tuple((float(y), float(z)) for y, z in zip(
        reach * np.cos(turn), reach * np.sin(turn), strict=True))  # fmt: skip
    sharp = Tank("section", length_mm=1000.0, section_mm=corners)
    round_ = replace(sharp, corner_radius_mm=5.0)
    fine, coarse = solid_of(round_), solid_of(round_, fine=False)
    assert len(coarse.triangles) <= 1500
    levels = np.linspace(0, coarse.top_mm, 60)
    assert litres_below(coarse, levels) == pytest.approx(
        litres_below(fine, levels), abs=1e-4 * fine.volume_l
    )
    require_closed(fine.vertices, fine.triangles)
