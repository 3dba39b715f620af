"""Logs of any kind give the same records, and a wrong cell is named."""

import gzip
import io
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from gaugewright.app import log_files as log_files_module
from gaugewright.app.log_columns import (
    Columns,
    ColumnsMissingError,
    matched,
    parse_columns,
    remember,
    remembered,
)
from gaugewright.app.log_files import Vehicles, log_files, read_batches
from gaugewright.errors import FileError, InputError
from gaugewright.watch.order import TWICE_S

T0 = datetime(2026, 3, 1, 10, 0, tzinfo=UTC).timestamp()


def read(path, told=None, tmp=None):
    vehicles, parts = Vehicles(), []

    def columns_for(header, file):
        return matched(header, told or Columns(), file=file.name, has_vehicle=bool(file.vehicle))

    for file in log_files(str(path), tmp or Path("/nowhere")):
        parts += list(read_batches(file, columns_for, vehicles))
    columns = {
        name: np.concatenate([part.columns[name] for part in parts]) for name in parts[0].columns
    }
    codes = np.concatenate([part.codes for part in parts])
    return [vehicles.names[code] if code >= 0 else None for code in codes], columns


def parquet(path, **columns):
    pq.write_table(pa.table(columns), path)
    return path


@pytest.mark.parametrize(
    "times",
    [
        *(
            pa.array([T0, T0 + 10], pa.float64()).cast(pa.int64()).cast(pa.timestamp("s"))
            .cast(pa.timestamp(unit, zone))
            for unit in ("s", "ms", "us", "ns") for zone in (None, "UTC", "Asia/Tokyo")
        ),
        pa.array([int(T0), int(T0) + 10], pa.int64()),
        pa.array([int(T0 * 1000), int(T0 * 1000) + 10_000], pa.int64()),
        pa.array([T0, T0 + 10], pa.float64()),
        pa.array(["2026-03-01T10:00:00Z", "2026-03-01T11:00:10+01:00"]),
    ],
)  # fmt: skip
def test_parquet_times_of_every_kind_are_the_same_moments(tmp_path, times):
    path = parquet(tmp_path / "log.parquet", vehicle=["A", "B"], time=times, counts=[1, 2])

    who, columns = read(path)

    assert who == ["A", "B"]
    assert columns["time_s"].tolist() == [T0, T0 + 10]


def test_parquet_columns_of_every_kind_become_figures_and_nothing_stays_nothing(tmp_path):
    path = parquet(
        tmp_path / "log.parquet",
        vehicle=pa.array([7, 8, None], pa.int64()),
        time=pa.array([T0, T0, T0]),
        counts=pa.array([812, None, 4095], pa.uint16()),
        speed_kmh=pa.array([1.5, None, 3.0], pa.float32()),
        ignition=pa.array([True, None, False]),
        supply_v=pa.array([2**40, 1, None], pa.int64()),
    )

    who, columns = read(path)

    assert who == ["7", "8", None]
    for name, expected in {
        "counts": [812, np.nan, 4095], "speed_kmh": [1.5, np.nan, 3],
        "ignition": [1, np.nan, 0], "supply_v": [2.0**40, 1, np.nan],
    }.items():  # fmt: skip
        assert np.array_equal(columns[name], expected, equal_nan=True), name


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("vehicle,time,counts,speed_kmh,ignition\n"
         "A,2026-03-01T10:00:00Z,812.5,0,0\nB,2026-03-01T10:00:10+00:00,813,40,1\n", ""),
        ("Vehicle;Time;Counts;Speed (km/h);Ignition\n"
         "A;2026-03-01 11:00:00;812,5;0;off\nB;2026-03-01 11:00:10;813;40;on\n",
         "zone=Europe/Berlin"),
        ("sep=;\nUnit;Date;Clock;Fuel;Speed;Key\r\n"
         "A;01.03.2026;10:00:00;812,5;0;aus\r\nB;01.03.2026;10:00:10;813;40;AN\r\n",
         "vehicle=Unit,time=Date+Clock,counts=Fuel,speed_kmh=Speed,ignition=Key,zone=UTC,"
         "on=an,off=aus"),
        (f"vehicle\ttime\tcounts\tspeed_kmh\tignition\n"
         f"A\t{T0:.0f}\t812.5\t0\t0\nB\t{T0 + 10:.0f}\t813\t40\t1\n", ""),
        (f"vehicle|time|counts|speed_kmh|ignition\n"
         f"A|{T0:.0f}000|812.5|0|0\nB|{T0 + 10:.0f}000|813|40|1\n", ""),
        ("vehicle,time,counts,speed_kmh,ignition\n"
         "A,3/1/2026 10:00:00 AM,812.5,0,0\nB,3/1/2026 10:00:10 AM,813,40,1\n",
         "zone=UTC,time_format=%m/%d/%Y %I:%M:%S %p"),
        ('"vehicle","time","counts","speed_kmh","ignition"\n'
         '"A","2026-03-01T10:00:00.000Z","812.5","0","0"\n'
         '"B","2026-03-01T10:00:10.000Z","813","40","1"\n', ""),
        ("vehicle,time,counts,speed_kmh,ignition\n"
         "A,2026-03-01T10:00:00.000000000+00:00,812.5,0,0\n"
         "B,2026-03-01T10:00:10.000000000+00:00,813,40,1\n", ""),
    ],
)  # fmt: skip
def test_csv_of_every_form_gives_the_same_records(tmp_path, text, told):
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode())

    who, columns = read(path, parse_columns([told] if told else []))

    assert who == ["A", "B"]
    assert columns["time_s"].tolist() == [T0, T0 + 10]
    assert columns["counts"].tolist() == [812.5, 813]
    if "speed_kmh" in columns:
        assert columns["speed_kmh"].tolist() == [0, 40]
    assert columns["ignition"].tolist() == [0, 1]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_csv_in_the_encodings_that_people_have(tmp_path, encoding):
    path = tmp_path / "log.csv"
    path.write_bytes(f"vehicle,time,counts\nMüller 7,{T0},812\n".encode(encoding))

    assert read(path)[0] == ["Müller 7"]


def test_packed_csv_is_read(tmp_path):
    path = tmp_path / "log.csv.gz"
    path.write_bytes(gzip.compress(f"vehicle,time,counts\nA,{T0},812\n".encode()))

    assert read(path)[1]["counts"].tolist() == [812]


def test_a_folder_is_read_whole_with_vehicles_from_its_folders_names(tmp_path):
    for name, counts in (("A%201", 5), ("B", 6)):
        (tmp_path / f"vehicle={name}").mkdir()
        parquet(tmp_path / f"vehicle={name}" / "part.parquet", time=[T0], counts=[counts])
    (tmp_path / "_SUCCESS").write_text("")

    who, columns = read(tmp_path)

    assert who == ["A 1", "B"]
    assert columns["counts"].tolist() == [5, 6]


def test_standard_input_is_read_as_either_kind(tmp_path, monkeypatch):
    stored = parquet(tmp_path / "x", vehicle=["A"], time=[T0], counts=[5]).read_bytes()
    for content in (stored, f"vehicle;time;counts\nA;{T0};5\n".encode()):
        stream = io.TextIOWrapper(io.BytesIO(content))
        monkeypatch.setattr(log_files_module.sys, "stdin", stream)
        assert read("-", tmp=tmp_path)[1]["counts"].tolist() == [5]


HEAD = "vehicle,time,counts,speed_kmh\n"
ROW = f"A,{T0},812,0\n"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (HEAD + ROW + f"A,{T0},81x,0\n", r"line 3, counts: '81x' is not a number, wanted"),
        (HEAD + ROW + "A,yesterday,812,0\n", r"line 3, time: 'yesterday' is no time, wanted sec"),
        (HEAD + ROW + f"A,{T0},812\n", r"line 3: 3 fields where 4 are named; wanted 4 with ',' be"),
        (HEAD + ROW + "A\n", r"line 3: 1 field where 4 are named; wanted 4 with ',' between"),
        (HEAD + "A,2026-03-01T10:00:00,812,0\n", r"line 2, time: times such as .* no zone; say"),
        (HEAD + "A,03/01/2026 10:00,812,0\n", r"line 2, time: .* may have the day first or"),
        (HEAD + "A,2026-13-01T10:00:00Z,812,0\n", r"line 2, time: '2026-13-01T10:00:00Z' is no t"),
        ("vehicle;time;counts\n" + "A;1700000000;5\n" * 3000 + "A;1700000000;5,5\n",
         r"line 3002, counts: '5,5' is not a number, .* say --columns decimal=comma"),
        (HEAD + "\nA,yesterday,812,0\n", r"line 3, time: 'yesterday' is no time that is known"),
        (ROW, r"line 1: the first line must name the columns \(vehicle, time, .*, found 'A,1772"),
        ("A,2026-03-01T10:00:00Z,5,,\n", "line 1: the first line must name the columns"),
        ("A;01.03.2026;10:00:00;5\n", "line 1: the first line must name the columns"),
        ("1,2,3\n", "line 1: the first line must name the columns .*, found '1,2,3'"),
        ("", "is empty, wanted a header line and rows"),
        ("vehicle,time,counts,counts\n", "line 1, counts: is named twice"),
        ("vehicle,time,counts,ignition\n" + f"A,{T0},5,perhaps\n",
         "line 2, ignition: 'perhaps' is neither on nor off"),
    ],
)  # fmt: skip
def test_a_wrong_cell_is_named_with_file_line_and_column(tmp_path, text, wanted):
    path = tmp_path / "log.csv"
    path.write_text(text)

    with pytest.raises(InputError, match=wanted) as caught:
        read(path)
    assert str(caught.value).startswith(str(path))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("wrong", ["A,yesterday,812,0", f"A,{T0},81x,0", f"A,{T0},812"])
def test_lines_are_counted_as_an_editor_counts_them(tmp_path, end, mark, wrong):
    path = tmp_path / "log.csv"
    rows = [HEAD.strip(), *[ROW.strip()] * 3, wrong, ROW.strip(), ""]
    path.write_bytes((mark + end.join(rows)).encode())

    with pytest.raises(InputError, match=r"log\.csv, line 5[:,]"):
        read(path)


def test_a_wrong_cell_of_a_parquet_file_is_named(tmp_path):
    path = parquet(tmp_path / "x.parquet", vehicle=["A", "A"], time=[T0, T0], counts=["5", "x"])

    with pytest.raises(InputError, match="counts: row 2: 'x' is not a number"):
        read(path)


def test_a_time_of_a_parquet_file_that_has_no_zone_is_named_with_its_row(tmp_path):
    path = parquet(tmp_path / "x.parquet", vehicle=["A"], time=["2026-03-01 10:00"], counts=[5])

    with pytest.raises(InputError, match=r"x.parquet, time: row 1: times such as .* have no zone"):
        read(path)


def test_a_broken_parquet_file_is_refused(tmp_path):
    path = parquet(tmp_path / "x.parquet", vehicle=["A"], time=[T0], counts=[5])
    path.write_bytes(path.read_bytes()[:-20])

    with pytest.raises(InputError, match="is no whole Parquet file"):
        read(path)


def test_a_file_that_is_not_there_is_refused():
    with pytest.raises(FileError, match="cannot be read: no such file"):
        read("/nowhere/log.csv")


def test_an_hour_that_a_clock_shows_twice_or_never_waits_to_be_settled(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(
        "vehicle,time,counts\nA,2026-10-25 01:30:00,1\nA,2026-10-25 02:30:00,2\n"
        "A,2026-10-25 03:30:00,3\nA,2026-03-29 02:30:00,4\n"
    )

    times = read(path, Columns(zone="Europe/Berlin"))[1]["time_s"]

    assert times[2] - times[0] == 3 * 3600
    assert times[1] - TWICE_S - times[0] == 3600
    assert np.isnan(times[3])


def test_columns_told_once_are_found_again_by_the_header(tmp_path):
    header, places = ["Unit", "Zeit", 'Fuel "raw"'], [tmp_path / "watch-columns.toml"]
    with pytest.raises(ColumnsMissingError, match="which column is vehicle and which time and"):
        matched(header, Columns(), file="log.csv")
    told = parse_columns(['vehicle=Unit,time=Zeit,counts=Fuel "raw"', "zone=Europe/Berlin"])

    remember(header, told, places)
    remember(["other"], Columns({"counts": "other"}), places)

    assert remembered(header, places) == told
    assert remembered(["Unit"], places).is_empty


@pytest.mark.parametrize("speed", ["Speed (km/h)", "speed kmh", "Speed", "speed_kmh"])
def test_a_speed_is_known_by_its_name(speed):
    found = matched(["vehicle", "time", "counts", speed], Columns(), file="log.csv")

    assert found.names["speed_kmh"] == speed


def test_who_is_asked_for_columns_is_told_that_speed_and_ignition_help():
    with pytest.raises(ColumnsMissingError, match=r"speed_kmh=NAME and ignition=NAME"):
        matched(["Zeit", "Tempo"], Columns(), file="log.csv")


def test_what_cannot_be_kept_beside_the_log_is_kept_at_home(tmp_path):
    (tmp_path / "file").write_text("")
    places = [tmp_path / "file" / "x.toml", tmp_path / "home" / ".gaugewright" / "x.toml"]

    assert remember(["a"], Columns({"counts": "a"}), places) == places[1]
    assert remembered(["a"], places).names == {"counts": "a"}


def test_a_told_column_that_is_not_there_is_refused():
    with pytest.raises(InputError, match=r"log.csv, counts: the log has no column 'Fuel'; found a"):
        matched(["a"], Columns({"counts": "Fuel"}), file="log.csv")
