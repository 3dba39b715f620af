"""A short, plain log of one truck for a table that is given: what screens and tests look at.

`logs` simulates what goes wrong in service and is what the watch is scored on; here nothing
goes wrong but what is asked for, so that a test can say what must be found.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from gaugewright.table.table import Table
from gaugewright.watch.values import Floats

START_S = datetime(2026, 3, 2, tzinfo=UTC).timestamp()
"""A Monday, midnight UTC."""
HOUR_S = 3600.0
DAY_S = 86_400.0
LITRES_PER_HOUR = 9.0
DRIVES_H = ((7.0, 10.5), (13.0, 16.0))
"""Hours of a day on the road."""


@dataclass(frozen=True, slots=True)
class Change:
    """Fuel put in (above 0) or taken out while parked, over so many seconds. [s, L]"""

    at_s: float
    litres: float
    lasts_s: float = 300.0


def at(day: int, hour: float) -> float:
    """Return a moment of the log by its day, the first being 0, and hour. [s since 1970]"""
    return START_S + day * DAY_S + hour * HOUR_S


def usual_changes(days: int, capacity_l: float) -> tuple[Change, ...]:
    """Return a refuel every other day at noon and one drain in the third night, 02:15.

    >>> [round(change.litres) for change in usual_changes(4, 340.0)]
    [99, 99, -34]
    """
    refuels = [Change(at(day, 11.5), 0.29 * capacity_l) for day in range(0, days, 2)]
    return (*refuels, Change(at(2, 2.25), -0.1 * capacity_l, 420.0))


def service_columns(
    table: Table,
    changes: Sequence[Change],
    *,
    days: int = 7,
    period_s: float = 30.0,
    start_part: float = 0.62,
    seed: int = 1,
) -> dict[str, Floats]:
    """Return the columns of a log: ``time_s``, ``counts``, ``speed_kmh``, ``ignition``.

    The level falls by `LITRES_PER_HOUR` on the road and sloshes there; parked it scatters by
    two tenths of a litre.  Counts are whole, as a probe sends them.
    """
    rng = np.random.default_rng(seed)
    time_s = START_S + np.arange(0.0, days * DAY_S, period_s)
    hour = (time_s - START_S) % DAY_S / HOUR_S
    drives = np.zeros(time_s.size, dtype=bool)
    for begin, end in DRIVES_H:
        drives |= (hour >= begin) & (hour < end)
    capacity_l = float(table.litres[-1])
    litres = start_part * capacity_l - np.cumsum(drives) * LITRES_PER_HOUR * period_s / HOUR_S
    for change in changes:
        litres += change.litres * np.clip((time_s - change.at_s) / change.lasts_s, 0.0, 1.0)
    slosh = rng.normal(0.0, 0.012 * capacity_l, time_s.size)
    scatter = np.where(drives, slosh, rng.normal(0.0, 0.2, time_s.size))
    seen = np.clip(litres + scatter, table.litres[0], table.litres[-1])
    return {
        "time_s": time_s,
        "counts": np.round(np.interp(seen, table.litres, table.counts)),
        "speed_kmh": np.where(drives, np.round(rng.uniform(20, 85, time_s.size)), 0.0),
        "ignition": drives.astype(np.float64),
    }


def service_csv(columns: dict[str, Floats], vehicle: str) -> str:
    """Return the columns as a log file, times in ISO 8601."""
    lines = ["vehicle,time,counts,speed_kmh,ignition"]
    stamps = [f"{datetime.fromtimestamp(t, UTC):%Y-%m-%dT%H:%M:%SZ}" for t in columns["time_s"]]
    rows = zip(stamps, columns["counts"], columns["speed_kmh"], columns["ignition"], strict=True)
    lines += [f"{vehicle},{t},{c:.0f},{v:.0f},{i:.0f}" for t, c, v, i in rows]
    return "\n".join(lines) + "\n"


def receipts_csv(changes: Sequence[Change], vehicle: str, *, inflated_l: float = 0.0) -> str:
    """Return a receipt for every refuel; the first says ``inflated_l`` more than was put in."""
    lines = ["vehicle,time,litres"]
    refuels = [change for change in changes if change.litres > 0]
    for place, change in enumerate(refuels):
        paid = change.litres + (0.0 if place else inflated_l)
        till = datetime.fromtimestamp(change.at_s + change.lasts_s + 240, UTC)
        lines.append(f"{vehicle},{till:%Y-%m-%dT%H:%M:%SZ},{paid:.2f}")
    return "\n".join(lines) + "\n"
