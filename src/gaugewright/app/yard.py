"""The yard: the job book, the clock and the live instruments of one running program.

Every use case beside this module takes the yard and a `Stamp`, and comes back only once
what was said is on disk.
"""

import os
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import import_module
from typing import TYPE_CHECKING

from gaugewright.app.arrival_desk import ArrivalDesk
from gaugewright.app.live_desk import LiveDesk
from gaugewright.app.log_shelf import LogShelf, shelf_folder
from gaugewright.errors import ChainError, JournalError, StateError
from gaugewright.journal.book import Book, Recorded
from gaugewright.journal.demands import Event
from gaugewright.journal.state import JobState, TankState
from gaugewright.units import VolumeUnit
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.instruments.rig_lines import RunningRig

VOLUME_UNITS: dict[str, VolumeUnit] = {
    "litres": "L",
    "us_gallons": "US gal",
    "imperial_gallons": "imp gal",
}
"""What a book calls its unit, and its short name."""


class NotThereError(JournalError):
    """There is no such job, tank or photo."""


class UnsteadyError(JournalError):
    """The live reading may not be recorded now; the message says why and for how long."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """On whose behalf something is recorded, where, and which entry it builds on."""

    person: str
    device: str
    on: int
    """The last entry that the person saw."""
    request_id: str | None = None
    """The same again for the same press of the button: sending twice records once."""


@dataclass(frozen=True, slots=True)
class RigHere:
    """A simulated yard in this process, with a dispenser to press."""

    running: "RunningRig"
    job: str
    tank_id: str


def _utc_now() -> datetime:
    return datetime.now(UTC)


def load_numerics() -> None:
    """Load what the first verdict and the first live reading need, ahead of them."""
    import_module("gaugewright.pours.check")
    import_module("gaugewright.pours.steady")
    import_module("gaugewright.app.calibrate")


def use_one_thread_for_matrices() -> None:
    """Let linear algebra of this program run on one thread from here on.

    The matrices of a fill are so small that threads which wait for each other make a
    verdict several times slower.  Libraries that are loaded later read the environment.
    """
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if "numpy" in sys.modules:
        from threadpoolctl import threadpool_limits

        threadpool_limits(limits=1, user_api="blas")


class Yard:
    """Owns the book, the clock, the reader threads and what is live.  Safe between threads."""

    def __init__(
        self,
        book: Book,
        *,
        now: Callable[[], datetime] = _utc_now,
        desk: LiveDesk | None = None,
    ) -> None:
        self.book = book
        self.now = now
        self.desk = desk or LiveDesk()
        self.logs = LogShelf(shelf_folder(book.store.file))
        self.arrivals = ArrivalDesk()
        self.rig: RigHere | None = None
        self.last_numbers: dict[str, int] = {}
        """The last entry of each job that this program has written to."""
        self._closing: list[Callable[[], None]] = []
        self._lock = threading.Lock()

    @property
    def unit(self) -> VolumeUnit:
        """Unit in which volumes are typed in this book."""
        return VOLUME_UNITS[self.book.settings().volume_unit]

    def state(self, job: str) -> JobState:
        """Return the state of a job, `NotThereError` if it is not in the book."""
        try:
            return self.book.state(job)
        except ChainError:
            raise
        except JournalError as error:
            if self.book.store.tip(job).number == 0:
                raise NotThereError(str(error)) from None
            raise

    def tank(self, job: str, tank_id: str) -> tuple[JobState, TankState]:
        """Return a job's state and one of its tanks, `NotThereError` if it is not there."""
        state = self.state(job)
        tank = state.tanks.get(tank_id)
        if tank is None:
            known = ", ".join(state.tanks) or "none"
            raise NotThereError(
                said(
                    "there is no tank {tank_id} in job {job}; described: {known}",
                    tank_id=tank_id,
                    job=job,
                    known=known,
                )
            )
        return state, tank

    def repeated(self, job: str, stamp: Stamp) -> Recorded | None:
        """Return what the same request recorded before, ``None`` if it never came."""
        if stamp.request_id is None:
            return None
        entries = self.book.store.requested(job, stamp.request_id)
        return Recorded(entries, self.state(job), self.unit) if entries else None

    def record(self, job: str, stamp: Stamp, *events: Event) -> Recorded:
        """Record events on a job; they are on disk when this returns.

        Raises what `Book.record` raises, and `StateError` for an entry to build on that
        the job does not have.
        """
        if stamp.on > (last := self.book.store.tip(job).number):
            raise StateError(
                said(
                    "job {job} ends at entry {last}, there is no entry {on}",
                    job=job,
                    last=last,
                    on=stamp.on,
                )
            )
        recorded = self.book.record(
            job,
            stamp.on,
            events,
            at=self.now(),
            person=stamp.person,
            device=stamp.device,
            request_id=stamp.request_id,
        )
        from gaugewright.app.scales import scales_of  # its numerics load slowly

        self.last_numbers[job] = recorded.state.tip.number
        self.desk.rescale(job, scales_of(recorded.state))
        return recorded._replace(unit=self.unit)

    def when_closing(self, action: Callable[[], None]) -> None:
        """Have something done when the yard is closed, the last first."""
        with self._lock:
            self._closing.append(action)

    def close(self) -> None:
        """Stop the readers, then give the book free.  Safe to call twice."""
        self.arrivals.close()
        self.desk.close()
        with self._lock:
            actions, self._closing = self._closing, []
        for action in reversed(actions):
            action()
        self.book.close()
