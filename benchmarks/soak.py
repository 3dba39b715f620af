"""A live reading for hours: one million readings, flat memory, young on the screen.

``python -m benchmarks soak [READINGS]``.  The readings pass through the desk as fast as
they can while a page listens to the stream.
"""

import os
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx
import numpy as np

from gaugewright.app.live_desk import LiveDesk
from gaugewright.app.yard import Yard, load_numerics
from gaugewright.instruments.events import Sample, Signal
from gaugewright.instruments.manual import ManualSettings
from gaugewright.instruments.source import Source
from gaugewright.journal.book import open_book
from gaugewright.testing.hand import Hand
from gaugewright.workbench.running import prepare

READINGS = 1_000_000
BATCH = 50


class Flood(Source[ManualSettings]):
    """Gives readings without a pause until all have been given."""

    given = 0

    def __init__(self, settings: ManualSettings, wanted: int) -> None:
        super().__init__(settings)
        self.wanted = wanted
        rng = np.random.default_rng(1)
        noise = (2000 + rng.normal(size=10_000)).round()
        self._samples = [Sample(float(counts), 15.0, b"") for counts in noise]

    def _connect(self) -> None:
        """There is nothing to open."""

    def _receive(self, timeout_s: float) -> Sequence[Signal]:
        if self.given >= self.wanted:
            self._stop.wait(timeout_s)
            return []
        place = self.given % len(self._samples)
        self.given += BATCH
        # Whoever listens must get a turn.
        self._stop.wait(0.0002)
        return self._samples[place : place + BATCH]

    def _disconnect(self) -> None:
        """There is nothing to release."""


def main(readings: int = READINGS) -> None:
    """Let the readings through and say what memory did and how old they were shown."""
    load_numerics()
    floods: list[Flood] = []

    def opened(settings: Any) -> Source[Any]:
        floods.append(Flood(settings, readings))
        return floods[-1]

    with tempfile.TemporaryDirectory() as folder:
        yard = Yard(open_book(Path(folder) / "soak.book"), desk=LiveDesk(opened))
        bench = prepare(yard, port=0).start()
        hand = Hand(bench.url)
        hand.open_job()
        hand.begin()
        events = _Listener(f"{bench.url}api/jobs/{hand.job}/live")
        hand.record("/instruments/main", "PUT", settings={"kind": "manual", "silent_after_s": 5})
        events.start()
        began, sizes = time.perf_counter(), []
        while not floods or floods[0].given < readings:
            time.sleep(0.25)
            if floods:
                sizes.append((floods[0].given, _resident_mb()))
        taken = time.perf_counter() - began
        events.ends.set()
        hand.client.close()
        bench.stop()
        events.join(5)
    early = [mb for given, mb in sizes if given > readings / 10]
    print(
        f"{readings} readings in {taken:.0f} s: {early[0]:.1f} MB after a tenth of them, "
        f"{early[-1]:.1f} MB at the end; {events.count} events on the page, "
        f"the oldest reading among them {max(events.ages, default=0):.2f} s old"
    )


class _Listener(threading.Thread):
    """A page that only counts."""

    def __init__(self, url: str) -> None:
        super().__init__(daemon=True)
        self.url = url
        self.ends = threading.Event()
        self.count = 0
        self.ages: list[float] = []

    def run(self) -> None:
        """Listen until told otherwise."""
        import json

        with httpx.stream("GET", self.url, timeout=10) as answer:
            for line in answer.iter_lines():
                if self.ends.is_set():
                    return
                if line.startswith('data: {"tank_id"'):
                    self.count += 1
                    age_s = json.loads(line.removeprefix("data: "))["age_s"]
                    if age_s is not None:
                        self.ages.append(age_s)


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
