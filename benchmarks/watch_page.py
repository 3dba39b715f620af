"""How soon a vehicle-year is on the page: one record each 10 s, 3.2 million of them.

    python -m benchmarks.watch_page [RECORDS] [RUNS]

The log is an invented truck's, written as Parquet.  What is timed is what stands between a
press and the drawing: reading the file, putting the records in order, laying them out, one
view of the whole year, its SVG.  Beside it, what every zoom afterwards costs, from a year to
a minute, and what looking the log through for events costs, which is done once.
"""

import gc
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from gaugewright.app.watch_track import Choice, read_track
from gaugewright.certificate.watch_pages import vehicle_drawing
from gaugewright.table.table import Table
from gaugewright.testing.service import LITRES_PER_HOUR, Change, at, service_columns
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.thinned import thin_track, view
from gaugewright.watch.values import Track

T = TypeVar("T")
YEAR = 3_153_600
TABLE = Table(np.linspace(0, 4095, 64), np.linspace(8, 520, 64), np.linspace(1.5, 4, 64))
ZOOMS_S = {"a year": 3.15e7, "a month": 2.6e6, "a day": 86_400.0, "an hour": 3600.0, "a minute": 60}


def timed(run: Callable[[], T]) -> tuple[float, T]:
    """Return the processor's seconds that something takes, all threads, and what it gives.

    On quiet cores the clock shows as much or, where threads share the work, less; on a busy
    machine only the processor's share says anything.
    """
    gc.collect()
    start = time.process_time()
    found = run()
    return time.process_time() - start, found


def a_year(path: Path, records: int) -> None:
    """Write the log."""
    days = max(1, round(records * 10 / 86_400))
    used_l = 2 * 6.5 * LITRES_PER_HOUR
    refuels = [Change(at(day, 11.5), used_l) for day in range(1, days, 2)]
    drains = [Change(at(day, 2.25), -30.0) for day in range(9, days, 30)]
    made_good = [Change(at(day, 11.7), 30.0) for day in range(10, days, 30)]
    changes = [*refuels, *drains, *made_good]
    columns = service_columns(TABLE, changes, days=days, period_s=10.0)
    size = columns["time_s"].size
    stamps = pa.array((columns["time_s"] * 1000).astype(np.int64), pa.timestamp("ms", tz="UTC"))
    name = pa.DictionaryArray.from_arrays(np.zeros(size, np.int32), ["Truck 7"])
    table = {"vehicle": name, "time": stamps, "counts": columns["counts"].astype(np.float32),
             "speed_kmh": columns["speed_kmh"].astype(np.float32),
             "ignition": columns["ignition"].astype(bool)}  # fmt: skip
    pq.write_table(pa.table(table), path)


def one_run(path: Path) -> dict[str, float]:
    """Return the seconds of every step from the file to the drawing."""
    steps: dict[str, float] = {}
    steps["read and order"], one = timed(lambda: read_track(path, path.name, Choice()))
    steps["lay out"], thinned = timed(lambda: thin_track(one.track, TABLE))
    steps["view and SVG"], _ = timed(lambda: vehicle_drawing(thinned, (), (), {}))
    return steps


def zooms(track: Track) -> dict[str, float]:
    """Return the median milliseconds of a view of 1000 pixels at every zoom."""
    thinned = thin_track(track, TABLE)
    rng = np.random.default_rng(1)
    found = {}
    for name, width in ZOOMS_S.items():
        room = max(thinned.to_s - thinned.from_s - width, 1.0)
        starts = thinned.from_s + rng.uniform(0, room, 25)

        def look(start: Any, width: float = width) -> Any:
            return view(thinned, float(start), float(start) + width, 1000)

        found[name] = 1000 * median(timed(lambda s=s: look(s))[0] for s in starts)
    return found


def main(records: int = YEAR, runs: int = 5) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "year.parquet"
        a_year(path, records)
        print(f"{records:,} records, {path.stat().st_size / 1e6:.0f} MB of Parquet")
        one_run(path)  # what is loaded and compiled once
        all_runs = [one_run(path) for _ in range(runs)]
        for name in all_runs[0]:
            print(f"  {name:<16} {median(run[name] for run in all_runs):6.3f} s")
        whole = median(sum(run.values()) for run in all_runs)
        print(f"  {'file to drawing':<16} {whole:6.3f} s of processor   (goal: under 1 s)")
        track = read_track(path, path.name, Choice()).track
        for name, ms in zooms(track).items():
            print(f"  zoom to {name:<9} {ms:6.1f} ms")
        watch_vehicle(track, TABLE)
        seconds, found = timed(lambda: watch_vehicle(track, TABLE))
        print(f"  looked through once: {seconds:.2f} s, {len(found.events)} events")


if __name__ == "__main__":
    main(*[int(float(each)) for each in sys.argv[1:]])
