"""How often a receipt's verdict is right, on simulated logs with known truth.

    python -m benchmarks.watch_receipts 40 5200

The number of vehicles of each of the four kinds, and the first seed; the rules were set on seeds
below 100. A fifth of the receipts say 5 to 30 L too much. Left out are honest receipts of a stop
in which fuel was truly taken as well: there less is in the tank than was paid for, and `short`
is right. A refuel that rose to the probe's top without any later record telling what is above it
is not decidable, nor is what is missing after one with hours without records: how many there are
is said, and the share with and without them. Shares come with their 95 % band (Wilson, Journal of
the American Statistical Association 22, 1927, from memory).
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from gaugewright.testing.log_days import KINDS
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.receipts import (
    TO_THE_TOP,
    Receipt,
    Reconciled,
    Seen,
    Verdict,
    gaps_in,
    longest_gap_s,
    reconcile,
)
from gaugewright.watch.telling import SILENT_S
from gaugewright.watch.unseen import UNSEEN
from gaugewright.watch.values import EventKind

PERIODS_S = (10.0, 30.0, 60.0)
BESIDE_S = 1800.0
SIZES = {"honest": (-1e9, 3.0), "5 to 10 L too much": (4.0, 10.0), "10 L and more": (10.0, 1e9)}


@dataclass(frozen=True)
class Paid:
    """One receipt and what is true of it. [s, L]"""

    time_s: float
    litres: float
    true_l: float
    with_drain: bool


def seen_of(log: SimulatedLog) -> Seen:
    """Return what the watch makes of a simulated log."""
    track = log.track
    found = watch_vehicle(track, log.table)
    return Seen(
        track.vehicle, found.events, found.undecided, gaps_in(track.time_s), float(track.time_s[0]),
        float(track.time_s[-1]), bottom_l=float(log.table.litres[0]),
        top_l=float(log.table.litres[-1]),
    )  # fmt: skip


def month(arguments: tuple[str, int]) -> tuple[Seen, list[Paid]]:
    """Simulate and watch one vehicle for a month."""
    kind, seed = arguments
    log = simulate_log(kind, seed, period_s=PERIODS_S[seed % 3])
    paid = [
        Paid(
            one.time_s,
            one.litres,
            one.true_l,
            any(
                event.kind == EventKind.DRAIN
                and event.start_s < one.time_s + BESIDE_S
                and event.end_s > one.time_s - 2 * BESIDE_S
                for event in log.truth
            ),
        )
        for one in log.receipts
    ]
    return seen_of(log), paid


def share(part: int, of: int) -> str:
    """Return a share with its 95 % band."""
    z2 = 1.96**2
    middle, half = (part + z2 / 2) / (of + z2), np.sqrt(part * (of - part) / of + z2 / 4)
    half *= 1.96 / (of + z2)
    low, high = 100 * max(middle - half, 0.0), 100 * min(middle + half, 1.0)
    return f"{100 * part / of:.1f} % ({low:.1f} to {high:.1f})"


def why_missed(row: Reconciled, too_much_l: float) -> str:
    """Return why a receipt that says too much was not called short."""
    if row.u_difference_l is None or row.difference_l is None:
        return "no record of the refuel"
    if any(event.reason.endswith(UNSEEN) for event in row.refuels):
        return "the refuel went above the probe, by how much is not told"
    if row.u_difference_l >= too_much_l:
        return "the band of the refuel is wider than what is too much"
    if abs(row.difference_l + too_much_l) > row.u_difference_l:
        return "the refuel is off by more than its band"
    return "near the limit"


def main() -> None:
    """Print the verdicts by how much the receipt says too much, and why some are missed."""
    each, first = [int(text) for text in sys.argv[1:]] or (40, 5200)
    jobs = [(kind, seed) for kind in KINDS for seed in range(first, first + each)]
    with ProcessPoolExecutor() as pool:
        months = list(pool.map(month, jobs))
    known: dict[int, Paid] = {}
    receipts: list[Receipt] = []
    for seen, paid in months:
        for one in paid:
            receipts.append(Receipt(seen.vehicle, one.time_s, one.litres, len(receipts) + 1))
            known[len(receipts)] = one
    found = reconcile(receipts, [seen for seen, _ in months])
    by_vehicle = {seen.vehicle: seen for seen, _ in months}
    too_much = {number: one.litres - one.true_l for number, one in known.items()}
    print(f"{len(receipts)} receipts of {len(months)} vehicle-months")
    for name, (low, high) in SIZES.items():
        rows = [
            row for row in found.receipts
            if low <= too_much[row.receipt] < high
            and not (name == "honest" and known[row.receipt].with_drain)
        ]  # fmt: skip
        counted = Counter(row.verdict for row in rows)
        others = ", ".join(
            f"{verdict} {100 * counted[verdict] / len(rows):.1f} %"
            for verdict in Verdict
            if verdict != Verdict.SHORT
        )
        called = share(counted[Verdict.SHORT], len(rows))
        print(f"{name}: {len(rows)}, short {called}; {others}")
        if name != "honest":
            missed = [row for row in rows if row.verdict != Verdict.SHORT]
            reasons = Counter(why_missed(row, too_much[row.receipt]) for row in missed)
            for reason, number in reasons.most_common():
                print(f"    {number} missed: {reason}")
        sighted = [
            row for row in rows
            if TO_THE_TOP not in row.reason
            and longest_gap_s(row.refuels, by_vehicle[row.vehicle]) <= SILENT_S
        ]  # fmt: skip
        short = sum(row.verdict == Verdict.SHORT for row in sighted)
        print(
            f"    {len(rows) - len(sighted)} not decidable, the refuel {TO_THE_TOP} or hours of it "
            "without records; "
            f"of the other {len(sighted)} short {share(short, len(sighted))}"
        )
        told = [row for row in rows if row.tank_l is not None]
        far = [row for row in told if (row.u_difference_l or 0.0) < 5.0]
        short = sum(row.verdict == Verdict.SHORT for row in far)
        print(f"    of {len(far)} whose band is below 5 L: short {share(short, len(far))}")


if __name__ == "__main__":
    main()
