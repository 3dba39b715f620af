"""Everything that a tired fitter may hand over: refused in one line that helps, or a finding."""

import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gaugewright.app import files
from gaugewright.cli.main import app

EXAMPLES = Path(__file__).parents[2] / "examples"
POURS = (EXAMPLES / "loader-left-pours-corrected.csv").read_text()
TANK = (EXAMPLES / "loader-left.toml").read_text()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pours.csv").write_text(POURS)
    (tmp_path / "tank.toml").write_text(TANK)
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(app, ["calibrate", *arguments])


def refused(folder, *arguments, says=()):
    """Run, and hold the refusal: exit code 2, one line, nothing written."""
    before = {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()} == before
    return result.stderr


WRITTEN = ("--out", "table.csv", "--findings", "findings.json")
LINES = POURS.splitlines()
BUFFERED = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
"""The environment of most people, where what is printed is not written at once."""


def with_line(number, text):
    return "\n".join([*LINES[: number - 1], text, *LINES[number:]]) + "\n"


def with_counts(counts):
    return "\n".join([LINES[0], *(line.rsplit(",", 1)[0] + f",{counts}" for line in LINES[1:])])


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", ["is empty, wanted a header line"]),
        ("\n\n", ["is empty, wanted a header line"]),
        (LINES[0], ["holds a header line only; wanted step 0 (the drained tank) and at least 2"]),
        ("\n".join(LINES[1:]), ["line 1: the first line must name the columns (step, added"]),
        (POURS.replace("counts", "reading"), ["line 1: the column 'counts' is missing; found"]),
        (with_line(6, "4,abc,1349"), ["line 6, added_l: 'abc' is not a number, wanted"]),
        (with_line(6, "4,,1349"), ["line 6, added_l: is empty, wanted a number"]),
        (with_line(6, "4,45.0 L,1349"), ["line 6, added_l: '45.0 L' has text after the number"]),
        (with_line(6, "4,nan,1349"), ["line 6, added_l: 'nan' is not a finite number, wanted"]),
        (with_line(6, "4,45.0,inf"), ["line 6, counts: 'inf' is not a finite number, wanted"]),
        (with_line(6, "4,1e999,1349"), ["line 6, added_l", "1e999"]),
        (with_line(6, "4,-45.0,1349"), ["line 6, added_l: must not be negative, found -45 L"]),
        (with_line(6, "4,45.0,-1"), ["line 6, counts: must be 0 or more, found -1"]),
        (with_line(6, "4,45.0,4200"), ["line 6, counts: is beyond the scale of 0 to 4095 counts"]),
        (with_line(6, "3,45.0,1349"), ["line 6, step: step 3 stands in line 5 already"]),
        (with_line(6, "9,45.0,1349"), ["line 7, step", "order", "5 follows 9"]),
        (with_line(6, "4.5,45.0,1349"), ["line 6, step", "4.5"]),
        (with_line(2, "0,30,0"), ["line 2, added_l: must be 0 L at step 0, found 30 L"]),
        (with_line(2, "1,0,0"), ["line 2, step: the first step must be 0"]),
        ("\n".join(LINES[:3]), ["line 3: holds 2 lines of readings; wanted step 0"]),
        (with_counts(700), ["counts: all 10 readings are 700: the probe did not see the fuel"]),
        (with_line(6, "4,45,0,1349"), ["line 6: 4 fields where 3 are named; a decimal comma"]),
        ("\n".join(f"{i},0,{i}" if i else LINES[0] for i in range(5)), ["line 2, step"]),
        (TANK, ["line 2"]),
    ],
)  # fmt: skip
def test_a_bad_pour_record_is_refused_with_line_and_field(folder, content, says):
    (folder / "bad.csv").write_text(content)

    said = refused(folder, "bad.csv", "--tank", "tank.toml", *WRITTEN, says=says)

    assert said.startswith("gaugewright: bad.csv")


@pytest.mark.parametrize(
    "content", [bytes(range(256)) * 10, b"\x89PNG\r\n\x1a\n" + bytes(100), b"\xff\xfe\x00"]
)
def test_a_binary_file_is_refused(folder, content):
    (folder / "photo.csv").write_bytes(content)

    refused(folder, "photo.csv", *WRITTEN, says=["photo.csv: is not a text file", "wanted text"])


def test_a_file_of_100_mb_is_refused_before_it_is_read(folder):
    with (folder / "log.csv").open("wb") as stream:
        stream.truncate(100_000_000)  # takes no room on the disk

    result = run("log.csv", *WRITTEN)

    assert result.exit_code == 2
    assert result.stderr == "gaugewright: log.csv: is 100 MB, above the 20 MB that are read\n"


def test_a_log_of_a_vehicle_is_not_taken_for_a_pour_record(folder):
    rows = "".join(f"{i},{int(i > 0)},{i}\n" for i in range(1500))
    (folder / "log.csv").write_text("step,added_l,counts\n" + rows)

    refused(folder, "log.csv", *WRITTEN, says=["holds 1500 lines", "at most 1000 pours"])


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("edge_radius_mm = 80", "edge_radius_mm = 400",
         ["edge_radius_mm: 400 mm is larger than half the height, 300 mm"]),
        ("x_mm = 640", "x_mm = 6400", ["probe.x_mm, probe.y_mm: x 6400 mm", "is outside the tank"]),
        ("tip_clearance_mm = 22", "tip_clearance_mm = 2200",
         ["probe.tip_clearance_mm", "2200 mm above the bottom", "only 600 mm deep"]),
        ("tip_clearance_mm", "tip_clearence_mm", ["did you mean probe.tip_clearance_mm?"]),
        ("length_mm = 1180", "lenght_mm = 1180", ["lenght_mm: no such field, did you mean"]),
        ("length_mm = 1180", "length_mm = 1180,5", ["line 4", "a decimal comma must be"]),
        ("length_mm = 1180", 'length_mm = "46in"', ["length_mm: '46in' is not a number, wanted"]),
        ("length_mm = 1180", "length_mm = nan", ["length_mm: must be above 0 and finite"]),
        ("length_mm = 1180", "length_mm = -1180", ["length_mm", "-1180"]),
        ("counts_full = 4095", "counts_full = 0", ["probe.counts_full: must differ from"]),
        ("counts_full = 4095", "counts_full = 0.5", ["probe.counts_full: wanted 8 counts or more"]),
        ("_length_mm = 560", "_length_mm = 1e-308", ["probe.active_length_mm: must be 5 to 20000"]),
        ('shape = "box"', 'shape = "bocks"', ["shape", "bocks", "box"]),
    ],
)  # fmt: skip
def test_a_bad_tank_file_is_refused_with_its_field(folder, old, new, says):
    assert old in TANK
    (folder / "bad.toml").write_text(TANK.replace(old, new))

    said = refused(folder, "pours.csv", "--tank", "bad.toml", *WRITTEN, says=says)

    assert said.startswith("gaugewright: bad.toml")


def test_a_tank_file_without_its_probe_is_refused(folder):
    (folder / "bare.toml").write_text(TANK[: TANK.index("[probe]")])

    refused(folder, "pours.csv", "--tank", "bare.toml", *WRITTEN,
            says=["bare.toml: has no [probe], wanted x_mm, y_mm, tip_clearance_mm"])  # fmt: skip


def test_files_in_each_others_place_are_told_apart(folder):
    refused(folder, "tank.toml", "--tank", "pours.csv",
            says=["tank.toml: looks like a tank file; wanted the pour record (CSV)"])  # fmt: skip
    refused(folder, "-", "--tank", "-", says=["only one of POURS, --tank and --plan can come"])


def test_a_probe_whose_counts_fall_is_refused_with_what_to_do(folder):
    (folder / "falling.toml").write_text(
        TANK.replace("counts_full = 4095", "counts_full = 0").replace(
            "counts_empty = 0", "counts_empty = 4095"
        )
    )

    refused(folder, "pours.csv", "--tank", "falling.toml", *WRITTEN,
            says=["falling.toml, probe.counts_full", "turn the scale round"])  # fmt: skip


def test_counts_of_another_scale_are_refused(folder):
    (folder / "ten-bit.toml").write_text(TANK.replace("counts_full = 4095", "counts_full = 1023"))

    refused(folder, "pours.csv", "--tank", "ten-bit.toml", *WRITTEN,
            says=["pours.csv, line 6, counts: is beyond the scale of 0 to 1023"])  # fmt: skip


@pytest.mark.parametrize(("factor", "hint"), [(1.6, "Measure the tank again"), (10, "in litres?")])
def test_a_tank_that_holds_less_than_was_poured_stops_the_work(folder, factor, hint):
    rows = [line.split(",") for line in LINES[1:]]
    text = "".join(f"{s},{float(a) * factor:.1f},{c}\n" for s, a, c in rows)
    (folder / "much.csv").write_text(LINES[0] + "\n" + text)

    result = run("much.csv", "--tank", "tank.toml", "--json", "--strict", "--out", "table.csv")

    assert result.exit_code == 1
    stops = [f for f in json.loads(result.stdout)["findings"] if f["kind"] == "tank_disagrees"]
    told = next(f for f in stops if f["severity"] == "stop")
    assert "were poured, but the described tank holds only 430" in told["message"]
    assert hint in told["suggestion"]


def test_a_tank_measured_in_inches_stops_the_work(folder):
    inches = TANK
    for line in ("displaced_l", "rated_capacity_l"):
        inches = "\n".join(row for row in inches.splitlines() if not row.startswith(line))
    for mm in (1180, 620, 600, 80, 640, 310, 22, 560):
        inches = inches.replace(f"_mm = {mm}", f"_mm = {mm / 25.4:.3f}")
    (folder / "inches.toml").write_text(inches)

    result = run("pours.csv", "--tank", "inches.toml", "--json", "--strict")

    assert result.exit_code == 1
    suggestions = [f["suggestion"] for f in json.loads(result.stdout)["findings"]]
    assert "Are the tank's sizes in mm and the pours in litres?" in suggestions
    assert len(suggestions) == len(set(suggestions))


def cube_stl(size, faces):
    corners = [(x, y, z) for x in (0, size) for y in (0, size) for z in (0, size)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))][:faces]
    body = b"".join(
        struct.pack("<3f", 0, 0, 0) + b"".join(struct.pack("<3f", *corners[i]) for i in t) + b"\0\0"
        for t in triangles
    )
    return bytes(80) + struct.pack("<I", len(triangles)) + body


MESH = """shape = "mesh"
mesh_file = "tank.stl"
mesh_unit = "{unit}"
probe = {{x_mm = 350, y_mm = 350, tip_clearance_mm = 20, active_length_mm = 650}}
"""


@pytest.mark.parametrize(
    ("faces", "unit", "says"),
    [
        (11, "mm", ["tank.stl, mesh_file: the mesh has a hole: 3 open edges, around x 233 mm"]),
        (12, "m", ["tank.stl, mesh_unit: in m the mesh", "mm would give a tank"]),
        (12, "furlong", ["mesh.toml", "mesh_unit"]),
    ],
)
def test_a_mesh_with_a_hole_or_in_the_wrong_unit_is_refused(folder, faces, unit, says):
    (folder / "tank.stl").write_bytes(cube_stl(700.0, faces))
    (folder / "mesh.toml").write_text(MESH.format(unit=unit))

    refused(folder, "pours.csv", "--tank", "mesh.toml", *WRITTEN, says=says)


def test_a_whole_mesh_in_mm_is_a_tank(folder):
    (folder / "tank.stl").write_bytes(cube_stl(700.0, 12))
    (folder / "mesh.toml").write_text(MESH.format(unit="mm"))

    assert run("pours.csv", "--tank", "mesh.toml", *WRITTEN).exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--meter-check", "20"], "--meter-check: wanted INDICATED=TRUE, such as 20=19.94"),
        (["--meter-check", "20=2"], "--meter-check: 20 L shown and 2 L true differ by more than"),
        (["--meter-check", "0=0"], "--meter-check: INDICATED must be above 0 L"),
        (["--residual", "-1"], "--residual: must be 0 L or more, found -1"),
        (["--residual", "some"], "--residual: 'some' is not a number"),
        (["--residual", "300"], "--residual: 300 L of fuel in the drained tank, but at 0 counts"),
        (["--u-residual", "1"], "--u-residual: needs --residual"),
        (
            ["--dip-empty", "500"],
            "--dip-empty: 500 mm of fuel in the drained tank, but at 0 counts",
        ),
        (["--dip-empty", "3cm"], "--dip-empty: '3cm' has text after the number"),
        (["--out", "pours.csv"], "--out: would overwrite pours.csv, which is read as POURS"),
        (
            ["--findings", "./tank.toml"],
            "--findings: would overwrite ./tank.toml, which is read as",
        ),
        (["--out", "x", "--findings", "x"], "--out and --findings cannot both go to x"),
        (["--plan", "pours.csv"], "pours.csv: is not a plan"),
        (["--plan", "nowhere.json"], "nowhere.json: cannot be read: no such file"),
    ],
)
def test_bad_checks_and_options_are_refused_by_name(folder, arguments, says):
    said = refused(folder, "pours.csv", "--tank", "tank.toml", *arguments)

    assert said.startswith(f"gaugewright: {says}")


def test_a_dip_without_a_tank_is_refused_and_not_left_unused(folder):
    refused(folder, "pours.csv", "--dip-empty", "3", says=["--dip-empty: needs --tank"])


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        ("[]", "it has no list of pours"),
        ("[" * 100_000, "is not a plan"),
        ('{"pours": 3}', "it has no list of pours"),
        ('{"pours": [{"step": 1}]}', 'pours, number 1: found {"step": 1}'),
        ('{"pours": [{"step": 1e999, "add_l": 3}]}', "step must be a whole number, found inf"),
        ('{"pours": [{"step": 1, "add_l": NaN}]}', "add_l: 'nan' is not a finite number"),
        ('{"pours": [{"step": 1, "add_l": [2]}]}', "add_l must be litres, found [2]"),
    ],
)
def test_a_plan_that_is_none_is_refused(folder, plan, says):
    (folder / "plan.json").write_text(plan)

    refused(folder, "pours.csv", "--plan", "plan.json", *WRITTEN, says=["plan.json", says])


def test_where_one_file_cannot_be_written_neither_is(folder):
    (folder / "file").write_text("kept")
    (folder / "folder").mkdir()

    for place in ("file/table.csv", "nowhere/table.csv", "folder", "\0", "x" * 300):
        refused(folder, "pours.csv", "--findings", "findings.json", "--out", place,
                says=["cannot be written"])  # fmt: skip
        refused(folder, "pours.csv", "--out", "table.csv", "--findings", place,
                says=["cannot be written"])  # fmt: skip


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_leave_to_write_is_named(folder):
    (folder / "closed").mkdir(mode=0o500)

    refused(folder, "pours.csv", "--out", "closed/t.csv", says=["closed/t.csv: cannot be written"])


@pytest.mark.skipif(not os.access("/proc/version", os.R_OK), reason="needs /proc")
def test_a_file_system_that_takes_no_files_is_named(folder):
    refused(folder, "pours.csv", "--out", "/proc/table.csv", says=["/proc/table.csv: cannot be"])


def test_a_full_disk_leaves_the_old_files_and_no_half_ones(folder, monkeypatch):
    (folder / "table.csv").write_text("old table")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)

    refused(folder, "pours.csv", *WRITTEN, says=["cannot be written: no space left on device"])


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_standard_output_is_told(folder):
    with open("/dev/full", "wb") as full:
        result = subprocess.run(
            [sys.executable, "-m", "gaugewright", "calibrate", "pours.csv", "--out", "-"],
            stdout=full, stderr=subprocess.PIPE, text=True, env=BUFFERED,
        )  # fmt: skip

    assert result.returncode == 2
    assert "standard output: cannot be written: no space left on device" in result.stderr
