"""What is wrong with probes and records, told by the live watch without being asked."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Any

Notes = list[dict[str, Any]]

EVERY_S = 3600.0
"""All kept records are looked through this often: it takes as long as a look at every vehicle,
and what is wrong with a probe shows over days. [s]"""


@dataclass
class HealthTeller:
    """Sends the notes where others are due and not the same; for one thread.

    ``clock`` gives seconds.
    """

    notes: Callable[[], Notes]
    send: Callable[[Notes], None]
    clock: Callable[[], float]
    every_s: float = EVERY_S
    _due_s: float = -inf
    _now: Notes | None = None
    _told: Notes | None = None

    def tell(self) -> None:
        """Look through the records if that is due, and send what is not sent yet.

        Raises `GaugewrightError` if they cannot be looked through or sent; what could not be
        sent is sent at the next call, without looking again.

        >>> sent = []
        >>> teller = HealthTeller(lambda: [{"vehicle": "T-7"}], sent.append, lambda: 0.0)
        >>> teller.tell(), teller.tell(), sent
        (None, None, [[{'vehicle': 'T-7'}]])
        """
        now_s = self.clock()
        if now_s >= self._due_s:
            self._due_s = now_s + self.every_s
            self._now = self.notes()
        if self._now is not None and self._now != self._told:
            self.send(self._now)
            self._told = self._now
