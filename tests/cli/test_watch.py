"""The watch as a person runs it: what it writes, says and asks, and how it ends."""

import json

import pytest
from typer.testing import CliRunner

from gaugewright.app.watch_task import Look
from gaugewright.cli import watch
from gaugewright.cli.main import app
from gaugewright.testing.plain_watch import steps

TABLE = "counts,litres,u_litres\n0,5,1\n4000,405,2\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setattr(watch, "_look", lambda: Look(steps))
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables" / "T-7.csv").write_text(TABLE)
    minutes = [f"2026-03-01T{h:02d}:{m:02d}:00Z" for h in (10, 11) for m in range(60)]
    counts = [1000 if k < 40 else 3000 if k < 80 else 2600 for k in range(120)]
    rows = [f"T-7,{t},{c},0,0" for t, c in zip(minutes, counts, strict=True)]
    text = "vehicle,time,counts,speed_kmh,ignition\n" + "\n".join(rows) + "\n"
    (tmp_path / "log.csv").write_text(text)
    (tmp_path / "receipts.csv").write_text(
        "vehicle;time;litres\nT-7;01.03.2026 11:45;200,5\nT-7;01.03.2026 12:10;90\n"
    )
    return tmp_path


def run(*arguments, **options):
    return CliRunner().invoke(app, ["watch", *arguments], **options)


USUAL = ("log.csv", "--tables", "tables", "--out", "result")


def test_a_log_gives_the_three_files_and_says_what_it_found(folder):
    result = run(*USUAL, "--receipts", "receipts.csv", "--zone", "Europe/Berlin")

    assert result.exit_code == 0, result.output
    assert "120 records of 1 vehicle" in result.stdout
    assert "1 refuel, 200 L; 1 drain, 40 L" in result.stdout
    assert "2 receipts: 1 agree, 1 not seen in the tank" in result.stdout
    events = (folder / "result" / "events.csv").read_text().splitlines()
    assert events[1].startswith(
        "T-7,refuel,2026-03-01T10:39:00Z,2026-03-01T10:40:00Z,200.0,1.0,105.0,305.0,"
    )
    held = (folder / "result" / "reconciliation.csv").read_text().splitlines()
    assert held[1].startswith("T-7,1,agrees,200.5,200.0,-0.5,1.5")
    assert held[2].startswith("T-7,2,not_seen,90.0,,,")
    assert (folder / "result" / "health.csv").exists()


def test_vehicles_without_a_table_are_counted_and_named(folder):
    with (folder / "log.csv").open("a") as log:
        log.write("A-1,2026-03-01T10:00:00Z,5,0,0\nB-2,2026-03-01T10:00:00Z,5,0,0\n")

    said = run(*USUAL).stdout.splitlines()

    assert said[0] == "122 records of 3 vehicles"
    assert said[1] == "2 vehicles without a table, not looked at: A-1, B-2"
    assert "A-1" not in "".join(said[2:])
    health = json.loads(run(*USUAL, "--json").stdout)["health"]
    assert [one["vehicle"] for one in health if one["kind"] == "no_table"] == ["A-1", "B-2"]


def test_the_record_for_programs_holds_the_same(folder):
    result = run(*USUAL, "--json")

    record = json.loads(result.stdout)
    assert [event["kind"] for event in record["events"]] == ["refuel", "drain"]
    assert record["records"] == 120
    assert record["needs_person"] is True


def test_strict_ends_with_one_if_a_person_is_needed(folder):
    assert run(*USUAL, "--strict").exit_code == 1
    (folder / "log.csv").write_text(
        "vehicle,time,counts,speed_kmh,ignition\nT-7,1772359200,1000,0,0\nT-7,1772359210,999,0,0\n"
    )
    assert run(*USUAL, "--strict").exit_code == 0


def test_a_refused_log_leaves_nothing_behind(folder):
    (folder / "log.csv").write_text("vehicle,time,counts\nT-7,1772359200,full\n")

    result = run(*USUAL)

    assert result.exit_code == 2
    assert "log.csv, line 2, counts: 'full' is not a number" in result.stderr
    assert not (folder / "result").exists()


def test_columns_are_told_once_and_remembered(folder):
    text = (folder / "log.csv").read_text()
    (folder / "log.csv").write_text(text.replace("vehicle,time,counts", "Unit,When,Fuel"))

    refused = run(*USUAL)
    told = run(*USUAL, "--columns", "vehicle=Unit,time=When,counts=Fuel")
    again = run(*USUAL, "--fresh")

    assert refused.exit_code == 2
    assert "which column is vehicle and which time and which counts? found Unit" in refused.stderr
    assert (told.exit_code, again.exit_code) == (0, 0)
    assert (folder / "watch-columns.toml").exists()


def test_missing_columns_are_asked_for_where_somebody_can_answer(folder, monkeypatch):
    text = (folder / "log.csv").read_text()
    (folder / "log.csv").write_text(text.replace("vehicle,time,counts", "Unit,When,Fuel"))
    monkeypatch.setattr("gaugewright.cli.watch_text.is_person_there", lambda: True)

    asked = run(*USUAL, input="1\n2\n3\n")
    again = run(*USUAL, "--fresh")

    assert asked.exit_code == 0, asked.output
    assert "Which one is the counts?" in asked.output
    assert again.exit_code == 0


def test_the_log_and_the_receipts_come_from_anywhere_but_not_both(folder):
    piped = run("-", *USUAL[1:], input=(folder / "log.csv").read_bytes())
    both = run("-", *USUAL[1:], "--receipts", "-", input=b"")

    assert piped.exit_code == 0, piped.output
    assert both.exit_code == 2


def test_events_also_come_as_parquet_and_workbook(folder):
    assert run(*USUAL, "--also", "parquet", "--also", "xlsx").exit_code == 0
    assert (folder / "result" / "events.parquet").read_bytes()[:4] == b"PAR1"
    assert (folder / "result" / "events.xlsx").read_bytes()[:2] == b"PK"
    assert run(*USUAL, "--also", "pdf").exit_code == 2


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("vehicle,time,litres\nT-7,2026-03-01T10:00:00Z,0\n", "line 2, litres: must be above 0 L"),
        ("vehicle,time,litres\nT-7,,5\n", "line 2, time: is empty, wanted a time"),
        ("vehicle,time,litres\n,2026-03-01T10:00:00Z,5\n", "line 2, vehicle: is empty"),
        ("vehicle,time\nT-7,2026-03-01T10:00:00Z\n", "the column 'litres' is missing"),
        ("vehicle,time,litres\nT-7,2026-03-01 10:00:00,5\n", "have no zone; say it with --zone"),
    ],
)
def test_wrong_receipts_are_refused_by_line_and_field(folder, text, wanted):
    (folder / "receipts.csv").write_text(text)

    result = run(*USUAL, "--receipts", "receipts.csv")

    assert result.exit_code == 2
    assert result.stderr.startswith("gaugewright: receipts.csv")
    assert wanted in result.stderr
    assert not (folder / "result").exists()


def test_nothing_that_is_read_is_written_over(folder):
    (folder / "result").mkdir()
    (folder / "receipts.csv").rename(folder / "result" / "events.csv")

    result = run(*USUAL, "--receipts", "result/events.csv")

    assert result.exit_code == 2
    assert "would overwrite" in result.stderr


def test_no_folder_of_tables_is_said_plainly(folder):
    result = run("log.csv", "--tables", "nowhere", "--out", "result")

    assert result.exit_code == 2
    assert "nowhere, --tables: no such folder" in result.stderr


@pytest.mark.parametrize(
    ("out", "words"),
    [
        ("receipts.csv", "receipts.csv: is a file; wanted a folder to write into"),
        ("receipts.csv/deep", "deep/finished: cannot be made a folder: not a directory"),
    ],
)
def test_a_result_folder_that_cannot_be_made_is_said_plainly(folder, out, words):
    before = sorted(folder.rglob("*"))
    result = run("log.csv", "--tables", "tables", "--out", out)

    assert result.exit_code == 2, result.stderr
    assert words in result.stderr
    assert sorted(folder.rglob("*")) == before


NAIVE = "vehicle,time,counts,speed_kmh,ignition\nT-7,{},1000,0,0\nT-7,{},999,0,0\n"


def test_what_is_remembered_is_named_wherever_it_is_used(folder):
    (folder / "log.csv").write_text(NAIVE.format("2026-03-01 10:00:00", "2026-03-01 10:01:00"))
    told = run(*USUAL, "--zone", "Europe/Berlin")
    again = run(*USUAL)
    as_json = json.loads(run(*USUAL, "--json").stdout)

    said = "ead with zone=Europe/Berlin, as remembered in watch-columns.toml"
    assert said not in told.stdout
    assert f"R{said}\n" in again.stdout
    assert as_json["remembered"] == [f"r{said}"]


def test_whole_iso_times_are_read_whatever_format_is_remembered(folder):
    good = (folder / "log.csv").read_text()
    (folder / "log.csv").write_text(NAIVE.format("03/14/2026 10:00:00", "03/14/2026 10:01:00"))
    assert run(*USUAL, "--zone", "UTC", "--time-format", "%m/%d/%Y %H:%M:%S").exit_code == 0
    (folder / "log.csv").write_text(good)

    assert run(*USUAL).exit_code == 0
    assert (folder / "result" / "events.csv").read_text().count("2026-03-01T10:39:00Z") == 1


def test_a_refusal_that_rests_on_what_is_remembered_names_its_file(folder):
    (folder / "log.csv").write_text(NAIVE.format("03/14/2026 10:00:00", "03/14/2026 10:01:00"))
    assert run(*USUAL, "--zone", "UTC", "--time-format", "%m/%d/%Y %H:%M:%S").exit_code == 0
    (folder / "log.csv").write_text(NAIVE.format("14.03.2026 10:00:00", "14.03.2026 10:01:00"))

    refused = run(*USUAL)

    assert refused.exit_code == 2
    assert "time_format=%m/%d/%Y %H:%M:%S, as remembered in watch-columns.toml" in refused.stderr


@pytest.mark.parametrize("more", [("--time-format", "%d.%m.%Y"), ("--report", "xlsx")])
def test_what_a_refused_run_was_told_is_not_remembered(folder, more):
    (folder / "log.csv").write_text(NAIVE.format("2026-03-01 10:00:00", "2026-03-01 10:01:00"))
    (folder / "tables" / "T-7.csv").rename(folder / "tables" / "T-8.csv")

    refused = run(*USUAL, "--zone", "Europe/Berlin", *more)

    assert refused.exit_code == 2
    assert not (folder / "watch-columns.toml").exists()


@pytest.mark.parametrize("told", [("--zone", "Mars"), ("--columns", "zone=Mars")])
def test_a_zone_that_there_is_not_is_refused_whether_it_is_needed_or_not(folder, told):
    refused = run(*USUAL, *told)

    assert refused.exit_code == 2
    assert f"{told[0]}: there is no zone 'Mars'; wanted one like Europe/Oslo" in refused.stderr


def test_speed_and_ignition_are_asked_for_too_and_a_wrong_number_is_asked_again(
    folder, monkeypatch
):
    text = (folder / "log.csv").read_text()
    (folder / "log.csv").write_text(
        text.replace("vehicle,time,counts,speed_kmh,ignition", "Unit,When,Fuel,Tempo,Key")
    )
    monkeypatch.setattr("gaugewright.cli.watch_text.is_person_there", lambda: True)

    asked = run(*USUAL, input="1\n2\n9\n3\n4\n\n")

    assert asked.exit_code == 0, asked.output
    assert "there is no column 9, wanted 1 to 5" in asked.output
    remembered = (folder / "watch-columns.toml").read_text()
    assert 'counts = "Fuel"' in remembered
    assert 'speed_kmh = "Tempo"' in remembered
    assert "ignition" not in remembered


@pytest.mark.parametrize("log", ["log.csv", "-"])
def test_a_log_without_records_is_refused(folder, log):
    head = "vehicle,time,counts,speed_kmh,ignition\n"
    (folder / "log.csv").write_text(head)

    refused = run(log, *USUAL[1:], input=head.encode())

    assert refused.exit_code == 2
    assert "the log holds no records" in refused.stderr
    assert not (folder / "result").exists()


def test_what_no_clock_tells_is_counted_on_the_terminal(folder):
    hours = (0, 1, 2, 3, 4)
    rows = [f"T-7,2025-10-26 {h:02d}:{m:02d}:00,1000,0,0" for h in hours for m in range(60)]
    text = "\n".join(["vehicle,time,counts,speed_kmh,ignition", *rows, "T-7,,1000,0,0\n"])
    (folder / "log.csv").write_text(text)

    said = run(*USUAL, "--zone", "Europe/Berlin").stdout

    assert "- T-7: 60 of 301 records are of the hour that the clock had twice" in said
    assert "- T-7: 1 of 301 records have no time or one that no right clock shows" in said
