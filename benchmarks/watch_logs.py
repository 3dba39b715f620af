"""Logs of any size for the benchmarks: simulated vehicles, repeated under other names.

Run ``python -m benchmarks watch_logs`` to see how fast they are made.
"""

import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from gaugewright.table.files import write_table
from gaugewright.table.table import Table
from gaugewright.testing.logs import SimulatedLog, simulate_log

KINDS = ("long_haul", "city", "excavator", "generator")
DAY_S = 86_400


def whole_counts(table: Table) -> Table:
    """Return the table at whole counts, as a file holds it."""
    low, high = np.ceil(table.counts[0]), np.floor(table.counts[-1])
    counts = np.unique(np.clip(np.round(table.counts), low, high))
    band = table.u_litres
    return Table(
        counts,
        np.interp(counts, table.counts, table.litres),
        None if band is None else np.interp(counts, table.counts, band),
    )


def arrived(log: SimulatedLog, days: int, month: int) -> dict[str, np.ndarray]:
    """Return the records as they arrived, their times moved by whole months."""
    raw = {name: np.asarray(values) for name, values in log.raw.items()}
    raw["time_s"] = raw["time_s"] + month * days * DAY_S
    return raw


def write_fleet(
    folder: Path, *, vehicles: int, months: int, period_s: float = 10.0, apart: bool = False
) -> int:
    """Write a log of many vehicles and their tables; return how many records it has.

    Four simulated months of work are repeated under other names, one after the other.  Mixed
    in order of arrival it is one file; ``apart``: a folder for each vehicle, where the files of
    the fifth vehicle and later are links to those of the first four.
    """
    (folder / "tables").mkdir(parents=True)
    days = 30
    seeds = [simulate_log(kind, 40 + k, days=days, period_s=period_s)
             for k, kind in enumerate(KINDS)]  # fmt: skip
    names = [f"{KINDS[v % 4]}-{v:05d}" for v in range(vehicles)]
    for v, name in enumerate(names):
        (folder / "tables" / f"{name}.csv").write_text(
            write_table(whole_counts(seeds[v % 4].table))
        )
    if apart:
        return _write_apart(folder / "log", seeds, names, months, days)
    records = 0
    with pq.ParquetWriter(folder / "log.parquet", _SCHEMA, compression="zstd") as writer:
        for month in range(months):
            parts = [arrived(seeds[v % 4], days, month) for v in range(vehicles)]
            when = np.concatenate([
                np.maximum.accumulate(part["time_s"]) + 7.0 * v / vehicles
                for v, part in enumerate(parts)
            ])  # fmt: skip
            order = np.argsort(when, kind="stable")
            sizes = [part["time_s"].size for part in parts]
            code = np.repeat(np.arange(vehicles, dtype=np.int32), sizes)[order]
            whole = {name: np.concatenate([part[name] for part in parts])[order]
                     for name in ("time_s", "counts", "speed_kmh", "ignition")}  # fmt: skip
            vehicle = pa.DictionaryArray.from_arrays(pa.array(code), pa.array(names))
            writer.write_table(_table(whole, vehicle.cast(pa.string())), row_group_size=1 << 20)
            records += order.size
    return records


def _write_apart(
    folder: Path, seeds: list[SimulatedLog], names: list[str], months: int, days: int
) -> int:
    records = 0
    for v, name in enumerate(names):
        own = folder / f"vehicle={name}"
        own.mkdir(parents=True)
        for month in range(months):
            path = own / f"{month:03d}.parquet"
            if v < len(seeds):
                table = _table(arrived(seeds[v], days, month), None)
                pq.write_table(table, path, compression="zstd")
            else:
                path.hardlink_to(folder / f"vehicle={names[v % len(seeds)]}" / path.name)
            records += seeds[v % len(seeds)].raw["time_s"].size
    return records


def _table(raw: dict[str, np.ndarray], vehicle: pa.Array | None) -> pa.Table:
    stamps = pa.array(np.round(raw["time_s"] * 1000).astype(np.int64))
    columns = {
        "time": stamps.cast(pa.timestamp("ms", "UTC")),
        "counts": pa.array(np.round(raw["counts"]), pa.int32(), from_pandas=True, safe=False)
        if not np.isnan(raw["counts"]).any()
        else pa.array(raw["counts"], pa.float32()),
        "speed_kmh": pa.array(raw["speed_kmh"], pa.float32()),
        "ignition": pa.array(raw["ignition"] > 0.5),
    }
    table = pa.table(columns)
    counts = table["counts"].cast(pa.float32())
    table = table.set_column(1, "counts", counts)
    return table if vehicle is None else table.add_column(0, "vehicle", vehicle)


_SCHEMA = pa.schema(
    [
        ("vehicle", pa.string()),
        ("time", pa.timestamp("ms", "UTC")),
        ("counts", pa.float32()),
        ("speed_kmh", pa.float32()),
        ("ignition", pa.bool_()),
    ]
)


def main() -> None:
    """Say how fast a fleet is made."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        records = write_fleet(Path(folder) / "fleet", vehicles=8, months=1)
        print(f"{records} records in {time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main()
