"""The checks of arrival that run in one program, one for each tank."""

import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugewright.app.arrives import ArrivalCheck


class ArrivalDesk:
    """The checks that run, one for each tank."""

    def __init__(self) -> None:
        self._running: dict[tuple[str, str], ArrivalCheck] = {}
        self._lock = threading.Lock()

    def get(self, job: str, tank_id: str) -> "ArrivalCheck | None":
        """Return the check of a tank, ``None`` if none was begun."""
        with self._lock:
            return self._running.get((job, tank_id))

    def put(self, job: str, tank_id: str, check: "ArrivalCheck | None") -> None:
        """Let a check take the place of the one before, which is ended."""
        with self._lock:
            before = self._running.pop((job, tank_id), None)
            if check is not None:
                self._running[(job, tank_id)] = check
        if before is not None:
            before.close()

    def close(self) -> None:
        """End every check."""
        with self._lock:
            running, self._running = list(self._running.values()), {}
        for each in running:
            each.close()
