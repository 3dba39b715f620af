"""Compile the loops of the watch, once, before tests that run side by side would each do it."""

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.notes import health


def main() -> None:
    """Look at a month of each kind of work."""
    for seed, kind in enumerate(KINDS):
        log = simulate_log(kind, seed, period_s=60.0)
        health(log.track, log.table, watch_vehicle(log.track, log.table))


if __name__ == "__main__":
    main()
