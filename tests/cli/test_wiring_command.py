"""`gaugewright wiring`: files in, findings and figures out, bad input refused in one line."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from gaugewright.app.wiring import checked_wiring
from gaugewright.cli.main import app
from gaugewright.errors import InputError

EXAMPLE = Path(__file__).parents[2] / "examples" / "loader-left-wiring.toml"
TANK = EXAMPLE.with_name("loader-left.toml")


def run(*args, stdin=None):
    return CliRunner().invoke(app, ["wiring", *map(str, args)], input=stdin)


def test_the_example_is_clear_in_text_and_json():
    told, given_ = run(EXAMPLE, "--strict"), run(EXAMPLE, "--strict", "--json")

    assert (told.exit_code, given_.exit_code) == (0, 0)
    found = json.loads(given_.stdout)
    assert found["verdict"] == "clear"
    assert found["fuse"]["rating_a"] == 2
    assert found["days_parked"]["least"] < found["days_parked"]["days"]
    assert {c["id"] for c in found["cautions"]} >= {"battery", "licensed_practice"}
    assert "minus lead off first" in told.stdout
    assert "days until the battery is 20 % down" in told.stdout


def test_a_crossing_that_is_missing_needs_a_person():
    text = EXAMPLE.read_text(encoding="utf-8").replace('at_probe = "A"', 'at_probe = "B"')

    assert run("-", stdin=text).exit_code == 0
    strict = run("-", "--strict", stdin=text)
    assert strict.exit_code == 1
    assert "swap the two lines" in strict.stdout


def test_a_gauge_in_the_file_is_told_in_both_units():
    text = EXAMPLE.read_text(encoding="utf-8").replace("area_mm2 = 0.75", 'area_mm2 = "18 AWG"')

    assert "18 AWG (0.82 mm²)" in run("-", stdin=text).stdout


def test_json_from_standard_input_to_standard_output(tmp_path):
    out = tmp_path / "found.json"
    text = json.dumps({"supply": 24, "length_m": "12,5"})

    assert run("-", "--out", out, stdin=text).exit_code == 0
    assert json.loads(out.read_text(encoding="utf-8"))["supply"] == "24 V"
    assert json.loads(run("-", "--out", "-", stdin=text).stdout)["verdict"] == "open"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty, wanted a wiring's description"),
        ('supply = "48 V"', "supply: '48 V' is not known, wanted 12 V or 24 V"),
        ("lenght_m = 12", "did you mean length_m"),
        ("length_m = 12,5", "decimal comma"),
        ("length_m = -3", "length_m: must be 0.01 to 200, found -3"),
        ("wires = 3", "wires: must be a list"),
        ('wires = [{ color = "red" }]', "wires 1 color: no such field, did you mean colour"),
        ('loads = [{ name = "x" }]', "loads 1 least_v: is missing"),
        (
            'stations = [{ name = "x", address = 300 }]',
            "stations 1 address: must be 1 to 247, found 300",
        ),
        ('supply = "24 V"\ncode = "A"', "'A' is no code of a 24 V supply"),
        ("is_one_ground = 1", "must be true or false"),
        ("fuse_a = 6", "6 A is no rating"),
    ],
)
def test_bad_input_is_refused_in_one_line_and_nothing_is_written(tmp_path, text, words):
    file, out = tmp_path / "wiring.toml", tmp_path / "out.json"
    more = 'supply="24 V"\nlength_m=5\nloads=[{least_v=9,most_v=60,running_ma=50}]\n'
    file.write_text((more if text.startswith("fuse") else "") + text, encoding="utf-8")

    result = run(file, "--out", out)

    assert result.exit_code == 2
    assert words in result.stderr
    assert "wiring.toml" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert not out.exists()


def test_the_plans_sheet_brings_cable_fuse_and_terminators():
    args = ["plan", str(TANK), "--wiring", str(EXAMPLE), "--sheet", "-"]
    page = " ".join(CliRunner().invoke(app, args).stdout.split())

    assert "14 m of cable of 0.75 mm²" in page
    assert "fuse 2 A with holder" in page
    assert "two terminators of 120 ohm" in page
    assert "red +24V-+24V" in page


def test_a_page_with_many_wires_and_faults_still_fits(tmp_path):
    wires = [{"colour": "red", "at_probe": "TX", "at_unit": "TX"} for _ in range(40)]
    file = tmp_path / "w.json"
    file.write_text(json.dumps({"supply": "24 V", "wires": wires}), encoding="utf-8")
    result = CliRunner().invoke(
        app, ["plan", str(TANK), "--wiring", str(file), "--in-tank", "300", "--sheet", "-"]
    )

    assert result.exit_code == 0, result.stderr
    assert "and 32 more wires in the job" in result.stdout


ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.lists(st.none())
)


@given(
    st.dictionaries(st.sampled_from(["supply", "length_m", "loads", "wires", "bus_ohm"]), ODD),
    st.dictionaries(st.sampled_from(["colour", "at_probe", "at_unit", "name"]), ODD),
)
def test_whatever_is_typed_is_checked_or_refused_by_name(fields, row):
    try:
        found = checked_wiring({**fields, "wires": [row]})
    except InputError as error:
        named = error.field
    else:
        named = "nothing"
        json.dumps(found, allow_nan=False)
    assert named
