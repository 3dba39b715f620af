"""``recheck``, ``carry`` and ``calibrate --sister``: results, exit codes, and what is refused."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.testing.hand import counts_at

TANK = """shape = "box"
length_mm = 1000
width_mm = 600
height_mm = 500
[probe]
x_mm = 520
y_mm = 300
tip_clearance_mm = 20
active_length_mm = 460
"""
NEW = "x_mm=520\ny_mm=300\ntip_clearance_mm=20\nactive_length_mm=460\ncounts_empty=100\n"


def record(totals, start_l=0.0):
    """A pour record from the drained box or from some fuel in it."""
    lines = [f"0,0,{counts_at(start_l)}"]
    before = start_l
    for step, total in enumerate(totals, start=1):
        lines.append(f"{step},{total - before:.1f},{counts_at(total)}")
        before = total
    return "step,added_l,counts\n" + "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A tank, its fill, its table, and pours made later."""
    made = tmp_path_factory.mktemp("later")
    (made / "tank.toml").write_text(TANK)
    (made / "new.toml").write_text(NEW)
    (made / "fill.csv").write_text(record([25.0 * k for k in range(1, 10)]))
    (made / "other.csv").write_text(
        record([18.0 * k for k in range(1, 10)]).replace(",18.0,", ",22.0,")
    )
    (made / "again.csv").write_text(record([90.0, 150.0, 210.0], start_l=30.0))
    (made / "drained.csv").write_text(record([60.0, 150.0, 210.0]))
    (made / "down.csv").write_text("step,added_l,counts\n0,0,3000\n1,-50,2300\n2,-50,1500\n")
    (made / "bare.csv").write_text("counts,litres\n0,12\n4095,288\n")
    run(made, "calibrate", "fill.csv", "--tank", "tank.toml", "--out", "table.csv")
    return made


def run(folder, *words, code=0):
    names = {path.name for path in folder.iterdir()} | {"table.csv", "out.csv"}
    said = [str(folder / word) if word in names else word for word in words]
    result = CliRunner().invoke(app, said)
    assert result.exit_code == code, result.output
    return result


def as_json(folder, *words, code=0):
    return json.loads(run(folder, *words, "--json", code=code).stdout)


def test_a_re_check_of_the_same_tank_is_good_with_and_without_the_old_fill(folder):
    words = ("recheck", "table.csv", "drained.csv", "--drained", "--tank", "tank.toml")
    short = as_json(folder, *words, "--strict")
    full = as_json(folder, *words, "--fill", "fill.csv")

    for found in (short, full):
        assert found["verdict"] == "good"
        assert len(found["comparisons"]) == 3
        assert sum(each["probability"] for each in found["possible"]) == pytest.approx(1, abs=1e-3)
    known, guessed = (each["comparisons"][1]["expanded_u_table_l"] for each in (full, short))
    assert known < guessed


def test_a_zero_that_no_pour_can_show_is_said_to_be_open_until_it_is_read(folder):
    words = ("recheck", "table.csv", "again.csv", "--tank", "tank.toml", "--fill", "fill.csv")
    unread = run(folder, *words, "--strict", code=1)
    assert "Cannot tell whether the table is still good: 3 pours agree with it" in unread.stdout
    assert "read its zero in air" in " ".join(unread.stdout.split())

    drifted = as_json(folder, *words, "--dry", "60", "--dry-before", "3")
    assert (drifted["verdict"], drifted["named"]) == ("not_good", ["zero_drifted"])
    still = as_json(folder, *words, "--dry", "3,5", "--dry-before", "3")
    assert not still["is_zero_open"]
    assert still["risk"] < as_json(folder, *words)["risk"]


def test_a_table_without_a_tank_file_tells_a_moved_tip_in_counts_not_in_mm(folder):
    found = as_json(folder, "recheck", "table.csv", "again.csv")
    units = {each["kind"]: each["unit"] for each in found["possible"]}

    assert units["tip_moved"] == "counts"


def test_a_carried_table_is_written_and_unconfirmed_until_check_pours_are_given(folder):
    words = (
        "carry",
        "table.csv",
        "--tank",
        "tank.toml",
        "--probe",
        "new.toml",
        "--fill",
        "fill.csv",
    )
    found = as_json(folder, *words, "--strict", code=1)
    assert found["check"] is None
    assert not found["is_confirmed"]

    run(folder, *words, "--out", "out.csv")
    counts, litres, band = np.loadtxt(folder / "out.csv", delimiter=",", skiprows=1).T
    assert (counts[0], counts[-1]) == (100, 4095)
    for total in (60.0, 150.0):
        at = 100 + counts_at(total) * 3995 / 4095
        assert abs(np.interp(at, counts, litres) - total - 1.2) <= np.interp(at, counts, band)
    assert found["largest_band_l"] > found["largest_band_before_l"]


def test_pours_of_which_one_looks_wrong_are_named_and_make_no_newer_table(folder):
    slip = record([60.0, 120.0, 180.0]).replace(f"2,60.0,{counts_at(120.0)}", "2,60.0,2999")
    (folder / "slip.csv").write_text(slip)
    words = ("recheck", "table.csv", "slip.csv", "--tank", "tank.toml", "--fill", "fill.csv")
    out = folder / "newer.csv"
    told = run(folder, *words, "--drained", "--out", str(out), code=2)
    assert "step 2 is the first that does not" in " ".join(told.stdout.split())
    assert "no newer table is made of them" in told.stderr
    assert not out.exists()
    assert as_json(folder, *words, "--drained")["verdict"] == "repeat"


def test_two_pours_say_what_they_think_of_a_sister(folder):
    found = as_json(
        folder, "calibrate", "fill.csv", "--tank", "tank.toml", "--sister", "table.csv"
    )["sister"]

    assert found["verdict"] == "agrees"
    assert 0.9 < found["probability"] <= 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("recheck", "bare.csv", "again.csv"), "u_litres"),
        (("recheck", "table.csv", "down.csv"), "runs down"),
        (("recheck", "table.csv", "again.csv", "--fill", "fill.csv"), "--tank"),
        (
            ("recheck", "table.csv", "again.csv", "--tank", "tank.toml", "--fill", "other.csv"),
            "is not the table of",
        ),
        (("recheck", "-", "-"), "standard input"),
        (("recheck", "table.csv", "again.csv", "--dry-before", "3"), "--dry"),
        (
            ("recheck", "table.csv", "drained.csv", "--tank", "tank.toml", "--dry", "-5000"),
            "--dry: -5000 counts is no reading of this probe",
        ),
        (("recheck", "table.csv", "again.csv", "--dip-empty", "3"), "--drained"),
        (("recheck", "table.csv", "drained.csv", "--drained", "--dip-empty", "3"), "--tank"),
        (("carry", "table.csv", "--tank", "tank.toml", "--probe", "fill.csv"), "fill.csv"),
        (
            ("carry", "table.csv", "--tank", "tank.toml", "--probe", "new.toml", "--u-tip", "-1"),
            "--u-tip",
        ),
        (
            ("carry", "table.csv", "--tank", "tank.toml", "--probe", "new.toml", "--drained"),
            "--pours",
        ),
        (("calibrate", "fill.csv", "--sister", "table.csv"), "--tank"),
        (("calibrate", "fill.csv", "--sister-tank", "tank.toml"), "--sister"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_written(folder, words, said):
    before = {path.name for path in folder.iterdir()}
    result = run(folder, *words, "--out", "out2.csv", code=2)

    assert said in result.stderr
    assert result.stderr.count("\n") == 1
    assert {path.name for path in folder.iterdir()} == before


@pytest.mark.parametrize("command", ["recheck", "carry"])
def test_help_shows_an_example_that_names_the_command(command):
    text = CliRunner().invoke(app, [command, "--help"]).stdout

    assert f"Example: gaugewright {command}" in text
