"""Month by month: litres in, litres used, litres not explained, each with its band.

    used = level at the start + refuels - drains - level at the end

as the tank saw it; drains are what was taken out other than by the engine.  Not explained are
the drains to which no person has given a reason.  Where the log carries the engine's own
counter, its litres stand beside, without a band of their own: nobody has stated its accuracy.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from itertools import pairwise
from math import hypot, isnan, sqrt

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.combined import (
    COVERAGE,
    NO_BAND,
    Figure,
    TableErrors,
    Weighted,
    add_up,
    at_level,
    errors_of,
    half_width,
    over_vehicles,
)
from gaugewright.watch.unseen import UNSEEN
from gaugewright.watch.values import Event, EventKind, Track, Watched

Floats = npt.NDArray[np.float64]

BESIDE_S = 600.0
"""Records so near the end of a month tell its level. [s]"""
NO_SCATTER = "too few records to know how this vehicle's readings scatter"
FEW = 3
MOST_BESIDE_S = 43_200.0
"""Beyond this nothing is said of the level. [s]"""


@dataclass(frozen=True, slots=True)
class Month:
    """What one vehicle did with its fuel in one month. Times are seconds since 1970. [s, L]

    ``used`` is ``None`` where the level at an end of the month is not known; ``notes`` say
    why. ``seen`` is the share of the month's hours that has records. ``engine_l`` is what the
    engine's own counter says was used.
    """

    vehicle: str
    month: str
    from_s: float
    to_s: float
    records: int
    seen: float
    start_l: float | None
    end_l: float | None
    refuels: int
    filled: Figure
    used: Figure | None
    drains: int
    drained: Figure
    unexplained: Figure
    undecided: int
    engine_l: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FleetMonth:
    """All vehicles of one month together. [L]"""

    month: str
    vehicles: int
    filled: Figure
    used: Figure | None
    drained: Figure
    unexplained: Figure
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _End:
    """The level at one end of a month."""

    litres: float | None
    own_u: float
    note: str


def months_of(
    track: Track,
    table: Table,
    watched: Watched,
    *,
    explained: Collection[Event] = (),
    zone: tzinfo = UTC,
) -> tuple[Month, ...]:
    """Return the months that a track touches, by the calendar of ``zone``.

    An event belongs to the month in which it began.  Raises `InputError` for no records.
    """
    if track.time_s.size == 0:
        raise InputError(f"{track.vehicle}: there are no records to report on")
    edges = month_edges(float(track.time_s[0]), float(track.time_s[-1]), zone)
    errors = errors_of(table)
    litres = _litres(track, table)
    ends = [_end(track, litres, watched, edge) for edge in edges]
    found = []
    for k, (from_s, to_s) in enumerate(pairwise(edges)):
        is_last = k == len(edges) - 2
        own = [e for e in watched.events if from_s <= e.start_s and (e.start_s < to_s or is_last)]
        note = _unseen_top(own)
        two = ends[k], ends[k + 1]
        found.append(
            _month(track, watched, errors, own, two, (from_s, to_s), explained, zone, note)
        )
    return tuple(found)


def fleet_months(months: Iterable[Month], *, u_meter: float) -> tuple[FleetMonth, ...]:
    """Return every month of all vehicles together; see `over_vehicles` for ``u_meter``."""
    by_month: dict[str, list[Month]] = {}
    for month in months:
        by_month.setdefault(month.month, []).append(month)
    return tuple(_fleet(name, by_month[name], u_meter) for name in sorted(by_month))


def _fleet(name: str, months: Sequence[Month], u_meter: float) -> FleetMonth:
    used = [m.used for m in months if m.used is not None]
    without = [m.vehicle for m in months if m.used is None]
    note = f"litres used without {', '.join(without)}: their levels are not known"
    return FleetMonth(
        month=name,
        vehicles=len(months),
        filled=over_vehicles((m.filled for m in months), u_meter),
        used=over_vehicles(used, u_meter) if used else None,
        drained=over_vehicles((m.drained for m in months), u_meter),
        unexplained=over_vehicles((m.unexplained for m in months), u_meter),
        notes=(note,) if without and used else (),
    )


def month_edges(first_s: float, last_s: float, zone: tzinfo = UTC) -> list[float]:
    """Return where months begin between two times, and both times themselves. [s]

    >>> start = datetime(2026, 1, 30, tzinfo=UTC).timestamp()
    >>> [int(e - start) // 86400 for e in month_edges(start, start + 40 * 86400)]
    [0, 2, 30, 40]
    """
    at = datetime.fromtimestamp(first_s, zone)
    edges = [first_s]
    year, month = at.year, at.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        edge = datetime(year, month, 1, tzinfo=zone).timestamp()
        if edge >= last_s:
            break
        edges.append(edge)
    return [*edges, last_s]


def _month(
    track: Track, watched: Watched, errors: TableErrors | None, events: Sequence[Event],
    ends: tuple[_End, _End], times: tuple[float, float], explained: Collection[Event],
    zone: tzinfo, note: str,
) -> Month:  # fmt: skip
    refuels = [e for e in events if e.kind is EventKind.REFUEL]
    drains = [e for e in events if e.kind is EventKind.DRAIN]
    open_ones = [e for e in drains if e not in explained]
    filled, w_filled = add_up(errors, refuels)
    drained, w_drained = add_up(errors, drains)
    from_k, to_k = np.searchsorted(track.time_s, times).tolist()
    place = slice(from_k, to_k if times[1] < track.time_s[-1] else track.time_s.size)
    used = _used(errors, ends, (filled, w_filled), (drained, w_drained))
    return Month(
        vehicle=track.vehicle,
        month=f"{datetime.fromtimestamp(times[0], zone):%Y-%m}",
        from_s=times[0],
        to_s=times[1],
        records=max(place.stop - place.start, 0),
        seen=_seen(track.time_s[place], times),
        start_l=ends[0].litres,
        end_l=ends[1].litres,
        refuels=len(refuels),
        filled=filled,
        used=used,
        drains=len(drains),
        drained=drained,
        unexplained=add_up(errors, open_ones)[0],
        undecided=sum(times[0] <= u.start_s < times[1] for u in watched.undecided),
        engine_l=_engine(track, place),
        notes=tuple(text for text in (*(end.note for end in ends), note) if text),
    )


def _unseen_top(events: Sequence[Event]) -> str:
    """Say which refuels went past what the probe sees, by how much not even later records tell."""
    past = sum(e.kind is EventKind.REFUEL and e.reason.endswith(UNSEEN) for e in events)
    if not past:
        return ""
    return (
        f"{past} refuel{'s' if past > 1 else ''} reached the table's last row: "
        "what went in above it is not seen and not in these litres"
    )


def _used(
    errors: TableErrors | None, ends: tuple[_End, _End],
    filled: tuple[Figure, Weighted | None], drained: tuple[Figure, Weighted | None],
) -> Figure | None:  # fmt: skip
    start, end = ends
    if start.litres is None or end.litres is None:
        return None
    litres = start.litres + filled[0].litres - drained[0].litres - end.litres
    if errors is None or filled[1] is None or drained[1] is None:
        return Figure(litres, None, NO_BAND)
    if isnan(start.own_u) or isnan(end.own_u):
        return Figure(litres, None, NO_SCATTER)
    levels = at_level(errors, start.litres, start.own_u).plus(
        at_level(errors, end.litres, end.own_u), -1.0
    )
    return Figure(litres, half_width(errors, levels.plus(filled[1]).plus(drained[1], -1.0)))


def _litres(track: Track, table: Table) -> Floats:
    """Return litres of every record, NaN off the table."""
    litres: Floats = np.interp(track.counts, table.counts, table.litres)
    with np.errstate(invalid="ignore"):  # NaN: no counts
        is_off = (track.counts < table.counts[0]) | (track.counts > table.counts[-1])
    litres[is_off] = np.nan
    return litres


def _end(track: Track, litres: Floats, watched: Watched, at_s: float) -> _End:
    """Return the level at a time; within an event, at the end of that event."""
    running = [e for e in watched.events if e.start_s <= at_s < e.end_s]
    at_s = max([at_s, *(e.end_s for e in running)])
    is_inside = track.time_s[0] < at_s < track.time_s[-1]
    # At an end of the log all records lie on one side, where the engine has used less or more.
    reach_s = BESIDE_S if is_inside else BESIDE_S / 4
    while reach_s <= MOST_BESIDE_S:
        a, b = np.searchsorted(track.time_s, [at_s - reach_s, at_s + reach_s])
        a = max([a, *(e.last for e in watched.events if e.end_s <= at_s)])
        b = min([b, *(e.first + 1 for e in watched.events if e.start_s >= at_s)])
        near = litres[a:b][~np.isnan(litres[a:b])]
        if near.size >= FEW or (reach_s * 2 > MOST_BESIDE_S and near.size):
            moves = bool(np.nanmax(np.r_[0.0, track.speed_kmh[a:b]]) > 0)
            one_l = watched.noise.moving_l if moves else watched.noise.still_l
            own_u = COVERAGE * hypot(watched.noise.slope_l, one_l / sqrt(near.size))
            hours = f"{reach_s / 3600:.1f} h"
            wide = f"the level at {_when(at_s)} is taken from records up to {hours} away"
            return _End(float(np.median(near)), own_u, wide if reach_s > 3600 else "")
        reach_s *= 2
    return _End(
        None, 0.0,
        f"the level at {_when(at_s)} is not known: no record on the table within "
        f"{MOST_BESIDE_S / 3600:.0f} h",
    )  # fmt: skip


def _when(at_s: float) -> str:
    return f"{datetime.fromtimestamp(at_s, UTC):%Y-%m-%d %H:%M} UTC"


def _seen(time_s: Floats, times: tuple[float, float]) -> float:
    """Return the share of hours with a record."""
    hours = max(1, int(np.ceil((times[1] - times[0]) / 3600)))
    return min(1.0, np.unique((time_s - times[0]) // 3600).size / hours)


def _engine(track: Track, place: slice) -> float | None:
    """Return what the engine's counter rose by; a counter that was set back starts anew."""
    if track.engine_fuel_l is None:
        return None
    counter = track.engine_fuel_l[place]
    steps = np.diff(counter[~np.isnan(counter)])
    return float(steps[steps > 0].sum()) if steps.size else None
