"""Fit what circumstances add to the odds of a drain, and print the table of the watch.

    python -m benchmarks.watch_weighing 100

Simulated logs of the seeds from 0 up to the number told, each of the four kinds of work with two
record intervals; seeds from 1000 on are for scoring. A logistic model with one curve for each
circumstance, its coefficients held small by a ridge, solved by Newton's method; beside it, cross
validated over whole seeds, the mean surprise of what the stories alone say and of the model.
"""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchmarks.watch_events import NEAR_S, PERIODS_S
from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.change import Change
from gaugewright.watch.decide import by_stories
from gaugewright.watch.detect import LEAST_PART
from gaugewright.watch.look import Seen, look
from gaugewright.watch.values import EventKind, Floats
from gaugewright.watch.weighing import Curve, circumstances, parts

RIDGE = 0.3
FOLDS = 5
TURNS = 40
SHAPES = (
    Curve("stories", (-4.0, -1.0, 1.0, 3.0, 6.0, 12.0, 40.0), (0.0,) * 7, by_log=False),
    Curve("since_bins", (1.0, 2.0, 4.0, 10.0, 40.0, 400.0), (0.0,) * 6),
    Curve("minutes", (1.0, 2.0, 5.0, 20.0, 120.0, 700.0), (0.0,) * 6),
    Curve("drifts", (4.0, 15.0, 40.0, 120.0, 500.0), (0.0,) * 5),
    Curve("litres", (2.0, 4.0, 8.0, 16.0, 60.0), (0.0,) * 5),
    Curve("fewest_bins", (1.0, 2.0, 4.0, 12.0, 100.0), (0.0,) * 5),
    Curve("till_bins", (1.0, 2.0, 4.0, 10.0, 40.0, 400.0), (0.0,) * 6),
    Curve("refuelled_min", (1.0, 10.0, 60.0, 1000.0), (0.0,) * 4),
    Curve("shown", (0.0, 1.0), (0.0,) * 2, by_log=False),
    Curve("crept", (0.0, 1.0), (0.0,) * 2, by_log=False),
    Curve("blurred", (0.0, 1.0), (0.0,) * 2, by_log=False),
)


def falls(arguments: tuple[str, int, int]) -> tuple[int, list[list[float]], list[bool]]:
    """Return the seed, each fall's weight of every knot, and whether it was a drain."""
    work, seed, shift = arguments
    log = simulate_log(work, seed, period_s=PERIODS_S[(seed + shift) % len(PERIODS_S)])
    seen = look(log.track, log.table)
    rows: list[list[float]] = []
    drains: list[bool] = []
    for change in by_stories(seen) if seen else ():
        if seen and change.litres < -LEAST_PART * float(log.table.litres[-1]):
            told = circumstances(seen, change)
            rows.append([w for c in SHAPES for w in parts(c, told[c.circumstance])])
            drains.append(_is_drain(log, seen, change))
    return seed, rows, drains


def _is_drain(log: SimulatedLog, seen: Seen, change: Change) -> bool:
    start_s = log.track.time_s[seen.bins.last[change.before]] - NEAR_S
    end_s = log.track.time_s[seen.bins.first[change.after]] + NEAR_S
    drains = [true for true in log.truth if true.kind == EventKind.DRAIN]
    return any(start_s < true.end_s and end_s > true.start_s for true in drains)


def fitted(rows: Floats, drains: Floats) -> Floats:
    """Return the coefficients: the start, then one for each column. [natural logarithm]"""
    columns = np.column_stack([np.ones(len(rows)), rows])
    ridge = np.full(columns.shape[1], RIDGE)
    ridge[0] = 0.0
    found = np.zeros(columns.shape[1])
    for _ in range(TURNS):
        chance = 1.0 / (1.0 + np.exp(-columns @ found))
        slope = columns.T @ (drains - chance) - ridge * found
        bend = (columns * (chance * (1 - chance))[:, None]).T @ columns + np.diag(ridge + 1e-9)
        found = found + np.linalg.solve(bend, slope)
    return found


def surprise(odds: Floats, drains: Floats) -> float:
    """Return the mean surprise at what was true: log loss. [nats]"""
    return float(np.mean(np.log1p(np.exp(np.where(drains > 0.5, -odds, odds)))))


def main() -> None:
    """Fit, cross-validate and print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    jobs = [(work, seed, shift) for seed in range(seeds) for work in KINDS for shift in (0, 1)]
    with ProcessPoolExecutor() as pool:
        done = list(pool.map(falls, jobs, chunksize=4))
    rows = np.array([row for _, all_rows, _ in done for row in all_rows])
    drains = np.array([d for _, _, told in done for d in told], dtype=np.float64)
    seed = np.array([s for s, all_rows, _ in done for _ in all_rows])
    alone = len(SHAPES[0].knots)
    for name, columns in (("the stories alone", rows[:, :alone]), ("all circumstances", rows)):
        odds = np.zeros(len(rows))
        for fold in range(FOLDS):
            held = seed % FOLDS == fold
            found = fitted(columns[~held], drains[~held])
            odds[held] = found[0] + columns[held] @ found[1:]
        print(f"# {name}: surprise {surprise(odds, drains):.4f} a fall, cross validated")
    found = fitted(rows, drains)
    print(f"# {len(rows)} falls of {len(jobs)} vehicle-months, {int(drains.sum())} of them drains")
    print(f"START = {found[0]:.2f}\nCURVES = (")
    at = 1
    for curve in SHAPES:
        adds = found[at : at + len(curve.knots)]
        at += len(curve.knots)
        told = ", ".join(f"{value:.2f}" for value in adds)
        last = "" if curve.by_log else ", by_log=False"
        print(f'    Curve("{curve.circumstance}", {curve.knots}, ({told}){last}),')
    print(")")


if __name__ == "__main__":
    main()
