"""``gaugewright watch --report --plots``: files beside the events, refused in one line."""

import contextlib
import io
import json
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pypdf
import pytest
from typer.testing import CliRunner, Result

from gaugewright.cli.main import app
from gaugewright.table.files import write_table
from gaugewright.table.table import Table
from gaugewright.testing.service import receipts_csv, service_columns, service_csv, usual_changes

TABLE = Table(np.linspace(0, 4000, 41), np.linspace(10, 350, 41), np.linspace(1.5, 3, 41))
CHANGES = usual_changes(6, 350.0)


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of two vehicles over the end of a month, their tables and receipts."""
    folder = tmp_path_factory.mktemp("fleet")
    (folder / "tables").mkdir()
    parts = []
    for seed, vehicle in enumerate(("T-7", "T-8")):
        columns = service_columns(TABLE, CHANGES, days=6, period_s=60.0, seed=seed)
        columns["time_s"] = columns["time_s"] + 27 * 86_400.0
        parts.append(service_csv(columns, vehicle))
        (folder / "tables" / f"{vehicle}.csv").write_text(write_table(TABLE))
    (folder / "log.csv").write_text(parts[0] + parts[1].partition("\n")[2])
    (folder / "receipts.csv").write_text(receipts_csv(CHANGES, "T-7"))
    return folder


def watch(yard: Path, *options: str, log: str = "log.csv") -> Result:
    with contextlib.chdir(yard):
        return CliRunner().invoke(app, ["watch", log, "--tables", "tables", *options])


def test_reports_and_drawings_stand_beside_the_events(yard: Path) -> None:
    every = ("--report", "pdf", "--report", "xlsx", "--report", "parquet", "--plots")
    done = watch(yard, "--out", "result", "--receipts", "receipts.csv", *every, "--json")
    assert done.exit_code == 0, done.stderr
    written = json.loads(done.stdout)["reports"]
    out = yard / "result"
    assert {"report.pdf", "report.xlsx", "report-fleet.parquet", "plots/T-7.svg"} <= set(written)
    assert all((out / name).stat().st_size for name in written)
    assert (out / "events.csv").exists()
    text = "".join(p.extract_text() for p in pypdf.PdfReader(out / "report.pdf").pages)
    assert "All vehicles together" in text
    months = pq.read_table(out / "report-months.parquet").to_pylist()
    assert [(m["vehicle"], m["month"]) for m in months] == [
        ("T-7", "2026-03"), ("T-7", "2026-04"), ("T-8", "2026-03"), ("T-8", "2026-04"),
    ]  # fmt: skip
    fleet = pq.read_table(out / "report-fleet.parquet").to_pylist()
    both = [m["used_l"] for m in months if m["month"] == "2026-03"]
    assert fleet[0]["used_l"] == pytest.approx(sum(both))
    assert fleet[0]["u_used_l"] < sum(m["u_used_l"] for m in months if m["month"] == "2026-03")


def test_one_month_is_reported_where_one_is_named(yard: Path) -> None:
    done = watch(yard, "--out", "april", "--report", "parquet", "--month", "2026-04")
    assert done.exit_code == 0, done.stderr
    stored = io.BytesIO((yard / "april" / "report-months.parquet").read_bytes())
    assert {m["month"] for m in pq.read_table(stored).to_pylist()} == {"2026-04"}


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--report", "docx"), "--report: must be pdf, xlsx, parquet, found 'docx'"),
        (("--month", "2026-04"), "--month: is of use with --report only"),
        (("--report", "pdf", "--month", "April"), "--month: wanted a month like 2026-03"),
        (("--report", "xlsx", "--month", "2031-01"), "--month: no vehicle has records of 2031-01"),
        (("--report", "pdf", "--zone", "Mars/North"), "there is no zone 'Mars/North'"),
    ],
)
def test_what_no_report_can_be_is_refused_in_one_line(
    yard: Path, options: tuple[str, ...], words: str
) -> None:
    done = watch(yard, "--out", "refused", *options)
    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (yard / "refused").exists() or list((yard / "refused").glob("*.*")) == []


def test_standard_input_cannot_be_reported_on(yard: Path) -> None:
    done = watch(yard, "--out", "refused", "--plots", log="-")
    assert done.exit_code == 2
    assert "--plots: reads the log a second time" in done.stderr


@pytest.mark.parametrize("options", [("--zone", "Europe/Berlin"), ()])
def test_what_people_read_is_in_the_zone_that_was_told_now_or_before(
    yard: Path, options: tuple[str, ...]
) -> None:
    out = yard / f"berlin{len(options)}"
    more = ("--report", "pdf", "--also", "xlsx")
    if not options:
        assert watch(yard, "--out", str(out), "--zone", "Europe/Berlin").exit_code == 0
    done = watch(yard, "--out", str(out), *options, *more)
    (yard / "watch-columns.toml").unlink()

    assert done.exit_code == 0, done.stderr
    rows = (out / "events.csv").read_text().splitlines()
    start = datetime.fromisoformat(next(row for row in rows if ",drain," in row).split(",")[2])
    assert start.utcoffset() == timedelta(0)
    local = start.astimezone(ZoneInfo("Europe/Berlin"))
    assert f"{local:%Y-%m-%d %H:%M:%S} Europe/Berlin" in done.stdout
    sheet = openpyxl.load_workbook(out / "events.xlsx")["events"]
    head, *cells = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert head[2:4] == ["start Europe/Berlin", "end Europe/Berlin"]
    assert local.replace(tzinfo=None) in [row[2] for row in cells]
    text = " ".join(p.extract_text() for p in pypdf.PdfReader(out / "report.pdf").pages)
    assert "those of Europe/Berlin" in " ".join(text.split())
