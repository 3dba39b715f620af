"""The commands as a person runs them: what they print, write, and how they end."""

import json
import os
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app

TANK = """
shape = "lying_cylinder"
length_mm = 1200
diameter_mm = 600

[probe]
x_mm = 1000
y_mm = 300
tip_clearance_mm = 20
active_length_mm = 560
"""
TABLE = "counts,litres,u_litres\n0,4.5,0.5\n1000,95,1\n2000,190,1\n3000,290,1\n4000,400,2\n"
PROGRAM = [sys.executable, "-m", "gaugewright"]
BUFFERED = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
"""The environment of most people, where what is printed is not written at once."""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tank.toml").write_text(TANK)
    (tmp_path / "table.csv").write_text(TABLE)
    return tmp_path


def run(*arguments, **options):
    return CliRunner().invoke(app, list(arguments), **options)


def test_without_a_command_the_help_is_shown():
    result = run()

    assert result.exit_code == 0
    assert "Commands:" in result.stdout
    assert result.stdout == run("--help").stdout


@pytest.mark.parametrize("command", sorted(c.name for c in app.registered_commands))
def test_every_command_has_help_with_an_example_and_json(command):
    result = run(command, "--help")

    assert result.exit_code == 0
    assert f"Example: gaugewright {command} " in " ".join(result.stdout.split())
    assert "--json" in result.stdout
    result.stdout.encode("ascii")  # help must print on any screen


def test_the_version_is_printed():
    assert run("--version").stdout.startswith("gaugewright 0.")


def test_a_wrong_command_or_option_is_refused_in_one_line():
    for arguments in (["tnk"], ["tank"], ["tank", "a", "--evry", "1"], ["tank", "a", "b"]):
        result = run(*arguments)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr.count("\n") == 1
        assert result.stderr.startswith("gaugewright: ")
    assert "Did you mean 'tank'?" in run("tnk").stderr


def test_tank_prints_the_section_and_the_dip_table(folder):
    result = run("tank", "tank.toml", "--every", "150")

    assert result.exit_code == 0
    assert "339.3 L brim-full; levels at the probe, x 1000 mm, y 300 mm" in result.stdout
    assert "along the length" in result.stdout
    assert ["150", "66.33"] in [line.split() for line in result.stdout.splitlines()]


def test_tank_writes_the_dip_table(folder):
    result = run("tank", "tank.toml", "--every", "0,5in", "--out", "dip.csv")

    assert result.exit_code == 0
    lines = (folder / "dip.csv").read_text().splitlines()
    assert lines[:3] == ["level_mm,litres", "0,0.000", "12.7,1.762"]
    assert lines[-1] == "600,339.292"


def test_tank_to_standard_output_prints_nothing_but_the_table(folder):
    result = run("tank", "tank.toml", "--every", "1cm", "--out", "-")

    assert result.stdout.startswith("level_mm,litres\n0,0.000\n10,")
    assert len(result.stdout.splitlines()) == 62
    assert "brim-full" in result.stderr


def test_tank_from_standard_input_as_json(folder):
    described = json.dumps({"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500})

    result = run("tank", "-", "--every", "250", "--json", input=described)

    record = json.loads(result.stdout)
    assert record["full_l"] == pytest.approx(300)
    assert record["dip_table"][1] == {"level_mm": 250, "litres": 150}
    assert record["at"] == {"x_mm": 500, "y_mm": 300, "is_probe": False}
    assert record["dead_stock_l"] is None


def test_a_slope_shows_what_it_does_at_the_probe(folder):
    result = run("tank", "tank.toml", "--every", "100", "--pitch", "1,5")

    sentence = "At pitch 1.5°, roll 0° a table for the level tank shows up to"
    assert sentence in " ".join(result.stdout.split())
    rows = [line.split() for line in result.stdout.splitlines() if "level mm" not in line]
    half = next(row for row in rows if row and row[0] == "300" and len(row) == 4)
    litres, level, does = (float(text) for text in half[1:])
    assert level == pytest.approx(169.646, abs=0.005)
    # 400 mm behind the middle the surface stands tan 1.5° x 400 mm = 10.5 mm too high.
    assert does == pytest.approx(litres - level, abs=0.011)
    assert does == pytest.approx(-10.47 * 0.6 * 1.2, abs=0.05)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["nowhere.toml"], "nowhere.toml: cannot be read: no such file or directory"),
        (["tank.toml", "--every", "0"], "--every: must be above 0 mm"),
        (["tank.toml", "--every", "10 miles"], "--every: '10 miles' is not a length"),
        (["tank.toml", "--every", "1e-9mm"], "--every: '1e-9mm' is not a length"),
        (["tank.toml", "--every", "0.001"], "--every: 0.001 mm would give more than"),
        (["tank.toml", "--pitch", "steep"], "--pitch: 'steep' is not a number"),
        (["tank.toml", "--roll", "60"], "--roll: 60 degrees is outside"),
        (["tank.toml", "--out", "."], ".: cannot be written: it is a folder"),
        (["tank.toml", "--out", "no/dip.csv"], "no/dip.csv: cannot be written: no such file"),
    ],
)
def test_tank_refuses_in_one_line(folder, arguments, message):
    result = run("tank", *arguments)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "tank.toml: is empty"),
        ('shape = "box"\nlength_mm = 45,5\n', "tank.toml, line 2: 'length_mm = 45,5' is not TOML;"),
        ('shape = "box\n', "tank.toml, line 1: "),
        ('shape = "box"\nlenght_mm = 1\n', "tank.toml, lenght_mm: no such field, did you mean"),
        ('shape = "boks"\n', "tank.toml, shape: 'boks' is not a shape"),
        (TANK.replace("x_mm = 1000", "x_mm = 1300"), "tank.toml, probe.x_mm, probe.y_mm: x 1300"),
        (TANK.replace("= 20", "= 700"), "tank.toml, probe.tip_clearance_mm: 700 mm is above"),
        (TANK.replace("tip_clear", "tip_claer"), "tank.toml, probe.tip_claerance_mm: no such"),
        (TANK.replace("1200", "1e154"), "tank.toml, length_mm: 1e+154 mm is no figure of a"),
        ("length_mm = " + "9" * 400, "tank.toml"),
        ("a = " + "[" * 5000, "tank.toml: is nested too deeply"),
        (
            'shape = "mesh"\nmesh_file = "no.stl"\nmesh_unit = "mm"\n',
            "no.stl, mesh_file: cannot be",
        ),
    ],
)
def test_a_wrong_tank_file_is_refused_with_line_or_field(folder, text, message):
    (folder / "tank.toml").write_text(text)

    result = run("tank", "tank.toml")

    assert result.exit_code == 2
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{"shape": "box", "shape": "oval"}', "tank.json, shape: is given twice"),
        ('{"shape": NaN}', "tank.json: NaN is not a finite number"),
        ('{"shape":\n "box",}', "tank.json, line 2: is not JSON: "),
        ('["box"]', "tank.json: must be one object with a tank's fields"),
        ("[" * 100_000, "tank.json: is nested too deeply"),
    ],
)
def test_a_wrong_json_tank_file_is_refused(folder, text, message):
    (folder / "tank.json").write_text(text)

    result = run("tank", "tank.json")

    assert result.exit_code == 2
    assert result.stderr.startswith(f"gaugewright: {message}")


def test_a_mesh_is_looked_for_beside_the_tank_file(folder):
    import trimesh

    inner = folder / "inner"
    inner.mkdir()
    trimesh.creation.box((100.0, 100.0, 100.0)).export(inner / "cube.stl")
    (inner / "tank.toml").write_text('shape="mesh"\nmesh_file="cube.stl"\nmesh_unit="mm"\n')

    result = run("tank", "inner/tank.toml", "--json")

    assert json.loads(result.stdout)["full_l"] == pytest.approx(1)


def test_a_rated_capacity_moves_the_sizes_and_narrows_the_volume(folder):
    (folder / "rated.toml").write_text(
        'shape="box"\nlength_mm=1000\nwidth_mm=600\nheight_mm=500\nrated_capacity_l=300\n'
    )

    text = run("tank", "rated.toml", "--every", "100").stdout
    record = json.loads(run("tank", "rated.toml", "--json").stdout)["most_probable"]

    assert "volume by tape and plate together, 95 % band: 304.9 ± 6.9 L" in text
    assert "  height: 50" in text
    assert record["half_width_95_l"] == pytest.approx(1.96 * 3.5, abs=0.1)
    assert record["capacity_l"] == pytest.approx(304.9, abs=0.05)
    assert {size["name"] for size in record["sizes"]} >= {"length_mm", "width_mm", "height_mm"}


def test_a_plate_that_cannot_be_this_tank_is_told(folder):
    (folder / "rated.toml").write_text(
        'shape="box"\nlength_mm=1000\nwidth_mm=600\nheight_mm=500\nrated_capacity_l=400\n'
    )

    assert "standard uncertainties apart" in run("tank", "rated.toml").stdout


def test_compare_names_what_differs(folder):
    (folder / "back.txt").write_text("Value\tLitres\n0\t4,5\n1000\t59,0\n2000\t190\n4000\t400\n")

    result = run("compare", "table.csv", "back.txt", "--out", "differences.json")

    assert result.exit_code == 0
    assert "two digits are swapped" in result.stdout
    assert "wrong by up to 36.0 L (at 1000 counts)" in result.stdout
    kinds = [
        d["kind"] for d in json.loads((folder / "differences.json").read_text())["differences"]
    ]
    assert len(kinds) == 2
    assert "swapped_digits" in kinds


def test_compare_leaves_with_1_only_when_strict_and_something_differs(folder):
    (folder / "back.txt").write_text(TABLE.replace("190", "109"))

    assert run("compare", "table.csv", "back.txt").exit_code == 0
    assert run("compare", "table.csv", "back.txt", "--strict").exit_code == 1
    assert run("compare", "table.csv", "table.csv", "--strict").exit_code == 0
    assert "Nothing differs." in run("compare", "table.csv", "table.csv").stdout
    assert json.loads(run("compare", "table.csv", "-", "--json", input=TABLE).stdout)["is_clean"]


def test_compare_refuses_what_is_no_table(folder):
    for arguments, message in (
        (["table.csv", "tank.toml"], "tank.toml: no two columns of figures found"),
        (["tank.toml", "table.csv"], "tank.toml, line "),
        (["-", "-"], "only one of TABLE and OTHER can be standard input"),
    ):
        result = run("compare", *arguments)
        assert result.exit_code == 2
        assert result.stderr.startswith(f"gaugewright: {message}")


def test_a_probe_of_24_bits_is_no_oversized_tank(folder):
    (folder / "tank.toml").write_text(TANK + "counts_full = 16777215\n")

    assert run("tank", "tank.toml").exit_code == 0


@pytest.mark.parametrize("form", ["csv", "json", "segments"])
def test_export_prints_or_writes_the_same(folder, form):
    printed = run("export", "table.csv", "--as", form)
    written = run("export", "table.csv", "--as", form, "--out", "handed-over")
    record = json.loads(run("export", "table.csv", "--as", form, "--json").stdout)

    assert printed.exit_code == written.exit_code == 0
    assert (folder / "handed-over").read_text() == printed.stdout == record["content"]
    assert written.stdout == "5 rows written to handed-over\n"


def test_export_writes_a_workbook_with_its_facts(folder):
    import openpyxl

    result = run(
        "export", "table.csv", "--as", "xlsx", "--out", "t.xlsx", "--fact", "vehicle==1+1", "--json"
    )

    assert json.loads(result.stdout)["rows"] == 5
    book = openpyxl.load_workbook(folder / "t.xlsx")
    assert book["table"]["B3"].value == 95
    assert book["notes"]["B1"].value == "'=1+1"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["table.csv", "--as", "pdf"], "--as: must be csv, json, xlsx, segments, found 'pdf'"),
        (["table.csv", "--as", "xlsx"], "--out: a workbook is no text to print"),
        (["table.csv"], "give one of --as FORM and --recipe FILE"),
        (["table.csv", "--as", "csv", "--fact", "a=b"], "--fact: has no place in csv"),
        (["table.csv", "--as", "json", "--fact", "b"], "--fact: wanted NAME=VALUE"),
        (["nowhere.csv", "--as", "csv"], "nowhere.csv: cannot be read"),
        (["table.csv", "--as", "csv", "--out", "."], ".: cannot be written: it is a folder"),
    ],
)
def test_export_refuses_in_one_line(folder, arguments, message):
    result = run("export", *arguments)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1


def test_thin_keeps_the_rows_asked_for(folder):
    result = run("thin", "table.csv", "--rows", "3", "--out", "short.csv")

    assert result.exit_code == 0
    assert "3 of 5 rows; largest error " in result.stdout
    assert len((folder / "short.csv").read_text().splitlines()) == 4


def test_thin_shows_what_it_writes(folder):
    shown = json.loads(run("thin", "table.csv", "--within", "3,5", "--json").stdout)
    written = run("thin", "table.csv", "--within", "3,5", "--out", "-").stdout.splitlines()[1:]

    assert [f"{r['counts']:.0f},{r['litres']},{r['u_litres']}" for r in shown["table"]] == written
    assert shown["max_error_l"] <= 3.5


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["table.csv"], "give one of --rows N and --within LITRES"),
        (["table.csv", "--rows", "3", "--within", "2"], "give one of --rows N"),
        (["table.csv", "--rows", "2.5"], "--rows: must be a whole number"),
        (["table.csv", "--rows", "1"], "--rows: must be at least 2"),
        (["table.csv", "--within", "-1"], "--within: must be above 0 L"),
        (["table.csv", "--rows", "3", "--decimals", "9"], "--decimals: must be 0 to 3"),
        (["tank.toml", "--rows", "3"], "tank.toml, line"),
    ],
)
def test_thin_refuses_in_one_line(folder, arguments, message):
    result = run("thin", *arguments)

    assert result.exit_code == 2
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1


def test_a_reader_that_has_enough_is_no_error(folder):
    with subprocess.Popen(
        [*PROGRAM, "tank", "tank.toml", "--every", "0.01", "--out", "-"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=BUFFERED,
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr is not None
        assert b"Traceback" not in process.stderr.read()
        assert process.wait(20) == 0


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_the_drawing_prints_on_any_screen(folder, encoding):
    result = subprocess.run(
        [*PROGRAM, "tank", "tank.toml", "--pitch", "2"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        check=True,
    )

    text = result.stdout.decode(encoding)
    assert ("###" in text) is (encoding != "utf-8")
    assert all(len(line) <= 80 for line in text.splitlines()[3:])
    assert result.stderr == b""


def test_help_loads_no_numerics_and_no_server():
    """What makes help quick: nothing heavy is loaded before a command needs it."""
    script = (
        "import sys\n"
        "from gaugewright.cli.main import app\n"
        "try:\n    app(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'fastapi', 'sqlalchemy', 'trimesh'} & set(sys.modules)\n"
        "sys.exit(','.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)

    assert done.returncode == 0, done.stderr
