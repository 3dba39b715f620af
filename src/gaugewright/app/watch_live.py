"""Watching live: records come in, each vehicle is looked at again, events go out within a minute.

A look goes over the vehicle's last days, as for a log, so that the live watch says what a log
of the same records would say.  What it said before is corrected: an event whose litres come out
otherwise as more records arrive is sent again as ``changed``, one that turns out to be none as
``withdrawn``, each under the number it had.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from threading import Event as Flag
from typing import Any

from gaugewright.app.spool import Stretch
from gaugewright.app.watch_files import iso
from gaugewright.app.watch_live_records import read_records
from gaugewright.app.watch_live_store import LiveStore, Said
from gaugewright.app.watch_tables import TableFiles
from gaugewright.app.watch_task import Done, HealthCheck, Look, Task, run_task
from gaugewright.errors import GaugewrightError
from gaugewright.table.table import Table
from gaugewright.watch.order import CLOCK_AHEAD_S
from gaugewright.watch.remarks import Remark
from gaugewright.watch.values import Event, Floats

DAY_S = 86_400.0
ROUND_S = 15.0
"""A vehicle with new records is looked at again after this. [s]"""
WINDOW_DAYS = 10.0
"""Records that a look goes over. [days]"""
SETTLED_DAYS = 1.0
"""So near the window's old end nothing is corrected: what stood before is out of sight. [days]"""
FORGET_S = 3600.0
"""How often what has left the window is taken away. [s]"""
CHANGED_SHARE = 0.5
"""Litres that move by more than this share of the band are worth a correction."""

Send = Callable[[dict[str, Any]], None]
"""Sends one message out; raises `GaugewrightError` if it cannot now, and is asked again."""


@dataclass(frozen=True)
class LiveSettings:
    """How the live watch works: how often it looks, over how many days, how long it keeps."""

    round_s: float = ROUND_S
    window_days: float = WINDOW_DAYS


@dataclass(frozen=True)
class Answer:
    """What a sender is told: what was taken, what was there already, what cannot be taken."""

    taken: int
    doubled: int
    refused: list[dict[str, Any]]

    @property
    def is_refused(self) -> bool:
        """Whether nothing of it could be taken."""
        return bool(self.refused) and not (self.taken or self.doubled)


@dataclass
class LiveWatch:
    """Takes records, looks at vehicles, sends what is to be said.

    ``clock`` gives seconds since 1970.  `take` may be called from any thread; `look_round` and
    `send_all` are for one.
    """

    store: LiveStore
    tables: TableFiles
    look: Look
    clock: Callable[[], float]
    settings: LiveSettings = field(default_factory=LiveSettings)
    troubles: dict[str, str] = field(default_factory=dict)
    """What is wrong now, by vehicle."""
    _tables: dict[str, tuple[Table, ...]] = field(default_factory=dict)

    def take(self, content: bytes) -> Answer:
        """Take the records of a message; when this returns they are on disk."""
        good, bad = read_records(content, latest_s=self.clock() + CLOCK_AHEAD_S)
        done = self.store.take(good)
        return Answer(done.taken, done.doubled, [one.as_json() for one in bad])

    def look_round(self) -> int:
        """Look at every vehicle with new records; return how many events have changed."""
        found = 0
        for vehicle, arrived in self.store.waiting():
            changes = self._changes(vehicle)
            self.store.looked(vehicle, arrived, changes)
            found += len(changes)
        return found

    def send_all(self, send: Send) -> int:
        """Send what is not sent yet, in order; stop at the first that cannot be sent now."""
        number_sent = 0
        for number, message in self.store.to_send():
            try:
                send(as_message(number, message))
            except GaugewrightError as error:
                self.troubles["sending"] = str(error)
                return number_sent
            self.store.sent(number)
            self.troubles.pop("sending", None)
            number_sent += 1
        return number_sent

    def standing(self) -> list[Event]:
        """Return all events that stand, by vehicle and time."""
        return sorted(
            (said.event for said in self.store.said() if said.stands),
            key=lambda event: (event.vehicle, event.start_s, event.kind),
        )

    def health(self, check: HealthCheck) -> list[Remark]:
        """Return what is wrong with probes and records by all that is kept, by vehicle and time."""
        look = replace(self.look, health=check)
        found: list[Remark] = []
        for vehicle in self.store.vehicles():
            if tables := self._tables_of(vehicle):
                found += self._looked(vehicle, tables, look).remarks
        return found

    def run(
        self,
        send: Send,
        stop: Flag,
        *,
        changed: Callable[[], None] = lambda: None,
        after: Callable[[], None] = lambda: None,
    ) -> None:
        """Look and send, round after round, until told to stop; then once more.

        ``changed`` is called when other events stand than before, and before they are sent;
        ``after`` after each round.
        """
        forgotten_s = -1e300
        changed()
        while True:
            is_last = stop.is_set()
            began = time.monotonic()
            if self.look_round():
                changed()
            self.send_all(send)
            if began - forgotten_s > FORGET_S:
                forgotten_s = began
                self.store.forget((self.settings.window_days + 1) * DAY_S)
            after()
            if is_last:
                return
            stop.wait(max(0.0, self.settings.round_s - (time.monotonic() - began)))

    def _changes(self, vehicle: str) -> list[tuple[str, Said | None, Event]]:
        """Look at one vehicle; return what has changed against what was said of it."""
        try:
            tables = self._tables_of(vehicle)
        except GaugewrightError as error:
            self.troubles[vehicle] = str(error)
            return []
        if not tables:
            self.troubles[vehicle] = f"there is no table {vehicle}.csv"
            return []
        since_s = self._since_s(vehicle)
        columns = self.store.columns(vehicle, since_s)
        done = self._looked(vehicle, tables, self.look, columns)
        if done.watched is None:
            self.troubles[vehicle] = done.refused or "; ".join(r.message for r in done.remarks)
            return []
        self.troubles.pop(vehicle, None)
        settled_s = -1e300
        if self.store.has_before(vehicle, since_s):
            # What lies before is out of sight, and with it what stood at the window's edge.
            settled_s = float(columns["time_s"][0]) + SETTLED_DAYS * DAY_S
        said = [one for one in self.store.said(vehicle, settled_s) if one.stands]
        seen = [event for event in done.watched.events if event.start_s >= settled_s]
        return corrections(said, seen)

    def _since_s(self, vehicle: str) -> float:
        return self.store.last_s(vehicle) - self.settings.window_days * DAY_S

    def _looked(
        self,
        vehicle: str,
        tables: tuple[Table, ...],
        look: Look,
        columns: dict[str, Floats] | None = None,
    ) -> Done:
        if columns is None:
            columns = self.store.columns(vehicle, self._since_s(vehicle))
        rows = columns["time_s"].size
        stretch = Stretch((), rows, 0, rows, None, 0, columns)
        return run_task(Task(vehicle, 0, (stretch,), tables, look, self.clock() + CLOCK_AHEAD_S))

    def _tables_of(self, vehicle: str) -> tuple[Table, ...]:
        if vehicle not in self._tables:
            found = self.tables.of(vehicle)
            if not found:
                return ()
            self._tables[vehicle] = found
        return self._tables[vehicle]


def corrections(
    said: Sequence[Said], seen: Sequence[Event]
) -> list[tuple[str, Said | None, Event]]:
    """Return what is to be said: new events, changed ones, those that are none any more.

    An event is the one that was said if it is of the same kind and overlaps it in time; of
    several the nearest.  It has changed if its litres moved by more than `CHANGED_SHARE` of
    the band, or its band by as much; it is refined if anything else of it is new.
    """
    left = list(said)
    changes: list[tuple[str, Said | None, Event]] = []
    for event in sorted(seen, key=lambda one: one.start_s):
        same = [
            one for one in left
            if one.event.kind == event.kind
            and one.event.start_s <= event.end_s and event.start_s <= one.event.end_s
        ]  # fmt: skip
        if not same:
            changes.append(("new", None, event))
            continue
        before = min(same, key=lambda one: abs(one.event.start_s - event.start_s))
        left.remove(before)
        least = CHANGED_SHARE * min(event.u_litres, before.event.u_litres)
        moved = abs(event.litres - before.event.litres)
        widened = abs(event.u_litres - before.event.u_litres)
        if not (moved <= least and widened <= least):
            changes.append(("changed", before, event))
        elif replace(event, first=-1, last=-1) != before.event:
            changes.append(("refined", before, event))
    return changes + [("withdrawn", one, one.event) for one in left]


def as_message(number: int, message: dict[str, Any]) -> dict[str, Any]:
    """Return a message as it goes out: the contract's fields, times in ISO 8601."""
    rest = {name: value for name, value in message.items() if name not in ("start_s", "end_s")}
    figures = {
        name: (round(value, 4) if isfinite(value) else None)
        for name, value in rest.items()
        if isinstance(value, float)
    }
    return {
        "number": number, **rest, **figures,
        "start": iso(message["start_s"]), "end": iso(message["end_s"]),
    }  # fmt: skip
