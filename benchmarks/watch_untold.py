"""What the watch finds where a log does not tell the speed, the engine, or either.

    python -m benchmarks.watch_untold 6 1000

Simulated vehicle-months with known truth, so many of each of the four kinds of work from the seed
on, each watched whole and with columns taken away. The thresholds were set on seeds 40 to 45.
Drains below half a percent of the tank are left out. *Open* are those named as not decidable.
"""

import sys
from collections import Counter
from dataclasses import replace

import numpy as np

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import SimulatedLog, TrueEvent, simulate_log
from gaugewright.watch.detect import LEAST_PART, watch_vehicle
from gaugewright.watch.values import Event, EventKind, Undecided

NEAR_S = 120.0
PERIODS_S = (10.0, 30.0, 60.0)
UNTOLD = {
    "all told": (),
    "no speed": ("speed_kmh",),
    "no ignition": ("ignition",),
    "neither": ("speed_kmh", "ignition"),
}


def near(true: TrueEvent, found: Event | Undecided) -> bool:
    """Return whether what was found lies within two minutes of an event of the truth."""
    return found.start_s - NEAR_S < true.end_s and found.end_s + NEAR_S > true.start_s


def scored(log: SimulatedLog, untold: tuple[str, ...]) -> Counter[str]:
    """Return what one log without some columns gives."""
    nothing = np.full_like(log.track.counts, np.nan)
    track = replace(log.track, **dict.fromkeys(untold, nothing))
    watched = watch_vehicle(track, log.table)
    count: Counter[str] = Counter()
    for true in log.truth:
        met = [e for e in watched.events if e.kind == true.kind and near(true, e)]
        if len(met) == 1:
            count["one"] += 1
            count["held"] += abs(met[0].litres - true.litres) <= met[0].u_litres
        if true.kind == EventKind.REFUEL:
            count["refuels"] += 1
            count["refuels found"] += bool(met)
        elif true.litres >= LEAST_PART * log.capacity_l:
            count["drains"] += 1
            count["drains found"] += bool(met)
            count["open"] += not met and any(near(true, u) for u in watched.undecided)
    for event in watched.events:
        if not any(true.kind == event.kind and near(true, event) for true in log.truth):
            count[f"false {event.kind.value}"] += 1
            count[f"litres of false {event.kind.value}"] += round(event.litres)
    return count


def main() -> None:
    """Print a line for each kind of work and what is not told."""
    vehicles, first = (int(text) for text in sys.argv[1:3]) if len(sys.argv) > 2 else (6, 1000)
    for kind in KINDS:
        logs = [
            simulate_log(kind, seed, period_s=PERIODS_S[seed % 3])
            for seed in range(first, first + vehicles)
        ]
        for name, untold in UNTOLD.items():
            c = sum((scored(log, untold) for log in logs), Counter[str]())
            print(
                f"{kind:>10}, {name:>11}: drains {c['drains found']:3d} of {c['drains']}, "
                f"open {c['open']:2d}, false {c['false drain']:2d} "
                f"({c['litres of false drain']} L); refuels {c['refuels found']} of "
                f"{c['refuels']}, false {c['false refuel']}; bands hold "
                f"{100 * c['held'] / max(c['one'], 1):.0f} %",
                flush=True,
            )


if __name__ == "__main__":
    main()
