"""How often a planted fault is named, and how often a healthy vehicle is.

    python -m benchmarks.health [VEHICLES] [SEED] [DAYS]

Simulated logs of four kinds of work at one drain in ten days, records every 10, 30 or 60 s,
looked through by the real detector. ``clean``: all that a simulated log has anyway (holes,
freezes, spikes, a unit that dies when parked); ``plain``: without these. Thresholds were set on
other seeds (100 to 400). The last line is the cost of the health pass.
"""

import sys
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import pairwise
from multiprocessing import get_context

import numpy as np

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.log_faults import MAKERS, deliveries_of
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.case import HealthNote
from gaugewright.watch.health.notes import health
from gaugewright.watch.values import Track

KIND_OF = {
    "water": "water_at_bottom",
    "past_top": "past_probe_top",
    "averaging_light": "averaging_too_light",
    "averaging_heavy": "averaging_too_heavy",
    "supply_lost": "supply_lost_parked",
    "missing": "records_missing",
}
OF_THE_RECORDS = ("frozen", "supply_lost", "missing", "out_of_scale", "clock_jump")
"""Planted in plain logs, so that what a log has anyway is not counted for them."""
SIZES = {
    "zero_drift": (0.02, 0.03, 0.04, 0.06, 0.10),
    "probe_moved": (0.02, 0.03, 0.04, 0.06, 0.12),
    "wrong_table": (0.03, 0.06, 0.09, 0.20),
}
"""Bounds of the sizes that are told apart, as each fault's maker states them."""
Found = tuple[str, str, tuple[str, ...], float]


def of_vehicle(job: tuple[int, int]) -> list[Found]:
    """Give one vehicle every fault in turn: fault, work, kinds named, size."""
    seed, days = job
    work = KINDS[seed % len(KINDS)]
    period = (10.0, 30.0, 60.0)[seed // 4 % 3]
    logs = {
        plain: simulate_log(work, seed, days=days, period_s=period, drains_per_day=0.1, plain=plain)
        for plain in (False, True)
    }
    found = [
        ("clean", work, _kinds(logs[False], logs[False].track), 0.0),
        ("plain", work, _kinds(logs[True], logs[True].track), 0.0),
    ]
    for fault, make in MAKERS.items():
        log = logs[fault in OF_THE_RECORDS]
        made = make(np.random.default_rng([seed, 77]), log)
        if made is not None:
            kinds = _kinds(replace(log, table=made.table), made.track)
            found.append((fault, work, kinds, abs(made.size)))
    return found


def _kinds(log: SimulatedLog, track: Track) -> tuple[str, ...]:
    return tuple(sorted({note.kind.value for note in _notes(log, track)}))


def _notes(log: SimulatedLog, track: Track) -> tuple[HealthNote, ...]:
    return health(track, log.table, watch_vehicle(track, log.table), deliveries_of(log))


def _line(fault: str, found: Sequence[Found]) -> str:
    if fault in ("clean", "plain"):
        counts = Counter(kind for _, _, kinds, _ in found for kind in kinds)
        any_note = sum(bool(kinds) for _, _, kinds, _ in found)
        return f"{fault}: {any_note} of {len(found)} with a note: {dict(counts)}"
    kind = KIND_OF.get(fault, fault)
    named = [kind in kinds for _, _, kinds, _ in found]
    by_work = ", ".join(
        f"{work} {sum(n for n, f in zip(named, found, strict=True) if f[1] == work)}/{total}"
        for work, total in sorted(Counter(f[1] for f in found).items())
    )
    also = Counter(k for _, _, kinds, _ in found for k in kinds if k != kind)
    sizes = _by_size(fault, named, found)
    return f"{fault}: named {sum(named)} of {len(named)}{sizes} ({by_work}); also {dict(also)}"


def _by_size(fault: str, named: Sequence[bool], found: Sequence[Found]) -> str:
    parts = []
    for low, high in pairwise(SIZES.get(fault, ())):
        inside = [n for n, f in zip(named, found, strict=True) if low <= f[3] < high]
        parts.append(f"{low:g} to {high:g}: {sum(inside)} of {len(inside)}")
    return "".join(f"; {part}" for part in parts)


def main() -> None:
    """Print one line a fault, and what the pass costs."""
    vehicles = int(sys.argv[1]) if len(sys.argv) > 1 else 48
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 50_000
    days = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        results = pool.map(of_vehicle, [(seed + i, days) for i in range(vehicles)])
        by_fault: dict[str, list[Found]] = defaultdict(list)
        for found in results:
            for one in found:
                by_fault[one[0]].append(one)
    for fault, found in by_fault.items():
        print(_line(fault, found))
    print(cost())


def cost(records: int = 3_000_000) -> str:
    """Processor time of the health pass on one vehicle-year of records."""
    log = simulate_log("long_haul", 4, days=60, drains_per_day=0.1)
    times = -(-records // log.track.time_s.size)
    step = 60 * 86_400.0

    def many(column: np.ndarray | None) -> np.ndarray | None:
        return None if column is None else np.tile(column, times)[:records]

    t = log.track
    shift = np.repeat(np.arange(times) * step, t.time_s.size)[:records]
    track = Track(
        t.vehicle, many(t.time_s) + shift, many(t.counts), many(t.speed_kmh), many(t.ignition),
    )  # fmt: skip
    watched = watch_vehicle(track, log.table)
    health(track, log.table, watched)
    started = time.process_time()
    health(track, log.table, watched)
    taken = time.process_time() - started
    return f"health of {records} records: {taken:.2f} s, {1e9 * taken / records:.0f} ns a record"


if __name__ == "__main__":
    main()
