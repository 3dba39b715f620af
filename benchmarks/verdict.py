"""From pressing the button to the verdict, and from the start to the first page.

The verdict is wanted within 150 ms of the press, the first page within 1.5 s of the start.
"""

import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import NamedTuple

from gaugewright.app.yard import Yard, load_numerics
from gaugewright.journal.book import open_book
from gaugewright.testing.hand import Hand, counts_at
from gaugewright.workbench.running import prepare

WANTED_MS, FIRST_PAGE_S = 150.0, 1.5
PORT = 8149
START = "from gaugewright.cli.open import open_; open_({book!r}, port='{port}', no_browser=True)"


class Taken(NamedTuple):
    """What a press took by the clock, and of the processor (which other programs want too)."""

    wall_ms: float
    cpu_ms: float


def main() -> None:
    """Measure both and say how they stand against what is wanted."""
    load_numerics()
    with tempfile.TemporaryDirectory() as folder:
        bench = prepare(Yard(open_book(Path(folder) / "speed.book")), port=0).start()
        hand = Hand(bench.url)
        right, wrong = [], []
        for _ in range(3):
            hand.open_job()
            hand.begin()
            right += _pours(hand)
            wrong += _mistakes(hand)
        hand.client.close()
        bench.stop()
        _say("verdict on a pour that fits", right)
        _say("verdict on a mistyped pour", wrong)
        starts = [_first_page_s(Path(folder) / "start.book") for _ in range(5)]
    print(
        f"start to first page: median {statistics.median(starts):.2f} s, "
        f"worst {max(starts):.2f} s; {FIRST_PAGE_S} s wanted "
        f"(load of this machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)"
    )


def _pours(hand: Hand) -> list[Taken]:
    """Record ten pours that fit; return what each took. [ms]"""
    return [_timed(hand, 25.0 if step else 0.0, 25.0 * step) for step in range(10)]


def _mistakes(hand: Hand) -> list[Taken]:
    """Record mistyped pours and take each back; return what each took. [ms]"""
    taken = []
    for wrong_l in (52.0, 2.5, 250.0, 35.0):
        taken.append(_timed(hand, wrong_l, 250.0))
        number = hand.state()["tanks"][0]["fill"]["pours"][-1]["number"]
        hand.record(f"/pours/{number}/void", reason="measured")
    return taken


def _timed(hand: Hand, added_l: float, total_l: float) -> Taken:
    began, cpu = time.perf_counter(), time.process_time()
    answer = hand.record("/tanks/main/pours", added_l=added_l, counts=counts_at(total_l))
    taken = Taken(1000 * (time.perf_counter() - began), 1000 * (time.process_time() - cpu))
    assert answer["verdict"]["took_ms"] > 0
    return taken


def _first_page_s(book: Path) -> float:
    """Start the program and return when its first page was there. [s]"""
    began = time.perf_counter()
    start = START.format(book=str(book), port=PORT)
    program = subprocess.Popen([sys.executable, "-c", start], stdout=subprocess.DEVNULL)
    try:
        while True:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{PORT}/", timeout=5) as page:
                    page.read()
                return time.perf_counter() - began
            except OSError:
                time.sleep(0.005)
    finally:
        program.send_signal(signal.SIGINT)
        program.wait(10)


def _say(what: str, taken: list[Taken]) -> None:
    walls = [each.wall_ms for each in taken]
    cpu = statistics.median(each.cpu_ms for each in taken)
    within = sum(each <= WANTED_MS for each in walls)
    print(
        f"{what}, over HTTP: median {statistics.median(walls):.0f} ms, of which the processor "
        f"{cpu:.0f} ms (client too), worst {max(walls):.0f} ms; "
        f"{within} of {len(walls)} within {WANTED_MS:.0f} ms"
    )


if __name__ == "__main__":
    main()
