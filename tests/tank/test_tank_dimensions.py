"""Which sizes are uncertain, changing them, and what the plate says about them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.dimensions import most_probable, perturbed, uncertain_dimensions
from gaugewright.tank.shapes import solid_of

BOX = Tank("box", length_mm=1000.0, width_mm=600.0, height_mm=500.0, edge_radius_mm=50.0)
STEPPED = Tank(
    "stepped",
    length_mm=1000.0,
    width_mm=600.0,
    height_mm=500.0,
    step_length_mm=300.0,
    step_height_mm=200.0,
)
DISHED = Tank(
    "lying_cylinder", length_mm=1200.0, diameter_mm=600.0, ends="dished", end_depth_mm=100.0
)
SECTION = Tank("section", length_mm=1000.0, section_mm=((0, 0), (500, 0), (500, 400), (0, 400)))
D_SECTION = Tank(
    "d_section", length_mm=1000.0, width_mm=500.0, height_mm=400.0, round_depth_mm=200.0
)


@pytest.mark.parametrize(
    ("tank", "expected"),
    [
        (BOX, "length_mm width_mm height_mm edge_radius_mm"),
        (STEPPED, "length_mm width_mm height_mm step_length_mm step_height_mm edge_radius_mm"),
        (DISHED, "length_mm diameter_mm end_depth_mm"),
        (Tank("lying_cylinder", length_mm=1200.0, diameter_mm=600.0), "length_mm diameter_mm"),
        (D_SECTION, "length_mm width_mm height_mm round_depth_mm"),
        (SECTION, "scale_x scale_y scale_z"),
    ],
)
def test_each_shape_names_its_uncertain_sizes(tank, expected):
    found = uncertain_dimensions(tank)
    assert [name for name, _ in found] == expected.split()
    for name, u in found:
        if name == "edge_radius_mm":
            assert u == 10
        elif name.startswith("scale"):
            assert u == pytest.approx(5 / {"x": 1000, "y": 500, "z": 400}[name[-1]])
        else:
            assert u == 5


def test_a_changed_size_changes_only_that():
    assert perturbed(BOX, "width_mm", -3.5) == replace(BOX, width_mm=596.5)
    assert perturbed(SECTION, "scale_x", 0.01).length_mm == 1010
    taller = solid_of(perturbed(SECTION, "scale_z", 0.01))
    assert taller.vertices.max(axis=0) == pytest.approx([1000, 500, 404])


@pytest.mark.parametrize(
    ("tank", "name", "delta", "expected"),
    [
        (BOX, "edge_radius_mm", -60, {"edge_radius_mm": 0.0}),
        (BOX, "edge_radius_mm", 210, {"edge_radius_mm": 250.0}),
        (replace(BOX, edge_radius_mm=250.0), "height_mm", -10, {"edge_radius_mm": 245.0}),
        (D_SECTION, "round_depth_mm", 400, {"round_depth_mm": 500.0}),
        (D_SECTION, "round_depth_mm", -250, {"round_depth_mm": 0.001}),
        (STEPPED, "step_length_mm", 800, {"step_length_mm": 999.999}),
        (STEPPED, "step_height_mm", -300, {"step_height_mm": 0.001}),
        (replace(STEPPED, wall_mm=3.0), "step_height_mm", 400, {"step_height_mm": 493.999}),
        (DISHED, "end_depth_mm", -200, {"end_depth_mm": 0.001}),
        (replace(DISHED, wall_mm=4.0), "end_depth_mm", -200, {"end_depth_mm": 4.001}),
    ],
)
def test_a_size_stops_at_the_bound_that_geometry_sets(tank, name, delta, expected):
    changed = perturbed(tank, name, delta)
    for field, value in expected.items():
        assert getattr(changed, field) == pytest.approx(value, abs=1e-9)
    solid_of(changed, fine=False)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from([BOX, STEPPED, DISHED, SECTION, D_SECTION]), st.floats(-40, 40), st.data())
def test_any_likely_change_of_any_size_gives_a_tank(tank, times, data):
    name, u = data.draw(st.sampled_from(uncertain_dimensions(tank)))
    assert solid_of(perturbed(tank, name, times * u / 10), fine=False).volume_l > 0


def test_a_size_that_the_shape_does_not_have_cannot_be_changed():
    with pytest.raises(InputError, match="a box has no uncertain dimension 'diameter_mm'"):
        perturbed(BOX, "diameter_mm", 1)
    with pytest.raises(InputError, match="a box has no uncertain dimension 'scale_x'"):
        perturbed(BOX, "scale_x", 0.1)


def test_without_a_plate_the_sizes_stay_and_their_uncertainty_is_carried_over():
    found = most_probable(replace(BOX, edge_radius_mm=0.0))
    assert found.disagreement is None
    assert found.capacity_l == pytest.approx(300)
    # Relative: 5/1000, 5/600 and 5/500 in quadrature; the radius has no slope at 0.
    assert found.u_capacity_l == pytest.approx(300 * np.hypot(np.hypot(5e-3, 5 / 600), 0.01), 1e-3)
    assert found.u.tolist() == [5, 5, 5, 10]


def test_a_plate_that_agrees_moves_nothing_but_narrows():
    agrees = replace(DISHED, rated_capacity_l=solid_of(DISHED).volume_l * 0.95)
    found = most_probable(agrees)
    assert found.shifts == pytest.approx([0, 0, 0], abs=1e-6)
    assert found.disagreement == pytest.approx(0, abs=1e-9)
    assert found.u_capacity_l < most_probable(DISHED).u_capacity_l
    assert (found.u <= [5, 5, 5]).all()


def test_plate_and_tape_are_weighed_by_their_uncertainties():
    # One uncertain size makes it a weighted mean of two figures for the volume.
    tank = Tank(
        "section",
        length_mm=1000.0,
        section_mm=((0, 0), (500, 0), (500, 400), (0, 400)),
        rated_capacity_l=0.95 * 206.0,
        u_mm=1e-3,
    )
    exact_tape = most_probable(tank)
    assert exact_tape.capacity_l == pytest.approx(200, abs=1e-3)
    vague_tape = most_probable(replace(tank, u_mm=100.0))
    assert vague_tape.capacity_l == pytest.approx(206, abs=0.1)
    assert vague_tape.u_capacity_l == pytest.approx(0.02 * 206, rel=0.02)


def test_the_most_probable_sizes_are_the_minimum_of_the_weighted_squares():
    tank = replace(DISHED, rated_capacity_l=400.0)
    found = most_probable(tank)
    plate, u_plate = 400 / 0.95, 0.02 * 400 / 0.95

    def badness(shifts):
        changed = tank
        for name, shift in zip(found.names, shifts, strict=True):
            changed = perturbed(changed, name, float(shift))
        misfit = (solid_of(changed, fine=False).volume_l - plate) / u_plate
        return misfit**2 + ((np.asarray(shifts) / 5) ** 2).sum()

    least = badness(found.shifts)
    for step in np.vstack([np.eye(3), -np.eye(3)]) * 0.2:
        assert badness(found.shifts + step) > least
    assert found.capacity_l == pytest.approx(solid_of(found.tank).volume_l)


def test_the_covariance_is_that_of_many_tanks_measured_by_tape_and_plate():
    rng = np.random.default_rng(7)
    true = Tank("box", length_mm=900.0, width_mm=500.0, height_mm=450.0, u_edge_radius_mm=0.0)
    errors = []
    for _ in range(60):
        plate = 0.95 * 202.5 * (1 + 0.02 * rng.standard_normal())
        taped = replace(true, rated_capacity_l=plate)
        for name in ("length_mm", "width_mm", "height_mm"):
            taped = perturbed(taped, name, 5 * rng.standard_normal())
        found = most_probable(taped)
        errors.append((found.capacity_l - 202.5) / found.u_capacity_l)
    assert np.std(errors) == pytest.approx(1, abs=0.25)
    assert abs(np.mean(errors)) < 0.3


def test_a_plate_that_cannot_be_this_tank_shows_as_a_disagreement():
    found = most_probable(replace(BOX, rated_capacity_l=400.0))
    assert found.disagreement > 5
