"""The calibrate command end to end, on the invented yard's example and on variants of it."""

import csv
import io
import json
from itertools import pairwise
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.pours.findings import KINDS

EXAMPLES = Path(__file__).parents[2] / "examples"
POURS = (EXAMPLES / "loader-left-pours.csv").read_text()
CORRECTED = (EXAMPLES / "loader-left-pours-corrected.csv").read_text()
TANK = (EXAMPLES / "loader-left.toml").read_text()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pours.csv").write_text(POURS)
    (tmp_path / "corrected.csv").write_text(CORRECTED)
    (tmp_path / "tank.toml").write_text(TANK)
    return tmp_path


def calibrate(*arguments, code=0, **options):
    result = CliRunner().invoke(app, ["calibrate", *arguments], **options)
    assert result.exit_code == code, result.output
    return result


def table_rows(text):
    """Read a table by its contract, every promise checked; (counts, litres, u_litres)."""
    lines = list(csv.reader(io.StringIO(text)))
    assert lines[0] == ["counts", "litres", "u_litres"]
    rows = [(int(c), float(v), float(u)) for c, v, u in lines[1:]]
    assert all(a[0] < b[0] and a[1] <= b[1] for a, b in pairwise(rows))
    assert all(u > 0 for *_, u in rows)
    return rows


def table_of(*arguments, **options):
    return table_rows(calibrate(*arguments, "--out", "-", **options).stdout)


def record_of(*arguments, **options):
    return json.loads(calibrate(*arguments, "--json", **options).stdout)


def cost_of(record, unknown):
    return next((c["cost_l"] for c in record["costs"] if c["unknown"] == unknown), 0.0)


def widest(rows):
    return max(u for *_, u in rows)


def test_a_table_and_the_findings_are_written_by_the_contract(folder):
    calibrate(
        "pours.csv", "--tank", "tank.toml", "--out", "table.csv", "--findings", "findings.json"
    )

    rows = table_rows((folder / "table.csv").read_text())
    assert rows[0][0] == 0
    assert rows[-1][0] == 4094
    assert rows[0][1] == pytest.approx(14, abs=2)
    found = json.loads((folder / "findings.json").read_text())
    for finding in found:
        assert {"step", "kind", "severity", "message", "suggestion"} <= set(finding)
        assert finding["kind"] in KINDS
        assert finding["severity"] in ("stop", "check", "note")


def test_the_mistyped_litres_are_named_with_what_was_meant(folder):
    asked = [f for f in record_of("pours.csv", "--tank", "tank.toml")["findings"]
             if f["severity"] != "note"]  # fmt: skip

    assert [(f["step"], f["kind"], f["value"]) for f in asked] == [(5, "litres_mistyped", 54.2)]
    assert asked[0]["suggestion"] == "Was it 54.2 L? Look at the meter."


def test_the_corrected_record_brings_nothing_to_ask(folder):
    record = record_of("corrected.csv", "--tank", "tank.toml")

    assert record["needs_person"] is False
    assert [f["kind"] for f in record["findings"]] == ["below_probe_tip"]


def test_the_doubted_figure_is_left_out_and_the_band_shows_it(folder):
    doubted = table_of("pours.csv", "--tank", "tank.toml")
    known = table_of("corrected.csv", "--tank", "tank.toml")

    assert widest(doubted) > widest(known)
    assert doubted[-1][1] == pytest.approx(known[-1][1], abs=1.0)  # not 9 litres less


def test_strict_ends_with_1_only_when_a_person_is_needed(folder):
    strict = ("--tank", "tank.toml", "--strict", "--out", "table.csv")

    calibrate("pours.csv", *strict, code=1)
    assert (folder / "table.csv").exists()  # found is not refused
    calibrate("corrected.csv", *strict, code=0)


def test_people_see_tank_table_band_findings_and_costs(folder):
    shown = calibrate("pours.csv", "--tank", "tank.toml").stdout

    for words in (
        "box, 430.0 L as described",
        "half-width of the 95 % band",
        "STOP  step 5",
        "Was it 54.2 L?",
        "What is not known, and what it costs:",
        "measured can",
    ):
        assert words in " ".join(shown.split()) or words in shown  # fmt: skip
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_the_json_record_carries_the_table_the_costs_and_the_forecasts(folder):
    record = record_of("pours.csv", "--tank", "tank.toml")

    assert record["capacity_l"] == pytest.approx(430.0, abs=0.1)
    assert record["dead_stock_l"] == pytest.approx(14, abs=2)
    assert record["needs_person"] is True
    fifth = next(e for e in record["expected"] if e["step"] == 5)
    assert fifth["counts"] + fifth["u_counts"] < 1889
    assert {c["unknown"] for c in record["costs"]} >= {"the meter factor", "the residue"}


def test_the_record_comes_from_standard_input_and_the_table_goes_to_standard_output(folder):
    result = calibrate("-", "--tank", "tank.toml", "--out", "-", input=CORRECTED)

    assert table_rows(result.stdout) == table_of("corrected.csv", "--tank", "tank.toml")
    assert "Findings:" in result.stderr


def test_the_findings_go_to_standard_output(folder):
    result = calibrate("pours.csv", "--tank", "tank.toml", "--findings", "-")

    assert [f["kind"] for f in json.loads(result.stdout)][-1] == "litres_mistyped"


def test_a_table_needs_no_tank_file(folder):
    rows = table_of("corrected.csv")

    described = table_of("corrected.csv", "--tank", "tank.toml")
    assert widest(rows) > widest(described)
    assert rows[-1][1] == pytest.approx(384, abs=4)


@pytest.mark.parametrize("litres", ["12.0", "-12.0"])
def test_a_draining_record_gives_the_table_of_the_filling_one(folder, litres):
    lines = [line.split(",") for line in CORRECTED.splitlines()[1:]]
    counts = [line[2] for line in lines][::-1]
    added = ["0", *[line[1] for line in lines][:0:-1]]
    sign = "-" if litres.startswith("-") else ""
    text = "step,added_l,counts\n" + "".join(
        f"{i},{sign if i else ''}{a},{c}\n"
        for i, (a, c) in enumerate(zip(added, counts, strict=True))
    )
    (folder / "down.csv").write_text(text)

    down = table_of("down.csv", "--tank", "tank.toml")

    up = table_of("corrected.csv", "--tank", "tank.toml")
    assert [c for c, *_ in down] == [c for c, *_ in up]
    for (_, litres_down, u_down), (_, litres_up, u_up) in zip(down, up, strict=True):
        assert abs(litres_down - litres_up) < u_down + u_up


@pytest.mark.parametrize(
    "written",
    [
        CORRECTED.replace(",", ";").replace(".", ",").encode(),
        CORRECTED.replace(",", "\t").encode(),
        b"\xef\xbb\xbf" + CORRECTED.encode(),
        CORRECTED.replace("\n", "\r\n").encode(),
        CORRECTED.encode("utf-16"),
        CORRECTED.encode("utf-16-le"),
        ("\n" + CORRECTED + "\n\n").encode(),
        CORRECTED.replace("\n", ",\n").encode(),
    ],
    ids=["semicolon and decimal comma", "tabs", "byte-order mark", "Windows line ends", "UTF-16",
         "UTF-16 without mark", "empty lines around", "a comma at each line's end"],
)  # fmt: skip
def test_a_record_is_the_same_however_a_program_saved_it(folder, written):
    (folder / "saved.csv").write_bytes(written)

    assert table_of("saved.csv", "--tank", "tank.toml") == table_of(
        "corrected.csv", "--tank", "tank.toml"
    )


def test_a_meter_check_narrows_the_band_and_two_narrow_it_more(folder):
    bare = record_of("corrected.csv", "--tank", "tank.toml")
    once = record_of("corrected.csv", "--tank", "tank.toml", "--meter-check", "20=20")
    twice = record_of(
        "corrected.csv", "--tank", "tank.toml",
        "--meter-check", "20,0=20,0", "--meter-check", "20=20",
    )  # fmt: skip

    assert twice["largest_band_l"] < once["largest_band_l"] < bare["largest_band_l"]
    assert cost_of(bare, "the meter factor") > 0
    assert cost_of(once, "the meter factor") == 0


def test_a_meter_that_gives_less_than_it_says_moves_the_whole_table(folder):
    honest = table_of("corrected.csv", "--tank", "tank.toml", "--meter-check", "100=100")
    short = table_of("corrected.csv", "--tank", "tank.toml", "--meter-check", "100=99,5")

    assert 0.5 < honest[-1][1] - short[-1][1] < 3.0


def test_fuel_known_to_be_left_adds_to_the_table_and_costs_nothing_more(folder):
    left = ("--residual", "1,5", "--u-residual", "0,1")

    bare = record_of("corrected.csv", "--tank", "tank.toml")
    known = record_of("corrected.csv", "--tank", "tank.toml", *left)

    assert known["u_dead_stock_l"] < bare["u_dead_stock_l"]
    assert cost_of(known, "the residue") == 0
    more = record_of("corrected.csv", "--residual", "10", "--u-residual", "0.1")
    less = record_of("corrected.csv", "--residual", "0", "--u-residual", "0.1")
    assert more["dead_stock_l"] > less["dead_stock_l"] + 5


def test_a_dip_of_the_drained_tank_narrows_the_band(folder):
    bare = table_of("corrected.csv", "--tank", "tank.toml")
    dipped = table_of("corrected.csv", "--tank", "tank.toml", "--dip-empty", "2,5")

    assert widest(dipped) < widest(bare)


@pytest.mark.parametrize(
    ("step", "planned_l", "asked"),
    [
        (5, 45.0, []),  # the reading fits 54.2 and not 45
        (1, 21.0, ["21 L were to be poured and 12 L are written down."]),  # below the tip
    ],
)
def test_what_departs_from_the_plan_is_asked_about_where_the_reading_leaves_it_open(
    folder, step, planned_l, asked
):
    pours = [{"step": i, "add_l": 45.0 if i > 1 else 12.0} for i in range(1, 10)]
    pours[step - 1]["add_l"] = planned_l
    (folder / "plan.json").write_text(json.dumps({"pours": pours, "dead_stock_l": 14}))

    found = record_of("corrected.csv", "--tank", "tank.toml", "--plan", "plan.json")["findings"]

    checks = [f for f in found if f["severity"] == "check"]
    assert [f["message"] for f in checks] == asked
    assert all((f["step"], f["value"]) == (step, planned_l) for f in checks)


def test_columns_that_are_not_used_and_missing_steps_are_told(folder):
    lines = CORRECTED.splitlines()
    del lines[5]
    head, *rows = lines
    text = "\n".join([head + ",weather", *(row + ",rain" for row in rows)])
    (folder / "more.csv").write_text(text)

    notes = record_of("more.csv", "--tank", "tank.toml")["notes"]

    assert notes == ["the column 'weather' is not used", "step 4 not in the record"]


def test_a_probe_on_the_very_bottom_gives_a_table_from_the_residue_on(folder):
    (folder / "low.toml").write_text(TANK.replace("tip_clearance_mm = 22", "tip_clearance_mm = 0"))
    dry = CORRECTED.replace("1,12.0,0", "1,12.0,80")
    (folder / "dry.csv").write_text(dry)

    rows = table_of("dry.csv", "--tank", "low.toml")

    assert rows[0][1] < 8  # 22 mm higher it is 14
    assert rows[-1][1] > 350
