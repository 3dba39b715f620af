"""The instruments that are read in one program, by job and tank.

What listens to one is loaded with the first: a program that starts has none.
"""

import threading
from collections.abc import Mapping
from typing import TYPE_CHECKING

from gaugewright.errors import SourceError
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.app.live import LiveInstrument, Open
    from gaugewright.app.scales import Scale
    from gaugewright.instruments.settings import SourceSettings
    from gaugewright.pours.steady import SteadySettings


class LiveDesk:
    """Every instrument that is read now, by job and tank."""

    def __init__(
        self, open_source: "Open | None" = None, steady: "SteadySettings | None" = None
    ) -> None:
        self._open = open_source
        self._steady = steady
        self._lock = threading.Lock()
        self._starting = threading.Lock()
        self._live: dict[tuple[str, str], LiveInstrument] = {}
        self._stopped: set[tuple[str, str]] = set()
        self._is_closed = False

    def is_stopped(self, job: str, tank_id: str) -> bool:
        """Tell whether a person has stopped this instrument and not started it since."""
        with self._lock:
            return (job, tank_id) in self._stopped

    def start(
        self, job: str, tank_id: str, settings: "SourceSettings", scale: "Scale | None"
    ) -> "LiveInstrument":
        """Read an instrument; one that is read already with these settings goes on.

        A line is read for one job at a time: the same line in another job is given free.
        """
        from gaugewright.app.live import LiveInstrument
        from gaugewright.instruments.catalog import source_of

        key = (job, tank_id)
        with self._starting:
            with self._lock:
                if self._is_closed:
                    raise SourceError(said("the program is closing"))
                self._stopped.discard(key)
                there = self._live.get(key)
                if there is not None and there.settings == settings:
                    there.scale = scale or there.scale
                    return there
                in_the_way = [
                    self._live.pop(other)
                    for other, live in list(self._live.items())
                    if other == key or _same_line(live.settings, settings)
                ]
            # Outside of the lock: a line may take seconds to close, and screens look on.
            for live in in_the_way:
                live.close()
            found = LiveInstrument(
                tank_id, settings, scale, open_source=self._open or source_of, steady=self._steady
            )
            with self._lock:
                if not self._is_closed:
                    self._live[key] = found
                    return found
            found.close()
            raise SourceError(said("the program is closing"))

    def stop(self, job: str, tank_id: str) -> None:
        """Read this instrument no more until it is started again."""
        with self._lock:
            self._stopped.add((job, tank_id))
            live = self._live.pop((job, tank_id), None)
        if live is not None:
            live.close()

    def get(self, job: str, tank_id: str) -> "LiveInstrument | None":
        """Return what is read for a tank, ``None`` if nothing is."""
        with self._lock:
            return self._live.get((job, tank_id))

    def of_job(self, job: str) -> "tuple[LiveInstrument, ...]":
        """Return every instrument that is read for a job."""
        with self._lock:
            return tuple(live for (of, _), live in self._live.items() if of == job)

    def rescale(self, job: str, scales: "Mapping[str, Scale]") -> None:
        """Show litres by these scales from now on."""
        for live in self.of_job(job):
            live.scale = scales.get(live.tank_id)

    def close(self) -> None:
        """Read nothing more.  Safe to call twice."""
        with self._lock:
            self._is_closed = True
            live, self._live = list(self._live.values()), {}
        for each in live:
            each.close()


def _same_line(one: "SourceSettings", other: "SourceSettings") -> bool:
    """Tell whether two settings ask for the same port of this computer."""
    mine, theirs = one.to_mapping(), other.to_mapping()
    return "port" in mine and "host" not in mine and mine.get("port") == theirs.get("port")
