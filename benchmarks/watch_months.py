"""How alike a table's errors are from level to level, and whether monthly bands hold.

    python -m benchmarks.watch_months [FILLS] [LOGS]

First the errors of tables fitted to simulated fills whose truth is not of the fit's making:
how they correlate over the distance between two levels, which is what sums of litres rest on
(`watch/combined.py`).  Then months of simulated service: the litres filled, drained and used
that the watch reports, held against what was true.
"""

import sys
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from gaugewright.table.fit import fit
from gaugewright.testing.fills import FAMILIES, simulated_fill
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.combined import COVERAGE, REACH, Weighted, errors_of, half_width, of_event
from gaugewright.watch.months import months_of
from gaugewright.watch.values import Event, Noise, Watched

Floats = npt.NDArray[np.float64]
SHARES = np.linspace(0.02, 0.98, 25)
KINDS = ("long_haul", "city", "excavator", "generator")


def likeness(fills: int, *, checks: bool) -> tuple[Floats, Floats]:
    """Return the errors of tables in standard uncertainties, and the errors themselves. [1, L/L]"""
    scaled, plain = [], []
    for k in range(fills):
        rng = np.random.default_rng([3, k])
        made = simulated_fill(rng, FAMILIES[k % len(FAMILIES)], checks=checks)
        table = fit(made.fill, made.tank, made.probe)
        top = max(pour.counts for pour in made.fill.pours)
        counts = table.counts[0] + SHARES * (top - table.counts[0])
        error = np.interp(counts, table.counts, table.litres) - made.truth.litres_at_counts(counts)
        scaled.append(COVERAGE * error / np.interp(counts, table.counts, table.u95_litres))
        plain.append(error / made.truth.capacity_l)
    return np.array(scaled), np.array(plain)


def show_likeness(fills: int) -> None:
    """Print the correlation over distance, and that of the model."""
    print(f"errors of {fills} tables each, correlated over a distance in shares of the tank")
    for checks in (False, True):
        scaled, _ = likeness(fills, checks=checks)
        moments = scaled.T @ scaled / len(scaled)
        spread = np.sqrt(np.diag(moments))
        alike = moments / np.outer(spread, spread)
        found = {lag: float(np.diag(alike, lag).mean()) for lag in (2, 6, 12, 18, 24)}
        words = "  ".join(f"{SHARES[k] - SHARES[0]:.2f}: {rho:.2f}" for k, rho in found.items())
        print(f"  {'slope, meter, dip checked' if checks else 'nothing checked':<26} {words}")
    model = "  ".join(f"{d:.2f}: {np.exp(-d / REACH):.2f}" for d in (0.08, 0.24, 0.48, 0.72, 0.96))
    print(f"  {f'taken (reach {REACH:g})':<26} {model}")


def seen_by_the_table(log: SimulatedLog, rng: np.random.Generator) -> Watched:
    """Return the true events as the log's table reads them, with the slope's scatter on top.

    So the sums are tested by themselves, whatever the watch finds or misses.
    """
    track, table = log.track, log.table
    errors = errors_of(table)
    assert errors is not None
    slope_l = 0.0015 * log.capacity_l
    events = []
    for true in log.truth:
        place = max(int(np.searchsorted(track.time_s, true.start_s)) - 1, 0)
        sign = 1.0 if true.kind == "refuel" else -1.0
        ends = np.array([log.true_l[place], log.true_l[place] + sign * true.litres_at_15_c])
        before, after = np.interp(log.sight.counts_of(ends), table.counts, table.litres)
        litres = sign * (after - before) + rng.normal(0, slope_l * np.sqrt(2))
        first, last = np.searchsorted(track.time_s, [true.start_s, true.end_s])
        bare = Event(track.vehicle, true.kind, true.start_s, true.end_s, litres, 0.0,
                     float(before), float(after), 9.0, "", int(first), int(last))  # fmt: skip
        own = Weighted(of_event(errors, bare).weights, 2 * (COVERAGE * slope_l) ** 2)
        events.append(replace(bare, u_litres=half_width(errors, own)))
    noise = Noise(0.001 * log.capacity_l, 0.01 * log.capacity_l, slope_l, 0.0, 30.0)
    return Watched(track.vehicle, tuple(events), (), noise, track.time_s.size, 0.0, 1.0, 1.0)


def show_months(logs: int) -> None:
    """Print how often the bands of a month hold the truth, beside sums of squares."""
    rng = np.random.default_rng(0)
    held: dict[str, list[bool]] = {"filled": [], "drained": [], "used": [], "squares": []}
    for k in range(logs):
        log = simulate_log(KINDS[k % 4], k, days=31, period_s=30.0, plain=True)
        if log.sight.top_part < 1.0:
            continue  # filled past the probe: what went in above it is not seen, and named
        watched = seen_by_the_table(log, rng)
        month = months_of(log.track, log.table, watched)[0]
        true = {kind: sum(e.litres_at_15_c for e in log.truth if e.kind == kind)
                for kind in ("refuel", "drain")}  # fmt: skip
        used = float(log.true_l[0]) + true["refuel"] - true["drain"] - float(log.true_l[-1])
        for name, litres in (
            ("filled", true["refuel"]),
            ("drained", true["drain"]),
            ("used", used),
        ):
            figure = getattr(month, name)
            held[name].append(abs(figure.litres - litres) <= figure.u_litres)
        squares = np.sqrt(sum(e.u_litres**2 for e in watched.events if e.kind == "refuel"))
        held["squares"].append(abs(month.filled.litres - true["refuel"]) <= squares)
    print(f"bands of {len(held['used'])} months of simulated service hold the truth in")
    for name in ("filled", "drained", "used"):
        print(f"  {name:<8} {100 * np.mean(held[name]):.0f} %")
    squares = 100 * np.mean(held["squares"])
    print(f"  filled, had the refuels' bands been added as squares: {squares:.0f} %")


def main(fills: int = 60, logs: int = 120) -> None:
    """Measure and print both."""
    show_likeness(fills)
    show_months(logs)


if __name__ == "__main__":
    main(*[int(each) for each in sys.argv[1:]])
