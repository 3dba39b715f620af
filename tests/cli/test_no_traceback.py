"""Whatever bytes a file holds, a command ends in an orderly way: exit code 0 or 2, one line."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from gaugewright.cli import program
from gaugewright.cli.main import app
from gaugewright.errors import InputError
from gaugewright.testing.thorough import thorough

TOML = b"""shape = "lying_cylinder"
length_mm = 1200
diameter_mm = 600
displaced_l = 2
probe = {x_mm = 600, y_mm = 300, tip_clearance_mm = 20, active_length_mm = 500}
"""
JSON = b'{"shape": "box", "length_mm": 1000, "width_mm": "600,5", "height_mm": 500}'
CSV = b"counts,litres,u_litres\n0,4.5,0.5\n1000,95,1\n2000,190,1\n3000,290,1\n"
POURS = b"step,added_l,counts\n0,0,3\n1,45.5,3\n2,45.0,402\n3,45.0,811\n4,45.2,1203\n"
OURS = Path(__file__).with_name("ours.csv")
COMMANDS = {
    "toml": (["tank", "-", "--every", "100"], TOML),
    "json": (["tank", "-", "--every", "100"], JSON),
    "csv": (["thin", "-", "--rows", "3"], CSV),
    "export": (["export", "-", "--as", "segments"], CSV),
    "pours": (["calibrate", "-"], POURS),
    "copied": (["compare", str(OURS), "-"], CSV.replace(b"95", b"59")),
}

edits = st.lists(
    st.tuples(
        st.integers(0, 200), st.integers(0, 6), st.sampled_from([b"", b"\xff", b"\x00", b"-", b",",
        b'"', b"\n", b"nan", b"1e308", b"1e-308", b"[", b"{", b"=", b";", b"99999999999", b"0"])
    ),
    max_size=4,
)  # fmt: skip


def edited(content, changes):
    for place, cut, put in changes:
        place %= len(content) + 1
        content = content[:place] + put + content[place + cut :]
    return content


def check(arguments, content):
    result = CliRunner().invoke(app, arguments, input=content)
    assert result.exit_code in (0, 2), (content, result.stderr)
    assert "Traceback" not in result.output
    if result.exit_code == 2:
        assert result.stderr.count("\n") == 1
        assert result.stdout == ""


calm = settings(
    deadline=None,
    max_examples=thorough(20, 60),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.mark.parametrize("kind", sorted(COMMANDS))
@given(content=st.binary(max_size=200))
@calm
def test_random_bytes_are_refused(kind, content):
    check(COMMANDS[kind][0], content)


@pytest.mark.parametrize("kind", sorted(COMMANDS))
@given(changes=edits)
@example(
    changes=[(TOML.index(b"300,"), 0, b"99999999999"), (TOML.index(b"300,"), 0, b"99999999999")]
)
@calm
def test_a_damaged_file_is_read_or_refused(kind, changes):
    arguments, content = COMMANDS[kind]
    check(arguments, edited(content, changes))


def test_the_process_as_a_whole_shows_no_traceback():
    for content in (b"\x00\x01", b"\xff\xfe", b"[" * 9000, b"shape = 1"):
        result = subprocess.run(
            [sys.executable, "-m", "gaugewright", "tank", "-"], input=content, capture_output=True
        )
        assert result.returncode == 2
        assert result.stdout == b""
        assert result.stderr.startswith(b"gaugewright: standard input")
        assert result.stderr.count(b"\n") == 1


def raising(error):
    def run():
        raise error

    return run


def test_a_fault_of_the_program_is_told_as_one_and_not_as_bad_input(capsys, monkeypatch):
    monkeypatch.delenv(program.DEBUG_VARIABLE, raising=False)

    assert program.exit_code_of(raising(ZeroDivisionError("division by zero"))) == 70

    said = capsys.readouterr().err
    assert said.startswith("gaugewright: this is a fault of the program, not of the input: Zero")
    assert said.count("\n") == 1


def test_a_fault_shows_its_traceback_when_asked_for(monkeypatch):
    monkeypatch.setenv(program.DEBUG_VARIABLE, "1")

    with pytest.raises(ZeroDivisionError):
        program.exit_code_of(raising(ZeroDivisionError()))


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "gaugewright: stopped\n"),
        (MemoryError(), 2, "gaugewright: not enough memory for this file\n"),
        (InputError("bad\nthing", file="a"), 2, "gaugewright: a: bad thing\n"),
    ],
)
def test_every_ending_has_its_code_and_its_line(capsys, error, code, said):
    assert program.exit_code_of(raising(error)) == code
    assert capsys.readouterr().err == said


sizes = st.one_of(
    st.sampled_from(
        [0, -1, 1, 5, 50, 300, 500.5, 600, 1200, "45,5", "1.234,5", True, None, "", [], {}]
    ),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-5, 3000),
)
names = st.sampled_from(
    ["length_mm", "width_mm", "height_mm", "diameter_mm", "round_depth_mm", "edge_radius_mm",
     "ends", "end_depth_mm", "step_length_mm", "step_height_mm", "step_at", "section_mm",
     "corner_radius_mm", "mesh_file", "mesh_unit", "displaced_l", "rated_capacity_l", "wall_mm",
     "usable_fraction", "u_mm", "u_edge_radius_mm", "probe", "probe.x_mm", "probe.y_mm", "lenght"]
)  # fmt: skip
whole_tanks = {
    "box": {"length_mm": 1000, "width_mm": 600, "height_mm": 500},
    "lying_cylinder": {"length_mm": 1000, "diameter_mm": 600},
    "upright_cylinder": {"diameter_mm": 600, "height_mm": 500},
    "oval": {"length_mm": 1000, "width_mm": 600, "height_mm": 500},
    "obround": {"length_mm": 1000, "width_mm": 600, "height_mm": 500},
    "d_section": {"length_mm": 1000, "width_mm": 600, "height_mm": 500, "round_depth_mm": 200},
    "stepped": {"length_mm": 1000, "width_mm": 600, "height_mm": 500, "step_length_mm": 300,
                "step_height_mm": 200},
    "section": {"length_mm": 1000, "section_mm": [[0, 0], [600, 0], [500, 400], [0, 300]]},
}  # fmt: skip


@given(
    shape=st.sampled_from(sorted(whole_tanks)), changes=st.dictionaries(names, sizes, max_size=3)
)
@calm
def test_a_tank_with_odd_figures_is_read_or_refused(shape, changes):
    described = {"shape": shape, **whole_tanks[shape], **changes}
    check(["tank", "-", "--every", "100"], json.dumps(described).encode())
