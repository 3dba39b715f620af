"""``gaugewright refine`` on files: offered beside the table in use, refused with a reason."""

import json
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.table.files import read_table, write_table
from gaugewright.table.table import Table
from gaugewright.testing.logs import simulate_log

RUN = CliRunner()


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Two months of an excavator: its log, its receipts and a table that is 3 % too high."""
    folder = tmp_path_factory.mktemp("service")
    log = simulate_log("excavator", 14, days=60, period_s=60.0, drains_per_day=0.1, plain=True)
    counts = np.unique(np.round(log.table.counts))
    litres = np.interp(counts, log.table.counts, log.table.litres)
    table = Table(counts, 1.03 * litres, 0.01 * log.capacity_l + 0.04 * litres)
    (folder / "table.csv").write_text(write_table(table))
    track = log.track
    columns = {
        "vehicle": ["E-14"] * track.time_s.size,
        "time": pa.array((track.time_s * 1e6).astype("int64"), pa.timestamp("us", "UTC")),
        "counts": track.counts,
        "speed_kmh": track.speed_kmh,
        "ignition": track.ignition,
    }
    pq.write_table(pa.table(columns), folder / "log.parquet")
    lines = ["vehicle,time,litres"]
    for receipt in log.receipts:
        when = datetime.fromtimestamp(receipt.time_s, UTC).isoformat()
        lines.append(f"E-14,{when},{receipt.true_l:.2f}")
    (folder / "receipts.csv").write_text("\n".join(lines) + "\n")
    return folder


def run(files, *options):
    names = [str(files / "table.csv"), str(files / "log.parquet")]
    return RUN.invoke(app, ["refine", *names, *options])


def test_a_table_is_offered_and_the_one_in_use_left_alone(files, tmp_path):
    before = (files / "table.csv").read_text()
    out = tmp_path / "refined.csv"

    result = run(files, "--receipts", str(files / "receipts.csv"), "--out", str(out), "--json")

    assert result.exit_code == 0, result.output
    record = json.loads(result.stdout)
    assert record["is_offered"]
    assert record["mean_band_after_l"] < record["mean_band_before_l"]
    assert (files / "table.csv").read_text() == before
    old, new = read_table(before), read_table(out.read_text())
    assert new.counts.tolist() == old.counts.tolist()
    # Where it is filled and emptied all the time; 1 / 1.03 is due, less what the band says.
    ends = np.interp([110.0, 330.0], old.litres, old.counts)
    spans = [float(np.diff(t.litres_at(ends))[0]) for t in (old, new)]
    assert 0.96 < spans[1] / spans[0] < 0.985


def test_people_read_what_was_learnt_and_what_was_not(files):
    result = run(files, "--receipts", str(files / "receipts.csv"))

    assert result.exit_code == 0
    assert "a refined table is offered, learnt from" in result.stdout
    assert "Nothing is changed until" in result.stdout
    assert "True litres over those of the receipts" in result.stdout


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "nothing to learn from: the log has no column engine_fuel_l; give --receipts"),
        (("--receipts", "nope.csv"), "nope.csv: cannot be read"),
        (("--fill", "pours.csv"), "needs --tank"),
        (("--vehicle", "Q"), "there is no 'Q'"),
    ],
)
def test_what_cannot_be_learnt_from_is_refused_in_one_line(files, options, said):
    result = run(files, *options)

    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stderr.count("\n") == 1


def test_receipts_of_another_vehicle_are_refused(files, tmp_path):
    other = tmp_path / "other.csv"
    other.write_text((files / "receipts.csv").read_text().replace("E-14", "Q-7"))

    result = run(files, "--receipts", str(other))

    assert result.exit_code == 2
    assert "no receipt is of vehicle 'E-14'; they are of Q-7" in result.stderr
