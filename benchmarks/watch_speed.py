"""From a Parquet file to events, beside merely reading it, pandas and a change-point library.

Run ``python -m benchmarks watch_speed``.  Times are of the processor, of one core each, so that
other work on the machine weighs little; the first run, in which loops are compiled, is told apart.
"""

import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from benchmarks.watch_logs import write_fleet
from gaugewright.app.log_columns import Columns, matched
from gaugewright.app.log_files import Vehicles, log_files
from gaugewright.app.log_parquet import parquet_batches
from gaugewright.app.spool import Spool, read_stretches
from gaugewright.app.watch_run import HowToRun, watch_log
from gaugewright.app.watch_tables import table_files
from gaugewright.app.watch_task import Look
from gaugewright.table.files import read_table
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.notes import health
from gaugewright.watch.order import ordered

VEHICLES, MONTHS = 16, 2
STEP_L = 5.0
SLICE = 2_000


def main() -> None:
    """Print the comparison, then a vehicle-year."""
    with tempfile.TemporaryDirectory() as folder:
        fleet = Path(folder) / "fleet"
        records = write_fleet(fleet, vehicles=VEHICLES, months=MONTHS)
        print(f"{records / 1e6:.1f} M records, {VEHICLES} vehicles, one each 10 s, zstd Parquet")
        _, first_s = timed(lambda: watch(fleet, with_health=False), tries=1)
        print(f"first run, loops compiled or taken from the cache: {first_s:.1f} s\n")
        _, merely_s = timed(lambda: merely_read(fleet))
        rows: list[tuple[str, float, int]] = [
            ("merely reading the file", merely_s, records),
            ("reading, ordering, one of each", timed(lambda: order_all(fleet))[1], records),
            ("the same to events", timed(lambda: watch(fleet, with_health=False))[1], records),
            ("the same to events and health",
             timed(lambda: watch(fleet, with_health=True))[1], records),
            ("pandas, rolling median of 11", timed(lambda: pandas_rule(fleet), tries=1)[1],
             records),
            ("ruptures, PELT of a slice, no reading", timed(lambda: ruptures_slice(fleet),
             tries=1)[1], SLICE),
        ]  # fmt: skip
        print(f"{'':42} {'records/s':>14} {'times reading':>19}")
        for name, seconds, number in rows:
            ratio = seconds / number / (merely_s / records)
            print(f"{name:42} {number / seconds:14,.0f} {ratio:19.1f}")
        vehicle_year()


def vehicle_year() -> None:
    """Print how long a vehicle's year takes, one record each 10 s."""
    with tempfile.TemporaryDirectory() as folder:
        fleet = Path(folder) / "fleet"
        records = write_fleet(fleet, vehicles=1, months=12)
        for name, with_health in (("events", False), ("events and health", True)):
            _, seconds = timed(partial(watch, fleet, with_health=with_health))
            print(f"a vehicle's year, {records / 1e6:.2f} M records, to {name}: {seconds:.2f} s")


def timed(run: Callable[[], object], *, tries: int = 3) -> tuple[object, float]:
    """Return the result and the least processor time of some tries. [s]"""
    best, result = np.inf, None
    for _ in range(tries):
        start = time.process_time()
        result = run()
        best = min(best, time.process_time() - start)
    return result, float(best)


def merely_read(fleet: Path) -> int:
    """Read every column and do nothing with it."""
    return pq.read_table(fleet / "log.parquet", use_threads=False).num_rows


def order_all(fleet: Path) -> int:
    """Read, part by vehicle, put in order, keep one of each moment."""
    vehicles, kept = Vehicles(), 0
    with tempfile.TemporaryDirectory() as folder:
        spool = Spool(Path(folder))
        (file,) = log_files(str(fleet / "log.parquet"), Path(folder))
        for batch in parquet_batches(
            file, lambda header, file: matched(header, Columns(), file=file.name), vehicles,
            use_threads=False,
        ):  # fmt: skip
            spool.add(batch.codes, batch.columns)
        spool.close()
        for code, name in enumerate(vehicles.names):
            kept += ordered(name, read_stretches(spool.stretches(code))).track.time_s.size
    return kept


def watch(fleet: Path, *, with_health: bool) -> int:
    """Return how many events the watch finds, on one core."""
    look = Look(watch_vehicle, health if with_health else None)
    how = HowToRun(jobs=1)
    found = watch_log(str(fleet / "log.parquet"), table_files(str(fleet / "tables")), look,
                      latest_s=4e9, how=how)  # fmt: skip
    return sum(len(done.watched.events) for done in found.vehicles if done.watched)


def pandas_rule(fleet: Path) -> int:
    """The usual rule: a moving median, and an event where it steps by more than a threshold."""
    import pandas as pd

    frame = pd.read_parquet(fleet / "log.parquet")
    frame = frame.sort_values(["vehicle", "time"], kind="stable")
    frame = frame.drop_duplicates(["vehicle", "time"])
    found = 0
    for name, own in frame.groupby("vehicle", sort=False):
        table = read_table((fleet / "tables" / f"{name}.csv").read_text())
        litres = pd.Series(np.interp(own["counts"], table.counts, table.litres))
        smooth = litres.rolling(11, center=True).median()
        steps = smooth.diff(30).abs() > STEP_L
        found += int((steps & ~steps.shift(fill_value=False)).sum())
    return found


def ruptures_slice(fleet: Path) -> int:
    """Find change points by PELT in a slice of one vehicle."""
    import ruptures

    table = pq.read_table(fleet / "log.parquet", columns=["vehicle", "counts"])
    name = table["vehicle"][0].as_py()
    mine = np.array(table["vehicle"]) == name
    counts = np.asarray(table["counts"])[mine][:SLICE].astype(np.float64)
    counts = counts[np.isfinite(counts)]
    return len(ruptures.Pelt(model="l2", min_size=5, jump=5).fit(counts).predict(pen=5_000.0))


if __name__ == "__main__":
    main()
