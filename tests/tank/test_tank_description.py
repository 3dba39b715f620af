"""A tank and a probe from the fields of a tank file, and what is refused."""

from dataclasses import replace

import pytest

from gaugewright.errors import InputError
from gaugewright.probe import Probe, column_at, probe_from_mapping
from gaugewright.tank.description import NEEDED, Tank, inside, tank_from_mapping
from gaugewright.tank.shapes import solid_of

BOX = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
STEPPED = BOX | {"shape": "stepped", "step_length_mm": 300, "step_height_mm": 200}
PROBE = {"x_mm": 500, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 450}


def test_numbers_may_be_typed_with_a_decimal_comma():
    tank = tank_from_mapping(BOX | {"length_mm": "1000,5", "u_mm": " 2.5 "})
    assert (tank.length_mm, tank.u_mm) == (1000.5, 2.5)


def test_what_is_not_given_has_the_contracts_defaults():
    tank = tank_from_mapping(BOX)
    assert (tank.u_mm, tank.u_edge_radius_mm, tank.usable_fraction) == (5, 10, 0.95)
    assert (tank.displaced_l, tank.edge_radius_mm, tank.wall_mm) == (0, 0, None)
    assert tank.step_at == "bottom"
    assert tank.ends == "flat"


def test_the_probe_in_the_same_file_is_left_to_the_probe():
    whole = BOX | {"probe": PROBE}
    dotted = BOX | {f"probe.{name}": value for name, value in PROBE.items()}
    assert tank_from_mapping(whole) == tank_from_mapping(dotted) == tank_from_mapping(BOX)
    expected = Probe(500.0, 300.0, 20.0, 450.0)
    assert probe_from_mapping(whole) == expected
    assert probe_from_mapping(dotted) == expected
    assert probe_from_mapping(PROBE) == expected


def test_a_tank_is_a_key_with_its_section_too():
    section = [[0, 0], ["600,5", 0], [300, 400]]
    mapping = {"shape": "section", "length_mm": 900, "section_mm": section}
    assert tank_from_mapping(mapping) == tank_from_mapping(mapping)
    assert hash(tank_from_mapping(mapping)) == hash(tank_from_mapping(mapping))
    assert tank_from_mapping(mapping).section_mm == ((0, 0), (600.5, 0), (300, 400))


def test_a_mesh_file_is_looked_for_beside_the_tank_file(tmp_path):
    mapping = {"shape": "mesh", "mesh_file": "tank.stl", "mesh_unit": "mm"}
    assert tank_from_mapping(mapping, folder=tmp_path).mesh_file == str(tmp_path / "tank.stl")


@pytest.mark.parametrize(
    ("change", "field", "problem"),
    [
        ({"lenght_mm": 5}, "lenght_mm", "did you mean length_mm"),
        ({"Length_mm": 5}, "Length_mm", "did you mean length_mm"),
        ({"colour": "red"}, "colour", "no such field in a tank file"),
        ({"shape": "bx"}, "shape", "did you mean box"),
        ({"shape": "sphere"}, "shape", "wanted one of box"),
        ({"shape": 3}, "shape", "must be text"),
        ({"length_mm": "long"}, "length_mm", "'long' is not a number"),
        ({"length_mm": "1.000,5"}, "length_mm", "is not a number"),
        ({"length_mm": "1_000"}, "length_mm", "is not a number"),
        ({"length_mm": ""}, "length_mm", "is not a number"),
        ({"length_mm": None}, "length_mm", "None is not a number"),
        ({"length_mm": True}, "length_mm", "True is not a number"),
        ({"length_mm": [1]}, "length_mm", "is not a number"),
        ({"length_mm": 0}, "length_mm", "must be above 0"),
        ({"length_mm": -1}, "length_mm", "must be above 0 and finite, found -1"),
        ({"length_mm": "nan"}, "length_mm", "must be above 0 and finite, found nan"),
        ({"length_mm": float("inf")}, "length_mm", "finite, found inf"),
        ({"edge_radius_mm": -1}, "edge_radius_mm", "must be 0 or more"),
        ({"edge_radius_mm": float("nan")}, "edge_radius_mm", "finite, found nan"),
        ({"edge_radius_mm": 251}, "edge_radius_mm", "larger than half the height, 250 mm"),
        ({"edge_radius_mm": 251, "height_mm": 700, "width_mm": 500}, "edge_radius_mm",
         "larger than half the width, 250 mm"),
        ({"diameter_mm": 600}, "diameter_mm", "a box has no such size"),
        ({"end_depth_mm": 60}, "end_depth_mm", "a box has no such size"),
        ({"ends": "round"}, "ends", "wanted one of flat, dished"),
        ({"displaced_l": -1}, "displaced_l", "must be 0 or more"),
        ({"rated_capacity_l": 0}, "rated_capacity_l", "must be above 0"),
        ({"usable_fraction": 1.05}, "usable_fraction", "wanted 0.1 to 1, found 1.05"),
        ({"usable_fraction": 95}, "usable_fraction", "wanted 0.1 to 1, found 95"),
        ({"usable_fraction": "nan"}, "usable_fraction", "found nan"),
        ({"length_mm": 10**400}, None, "length_mm has over 300 digits"),
        ({"length_mm": 1e300}, "length_mm", "wanted 0.001 to 100,000 mm"),
        ({"length_mm": 1e-9}, "length_mm", "wanted 0.001 to 100,000 mm"),
        ({"rated_capacity_l": 1e9}, "rated_capacity_l", "wanted 0.001 to 1,000,000 L"),
        ({"u_mm": -5}, "u_mm", "must be 0 or more"),
        ({"wall_mm": 0}, "wall_mm", "must be above 0"),
        ({"step_at": "botom"}, "step_at", "did you mean bottom"),
        ({"wall_mm": 250}, "wall_mm", "leaves no room inside"),
        ({"section_mm": "none"}, "section_mm", "must be a list"),
        ({"section_mm": [[1, 2, 3]]}, "section_mm", r"corner 1 must be \[y, z\]"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_refused_by_its_name(change, field, problem):
    with pytest.raises(InputError, match=problem) as refusal:
        tank_from_mapping(BOX | change)
    assert refusal.value.field == field


@pytest.mark.parametrize("shape", NEEDED)
def test_a_missing_size_is_named_with_all_that_are_needed(shape):
    with pytest.raises(InputError, match="is missing") as refusal:
        Tank(shape)
    assert refusal.value.field == NEEDED[shape][0]
    assert all(name in str(refusal.value) for name in NEEDED[shape])


def test_a_missing_shape_is_asked_for():
    with pytest.raises(InputError, match="shape: is missing, wanted one of box"):
        tank_from_mapping({"length_mm": 500})


@pytest.mark.parametrize(
    ("change", "field", "problem"),
    [
        ({"step_length_mm": 1000}, "step_length_mm", "does not fit into the length, 1000 mm"),
        ({"step_length_mm": 1200}, "step_length_mm", "does not fit into the length, 1000 mm"),
        ({"step_height_mm": 500}, "step_height_mm", "does not fit into the height, 500 mm"),
        ({"step_at": "front"}, "step_at", "wanted one of bottom, top"),
        ({"wall_mm": 160}, "step_height_mm", "does not fit into the height, 180 mm"),
    ],
)
def test_a_step_that_cannot_be_is_refused(change, field, problem):
    with pytest.raises(InputError, match=problem) as refusal:
        tank_from_mapping(STEPPED | change)
    assert refusal.value.field == field


def test_dished_ends_need_a_depth_and_flat_ends_have_none():
    cylinder = Tank("lying_cylinder", length_mm=1000.0, diameter_mm=600.0)
    with pytest.raises(InputError, match="end_depth_mm: is missing"):
        replace(cylinder, ends="dished")
    with pytest.raises(InputError, match='ends: flat ends have no depth; did you mean ends = "d'):
        replace(cylinder, end_depth_mm=90.0)
    with pytest.raises(InputError, match="wall_mm: 90 mm leaves no room inside"):
        replace(cylinder, ends="dished", end_depth_mm=90.0, wall_mm=90.0)


def test_a_round_side_deeper_than_the_tank_is_wide_is_refused():
    with pytest.raises(InputError, match="round_depth_mm: 601 mm does not fit into the width"):
        tank_from_mapping(BOX | {"shape": "d_section", "round_depth_mm": 601})


def test_a_wall_thicker_than_the_edge_radius_leaves_sharp_edges_inside():
    tank = tank_from_mapping(BOX | {"edge_radius_mm": 4, "wall_mm": 6})
    assert inside(tank).edge_radius_mm == 0
    assert inside(inside(tank)) == inside(tank)


@pytest.mark.parametrize("corners", [((0, 0), (1, float("nan")), (2, 2)), ((0, 0), (1,), (2, 2))])
def test_a_corner_that_is_not_two_numbers_is_refused(corners):
    with pytest.raises(InputError, match="section_mm: corner 2 must be two finite numbers"):
        Tank("section", length_mm=100.0, section_mm=corners)


@pytest.mark.parametrize(
    ("change", "field", "problem"),
    [
        ({"tip_clearence_mm": 3}, "probe.tip_clearence_mm", "did you mean probe.tip_clearance_mm"),
        ({"zzz": 3}, "probe.zzz", "wanted x_mm"),
        ({"x_mm": "left"}, "probe.x_mm", "is not a number"),
        ({"x_mm": "nan"}, "x_mm", "not a finite number"),
        ({"active_length_mm": 0}, "probe.active_length_mm", "must be 5 to 20000 mm, found 0"),
    ],
)
def test_a_wrong_field_of_the_probe_is_refused_by_its_name(change, field, problem):
    with pytest.raises(InputError, match=problem) as refusal:
        probe_from_mapping(PROBE | change)
    assert refusal.value.field == field


def test_a_missing_field_of_the_probe_is_named():
    with pytest.raises(InputError, match=r"probe\.y_mm: is missing"):
        probe_from_mapping({"probe": {"x_mm": 5}})
    with pytest.raises(InputError, match="probe: must be a table"):
        probe_from_mapping({"probe": 5})


def test_a_probe_outside_the_tank_is_refused():
    tank = tank_from_mapping(BOX)
    assert column_at(tank, probe_from_mapping(PROBE)) == pytest.approx((0, 500))
    with pytest.raises(InputError, match=r"probe\.x_mm, .*x 1200 mm, y 300 mm is outside the tank"):
        column_at(tank, probe_from_mapping(PROBE | {"x_mm": 1200}))


def test_a_probe_over_the_missing_block_sees_only_what_is_left():
    tank = tank_from_mapping(STEPPED)
    assert column_at(tank, probe_from_mapping(PROBE | {"x_mm": 900})) == pytest.approx((200, 500))
    top = tank_from_mapping(STEPPED | {"step_at": "top"})
    assert column_at(top, probe_from_mapping(PROBE | {"x_mm": 900})) == pytest.approx((0, 300))


def test_the_same_tank_is_built_once():
    assert solid_of(tank_from_mapping(BOX)) is solid_of(tank_from_mapping(BOX))
