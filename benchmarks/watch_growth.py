"""How the time of the watch grows with vehicles, cores and workers.

Run ``python -m benchmarks.watch_growth [LARGEST]``: fleets of 4, 8, ... up to LARGEST vehicles
(16 if not told) with a month at one record each 10 s, a folder of Parquet for each vehicle, on
1, 2, ... cores, and on a cluster of as many workers.  Time is of the clock: cores are the point.

Run ``python -m benchmarks.watch_growth year LARGEST [FIRST]`` for so many vehicle-years at one
record a minute on all cores, from FIRST (100 if not told) on in steps of ten times as many
vehicles, with the memory it took.
"""

import os
import resource
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.watch_logs import write_fleet
from gaugewright.app.engines import default_jobs
from gaugewright.app.watch_run import HowToRun, watch_log
from gaugewright.app.watch_tables import table_files
from gaugewright.app.watch_task import Look
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.notes import health

MONTHS_OF_A_VEHICLE_YEAR = 12


def run(fleet: Path, how: HowToRun) -> tuple[float, int]:
    """Return the time that the watch takes, and the records. [s]"""
    start = time.perf_counter()
    found = watch_log(str(fleet / "log"), table_files(str(fleet / "tables")),
                      Look(watch_vehicle, health), latest_s=4e9, how=how)  # fmt: skip
    return time.perf_counter() - start, found.records


def years(largest: int, first: int = 100) -> None:
    """Print what the watch of ever more vehicle-years takes, from ``first`` up to ``largest``."""
    vehicles = min(first, largest)
    while vehicles <= largest:
        with tempfile.TemporaryDirectory() as folder:
            fleet = Path(folder) / "fleet"
            write_fleet(fleet, vehicles=vehicles, months=12, period_s=60.0, apart=True)
            seconds, records = run(fleet, HowToRun(jobs=default_jobs()))
        # Linux tells it in KiB, macOS in bytes.
        unit = 1 if sys.platform == "darwin" else 1024
        most = [resource.getrusage(who).ru_maxrss * unit / 1e6
                for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]  # fmt: skip
        print(f"{vehicles:6d} vehicle-years, {records:14,d} records: {seconds:7.1f} s on "
              f"{default_jobs()} cores, {records / seconds:12,.0f} records/s, "
              f"{1000 * seconds / vehicles:5.0f} ms each; at most {most[0]:.0f} MB here and "
              f"{most[1]:.0f} MB in a worker", flush=True)  # fmt: skip
        vehicles *= 10


def main() -> None:
    """Print a line for each fleet and number of cores."""
    told = [int(text) for text in sys.argv[1:] if text.isdigit()]
    if "year" in sys.argv[1:]:
        years(*told)
        return
    largest = told[0] if told else 16
    cores = [n for n in (1, 2, 4, 8, 16, 32, 64) if n <= default_jobs()]
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{default_jobs()} cores, load beforehand {load:.1f}")
    print(f"{'vehicles':>8} {'records':>12} {'on':>20} {'s':>8} {'records/s':>12} "
          f"{'10,000 vehicle-years, h':>24}")  # fmt: skip
    vehicles = 4
    while vehicles <= largest:
        with tempfile.TemporaryDirectory() as folder:
            fleet = Path(folder) / "fleet"
            write_fleet(fleet, vehicles=vehicles, months=1, apart=True)
            for n in cores:
                engine = "here" if n == 1 else "processes"
                told_how = f"{n} core" if n == 1 else f"{n} processes"
                line(vehicles, told_how, *run(fleet, HowToRun(jobs=n, engine=engine)))
            line(vehicles, f"cluster of {cores[-1]}", *on_cluster(fleet, cores[-1]))
        vehicles *= 2


def on_cluster(fleet: Path, workers: int) -> tuple[float, int]:
    """Return the time on a cluster whose workers are up already, and the records. [s]"""
    import logging

    from distributed import LocalCluster

    logging.getLogger("distributed").setLevel(logging.ERROR)
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=logging.ERROR
    ) as cluster:
        return run(fleet, HowToRun(cluster=cluster.scheduler_address))


def line(vehicles: int, where: str, seconds: float, records: int) -> None:
    """Print one result, and what it makes for ten thousand vehicle-years at that speed."""
    hours = seconds / vehicles * MONTHS_OF_A_VEHICLE_YEAR * 10_000 / 3600
    print(f"{vehicles:8d} {records:12,d} {where:>20} {seconds:8.1f} {records / seconds:12,.0f} "
          f"{hours:24.1f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
