"""A whole log: the same events whatever its size, the blocks, the workers, the interruptions."""

import json
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute
import pyarrow.parquet as pq
import pytest

from gaugewright.app import watch_run
from gaugewright.app.log_columns import Columns
from gaugewright.app.watch_report import report_of
from gaugewright.app.watch_run import HowToRun, watch_log
from gaugewright.app.watch_tables import table_files
from gaugewright.app.watch_task import Look
from gaugewright.errors import InputError
from gaugewright.testing.plain_watch import frozen_note, steps
from gaugewright.watch.receipts import Receipt

T0 = 1_772_323_200.0
TABLE = "counts,litres,u_litres\n0,5,1\n4000,405,2\n"
LATEST_S = T0 + 1e9


def history(vehicle, days, period_s, rng):
    """A level that is used up evenly, filled when low, and tapped now and then."""
    time_s = T0 + np.arange(0.0, days * 86_400, period_s)
    litres, level = np.empty(time_s.size), 300.0
    for k in range(time_s.size):
        level -= 0.4 * period_s / 3600 * 10
        if level < 60:
            level += rng.uniform(150, 300)
        elif rng.random() < 1 / 400:
            level -= min(level - 30, rng.uniform(20, 60))
        litres[k] = max(level, 6.0)
    counts = np.round((litres - 5) * 10)
    return {"vehicle": [vehicle] * time_s.size, "time": time_s, "counts": counts,
            "speed_kmh": np.zeros(time_s.size), "ignition": np.zeros(time_s.size)}  # fmt: skip


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Three vehicles mixed, 3 % of the records late by an hour, 2 % sent twice."""
    folder = tmp_path_factory.mktemp("log")
    rng = np.random.default_rng(6)
    parts = [history(name, 60, 600.0, rng) for name in ("A", "B", "C/1")]
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    arrival = whole["time"] + np.where(rng.random(whole["time"].size) < 0.03, 3600.0, 0.0)
    arrival += rng.uniform(0, 300, arrival.size)
    again = rng.random(arrival.size) < 0.02
    rows = np.concatenate([np.arange(arrival.size), np.flatnonzero(again)])
    when = np.concatenate([arrival, arrival[again] + 60])
    rows = rows[np.argsort(when, kind="stable")]
    table = pa.table({name: values[rows] for name, values in whole.items()})
    pq.write_table(table, folder / "log.parquet", row_group_size=5000)
    (folder / "tables").mkdir()
    for name in ("A", "B", "unused"):
        (folder / "tables" / f"{name}.csv").write_text(TABLE)
    return folder


def watched(log, how=None, look=None, **more):
    return watch_log(
        str(log / "log.parquet"), table_files(str(log / "tables")), look or Look(steps),
        latest_s=LATEST_S, how=how or HowToRun(engine="here"), **more,
    )  # fmt: skip


@pytest.fixture(scope="module")
def plainly(log):
    return watched(log)


def test_every_vehicle_with_a_table_is_looked_at_and_the_others_are_named(plainly):
    assert [done.vehicle for done in plainly.vehicles] == ["A", "B"]
    assert all(len(done.watched.events) > 20 for done in plainly.vehicles)
    said = {(one.vehicle, one.kind) for one in plainly.remarks}
    assert said == {("C/1", "no_table"), ("unused", "not_in_log")}


def test_late_and_doubled_records_are_put_right(plainly):
    for done in plainly.vehicles:
        assert done.watched.records == 60 * 144
        assert done.arrival.doubled > 0.01 * done.watched.records
        assert done.arrival.late > 0.01 * done.watched.records


@pytest.mark.parametrize("block_records", [8000, 4000, 3000])
@pytest.mark.parametrize("memory_records", [10**9, 7000])
def test_the_results_do_not_depend_on_blocks_and_chunks(
    log, plainly, block_records, memory_records
):
    """60 days in up to 3 blocks: each is still longer than its margins."""
    how = HowToRun(engine="here", block_records=block_records, memory_records=memory_records)

    found = watched(log, how)

    for one, other in zip(found.vehicles, plainly.vehicles, strict=True):
        assert one.watched.events == other.watched.events
        assert one.arrival == other.arrival
        assert one.watched.records == other.watched.records
        assert one.watched.span_s == other.watched.span_s


@pytest.mark.parametrize("engine", ["threads", "processes"])
def test_the_results_do_not_depend_on_the_workers(log, plainly, engine):
    found = watched(log, HowToRun(jobs=2, engine=engine, block_records=4000))

    assert [v.watched.events for v in found.vehicles] == [
        v.watched.events for v in plainly.vehicles
    ]


@pytest.fixture
def apart(log, tmp_path):
    """The same records, each vehicle's in files of a folder of its own."""
    whole = pq.read_table(log / "log.parquet")
    for name in ("A", "B"):
        folder = tmp_path / "log" / f"vehicle={name}"
        folder.mkdir(parents=True)
        own = whole.filter(pa.compute.equal(whole["vehicle"], name)).drop_columns("vehicle")
        pq.write_table(own.slice(0, 4000), folder / "1.parquet", row_group_size=1500)
        pq.write_table(own.slice(4000), folder / "2.parquet")
    return tmp_path / "log"


@pytest.mark.parametrize("block_records", [10**6, 4000])
def test_a_folder_for_each_vehicle_gives_the_same(log, apart, plainly, block_records, monkeypatch):
    monkeypatch.setattr(watch_run, "MEMORY_RECORDS", 4 * 2000)
    how = HowToRun(jobs=2, engine="threads", block_records=block_records)

    found = watch_log(str(apart), table_files(str(log / "tables")), Look(steps),
                      latest_s=LATEST_S, how=how)  # fmt: skip

    for one, other in zip(found.vehicles, plainly.vehicles, strict=True):
        assert one.watched.events == other.watched.events
        assert one.arrival == other.arrival


@pytest.mark.parametrize("engine", ["here", "processes"])
def test_a_wrong_cell_in_a_vehicle_s_own_file_is_named(log, apart, engine):
    table = pa.table({"time": [T0, T0 + 10], "counts": ["5", "x"]})
    pq.write_table(table, apart / "vehicle=B" / "3.parquet")

    with pytest.raises(InputError, match=r"B/3.parquet, counts: row 2: 'x' is not a number"):
        watch_log(str(apart), table_files(str(log / "tables")), Look(steps),
                  latest_s=LATEST_S, how=HowToRun(engine=engine, jobs=2))  # fmt: skip


def test_a_cluster_gives_the_same(log, plainly):
    distributed = pytest.importorskip("distributed", reason="an extra of its own")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        found = watched(log, HowToRun(cluster=cluster.scheduler_address, block_records=4000))

    assert [v.watched.events for v in found.vehicles] == [
        v.watched.events for v in plainly.vehicles
    ]


def test_a_finished_vehicle_is_not_done_twice_and_a_changed_one_is(log, tmp_path):
    first = watched(log, out=tmp_path)
    assert first.again == 0

    second = watched(log, out=tmp_path, look=Look(steps))
    assert second.again == 2
    assert report_of(second, []).files() == report_of(first, []).files()
    assert second.vehicles[0].arrival == first.vehicles[0].arrival

    tables = tmp_path / "tables"
    tables.mkdir()
    (tables / "A.csv").write_text(TABLE)
    (tables / "B.csv").write_text(TABLE.replace("405", "406"))
    third = watch_log(str(log / "log.parquet"), table_files(str(tables)), Look(steps),
                      latest_s=LATEST_S, out=tmp_path)  # fmt: skip
    assert third.again == 1
    fourth = watched(log, HowToRun(engine="here", is_fresh=True), out=tmp_path)
    assert fourth.again == 0


def test_more_records_of_one_vehicle_leave_the_others_finished(log, apart, tmp_path):
    tables = table_files(str(log / "tables"))

    def again() -> int:
        return watch_log(str(apart), tables, Look(steps), latest_s=LATEST_S, out=tmp_path).again

    again()
    assert again() == 2
    table = pa.table({"time": [T0 + 9e6, T0 + 9e6 + 10], "counts": [500, 500]})
    pq.write_table(table, apart / "vehicle=B" / "3.parquet")
    assert again() == 1


def test_what_was_finished_before_a_stop_is_kept(log, tmp_path, monkeypatch):
    def stopped(tasks):
        yield from (watch_run.run_here(iter([next(iter(tasks))])))
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(watch_run, "_engine", lambda *_: stopped)
        with pytest.raises(KeyboardInterrupt):
            watched(log, out=tmp_path)

    assert watched(log, out=tmp_path).again == 1


def test_a_half_written_result_is_done_again(log, tmp_path):
    watched(log, out=tmp_path)
    kept = tmp_path / "finished" / "A.json"
    kept.write_text(kept.read_text()[:-30])

    assert watched(log, out=tmp_path).again == 1


def test_receipts_reach_the_health_check(log):
    found = watched(log, look=Look(steps, frozen_note), receipts=[Receipt("A", T0 + 9e4, 50, 1)])

    notes = [one for one in found.vehicles[0].remarks if one.kind == "frozen"]
    assert [note.message for note in notes] == ["50 L. Look."]
    assert not [one for one in found.vehicles[1].remarks if one.kind == "frozen"]


def write(folder, text, **tables):
    folder.mkdir(exist_ok=True)
    (folder / "log.csv").write_text(text)
    (folder / "tables").mkdir(exist_ok=True)
    for name, table in tables.items():
        (folder / "tables" / f"{name}.csv").write_text(table)
    return str(folder / "log.csv"), table_files(str(folder / "tables"))


def test_a_vehicle_that_is_refused_does_not_stop_the_others(tmp_path):
    rows = "".join(f"{v},{T0 + 10 * k},{500 if k < 5 else 900}\n" for k in range(9)
                   for v in ("refused", "good"))  # fmt: skip
    log, tables = write(tmp_path, "vehicle,time,counts\n" + rows, refused=TABLE, good=TABLE)

    found = watch_log(log, tables, Look(steps), latest_s=LATEST_S)

    good, refused = found.vehicles
    assert [event.litres for event in good.watched.events] == [40.0]
    assert refused.watched is None
    assert "not_watched" in {one.kind for one in refused.remarks}
    assert {"no_speed", "no_ignition"} <= {one.kind for one in good.remarks}


def test_a_wrong_table_is_named_and_nothing_is_done(tmp_path):
    log, tables = write(tmp_path, f"vehicle,time,counts\nA,{T0},5\n", A=TABLE + "4000,7,1\n")

    with pytest.raises(InputError, match=r"A.csv, line 4, counts: must rise strictly"):
        watch_log(log, tables, Look(steps), latest_s=LATEST_S)


def test_a_vehicle_whose_clock_is_never_right_is_named(tmp_path):
    log, tables = write(tmp_path, "vehicle,time,counts\nA,1970-01-01T00:00:05Z,5\n", A=TABLE)

    (only,) = watch_log(log, tables, Look(steps), latest_s=LATEST_S).vehicles

    assert only.watched is None
    assert {one.kind for one in only.remarks} == {"no_records", "clock_wrong"}


def test_one_table_serves_a_log_of_one_vehicle(tmp_path):
    rows = "".join(f"{T0 + 10 * k},{500 if k < 5 else 900}\n" for k in range(9))
    log, _ = write(tmp_path, "time,counts\n" + rows, any=TABLE)
    only = table_files(str(tmp_path / "tables" / "any.csv"))

    (done,) = watch_log(
        log, only, Look(steps), latest_s=LATEST_S, told=Columns(vehicle="T-7")
    ).vehicles

    assert (done.vehicle, len(done.watched.events)) == ("T-7", 1)


def test_two_probes_are_read_as_one(tmp_path):
    rows = "".join(
        f"A,{T0 + 10 * k},{500 + 100 * (k >= 5)},{700 + 200 * (k >= 5)}\n" for k in range(9)
    )
    text = "vehicle,time,counts,counts_2\n" + rows
    log, tables = write(tmp_path, text, A=TABLE, A_2=TABLE)

    (done,) = watch_log(log, tables, Look(steps), latest_s=LATEST_S).vehicles

    assert [event.litres for event in done.watched.events] == [pytest.approx(30.0)]
    assert done.watched.events[0].before_l == pytest.approx(5 + 50 + 5 + 70)


def test_a_probe_without_a_table_is_named(tmp_path):
    text = "vehicle,time,counts,counts_2\n" + f"A,{T0},500,700\nA,{T0 + 10},500,700\n"
    log, tables = write(tmp_path, text, A=TABLE)

    (done,) = watch_log(log, tables, Look(steps), latest_s=LATEST_S).vehicles

    (said,) = [one.message for one in done.remarks if one.kind == "probe_without_table"]
    assert "counts of 2 probes and there is 1 table; only the first one is read, the" in said


def test_the_files_are_as_the_contract_says(plainly):
    event = plainly.vehicles[0].watched.events[0]
    when = event.end_s + 300
    receipts = [Receipt("A", when, 999.0, 1), Receipt("nobody", when, 10.0, 2)]

    files = report_of(plainly, receipts).files(["parquet", "xlsx"])

    events = files["events.csv"].decode().splitlines()
    assert events[0].startswith(
        "vehicle,kind,start,end,litres,u_litres,before_l,after_l,score,reason"
    )
    assert events[1].startswith(("A,refuel,2026-03-0", "A,drain,2026-03-0"))
    assert events[1].split(",")[3].endswith("Z")
    held = files["reconciliation.csv"].decode().splitlines()
    assert held[0].startswith(
        "vehicle,receipt,verdict,receipt_l,tank_l,difference_l,u_difference_l"
    )
    assert held[2].startswith("nobody,2,no_data,10.0,,,")
    assert files["health.csv"].decode().splitlines()[0] == "vehicle,kind,start,end,message"
    stored = pq.read_table(pa.BufferReader(files["events.parquet"]))
    assert stored.schema.field("start").type == pa.timestamp("ms", "UTC")
    assert stored.num_rows == len(events) - 1
    assert json.dumps(report_of(plainly, receipts).record(), allow_nan=False)


def test_memory_holds_no_more_than_a_chunk(log, monkeypatch):
    """A tenth of the log at a time: what waits to be laid down never exceeds it by a batch."""
    held = []
    original = watch_run.Spool.add

    def add(self, codes, columns):
        original(self, codes, columns)
        held.append(self.held)

    monkeypatch.setattr(watch_run.Spool, "add", add)
    monkeypatch.setattr("gaugewright.app.log_parquet.BATCH_RECORDS", 1000)
    found = watched(log, replace(HowToRun(engine="here"), memory_records=2500))

    assert max(held) < 2 * 2500
    assert found.records > 25_000


@pytest.mark.parametrize("block_records", [10**6, 3000])
@pytest.mark.parametrize("memory_records", [10**9, 7000])
def test_the_end_of_summer_time_is_seen_whole_in_blocks_of_any_size(
    tmp_path, block_records, memory_records
):
    """A record a minute from the 1st of October; 40 L go out in the second pass of the hour."""
    berlin = ZoneInfo("Europe/Berlin")
    start = datetime(2026, 10, 1, tzinfo=berlin).timestamp()
    drained = datetime(2026, 10, 25, 2, 30, tzinfo=berlin, fold=1).timestamp()
    times = start + 60 * np.arange(31 * 1440)
    shown = [datetime.fromtimestamp(s, berlin).replace(tzinfo=None) for s in times]
    counts = np.where(times < drained, 1000, 600)
    rows = [f"A,{at},{n},0,0" for at, n in zip(shown, counts, strict=True)]
    log = tmp_path / "log.csv"
    log.write_text("\n".join(["vehicle,time,counts,speed_kmh,ignition", *rows]))
    (tmp_path / "A.csv").write_text(TABLE)
    how = HowToRun(engine="here", block_records=block_records, memory_records=memory_records)

    found = watch_log(str(log), table_files(str(tmp_path / "A.csv")), Look(steps),
                      latest_s=LATEST_S, how=how, told=Columns(zone="Europe/Berlin"))  # fmt: skip

    (done,) = found.vehicles
    (drain,) = done.watched.events
    assert (drain.start_s, drain.end_s) == (drained - 60, drained)
    assert done.arrival.records == times.size
    assert (done.arrival.twice, done.arrival.misdated) == (0, 0)
