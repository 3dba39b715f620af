"""How often a planted fault is named, and how often a healthy vehicle is.

    python -m benchmarks.health [LOGS] [SEED] [DAYS]

Simulated logs of four kinds of work at one drain in ten days, records every 10, 30 or 60 s.
``named``: a note of the right kind; ``named otherwise``: of another kind only. Thresholds were
set on other seeds (100 to 2,000).
"""

import sys
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.log_faults import MAKERS, deliveries_of, truly_watched
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.health import health

Found = tuple[str, str, tuple[str, ...], float]


def outcome(job: tuple[str, int, int, str]) -> Found | None:
    """Make one log with one fault and look at its health: fault, work, kinds, size."""
    fault, seed, days, _ = job
    work = KINDS[seed % len(KINDS)]
    period = (10.0, 30.0, 60.0)[seed // 4 % 3]
    plain = fault in ("clean_plain", "frozen", "supply_lost", "missing")
    log = simulate_log(work, seed, days=days, period_s=period, drains_per_day=0.1, plain=plain)
    if fault.startswith("clean"):
        notes = health(log.track, log.table, truly_watched(log), deliveries_of(log))
        return fault, work, tuple(n.kind.value for n in notes), 0.0
    rng = np.random.default_rng([seed, 77])
    made = MAKERS[fault](rng, log)
    if made is None:
        return None
    notes = health(made.track, made.table, truly_watched(log, made.track), deliveries_of(log))
    return f"{fault}", work, tuple(n.kind.value for n in notes), made.size


def main() -> None:
    """Print one line a fault."""
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 50_000
    days = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    faults = ["clean_plain", "clean", *MAKERS]
    jobs = [(fault, seed + i, days, "") for fault in faults for i in range(logs)]
    started = time.process_time()
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        results = [r for r in pool.map(outcome, jobs, chunksize=4) if r is not None]
    by_fault: dict[str, list[Found]] = defaultdict(list)
    for result in results:
        by_fault[result[0]].append(result)
    wanted = {name: _kind(name) for name in MAKERS}
    for fault, found in by_fault.items():
        if fault.startswith("clean"):
            counts = Counter(k for _, _, kinds, _ in found for k in set(kinds))
            any_note = sum(bool(kinds) for _, _, kinds, _ in found)
            print(f"{fault}: {len(found)} logs, {any_note} with a note: {dict(counts)}")
            continue
        right = sum(wanted[fault] in kinds for _, _, kinds, _ in found)
        other = sum(bool(kinds) and wanted[fault] not in kinds for _, _, kinds, _ in found)
        works = Counter(work for _, work, kinds, _ in found if wanted[fault] in kinds)
        total = Counter(work for _, work, _, _ in found)
        parts = ", ".join(f"{w} {works[w]}/{total[w]}" for w in KINDS)
        also = Counter(k for _, _, kinds, _ in found for k in set(kinds) - {wanted[fault]})
        print(
            f"{fault}: named {right} of {len(found)} ({100 * right / len(found):.0f} %), "
            f"named otherwise {other}; {parts}; also {dict(also)}"
        )
    print(f"{time.process_time() - started:.0f} s")


def _kind(fault: str) -> str:
    return {
        "water": "water_at_bottom",
        "past_top": "past_probe_top",
        "averaging_light": "averaging_too_light",
        "averaging_heavy": "averaging_too_heavy",
        "supply_lost": "supply_lost_parked",
        "missing": "records_missing",
    }.get(fault, fault)


if __name__ == "__main__":
    main()
