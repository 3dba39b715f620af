"""How often a receipt's verdict is right, on simulated logs with known truth.

Run ``python -m benchmarks watch_receipts``.  A fifth of the receipts say 5 to 30 L too much.
Left out are honest receipts of a stop in which fuel was truly taken as well: there less is in
the tank than was paid for, and `short` is right.
"""

from collections import Counter

from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.receipts import Receipt, Seen, Verdict, gaps_in, reconcile
from gaugewright.watch.values import EventKind

KINDS = ("long_haul", "city", "excavator", "generator")
PERIODS_S = (10.0, 30.0, 60.0)
SEEDS = range(5200, 5209)
BESIDE_S = 1800.0
SIZES = {"honest": (-1e9, 3.0), "5 to 10 L too much": (4.0, 10.0), "10 L and more": (10.0, 1e9)}


def seen_of(log: SimulatedLog) -> Seen:
    """Return what the watch makes of a simulated log."""
    track = log.track
    found = watch_vehicle(track, log.table)
    return Seen(
        track.vehicle, found.events, found.undecided, gaps_in(track.time_s), float(track.time_s[0]),
        float(track.time_s[-1]), bottom_l=float(log.table.litres[0]),
        top_l=float(log.table.litres[-1]),
    )  # fmt: skip


def simulated() -> tuple[list[Receipt], list[Seen], dict[int, float], set[int]]:
    """Return receipts, what was seen, what each says too much, and those of a stop with a drain."""
    receipts: list[Receipt] = []
    seen: list[Seen] = []
    too_much: dict[int, float] = {}
    with_drain: set[int] = set()
    for kind in KINDS:
        for seed in SEEDS:
            log = simulate_log(kind, seed, period_s=PERIODS_S[seed % 3])
            seen.append(seen_of(log))
            for one in log.receipts:
                number = len(receipts) + 1
                receipts.append(Receipt(log.track.vehicle, one.time_s, one.litres, number))
                too_much[number] = one.litres - one.true_l
                if any(
                    event.kind == EventKind.DRAIN
                    and event.start_s < one.time_s + BESIDE_S
                    and event.end_s > one.time_s - 2 * BESIDE_S
                    for event in log.truth
                ):
                    with_drain.add(number)
    return receipts, seen, too_much, with_drain


def main() -> None:
    """Print the verdicts by how much the receipt says too much."""
    receipts, seen, too_much, with_drain = simulated()
    found = reconcile(receipts, seen)
    print(f"{len(receipts)} receipts of {len(seen)} vehicle-months")
    print(f"{'':20} {'number':>7}" + "".join(f"{verdict:>10}" for verdict in Verdict))
    for name, (low, high) in SIZES.items():
        # Fuel above the probe's top is unseen: such a refuel cannot be judged short.
        rows = [
            row for row in found.receipts
            if low <= too_much[row.receipt] < high
            and not (name == "honest" and row.receipt in with_drain)
        ]  # fmt: skip
        counted = Counter(row.verdict for row in rows)
        shares = "".join(f"{counted[verdict] / len(rows):10.1%}" for verdict in Verdict)
        print(f"{name:20} {len(rows):7d}{shares}")
        below = [row for row in rows if "probe's top" not in row.reason and row.tank_l is not None]
        share = sum(row.verdict == Verdict.SHORT for row in below) / len(below)
        print(f"{'  below the top':20} {len(below):7d}{'':10}{share:10.1%}")


if __name__ == "__main__":
    main()
