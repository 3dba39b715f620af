"""The Watch stage: a log is looked through, people say what they know, the journal keeps both."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import isfinite

import numpy as np

from gaugewright import __version__
from gaugewright.app.log_columns import REMEMBERED
from gaugewright.app.log_shelf import ShelvedLog
from gaugewright.app.watch_reconciled import HeldAgainst, held_against, receipts_of
from gaugewright.app.watch_track import Choice, OneTrack, read_track
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import StateError
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.book import Recorded
from gaugewright.journal.fill_kinds import TableRow
from gaugewright.journal.state import JobState, Kept, TankState
from gaugewright.table.table import Table
from gaugewright.watch.health.case import HealthNote
from gaugewright.watch.order import CLOCK_AHEAD_S
from gaugewright.watch.receipts import Receipt
from gaugewright.watch.thinned import Thinned, thin_track
from gaugewright.watch.values import Event, EventKind, Noise, Track, Undecided, Watched

NO_RECEIPT = "no_receipt"
MOST_HEALTH = 200
"""Findings on health that one entry holds; what is left out is counted in its notes."""


@dataclass(frozen=True, eq=False)
class OpenWatch:
    """A watched log with its records at hand."""

    kept: Kept[wk.LogWatched]
    track: Track
    table: Table
    watched: Watched
    thinned: Thinned


def look_through(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    log: ShelvedLog,
    choice: Choice,
    receipts: ShelvedLog | None = None,
) -> Recorded:
    """Look a log through with the tank's table and record what it shows.

    Raises `StateError` without a table and `InputError` for a log or receipts that cannot be
    read; then nothing is recorded.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    state, tank = yard.tank(job, tank_id)
    table, digest = standing_table(tank)
    one = read_track(
        log.path, log.name, choice, likely=str(state.fact("vehicle") or ""),
        latest_s=yard.now().timestamp() + CLOCK_AHEAD_S, places=[yard.logs.folder / REMEMBERED],
    )  # fmt: skip
    # Read before the log is looked through: a wrong line is said at once.
    called = str(state.fact("vehicle") or "")
    zone = one.columns.get("zone")
    paid = None if receipts is None else receipts_of(receipts, one.track.vehicle, called, zone)
    from gaugewright.watch.detect import watch_vehicle  # compiles when it is first loaded

    watched = watch_vehicle(one.track, table)
    told = None
    if paid is not None:
        told = held_against(paid, one.track, table, watched)
    notes = _health(one.track, table, watched, paid or ())
    event = _entry(tank_id, digest, log, one, watched, notes, choice, told, receipts)
    recorded = yard.record(job, stamp, event)
    one.memory.keep()
    # The page that follows draws it at once.
    key = (job, tank_id, recorded.entries[-1].number, log.sha256)
    yard.logs.opened(key, lambda: (one.track, thin_track(one.track, table)))
    return recorded


def explain(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, *, watched: int, event: int, reason: str
) -> Recorded:
    """Put a reason beside an event; it stays, and is no longer unexplained."""
    return yard.record(job, stamp, wk.SeenEventExplained(tank_id, watched, event, reason))


def withdraw_explanation(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, *, watched: int, event: int, reason: str
) -> Recorded:
    """Take back what was said to an event."""
    return yard.record(job, stamp, wk.ExplanationWithdrawn(tank_id, watched, event, reason))


def watched_entry(tank: TankState, number: int | None = None) -> Kept[wk.LogWatched]:
    """Return a log that was looked through, the last one if no entry is named."""
    if not tank.watches:
        raise NotThereError(f"no log of tank {tank.tank_id} was looked through yet")
    if number is None:
        return tank.watches[-1]
    found = next((kept for kept in tank.watches if kept.number == number), None)
    if found is None:
        raise NotThereError(f"entry {number} is no log of tank {tank.tank_id}")
    return found


def open_watch(yard: Yard, job: str, tank_id: str, number: int | None = None) -> OpenWatch:
    """Return a watched log with its records, read from the shelf.

    Raises `NotThereError` if the log is not on this computer, or is not the one that was
    watched.
    """
    state, tank = yard.tank(job, tank_id)
    kept = watched_entry(tank, number)
    event = kept.event
    table = table_of_digest(tank, event.table_digest)

    def load() -> tuple[Track, Thinned]:
        track = _from_shelf(yard, state, event).track
        return track, thin_track(track, table)

    key = (job, tank_id, kept.number, event.log_sha256)
    track, thinned = yard.logs.opened(key, load)
    return OpenWatch(kept, track, table, watched_of(event), thinned)


def standing_table(tank: TankState) -> tuple[Table, str]:
    """Return the table that a person stands for, else the last one made, and its digest."""
    made = tank.accepted_table or tank.table
    if made is None:
        raise StateError(
            f"tank {tank.tank_id} has no table yet: a log says nothing in litres without one"
        )
    return table_from(made.event.rows), made.event.digest


def table_of_digest(tank: TankState, digest: str) -> Table:
    """Return the table of a tank that has this digest."""
    for made in reversed(tank.tables):
        if made.event.digest == digest:
            return table_from(made.event.rows)
    raise NotThereError(f"tank {tank.tank_id} has no table with digest {digest[:12]}")


def watched_of(event: wk.LogWatched) -> Watched:
    """Return what an entry holds as the watch gave it."""
    vehicle = event.vehicle
    return Watched(
        vehicle,
        tuple(
            Event(vehicle, EventKind(e.kind), e.start_s, e.end_s, e.litres, e.u_litres,
                  e.before_l, e.after_l, e.score, e.reason, e.first, e.last)
            for e in event.events
        ),
        tuple(
            Undecided(vehicle, u.start_s, u.end_s, u.litres, u.u_litres, u.reason)
            for u in event.undecided
        ),
        Noise(**{name: _or_nan(event.noise.get(name)) for name in Noise.__annotations__}),
        event.records,
        event.to_s - event.from_s,
        float("inf") if event.provable_parked_l is None else event.provable_parked_l,
        float("inf") if event.provable_moving_l is None else event.provable_moving_l,
        event.notes,
    )  # fmt: skip


def table_from(rows: Sequence[TableRow]) -> Table:
    """Return a table from the rows that the journal holds."""
    band = [row.u_litres for row in rows]
    return Table(
        np.array([row.counts for row in rows]),
        np.array([row.litres for row in rows]),
        None if None in band else np.array(band, dtype=np.float64),
    )


def explanation_of(
    tank: TankState, watched: Kept[wk.LogWatched], place: int
) -> Kept[wk.SeenEventExplained] | None:
    """Return what was said to an event, in this log or in another that shows the same event.

    Events of two logs are the same if they are of one kind and overlap in time.
    """
    meant = watched.event.events[place]
    for said in reversed(tank.explained):
        if said.voided is not None:
            continue
        if said.event.watched == watched.number:
            if said.event.event == place + 1:
                return said
            continue
        other = next((w for w in tank.watches if w.number == said.event.watched), None)
        if other is None or said.event.event > len(other.event.events):
            continue
        seen = other.event.events[said.event.event - 1]
        if seen.kind == meant.kind and seen.start_s <= meant.end_s and meant.start_s <= seen.end_s:
            return said
    return None


def _from_shelf(yard: Yard, state: JobState, event: wk.LogWatched) -> OneTrack:
    path = yard.logs.find(event.log_sha256)
    if path is None or not yard.logs.is_whole(path, event.log_sha256):
        what = "is not on this computer" if path is None else "was changed since"
        raise NotThereError(
            f"the log {event.log_name} ({event.log_sha256[:12]}) {what}; what was found in it "
            "stands in the journal, to draw it give the log again"
        )
    choice = Choice(**dict(event.columns.get("choice", {})))
    return read_track(path, event.log_name, choice, likely=event.vehicle, before=event.columns)


def _health(
    track: Track, table: Table, watched: Watched, paid: Sequence[Receipt]
) -> tuple[HealthNote, ...]:
    from gaugewright.watch.health.notes import Delivery, health

    return health(track, table, watched, [Delivery(one.time_s, one.litres) for one in paid])


def _entry(
    tank_id: str, digest: str, log: ShelvedLog, one: OneTrack, watched: Watched,
    health: Sequence[HealthNote], choice: Choice, told: HeldAgainst | None,
    receipts: ShelvedLog | None,
) -> wk.LogWatched:  # fmt: skip
    left_out = len(health) - MOST_HEALTH
    notes = list(watched.notes)
    if left_out > 0:
        findings = "finding" if left_out == 1 else "findings"
        notes.append(f"{left_out} more {findings} on the probe's health left out")
    unpaid = () if told is None else tuple(map(_unpaid, told.without_receipt))
    notes += () if told is None else told.suppliers
    return wk.LogWatched(
        tank_id,
        digest,
        log.sha256,
        log.name,
        log.size,
        one.track.vehicle,
        one.track.time_s.size,
        float(one.track.time_s[0]),
        float(one.track.time_s[-1]),
        events=tuple(_seen(event) for event in watched.events),
        undecided=tuple(
            wk.SeenUndecided(u.start_s, u.end_s, u.litres, u.u_litres, u.reason)
            for u in watched.undecided
        ),
        noise=_finite(asdict(watched.noise)),
        provable_parked_l=_or_none(watched.provable_parked_l),
        provable_moving_l=_or_none(watched.provable_moving_l),
        receipts_sha256=None if receipts is None else receipts.sha256,
        receipts_name="" if receipts is None else receipts.name,
        receipts=() if told is None else told.lines,
        health=(
            *(
                wk.SeenHealth(str(n.kind), float(n.start_s), float(n.end_s), n.evidence, n.advice)
                for n in health[:MOST_HEALTH]
            ),
            *unpaid,
        ),
        arrival=asdict(one.arrival),
        columns={**one.columns, "choice": asdict(choice)},
        notes=tuple(notes),
        versions={"gaugewright": __version__, "numpy": np.__version__},
    )


def _unpaid(event: Event) -> wk.SeenHealth:
    """Return a refuel that nobody has a receipt for; of the kind that the command line writes."""
    return wk.SeenHealth(
        NO_RECEIPT, float(event.start_s), float(event.end_s),
        f"{event.litres:.1f} ± {event.u_litres:.1f} L were put in and there is no receipt",
    )  # fmt: skip


def _seen(event: Event) -> wk.SeenEvent:
    return wk.SeenEvent(
        str(event.kind), float(event.start_s), float(event.end_s), float(event.litres),
        float(event.u_litres), float(event.before_l), float(event.after_l), float(event.score),
        event.reason, int(event.first), int(event.last),
    )  # fmt: skip


def _finite(figures: Mapping[str, float]) -> dict[str, float | None]:
    return {name: _or_none(value) for name, value in figures.items()}


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)


def _or_none(value: float) -> float | None:
    return float(value) if isfinite(value) else None
