"""Where a time axis is marked: whole minutes, hours, days, months."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

STEPS_S = (
    1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200,
    86_400, 2 * 86_400, 7 * 86_400, 14 * 86_400,
)  # fmt: skip
"""Steps that divide what they stand in. [s]"""
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60)


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on the axis and what is written there."""

    time_s: float
    label: str


def time_ticks(from_s: float, to_s: float, most: int, zone: tzinfo = UTC) -> tuple[Tick, ...]:
    """Return at most about ``most`` round times between two times, in a zone.

    >>> [tick.label for tick in time_ticks(0, 4 * 3600, 5)]
    ['00:00', '01:00', '02:00', '03:00', '04:00']
    >>> [tick.label for tick in time_ticks(0, 90 * 86400, 4)]
    ['1970-01', '1970-02', '1970-03', '1970-04']
    """
    step = next((s for s in STEPS_S if (to_s - from_s) / s <= most), None)
    if step is None:
        return _months(from_s, to_s, most, zone)
    first = datetime.fromtimestamp(from_s, zone)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    if step > 86_400:
        # Days are counted from a Monday, so that the marks stay where they are when moved.
        days = int(step // 86_400)
        midnight -= timedelta(days=(midnight.toordinal() - 1) % days)
    found: list[Tick] = []
    at = midnight
    while at.timestamp() <= to_s:
        if at.timestamp() >= from_s:
            found.append(Tick(at.timestamp(), _label(at, step)))
        at += timedelta(seconds=step)
        skipped = from_s - at.timestamp()
        if skipped > step:
            at += timedelta(seconds=step * int(skipped // step))
    return tuple(found)


def _label(at: datetime, step: int) -> str:
    is_midnight = (at.hour, at.minute, at.second) == (0, 0, 0)
    if step >= 86_400 or (is_midnight and step >= 21_600):
        return f"{at:%m-%d}"
    return f"{at:%H:%M}" if step >= 60 else f"{at:%H:%M:%S}"


def _months(from_s: float, to_s: float, most: int, zone: tzinfo) -> tuple[Tick, ...]:
    step = next((m for m in MONTH_STEPS if (to_s - from_s) / (m * 2_629_800) <= most), 120)
    first = datetime.fromtimestamp(from_s, zone)
    count = first.year * 12 + first.month - 1
    count -= count % step
    found: list[Tick] = []
    while True:
        at = datetime(count // 12, count % 12 + 1, 1, tzinfo=zone)
        if at.timestamp() > to_s:
            return tuple(found)
        if at.timestamp() >= from_s:
            found.append(Tick(at.timestamp(), f"{at:%Y-%m}" if step < 12 else f"{at:%Y}"))
        count += step
