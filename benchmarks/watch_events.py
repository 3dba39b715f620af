"""How many drains and refuels the watch finds, by size, at what rate of false ones.

    python -m benchmarks.watch_events 20 1000 [docs/detection.svg]

Simulated logs with known truth: the number of vehicles of each of the four kinds, and the first
seed; with a file named, the chance of finding a drain is drawn into it as well. The thresholds
were set on seeds below 100. Beside it the usual rule on the same logs: a moving median, and a
threshold of 5 L on its fall within ten minutes at rest.
"""

import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks._detection_curve import curve, drawn
from benchmarks._forbidden import forbidden
from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import SimulatedLog, TrueEvent, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.values import Event, EventKind

SIZES = ((3, 5), (5, 10), (10, 20), (20, 40), (40, np.inf))
PERIODS_S = (10.0, 30.0, 60.0)
RATES = (0.3, 0.1)
NEAR_S = 120.0
RULE_L = 5.0


@dataclass(frozen=True)
class Found:
    """One drain or refuel of the truth, and what was found of it. [L]"""

    kind: str
    work: str
    litres: float
    recorded: bool
    of_tank: float
    hidden: str | None
    running: bool
    score: float
    estimate_l: float
    u_l: float
    litres_at_15_c: float


PARTS: tuple[tuple[str, Callable[[Found], bool]], ...] = (
    ("of half a percent of the tank or more", lambda f: f.of_tank >= 0.005),
    ("those that physics does not forbid", lambda f: f.hidden is None),
    ("  of them with the engine off", lambda f: f.hidden is None and not f.running),
    ("  of them with the engine on", lambda f: f.hidden is None and f.running),
)


@dataclass(frozen=True)
class Result:
    """One vehicle-month."""

    found: tuple[Found, ...]
    false: tuple[tuple[str, float], ...]
    by_rule: tuple[tuple[float, bool], ...]
    false_by_rule: int


def month(arguments: tuple[str, int]) -> Result:
    """Simulate and watch one vehicle for a month."""
    work, seed = arguments
    log = simulate_log(work, seed, period_s=PERIODS_S[seed % 3])
    watched = watch_vehicle(log.track, log.table, least_score=-np.inf)
    found = tuple(_found(log, work, true, watched.events) for true in log.truth)
    false = tuple(
        (event.kind.value, event.score)
        for event in watched.events
        if not any(_meets(true, event) for true in log.truth)
    )
    rule = _by_rule(log)
    drains = [true for true in log.truth if true.kind == EventKind.DRAIN]
    return Result(
        found,
        false,
        tuple((t.litres, any(_near(t, a, b) for a, b in rule)) for t in drains if _seen(log, t)),
        sum(1 for a, b in rule if not any(_near(t, a, b) for t in drains)),
    )


def _near(true: TrueEvent, start_s: float, end_s: float) -> bool:
    return start_s - NEAR_S < true.end_s and end_s + NEAR_S > true.start_s


def _meets(true: TrueEvent, event: Event) -> bool:
    return true.kind == event.kind and _near(true, event.start_s, event.end_s)


def _seen(log: SimulatedLog, true: TrueEvent) -> bool:
    """Return whether there is any record within two minutes of the event."""
    first, last = np.searchsorted(log.track.time_s, [true.start_s - NEAR_S, true.end_s + NEAR_S])
    return bool(last > first)


def _found(log: SimulatedLog, work: str, true: TrueEvent, events: tuple[Event, ...]) -> Found:
    met = [event for event in events if _meets(true, event)]
    best = max(met, key=lambda event: event.score, default=None)
    alone = best is not None and sum(_meets(other, best) for other in log.truth) == 1
    return Found(
        true.kind.value,
        work,
        true.litres,
        _seen(log, true),
        true.litres / log.capacity_l,
        forbidden(log, true),
        _running(log, true),
        best.score if best else -np.inf,
        best.litres if best and alone else np.nan,
        best.u_litres if best and alone else np.nan,
        true.litres_at_15_c,
    )


def _running(log: SimulatedLog, true: TrueEvent) -> bool:
    """Return whether the last record before an event has the engine on."""
    last = int(np.searchsorted(log.track.time_s, true.start_s)) - 1
    return bool(log.track.ignition[max(last, 0)] > 0.5)


def _by_rule(log: SimulatedLog) -> list[tuple[float, float]]:
    """Return what the usual rule calls drains: start and end of each fall above the threshold.

    Both ends of the ten minutes are at rest, and so is all between; falls less than half an
    hour apart are one.
    """
    import pandas as pd

    time = log.track.time_s
    litres = np.interp(log.track.counts, log.table.counts, log.table.litres)
    smooth = pd.Series(litres).rolling(9, center=True, min_periods=1).median().to_numpy()
    back = np.searchsorted(time, time - 600.0)
    moved = np.cumsum(log.track.speed_kmh > 3)
    low = (moved == moved[back]) & (smooth - smooth[back] < -RULE_L)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(int)))
    joined: list[tuple[float, float]] = []
    for a, b in zip(edges[::2], edges[1::2] - 1, strict=True):
        if joined and time[back[a]] - joined[-1][1] < 1800.0:
            joined[-1] = (joined[-1][0], time[b])
        else:
            joined.append((time[back[a]], time[b]))
    return joined


def _table(
    results: list[Result], least: float, counted: Callable[[Found], bool] = lambda f: True
) -> str:
    cells = []
    for low, high in SIZES:
        scores = [
            f.score
            for r in results
            for f in r.found
            if f.kind == "drain" and f.recorded and low <= f.litres < high and counted(f)
        ]
        cells.append(f"{100 * np.mean([s >= least for s in scores]):5.1f} % of {len(scores)}")
    return " | ".join(cells)


def _least(false: list[float], rate: float, months: int) -> float:
    """Return the score from which there are at most so many false drains a month."""
    allowed = int(rate * months)
    return false[allowed] + 1e-9 if allowed < len(false) else -np.inf


def _drawing(results: list[Result], false: list[float]) -> str:
    drains = [f for r in results for f in r.found if f.kind == "drain" and f.recorded]
    litres = [f.litres for f in drains]
    curves = []
    for rate in RATES:
        least = _least(false, rate, len(results))
        name = f"at most {rate} false ones a vehicle-month"
        curves.append(curve(name, litres, [f.score >= least for f in drains]))
    title = f"Drains found, {len(drains)} in {len(results)} simulated vehicle-months; 95 % bands"
    return drawn(title, curves)


def main() -> None:
    """Print the tables."""
    told = [int(text) for text in sys.argv[1:] if text.isdigit()]
    each, first = told if told else (20, 1000)
    files = [Path(text) for text in sys.argv[1:] if text.endswith(".svg")]
    jobs = [(work, seed) for work in KINDS for seed in range(first, first + each)]
    with ProcessPoolExecutor() as pool:
        results = list(pool.map(month, jobs))
    months = len(results)
    false = sorted((s for r in results for k, s in r.false if k == "drain"), reverse=True)
    print(f"{months} vehicle-months; drains of 3-5, 5-10, 10-20, 20-40, over 40 L found")
    for path in files:
        path.write_text(_drawing(results, false), encoding="utf-8")
    for rate in RATES:
        least = _least(false, rate, months)
        print(f"at most {rate} false a month (score {least:5.2f}): {_table(results, least)}")
        for name, counted in PARTS:
            print(f"{name + ':':42}{_table(results, least, counted)}")
    from gaugewright.watch.detect import DRAIN_SCORE

    at_score = sum(s >= DRAIN_SCORE for s in false) / months
    print(f"as shipped, {at_score:.2f} false a month:          {_table(results, DRAIN_SCORE)}")
    _rule(results)
    recorded = [f for r in results for f in r.found if f.kind == "drain" and f.recorded]
    reasons = Counter(f.hidden for f in recorded if f.hidden)
    for reason, number in reasons.most_common():
        print(f"forbidden: {reason}: {number} of {len(recorded)} drains")
    refuels = [f for r in results for f in r.found if f.kind == "refuel"]
    untrue = sum(k == "refuel" for r in results for k, _ in r.false)
    known = [f for f in refuels if np.isfinite(f.score)]
    weighed = [f for f in known if np.isfinite(f.u_l)]
    off = [abs(f.estimate_l - f.litres) / f.litres for f in weighed]
    held = [abs(f.estimate_l - f.litres) <= f.u_l for f in weighed]
    reduced = [abs(f.estimate_l - f.litres_at_15_c) / f.litres_at_15_c for f in weighed]
    print(
        f"refuels found {100 * len(known) / len(refuels):.1f} % of {len(refuels)}, "
        f"{untrue / months:.3f} false a month, litres within {100 * np.median(off):.2f} % (median) "
        f"at the fuel's own temperature, {100 * np.median(reduced):.2f} % of those at 15 °C; "
        f"bands hold {100 * np.mean(held):.1f} %"
    )
    _bands(results)


def _rule(results: list[Result]) -> None:
    cells = []
    for low, high in SIZES:
        hits = [hit for r in results for litres, hit in r.by_rule if low <= litres < high]
        cells.append(f"{100 * np.mean(hits):5.1f} %")
    false = sum(r.false_by_rule for r in results) / len(results)
    print(f"the usual rule, {false:.1f} false a month: {' | '.join(cells)}")


def _bands(results: list[Result]) -> None:
    drains = [
        f for r in results for f in r.found if f.kind == "drain" and f.score >= 2.5 and f.u_l > 0
    ]
    for low, high in ((3, np.inf), *SIZES):
        part = [f for f in drains if low <= f.litres < high]
        held = np.mean([abs(f.estimate_l - f.litres) <= f.u_l for f in part])
        width = np.median([f.u_l for f in part])
        print(f"band of drains {low}-{high} L: holds {100 * held:.1f} %, half-width {width:.2f} L")


if __name__ == "__main__":
    main()
