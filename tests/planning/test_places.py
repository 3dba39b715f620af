"""Where a probe misreads least: against volumes found another way, brute force and invariants."""

import os
from dataclasses import replace
from math import radians, tan

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.planning.misread import Slope, misread_l, misread_per_degree, slope_of_text
from gaugewright.planning.place import (
    FREE,
    blocked_at,
    place_at,
    place_map,
    room_beside_mm,
    two_probes,
)
from gaugewright.planning.plan_view import columns, plan_view
from gaugewright.planning.zones import KeepOut, keep_out_from_mapping
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import column

BOX = Tank("box", length_mm=1000, width_mm=600, height_mm=500)
LYING = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)
UPRIGHT = Tank("upright_cylinder", diameter_mm=700, height_mm=900)
OVAL = Tank("oval", length_mm=1400, width_mm=800, height_mm=500)
STEPPED = Tank("stepped", length_mm=1500, width_mm=700, height_mm=600, step_length_mm=500,
               step_height_mm=200)  # fmt: skip
D_SECTION = Tank("d_section", length_mm=1500, width_mm=700, height_mm=600, round_depth_mm=300)
TANKS = [BOX, LYING, UPRIGHT, OVAL, STEPPED, D_SECTION]
BY_HAND = [BOX, LYING, UPRIGHT, OVAL, STEPPED]
CELLS = 400


def bottom_and_top(tank, x, y):
    """Closed forms of the column over a place; bottom above top outside."""
    if tank.shape == "box":
        return np.zeros_like(x), np.full_like(x, tank.height_mm)
    if tank.shape == "stepped":
        is_step = x > tank.length_mm - tank.step_length_mm
        return np.where(is_step, tank.step_height_mm, 0.0), np.full_like(x, tank.height_mm)
    if tank.shape == "upright_cylinder":
        radius = tank.diameter_mm / 2
        is_out = np.hypot(x - radius, y - radius) > radius
        return np.zeros_like(x), np.where(is_out, 0.0, tank.height_mm)
    width = tank.width_mm or tank.diameter_mm
    height = tank.height_mm or tank.diameter_mm
    chord = np.sqrt(np.maximum(1 - (2 * y / width - 1) ** 2, 0))
    return height / 2 * (1 - chord), height / 2 * (1 + chord)


class ByColumns:
    """The same tank as thousands of columns, each filled up to the leaning plane."""

    def __init__(self, tank):
        length = tank.length_mm or tank.diameter_mm
        width = tank.width_mm or tank.diameter_mm
        x = (np.arange(CELLS) + 0.5) * length / CELLS
        y = (np.arange(CELLS) + 0.5) * width / CELLS
        self.x, self.y = np.meshgrid(x, y)
        self.low, self.high = bottom_and_top(tank, self.x, self.y)
        self.cell_l = length * width / CELLS**2 * 1e-6
        self.capacity_l = float(np.sum(self.high - self.low)) * self.cell_l

    def litres(self, level, slope_x=0.0, slope_y=0.0, at=(0.0, 0.0)):
        plane = level + slope_x * (self.x - at[0]) + slope_y * (self.y - at[1])
        return float(np.sum(np.clip(plane, self.low, self.high) - self.low)) * self.cell_l

    def seen(self, litres, slope_x, slope_y, at):
        low, high = -2000.0, 3000.0
        for _ in range(45):
            middle = 0.5 * (low + high)
            if self.litres(middle, slope_x, slope_y, at) < litres:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)


@pytest.mark.parametrize("tank", BY_HAND, ids=lambda tank: tank.shape)
def test_the_misread_agrees_with_a_tank_of_columns(tank):
    columns_ = ByColumns(tank)
    rng = np.random.default_rng(7)
    size = solid_of(tank).vertices.max(axis=0)
    for _ in range(3):
        x, y = (rng.uniform(0.3, 0.7) * size[0], rng.uniform(0.3, 0.7) * size[1])
        slope_x, slope_y = rng.uniform(-0.06, 0.06, 2)
        litres = float(rng.uniform(0.1, 0.9)) * columns_.capacity_l

        ours = float(misread_l(tank, x, y, [litres], slope_x, slope_y)[0])

        low, high = column(solid_of(tank), x, y)
        seen = np.clip(columns_.seen(litres, slope_x, slope_y, (x, y)), low, high)
        theirs = columns_.litres(float(seen)) - litres
        # A grid of 400 x 400 columns is good to about a ten-thousandth of the tank.
        assert ours == pytest.approx(theirs, abs=4e-4 * columns_.capacity_l)


@pytest.mark.parametrize("tank", [LYING, STEPPED, D_SECTION], ids=lambda tank: tank.shape)
def test_the_misread_agrees_with_a_mesh_that_is_cut(tank):
    manifold3d = pytest.importorskip("manifold3d")
    solid = solid_of(tank, fine=False)
    body = manifold3d.Manifold(
        manifold3d.Mesh(
            vert_properties=solid.vertices.astype(np.float32),
            tri_verts=solid.triangles.astype(np.uint32),
        )
    )
    if body.is_empty():
        pytest.fail("the other library refuses the mesh")
    x, y = solid.vertices[:, 0].max() * 0.6, solid.vertices[:, 1].max() * 0.55

    def below(level, slope_x, slope_y):
        # Kept is what lies on the side of the normal: downwards.
        normal = np.array([slope_x, slope_y, -1.0])
        length = float(np.linalg.norm(normal))
        offset = -(level - slope_x * x - slope_y * y) / length
        return body.trim_by_plane(list(normal / length), offset).volume() * 1e-6

    for slope_x, slope_y, share in [(0.05, 0.03, 0.3), (-0.05, 0.03, 0.6), (0.05, 0.0, 0.9)]:
        litres = share * solid.volume_l
        low, high = -500.0, 1500.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (
                (middle, high) if below(middle, slope_x, slope_y) < litres else (low, middle)
            )
        theirs = below(np.clip(low, *column(solid, x, y)), 0.0, 0.0) - litres

        ours = float(misread_l(tank, x, y, [litres], slope_x, slope_y)[0])

        assert ours == pytest.approx(theirs, abs=4e-4 * solid.volume_l)


@pytest.mark.parametrize("tank", TANKS, ids=lambda tank: tank.shape)
def test_the_map_is_the_worst_of_single_misreads(tank):
    slope = Slope(0.06, 0.04)
    found = place_map(tank, slope, step_mm=150)
    free = np.argwhere(found.blocked_by == FREE)
    litres = np.linspace(0.05, 0.95, 19) * found.capacity_l
    for row, column_ in free[:: max(1, len(free) // 4)]:
        x, y = found.view.x_mm[column_], found.view.y_mm[row]

        worst = max(
            float(np.abs(misread_l(tank, x, y, litres, sx, sy)).max())
            for sx in (-0.06, 0.0, 0.06)
            for sy in (-0.04, 0.0, 0.04)
        )

        # The map uses the small mesh: within 0.02 % of the tank, and a little more where the
        # bottom under a place lies on a facet instead of on the round.
        close = pytest.approx(worst, rel=5e-3, abs=5e-4 * found.capacity_l)
        assert found.worst_l[row, column_] == close


@pytest.mark.parametrize("tank", TANKS, ids=lambda tank: tank.shape)
def test_no_slope_within_the_named_one_misreads_more(tank):
    found = place_map(tank, Slope(0.05, 0.03))
    free = np.argwhere(found.blocked_by == FREE)
    litres = np.linspace(0.05, 0.95, 37) * found.capacity_l
    rng = np.random.default_rng(11)
    for row, column_ in free[[0, len(free) // 3]]:
        x, y = found.view.x_mm[column_], found.view.y_mm[row]
        for slope_x, slope_y in rng.uniform(-1, 1, (12, 2)) * [0.05, 0.03]:
            inner = float(np.abs(misread_l(tank, x, y, litres, slope_x, slope_y)).max())
            assert inner <= 1.01 * found.worst_l[row, column_] + 5e-4 * found.capacity_l


def test_a_probe_at_the_middle_of_a_box_reads_right_on_any_slope_in_mid_range():
    assert misread_l(BOX, 500, 300, [100, 150, 200], 0.05, 0.03) == pytest.approx(0, abs=1e-9)


def test_a_degree_of_slope_misreads_the_area_times_the_offset():
    # 100 mm behind the middle and 50 mm to the right, over 0.6 m2 of surface.
    found = misread_per_degree(BOX, 600, 350, [250])

    assert found.pitch_l[0] == pytest.approx(tan(radians(1)) * 100 * 0.6, rel=1e-9)
    assert found.roll_l[0] == pytest.approx(tan(radians(1)) * 50 * 0.6, rel=1e-9)


@given(st.floats(0.1, 0.9), st.floats(0.1, 0.9), st.floats(0.05, 0.95), st.floats(0, 0.08))
def test_a_mirrored_place_on_a_mirrored_slope_misreads_the_same(share_x, share_y, fill, slope):
    x, y = 1200 * share_x, 600 * share_y
    litres = [fill * 339.0]

    here = misread_l(LYING, x, y, litres, slope, slope / 2)
    there = misread_l(LYING, 1200 - x, 600 - y, litres, -slope, -slope / 2)

    assert here == pytest.approx(there, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.05), st.floats(0.0, 0.05), st.floats(1.0, 2.0))
def test_a_steeper_slope_never_makes_the_best_place_better(along, across, times):
    gentle = place_map(BOX, Slope(along, across), step_mm=100).best
    steep = place_map(BOX, Slope(along * times, across * times), step_mm=100).best

    assert steep.worst_l >= gentle.worst_l - 1e-6


@pytest.mark.parametrize("tank", [BOX, LYING, UPRIGHT, OVAL], ids=lambda tank: tank.shape)
def test_the_best_place_of_a_symmetric_tank_is_its_middle(tank):
    best = place_map(tank).best
    middle = solid_of(tank).vertices.max(axis=0) / 2

    assert (best.x_mm, best.y_mm) == pytest.approx(tuple(middle[:2]), abs=1e-6)


@pytest.mark.parametrize("tank", TANKS, ids=lambda tank: tank.shape)
def test_no_free_place_on_the_map_is_better_than_the_best(tank):
    zones = [KeepOut.rectangle("strap", 500, 0, 600, 900), KeepOut.circle("sender", 800, 300, 60)]
    found = place_map(tank, zones=zones)

    assert found.best.worst_l <= found.worst_l[found.blocked_by == FREE].min() + 1e-9
    assert blocked_at(found, found.best.x_mm, found.best.y_mm) is None


def test_the_best_place_keeps_its_distance_from_zones_and_walls():
    baffle = KeepOut("baffle", ((500, 0), (500, 600)))
    found = place_map(BOX, zones=[baffle], clear_mm=60)

    assert abs(found.best.x_mm - 500) == pytest.approx(60)
    assert blocked_at(found, 520, 300) == "baffle"
    assert blocked_at(found, 20, 300) == "too near a wall"
    assert found.blocker(3) == "baffle"


def test_a_tank_without_a_free_place_has_no_best():
    found = place_map(BOX, zones=[KeepOut.rectangle("bed", -10, -10, 1010, 610)])

    assert found.best is None
    assert two_probes(BOX, found) is None


def test_a_place_over_the_step_misreads_what_it_cannot_see():
    over_step = place_at(STEPPED, 1300, 350)
    deep = place_at(STEPPED, 600, 350)

    assert over_step.low_mm == pytest.approx(200)
    assert over_step.worst_l > 5 * deep.worst_l


def test_the_step_in_a_tank_counts_as_a_wall():
    view = plan_view(solid_of(STEPPED), 50.0)
    row = len(view.y_mm) // 2
    near = int(np.argmin(np.abs(view.x_mm - 1050)))

    assert view.wall_mm[row, near] == pytest.approx(abs(view.x_mm[near] - 1000), abs=1)


def test_the_room_beside_a_place_ends_at_the_first_wall_or_zone():
    step = place_map(STEPPED)
    assert room_beside_mm(step, 900, 350) == pytest.approx(900)
    assert room_beside_mm(step, 300, 350) == pytest.approx(700)  # as far as the step
    round_tank = place_map(UPRIGHT)
    assert room_beside_mm(round_tank, 350, 100) == pytest.approx(600, abs=1)
    inside = place_map(BOX, zones=[KeepOut.rectangle("strap", 400, 0, 600, 600)])
    assert room_beside_mm(inside, 300, 250) == pytest.approx(350)


def test_two_probes_pay_where_the_middle_is_taken():
    truck = Tank("box", length_mm=2000, width_mm=600, height_mm=400)
    beam = KeepOut.rectangle("beam", 600, 0, 1400, 600)
    pair = two_probes(truck, place_map(truck, zones=[beam]))

    assert pair.is_worth_it
    assert pair.worst_l < 0.5 * pair.one_worst_l
    (x1, y1), (x2, y2) = pair.first, pair.second
    litres = np.linspace(0.05, 0.95, 19) * 480
    averaged = max(
        float(
            np.abs(
                misread_l(truck, x1, y1, litres, sx, sy) + misread_l(truck, x2, y2, litres, sx, sy)
            ).max()
        )
        / 2
        for sx in (-0.05, 0, 0.05)
        for sy in (-0.03, 0, 0.03)
    )
    assert pair.worst_l == pytest.approx(averaged, abs=0.01)


def test_two_probes_do_not_pay_where_one_is_good():
    assert not two_probes(BOX, place_map(BOX)).is_worth_it


@pytest.mark.parametrize("tank", TANKS, ids=lambda tank: tank.shape)
def test_columns_on_a_grid_are_those_of_single_places(tank):
    solid = solid_of(tank, fine=False)
    size = solid.vertices.max(axis=0)
    x, y = np.linspace(0.01, 0.99, 7) * size[0], np.linspace(0.01, 0.99, 5) * size[1]
    low, high = columns(solid, x, y)

    for i, row in np.ndindex(len(x), len(y)):
        try:
            expected = column(solid, x[i], y[row])
        except InputError:
            assert np.isnan(low[row, i])
            continue
        assert (low[row, i], high[row, i]) == pytest.approx(expected, abs=1e-9)


def test_a_mesh_saved_again_under_its_name_is_another_tank(tmp_path):
    path = tmp_path / "tank.stl"
    tank = Tank("mesh", mesh_file=str(path), mesh_unit="mm")
    found = []
    for length in (1000, 1400):
        trimesh.creation.box(extents=(length, 600, 500)).export(path)
        os.utime(path, (length, length))
        found.append(place_map(tank, step_mm=100).capacity_l)

    assert found == pytest.approx([300, 420])


def test_displaced_litres_are_taken_off_in_proportion():
    full = misread_l(BOX, 700, 300, [150], 0.05, 0.0)
    less = misread_l(replace(BOX, displaced_l=30), 700, 300, [135], 0.05, 0.0)

    assert less == pytest.approx(0.9 * full)


# Zones


@given(
    st.floats(-500, 500), st.floats(-500, 500), st.floats(1, 300), st.floats(-900, 900),
    st.floats(-900, 900),
)  # fmt: skip
def test_the_distance_to_a_round_zone_is_that_to_its_edge(x, y, radius, at_x, at_y):
    zone = KeepOut.circle("sender", x, y, radius)
    exact = max(float(np.hypot(at_x - x, at_y - y)) - radius, 0.0)

    # The polygon is drawn around the circle: never nearer than the truth allows.
    assert exact - 0.003 * radius <= float(zone.distance_mm(at_x, at_y)) <= exact + 1e-9


def test_a_zone_that_is_not_convex_leaves_its_bay_free():
    corners = (
        (0, 0),
        (300, 0),
        (300, 300),
        (200, 300),
        (200, 100),
        (100, 100),
        (100, 300),
        (0, 300),
    )
    bay = KeepOut("bracket", corners)

    assert float(bay.distance_mm(150, 200)) == pytest.approx(50)
    assert float(bay.distance_mm(50, 200)) == 0


@pytest.mark.parametrize(
    ("stored", "message"),
    [
        ({}, "keep-out: needs a name, found None"),
        ({"name": "  ", "corners_mm": [[0, 0], [1, 1]]}, "keep-out: needs a name, such as"),
        ({"name": "b", "corners_mm": [[0, 0]]}, "keep-out b: needs 2 to 200 corners, found 1"),
        ({"name": "b", "corners_mm": [[0, 0], [1]]}, r"keep-out b: corner 2 must be \[x, y\]"),
        ({"name": "b", "corners_mm": "0 0"}, "keep-out b: corners_mm must be a list"),
        ({"name": "b", "corners_mm": [[0, 0], ["nan", 1]]}, "keep-out b: corner 2 must be two"),
        ({"name": "b", "corners_mm": [[0, 0], ["wide", 1]]}, "keep-out b: 'wide' is not a number"),
        ({"name": "b", "x_mm": 1, "y_mm": 1}, "keep-out b: radius_mm is missing"),
        ({"name": "b", "x_mm": 1, "y_mm": 1, "radius_mm": 0}, "radius must be above 0 mm"),
        ({"name": "b", "corners": []}, "keep-out b: no such field: corners"),
    ],
)
def test_a_zone_that_cannot_be_is_refused_by_name(stored, message):
    with pytest.raises(InputError, match=message):
        keep_out_from_mapping(stored)


def test_a_stored_zone_may_have_decimal_commas():
    zone = keep_out_from_mapping({"name": "pipe", "x_mm": "100,5", "y_mm": 50, "radius_mm": "20"})

    assert float(zone.distance_mm(100.5, 50)) == 0


# Bad input


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: Slope(along=float("nan")), "slope_along: nan % is outside"),
        (lambda: Slope(across=-0.1), "slope_across: -10 % is outside"),
        (lambda: place_map(BOX, step_mm=0), "step_mm: must be above 0 mm"),
        (lambda: place_map(BOX, step_mm=0.5), "step_mm: 0.5 mm gives more than"),
        (lambda: place_map(BOX, clear_mm=-1), "clear_mm: must be 0 mm or more"),
        (lambda: place_at(BOX, 1200, 300), "x 1200 mm, y 300 mm is outside the tank"),
        (lambda: misread_l(BOX, 500, 300, [400], 0.05, 0), "400 L is outside what the tank"),
        (lambda: misread_per_degree(BOX, 500, 300, [600]), "level_mm: 600 mm is outside"),
        (lambda: slope_of_text("steep", "--s"), "--s: 'steep' is not a slope"),
        (lambda: slope_of_text("nan", "--s"), "--s: nan % is outside"),
        (lambda: slope_of_text("500", "--s"), "--s: 500 % is outside"),
        (lambda: slope_of_text("60deg", "--s"), "--s: 60 degrees is outside"),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
