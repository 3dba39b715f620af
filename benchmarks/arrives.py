"""How well a check before leaving tells delay, average and losses, and how often it errs.

    python -m benchmarks.arrives [CHECKS] [SEED]

Simulated checks of 12 minutes: three pours of 220 counts together, 3 counts of noise, the
surface swings, records every 5 or 10 s, delays of 2 to 60 s.  Thresholds were set on other
seeds (below 100).
"""

import sys
import time

import numpy as np

from gaugewright.pours.arrives.verdict import Arrival, Item, judge
from gaugewright.testing.arrivals import WRONGS, Scene, simulated_check


def item(arrival: Arrival, kind: str) -> Item | None:
    """Return what was said of one thing."""
    return next((each for each in arrival.items if each.kind == kind), None)


NAMED = {
    "none": "", "every_third_lost": "gaps", "wrong_scale": "scale", "frozen": "follows",
    "other_tank": "follows", "silent_off": "ignition_off", "nothing": "arrives",
}  # fmt: skip


def main() -> None:
    """Print errors, coverage of the bands, and how often each wrong is named."""
    checks = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    took = []
    print("| records | average | delay error, median / 95 of 100 | its band holds | half-width "
          "| average found, 5 to 95 of 100 | its band holds |")  # fmt: skip
    for every_s in (5.0, 10.0):
        for averaging in (8, 64):
            errors, holds, halves, widths, width_holds = [], [], [], [], []
            for i in range(checks):
                rng = np.random.default_rng(seed + i)
                delay_s = float(rng.uniform(2, 60))
                scene = Scene(delay_s=delay_s, averaging=averaging, every_s=every_s,
                              has_stamps=bool(i % 2))  # fmt: skip
                check = simulated_check(rng, scene)
                begun = time.process_time()
                arrival = judge(check)
                took.append(time.process_time() - begun)
                delay, width = item(arrival, "delay"), item(arrival, "averaging")
                if delay is None or width is None or delay.value is None:
                    continue
                truth = delay_s + scene.jitter_s / 2
                errors.append(abs(delay.value - truth))
                holds.append(delay.low <= truth <= delay.high)
                halves.append(0.5 * (delay.high - delay.low))
                widths.append(width.value)
                # The readings have an average of 8 themselves: beyond it lie about 6.35 s.
                beyond = (averaging**2 - 8**2) ** 0.5 / scene.hz
                width_holds.append(width.low <= beyond <= width.high)
            print(
                f"| every {every_s:g} s | {averaging} | {np.median(errors):.2f} / "
                f"{np.quantile(errors, 0.95):.2f} s | {100 * np.mean(holds):.0f} % of {len(holds)} "
                f"| {np.median(halves):.1f} s | {np.quantile(widths, 0.05):.1f} to "
                f"{np.quantile(widths, 0.95):.1f} s | {100 * np.mean(width_holds):.0f} % |"
            )
    for wrong in WRONGS:
        safe = named = 0
        for i in range(checks):
            rng = np.random.default_rng(seed + 1000 + i)
            scene = Scene(delay_s=float(rng.uniform(2, 60)), every_s=5.0 if i % 2 else 10.0,
                          averaging=64 if i % 3 else 8, wrong=wrong)  # fmt: skip
            arrival = judge(simulated_check(rng, scene))
            safe += arrival.is_safe
            found = item(arrival, NAMED[wrong]) if NAMED[wrong] else None
            named += found is not None and found.state in ("wrong", "missing")
        print(f"{wrong:17} safe {100 * safe / checks:5.1f} %, named {100 * named / checks:5.1f} % "
              f"of {checks}")  # fmt: skip
    print(f"one verdict takes {1000 * np.median(took):.0f} ms of processor time")


if __name__ == "__main__":
    main()
