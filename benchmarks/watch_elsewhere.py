"""What the watch finds in the logs of a simulator that it was not tuned on.

    python -m benchmarks.watch_elsewhere 6 1

So many vehicle-months of each of the nine kinds of machine in `gaugewright.testing.other_logs`,
from the first seed on, each once with drains and once without. Bands are counted where the table
has one of its own.

What was found is laid beside the truth in groups: all that overlaps, with a quarter of an hour
(or three records) to spare, and all of the time without records around an event. A group of two
drains that was found as one counts as two if its litres agree. Left out are events between which
and one of the other kind there are no two records: only their sum can be seen. Drains below half
a percent of the tank are left out of all but their own line.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from benchmarks.watch_events import SIZES
from gaugewright.testing.logs import TrueEvent
from gaugewright.testing.other_logs import KINDS, OtherLog, other_log
from gaugewright.watch.detect import LEAST_PART, watch_vehicle
from gaugewright.watch.values import Event, EventKind, Watched

SPARE_S = 900.0
LONGEST_HOLE_S = 3 * 86400.0

Group = tuple[list[TrueEvent], list[Event]]


@dataclass(frozen=True)
class Job:
    """One vehicle-month to watch."""

    kind: str
    seed: int
    has_drains: bool


def scored(job: Job) -> Counter[str]:
    """Return what one vehicle-month gives, counted by name."""
    log = other_log(job.kind, job.seed, has_drains=job.has_drains)
    watched = watch_vehicle(log.track, log.table)
    suffix = "with" if job.has_drains else "without"
    count: Counter[str] = Counter({f"months {suffix}": 1})
    for kind in EventKind:
        for true, met in _groups(log, watched, kind):
            if not true:
                count[f"false {kind} {suffix}"] += len(met)
                count[f"litres of false {kind} {suffix}"] += round(sum(e.litres for e in met))
                continue
            seen = [t for t in true if not _is_netted(log, t)]
            found = _found(true, met)
            for one in seen:
                name = _name(log, one)
                count[name] += 1
                count[f"{name} found"] += one in found
                count[f"{name} open"] += one not in found and _is_open(watched, one)
            if met and len(seen) == len(true) and log.table.u_litres is not None:
                off = sum(t.litres for t in found) - sum(e.litres for e in met)
                count[f"bands {kind}"] += 1
                count[f"bands {kind} held"] += abs(off) <= np.sqrt(sum(e.u_litres**2 for e in met))
    return count


def _name(log: OtherLog, true: TrueEvent) -> str:
    if true.kind == EventKind.REFUEL:
        return "refuels"
    if true.litres < LEAST_PART * log.capacity_l:
        return "small drains"
    return next(f"drains {low}" for low, high in SIZES if low <= true.litres < high)


def _groups(log: OtherLog, watched: Watched, kind: EventKind) -> list[Group]:
    """Return what is true and what was found of one kind, in groups that overlap."""
    groups: list[Group] = [([], [event]) for event in watched.events if event.kind == kind]
    for true in (t for t in log.truth if t.kind == kind):
        low_s, high_s = _window(log, true)
        near = [g for g in groups if any(e.start_s <= high_s and e.end_s >= low_s for e in g[1])]
        groups = [g for g in groups if g not in near]
        groups.append(
            ([true, *(t for g in near for t in g[0])], [e for g in near for e in g[1]]),
        )
    return groups


def _window(log: OtherLog, true: TrueEvent) -> tuple[float, float]:
    """Return between what times an event may be found. [s]"""
    time = log.track.time_s
    spare = max(SPARE_S, 3 * log.track.period_s)
    first, last = np.searchsorted(time, [true.start_s, true.end_s])
    low, high = true.start_s - spare, true.end_s + spare
    if first == last:
        before = true.start_s - time[first - 1] if first else np.inf
        after = time[last] - true.end_s if last < time.size else np.inf
        low -= min(before, LONGEST_HOLE_S)
        high += min(after, LONGEST_HOLE_S)
    return low, high


def _found(true: list[TrueEvent], met: list[Event]) -> list[TrueEvent]:
    """Return which of a group's true events were found."""
    total = sum(t.litres for t in true)
    agrees = bool(met) and abs(total - sum(e.litres for e in met)) < max(3.0, 0.3 * total)
    if agrees or len(met) >= len(true):
        return true
    return sorted(true, key=lambda t: -t.litres)[: len(met)]


def _is_netted(log: OtherLog, true: TrueEvent) -> bool:
    """Return whether no two records part an event from one of the other kind."""
    for other in (t for t in log.truth if t.kind != true.kind):
        first_s, last_s = min(true.end_s, other.end_s), max(true.start_s, other.start_s)
        between = np.diff(np.searchsorted(log.track.time_s, [first_s, last_s]))[0]
        if between < 2 and last_s - first_s < 86400.0:
            return True
    return False


def _is_open(watched: Watched, true: TrueEvent) -> bool:
    """Return whether an event is named as not decidable."""
    return any(
        one.start_s <= true.end_s + SPARE_S and one.end_s >= true.start_s - SPARE_S
        for one in watched.undecided
    )


def _of(count: Counter[str], name: str) -> str:
    return f"{count[f'{name} found']:3d} + {count[f'{name} open']:2d} of {count[name]:3d}"


def _rate(count: Counter[str], kind: EventKind, suffix: str) -> str:
    months, false = count[f"months {suffix}"], count[f"false {kind} {suffix}"]
    return f"{false / max(months, 1):.2f} ({false} in {months})"


def _held(count: Counter[str], kind: EventKind) -> str:
    number = count[f"bands {kind}"]
    return f"{100 * count[f'bands {kind} held'] / max(number, 1):.0f} % of {number}"


def _print(name: str, count: Counter[str]) -> None:
    drain, refuel = EventKind.DRAIN, EventKind.REFUEL
    both = count["months with"] + count["months without"]
    false = count["false refuel with"] + count["false refuel without"]
    drains: Counter[str] = Counter()
    for low, _ in SIZES:
        for end in ("", " found", " open"):
            drains[f"drains{end}"] += count[f"drains {low}{end}"]
    print(name)
    print("  drains       " + " | ".join(_of(count, f"drains {low}") for low, _ in SIZES))
    print(f"  all drains   {_of(drains, 'drains')}; smaller ones {_of(count, 'small drains')}")
    print(
        f"  false drains a month: {_rate(count, drain, 'with')} where there are true ones, "
        f"{_rate(count, drain, 'without')} where there are none"
    )
    print(f"  refuels      {_of(count, 'refuels')}; false {false / both:.2f} a month ({false})")
    print(
        f"  bands hold   {_held(count, drain)} drains, {_held(count, refuel)} refuels",
        flush=True,
    )


def main() -> None:
    """Print the counts of each kind of machine, and of all."""
    each, first = (int(text) for text in sys.argv[1:3]) if len(sys.argv) > 2 else (6, 1)
    jobs = [
        Job(kind, seed, has_drains)
        for kind in KINDS
        for seed in range(first, first + each)
        for has_drains in (True, False)
    ]
    print("found + named as not decidable, of all; drains of 3-5, 5-10, 10-20, 20-40, over 40 L")
    with ProcessPoolExecutor() as pool:
        results = list(pool.map(scored, jobs))
    for kind in KINDS:
        of_kind = (r for job, r in zip(jobs, results, strict=True) if job.kind == kind)
        _print(kind, sum(of_kind, Counter[str]()))
    _print("all", sum(results, Counter[str]()))


if __name__ == "__main__":
    main()
