"""What the live watch knows, on disk: records not yet forgotten, and what was said of them.

One SQLite file.  A record is on disk before its sender is told so; what is to be said is on disk
before it is sent, in the same transaction as the look that found it.  So a kill at any moment
loses nothing: a sender that was not told sends again, and what is not marked as sent is sent
again, under the same number.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from typing import Any

import numpy as np

from gaugewright.app.files import reason
from gaugewright.app.watch_live_records import FIGURES, Record
from gaugewright.errors import FileError
from gaugewright.watch.values import Event, EventKind, Floats

_SCHEMA = f"""
create table if not exists vehicle (
  id integer primary key, name text not null unique,
  arrived integer not null default 0, looked integer not null default 0,
  forgotten integer not null default 0);
create table if not exists record (
  vehicle integer not null, time_s real not null, {", ".join(f"{name} real" for name in FIGURES)},
  primary key (vehicle, time_s)) without rowid;
create table if not exists event (
  id integer primary key, vehicle integer not null, kind text not null, start_s real not null,
  end_s real not null, stands integer not null, body text not null);
create index if not exists event_of_vehicle on event (vehicle, start_s);
create table if not exists message (
  number integer primary key autoincrement, body text not null, sent integer not null default 0);
create index if not exists message_to_send on message (sent) where sent = 0;
"""
_TAKE = (
    f"insert into record (vehicle, time_s, {', '.join(FIGURES)}) "
    f"values (?, ?{', ?' * len(FIGURES)}) on conflict (vehicle, time_s) do update set "
    + ", ".join(f"{name} = excluded.{name}" for name in FIGURES)
    # As everywhere: the first record of a moment that carries counts stands.
    + " where record.counts is null and excluded.counts is not null"
)


@dataclass(frozen=True)
class Taken:
    """What became of records: new ones, and those whose moment was there already."""

    taken: int
    doubled: int


@dataclass(frozen=True)
class Said:
    """An event as it was last said, under its number."""

    id: int
    event: Event
    stands: bool


class LiveStore:
    """The live watch's memory; safe to be called from several threads."""

    def __init__(self, path: Path) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(path, check_same_thread=False, isolation_level=None)
        except (OSError, sqlite3.Error) as error:
            said = reason(error) if isinstance(error, OSError) else str(error)
            raise FileError(f"{path}: cannot be opened: {said}") from None
        self._path = path
        self._lock = RLock()
        self._ids: dict[str, int] = {}
        with self._refusing():
            self._db.execute("pragma journal_mode = wal")
            self._db.execute("pragma synchronous = full")
            self._db.executescript(_SCHEMA)

    def close(self) -> None:
        """Close the file; what was taken is in it already."""
        with self._lock:
            self._db.close()

    def take(self, records: Sequence[Record]) -> Taken:
        """Put records on disk, all or none, and only then return."""
        with self._transaction():
            known = {name: self._id(name) for name in dict.fromkeys(r.vehicle for r in records)}
            new = 0
            arrived: dict[int, int] = {}
            for record in records:
                vehicle = known[record.vehicle]
                row = (vehicle, record.time_s, *record.figures)
                changed = self._db.execute(_TAKE, row).rowcount
                new += changed
                if changed:
                    arrived[vehicle] = arrived.get(vehicle, 0) + changed
            self._db.executemany(
                "update vehicle set arrived = arrived + ? where id = ?",
                [(number, vehicle) for vehicle, number in arrived.items()],
            )
        return Taken(new, len(records) - new)

    def waiting(self) -> list[tuple[str, int]]:
        """Return the vehicles with records that nobody looked at, and how many came in all."""
        with self._lock, self._refusing():
            rows = self._db.execute(
                "select name, arrived from vehicle where arrived > looked order by name"
            )
            return [(str(name), int(arrived)) for name, arrived in rows.fetchall()]

    def vehicles(self) -> list[str]:
        """Return the vehicles with records that are kept, by name."""
        with self._lock, self._refusing():
            rows = self._db.execute(
                "select name from vehicle where exists "
                "(select 1 from record where vehicle = id) order by name"
            )
            return [str(name) for (name,) in rows.fetchall()]

    def columns(self, vehicle: str, since_s: float) -> dict[str, Floats]:
        """Return a vehicle's records from a time on, in order; columns nobody sent are left out."""
        with self._lock, self._refusing():
            rows = self._db.execute(
                f"select time_s, {', '.join(FIGURES)} from record "
                "where vehicle = ? and time_s >= ? order by time_s",
                (self._id(vehicle), since_s),
            ).fetchall()
        table = np.array(rows, dtype=np.float64).reshape(len(rows), 1 + len(FIGURES))
        columns = {"time_s": np.ascontiguousarray(table[:, 0])}
        for place, name in enumerate(FIGURES, start=1):
            if name == "counts" or np.isfinite(table[:, place]).any():
                columns[name] = np.ascontiguousarray(table[:, place])
        return columns

    def last_s(self, vehicle: str) -> float:
        """Return the time of a vehicle's last record. [s since 1970]"""
        with self._lock, self._refusing():
            row = self._db.execute(
                "select max(time_s) from record where vehicle = ?", (self._id(vehicle),)
            ).fetchone()
        return float(row[0])

    def has_before(self, vehicle: str, since_s: float) -> bool:
        """Return whether a vehicle has, or had, records from before a time."""
        with self._lock, self._refusing():
            row = self._db.execute(
                "select forgotten or exists (select 1 from record where vehicle = id "
                "and time_s < ?) from vehicle where name = ?", (since_s, vehicle),
            ).fetchone()  # fmt: skip
        return bool(row and row[0])

    def said(self, vehicle: str | None = None, since_s: float = -1e300) -> list[Said]:
        """Return the events that were said, those withdrawn too, in order of time."""
        with self._lock, self._refusing():
            rows = self._db.execute(
                "select id, stands, body from event where start_s >= ? "
                "and (? is null or vehicle = (select id from vehicle where name = ?)) "
                "order by vehicle, start_s, id",
                (since_s, vehicle, vehicle),
            ).fetchall()
        return [
            Said(int(key), _event(json.loads(body)), bool(stands)) for key, stands, body in rows
        ]

    def looked(
        self, vehicle: str, arrived: int, changes: Iterable[tuple[str, Said | None, Event]]
    ) -> None:
        """Keep what a look found, and what is to be said of it, in one transaction.

        ``changes`` are ``new``, ``changed`` or ``withdrawn``, what stood before, and the event;
        what is merely ``refined`` is kept and not said.
        ``arrived`` is what `waiting` said when the look began: what came since waits on.
        """
        with self._transaction():
            key = self._id(vehicle)
            for what, before, event in changes:
                body = json.dumps(_plain(event), allow_nan=True)
                values = (str(event.kind), event.start_s, event.end_s, what != "withdrawn", body)
                if before is None:
                    number = self._db.execute(
                        "insert into event (vehicle, kind, start_s, end_s, stands, body) "
                        "values (?, ?, ?, ?, ?, ?)", (key, *values),
                    ).lastrowid  # fmt: skip
                else:
                    number = before.id
                    self._db.execute(
                        "update event set kind = ?, start_s = ?, end_s = ?, stands = ?, body = ? "
                        "where id = ?", (*values, number),
                    )  # fmt: skip
                if what == "refined":
                    continue
                message = {"event": number, "what": what, **_plain(event)}
                self._db.execute("insert into message (body) values (?)", (json.dumps(message),))
            self._db.execute("update vehicle set looked = ? where id = ?", (arrived, key))

    def to_send(self) -> list[tuple[int, dict[str, Any]]]:
        """Return the messages that are not marked as sent, with their numbers."""
        with self._lock, self._refusing():
            rows = self._db.execute(
                "select number, body from message where sent = 0 order by number"
            ).fetchall()
        return [(int(number), json.loads(body)) for number, body in rows]

    def sent(self, number: int) -> None:
        """Mark a message as sent."""
        with self._transaction():
            self._db.execute("update message set sent = 1 where number = ?", (number,))

    def forget(self, keep_s: float) -> int:
        """Take away each vehicle's records from longer than this before its last one. [s]

        What was said of them stays.  Returns how many were taken away.
        """
        with self._transaction():
            old = self._db.execute(
                "select id, (select max(time_s) from record where vehicle = id) - ? from vehicle",
                (keep_s,),
            ).fetchall()
            gone = 0
            for vehicle, before_s in old:
                number = self._db.execute(
                    "delete from record where vehicle = ? and time_s < ?", (vehicle, before_s)
                ).rowcount
                if number:
                    self._db.execute("update vehicle set forgotten = 1 where id = ?", (vehicle,))
                gone += number
        return gone

    def _id(self, name: str) -> int:
        if name not in self._ids:
            self._db.execute("insert or ignore into vehicle (name) values (?)", (name,))
            row = self._db.execute("select id from vehicle where name = ?", (name,)).fetchone()
            self._ids[name] = int(row[0])
        return self._ids[name]

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._lock, self._refusing():
            self._db.execute("begin immediate")
            try:
                yield
            except BaseException:
                self._db.execute("rollback")
                self._ids.clear()
                raise
            self._db.execute("commit")

    @contextmanager
    def _refusing(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise FileError(f"{self._path}: {error}") from None


def _plain(event: Event) -> dict[str, Any]:
    return {
        "vehicle": event.vehicle, "kind": str(event.kind), "start_s": event.start_s,
        "end_s": event.end_s, "litres": event.litres, "u_litres": event.u_litres,
        "before_l": event.before_l, "after_l": event.after_l, "score": event.score,
        "reason": event.reason,
    }  # fmt: skip


def _event(body: dict[str, Any]) -> Event:
    # The numbers of its records have no meaning once earlier records are forgotten.
    return Event(**{**body, "kind": EventKind(body["kind"])}, first=-1, last=-1)
