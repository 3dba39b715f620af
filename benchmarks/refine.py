"""How far a table gets better in service, and whether its band still holds.

    python -m benchmarks.refine [VEHICLES] [SEED] [DAYS]

Simulated logs looked through by the real detector; one receipt in five says 5 to 30 L too much.
The table starts with a planted, smooth error of the size that its band (3 % of the tank) says.
Errors are % of the tank: all (rms), and without what all rows share (shape), which service does
not see.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np

from gaugewright.errors import InputError
from gaugewright.table.later.known import known_from_table
from gaugewright.table.table import Table
from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.case import Delivery
from gaugewright.watch.refine import refine
from gaugewright.watch.service_data import service_data


@dataclass(frozen=True, slots=True)
class Outcome:
    """One vehicle; shares of the tank in per cent, ``None`` where nothing was offered."""

    has_counter: bool
    figures: tuple[float, ...] | None


def truth_of(log: SimulatedLog) -> np.ndarray:
    """True litres at the rows of a log's table. [L]"""
    litres = np.linspace(0.01, 0.999, 4000) * min(log.sight.top_part, 1.0) * log.capacity_l
    return np.interp(log.table.counts, log.sight.counts_of(litres), litres)


def poor_table(log: SimulatedLog, rng: np.random.Generator, size: float) -> Table:
    """A table with a smooth error of the size that its band says. [L]"""
    true = truth_of(log)
    part = true / log.capacity_l
    waves = sum(
        rng.normal() * np.cos(np.pi * k * part + rng.uniform(0, 6)) / (1 + k) for k in (0, 1, 2)
    ) / np.sqrt(0.5 * (1 + 1 / 4 + 1 / 9))
    u = log.capacity_l * size * (0.5 + 0.7 * part)
    return Table(
        log.table.counts, np.maximum.accumulate(np.maximum(true + u / 1.96 * waves, 0.0)), u
    )


def outcome(job: tuple[int, int]) -> Outcome:
    """Simulate one vehicle, refine its poor table, and compare with the truth."""
    seed, days = job
    period = (10.0, 30.0, 60.0)[seed // 4 % 3]
    log = simulate_log(
        KINDS[seed % len(KINDS)], seed, days=days, period_s=period, drains_per_day=0.1
    )
    table = poor_table(log, np.random.default_rng([seed, 5]), 0.03)
    paid = [Delivery(r.time_s, r.litres) for r in log.receipts]
    data = service_data(log.track, table, watch_vehicle(log.track, table), paid)
    try:
        refined = refine(table, known_from_table(table), data)
    except InputError:
        return Outcome(log.sight.counter_seen, None)
    true = truth_of(log)
    figures: list[float] = []
    for one in (refined.before, refined.after):
        assert one.u_litres is not None
        error = one.litres - true
        share = 100 / log.capacity_l
        figures += [
            share * float(np.sqrt(np.mean(error**2))),
            share * float(np.std(error)),
            100 * float(np.mean(np.abs(error) <= one.u_litres)),
            share * float(one.u_litres.mean()),
        ]
    return Outcome(log.sight.counter_seen, tuple(figures))


def main() -> None:
    """Print a line with and one without the engine's counter."""
    vehicles = int(sys.argv[1]) if len(sys.argv) > 1 else 48
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 60_000
    days = int(sys.argv[3]) if len(sys.argv) > 3 else 60
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(outcome, [(seed + i, days) for i in range(vehicles)]))
    for has_counter in (True, False):
        own = [one.figures for one in found if one.has_counter == has_counter]
        told = np.array([figures for figures in own if figures is not None])
        rms, shape, holds, band = (told[:, [k, k + 4]].T for k in range(4))
        print(
            f"{'with' if has_counter else 'without'} the engine's counter: offered "
            f"{len(told)} of {len(own)}; rms {_root(rms[0]):.2f} -> {_root(rms[1]):.2f} %, shape "
            f"{_root(shape[0]):.2f} -> {_root(shape[1]):.2f} %, band holds {holds[0].mean():.1f} "
            f"-> {holds[1].mean():.1f} %, mean half-width {band[0].mean():.2f} -> "
            f"{band[1].mean():.2f} %"
        )


def _root(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main()
