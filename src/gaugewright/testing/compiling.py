"""Compile the loops of the watch, once, before tests that run side by side would each do it."""

import numpy as np

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.notes import health
from gaugewright.watch.order import by_code, by_table, ordered
from gaugewright.watch.receipts import gaps_in


def main() -> None:
    """Look at a month of each kind of work, and put records in order."""
    for seed, kind in enumerate(KINDS):
        log = simulate_log(kind, seed, period_s=60.0)
        health(log.track, log.table, watch_vehicle(log.track, log.table))
    gaps_in(log.track.time_s)
    late = log.track.time_s[[0, 2, 1, 2]]
    lent = late.view()
    lent.setflags(write=False)  # as a file's reader gives them
    codes = np.array([1, 0, 1, 0], np.int32)
    by_table(codes, codes)
    for figures in (late, lent):
        columns = {"time_s": figures, "counts": figures}
        ordered("first", {**columns, "speed_kmh": late.astype(np.float32)})
        by_code(codes, 2, columns)


if __name__ == "__main__":
    main()
