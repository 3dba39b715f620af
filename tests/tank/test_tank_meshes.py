"""Meshes from files: what is read, what is refused and how the person is told."""

import os
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from gaugewright.errors import InputError
from gaugewright.tank.description import Tank
from gaugewright.tank.dimensions import perturbed, uncertain_dimensions
from gaugewright.tank.levels import litres_at
from gaugewright.tank.shapes import solid_of

DRAWN = Tank("oval", length_mm=900.0, width_mm=600.0, height_mm=450.0, ends="dished",
             end_depth_mm=80.0)  # fmt: skip


def drawn(tank=DRAWN, *, fine=False, scale=1.0, move=(0, 0, 0)):
    solid = solid_of(tank, fine=fine)
    return trimesh.Trimesh(solid.vertices * scale + move, solid.triangles, process=False)


def saved(mesh, path):
    mesh.export(path)
    return Tank("mesh", mesh_file=str(path), mesh_unit="mm")


@pytest.mark.parametrize("ending", ["stl", "obj", "3mf", "STL"])
def test_a_drawn_tank_holds_what_its_shape_holds(tmp_path, ending):
    tank = saved(drawn(move=(-700, 40, -90)), tmp_path / f"tank.{ending}")
    solid = solid_of(tank)
    assert solid.volume_l == pytest.approx(solid_of(DRAWN, fine=False).volume_l, rel=1e-6)
    assert solid.vertices.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-9)
    assert litres_at(tank, 225.0) == pytest.approx(solid.volume_l / 2, rel=1e-5)


def test_an_ascii_stl_is_read_too(tmp_path):
    path = tmp_path / "tank.stl"
    path.write_text(trimesh.exchange.stl.export_stl_ascii(drawn()))
    tank = Tank("mesh", mesh_file=str(path), mesh_unit="mm")
    assert solid_of(tank).volume_l == pytest.approx(solid_of(DRAWN, fine=False).volume_l, rel=1e-6)


@pytest.mark.parametrize(("unit", "mm"), [("cm", 10), ("m", 1000), ("in", 25.4)])
def test_the_unit_of_the_drawing_is_taken_into_account(tmp_path, unit, mm):
    tank = replace(saved(drawn(scale=1 / mm), tmp_path / "tank.stl"), mesh_unit=unit)
    assert solid_of(tank).volume_l == pytest.approx(solid_of(DRAWN, fine=False).volume_l, rel=1e-5)


@pytest.mark.parametrize(
    ("scale", "unit", "hint"),
    [
        (1.0, "m", "; mm would give a tank"),
        (0.001, "mm", "; m would give a tank"),
        (0.03, "mm", "; cm or in would give a tank"),
        (1000.0, "m", "100,000 L$"),
    ],
)
def test_a_wrong_unit_is_suspected_by_the_litres(tmp_path, scale, unit, hint):
    tank = replace(saved(drawn(scale=scale), tmp_path / "tank.stl"), mesh_unit=unit)
    with pytest.raises(InputError, match=f"mesh_unit: in {unit} the mesh is .*{hint}") as refusal:
        solid_of(tank)
    assert "wanted 1 to 100,000 L" in str(refusal.value)


def test_a_hole_is_refused_with_its_place(tmp_path):
    box = trimesh.creation.box((1000, 600, 500))
    box = box.subdivide().subdivide()
    centres = box.triangles_center + np.array([500, 300, 250])
    # One triangle out of the rear wall; where it was is where the hole is.
    at = int(np.argmin(np.linalg.norm(centres - [1000, 310, 240], axis=1)))
    keep = np.arange(len(box.faces)) != at
    tank = saved(trimesh.Trimesh(box.vertices, box.faces[keep]), tmp_path / "tank.stl")
    x, y, z = centres[at]
    with pytest.raises(
        InputError, match=f"hole: 3 open edges, around x {x:.0f} mm, y {y:.0f} mm, z {z:.0f} mm"
    ) as refusal:
        solid_of(tank)
    assert refusal.value.field == "mesh_file"
    assert refusal.value.file == tank.mesh_file


def test_triangles_that_look_inwards_are_turned(tmp_path):
    mesh = drawn()
    inside_out = trimesh.Trimesh(mesh.vertices, mesh.faces[:, ::-1], process=False)
    some = mesh.faces.copy()
    some[::3] = some[::3, ::-1]
    for name, turned in (
        ("all", inside_out),
        ("some", trimesh.Trimesh(mesh.vertices, some, process=False)),
    ):
        tank = saved(turned, tmp_path / f"{name}.stl")
        assert solid_of(tank).volume_l == pytest.approx(mesh.volume * 1e-6, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "content", "problem"),
    [
        ("tank.stl", b"", "not a mesh that can be read|at least 4 triangles"),
        ("tank.stl", b"\x00\x01nonsense" * 40, "not a mesh that can be read|at least 4 triangles"),
        ("tank.obj", b"v 1 2\nf 1 2 9\n", "not a mesh that can be read|at least 4 triangles"),
        ("tank.3mf", b"PK nonsense", "not a mesh that can be read"),
        ("tank.step", b"ISO-10303-21;", "wanted .stl, .obj or .3mf"),
        ("tank", b"", "no ending is not known"),
    ],
)
def test_a_file_that_is_no_mesh_is_refused(tmp_path, name, content, problem):
    (tmp_path / name).write_bytes(content)
    tank = Tank("mesh", mesh_file=str(tmp_path / name), mesh_unit="mm")
    with pytest.raises(InputError, match=problem) as refusal:
        solid_of(tank)
    assert name in str(refusal.value)


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="mesh_file: cannot be read: No such file"):
        solid_of(Tank("mesh", mesh_file=str(tmp_path / "gone.stl"), mesh_unit="mm"))
    with pytest.raises(InputError, match="mesh_unit: 'feet' is not known"):
        Tank("mesh", mesh_file="tank.stl", mesh_unit="feet")
    with pytest.raises(InputError, match="wall_mm: a mesh is the inside surface"):
        Tank("mesh", mesh_file="tank.stl", mesh_unit="mm", wall_mm=3.0)


def test_a_file_that_was_saved_again_is_read_again(tmp_path):
    path = tmp_path / "tank.stl"
    tank = saved(drawn(), path)
    first = solid_of(tank)
    assert solid_of(tank) is first
    before = path.stat().st_mtime_ns
    saved(drawn(scale=1.1), path)
    os.utime(path, ns=(before + 1, before + 1))
    assert solid_of(tank).volume_l == pytest.approx(1.331 * first.volume_l, rel=1e-5)


def test_a_mesh_is_uncertain_by_its_scales(tmp_path):
    tank = saved(drawn(), tmp_path / "tank.stl")
    before = solid_of(tank)
    extent = before.vertices.max(axis=0)
    for (name, u), size in zip(uncertain_dimensions(tank), extent, strict=True):
        assert u == pytest.approx(5 / size)
        assert solid_of(perturbed(tank, name, 0.02)).volume_l == pytest.approx(
            1.02 * before.volume_l, rel=1e-9
        )
