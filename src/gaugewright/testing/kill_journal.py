"""Kill a process while it writes a job book, and look what is left.

``python -m gaugewright.testing.kill_journal BOOK`` is the process to be killed: for each
``go`` that it reads it forks a child that goes on with a scripted fill and says on its
standard output what the book has acknowledged.  `Victims` drives it from outside.
POSIX only.
"""

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from types import TracebackType
from typing import Self

from gaugewright.errors import JournalError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Book, open_book
from gaugewright.journal.demands import Event
from gaugewright.journal.state import JobState

POURS = 12
"""Pours of the scripted fill, after the reading of the drained tank."""
BY = {"person": "Ada", "device": "laptop"}


def next_events(state: JobState) -> list[Event] | None:
    """Return what the script does next in a job, told by the job's state alone.

    The fifth pour is typed wrongly first: the next entries void it and record it again in
    one append.  ``None`` when the job is done.
    """
    tank = state.tanks.get("A")
    if state.opened is None:
        return [k.JobOpened("Quarry Yard", "Tipper 4", 27.8)]
    if tank is None:
        return [k.TankDescribed("A", {"shape": "box", "length_mm": 1000.0})]
    if tank.fill is None:
        return [fk.FillBegun("A", dispenser="bowser 2")]
    wrong = [pour for pour in tank.fill.standing if pour.event.added_l == 54.0]
    if wrong:
        old = wrong[0]
        return [
            fk.FindingAnswered(
                "A", old.event.step, "litres_mistyped", "corrected", "digits swapped"
            ),
            fk.PourVoided(old.number, "45.0 was meant"),
            fk.PourRecorded(
                "A", old.event.step, 45.0, old.event.counts, replaces=old.number, note="x" * 400
            ),
        ]
    step = tank.fill.next_step
    if step <= POURS:
        was_corrected = any(pour.voided for pour in tank.fill.pours)
        litres = 54.0 if step == 5 and not was_corrected else 45.0 if step else 0.0
        return [fk.PourRecorded("A", step, litres, 30.0 + 300.0 * step, counts_sd=0.8)]
    if not state.is_finished("Pour"):
        return [fk.StageFinished("Pour")]
    return None


def write_jobs(book: Book, acknowledge: Callable[[str, int, str], None]) -> None:
    """Go on with the script, job after job, acknowledging each entry that is on disk."""
    for number in count(len(book.jobs()) or 1):
        job = f"J-{number}"
        known = any(head.job == job for head in book.jobs(limit=1))
        state = book.state(job) if known else JobState(job)
        while (events := next_events(state)) is not None:
            recorded = book.record(
                job,
                state.tip.number,
                events,
                at=datetime.now(UTC),
                request_id=f"{job}-{state.tip.number}",
                **BY,
            )
            state = recorded.state
            for entry in recorded.entries:
                acknowledge(job, entry.number, entry.hash)


@dataclass
class Victims:
    """A nursery of processes to be killed while they write one book."""

    path: Path
    acknowledged: dict[tuple[str, int], str] = field(default_factory=dict)
    refusals: list[str] = field(default_factory=list)
    _nursery: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        self._nursery = subprocess.Popen(
            [sys.executable, "-m", __spec__.name, str(self.path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._nursery is not None
        self._nursery.communicate()

    def kill_one(self, after_entries: int, after_s: float) -> None:
        """Let one acknowledge some entries and go on for a while, and kill it with SIGKILL.

        Entries are counted and not only seconds, because a busy machine may write nothing
        in any time that is given to it.
        """
        pid = self._start("go")
        seen = len(self.acknowledged)
        while len(self.acknowledged) < seen + after_entries:
            if not self._hear():
                return
        time.sleep(after_s)
        os.kill(pid, signal.SIGKILL)
        self._listen()

    def starve_one(self, file_bytes: int) -> None:
        """Let one write until a file of the book would grow beyond ``file_bytes``."""
        self._start(f"go {file_bytes}")
        self._listen()

    def missing(self) -> list[str]:
        """Return every acknowledged entry that the book does not have, and check its chains."""
        with open_book(self.path, read_only=True) as book:
            there = {
                (head.job, entry.number): entry.hash
                for head in book.jobs()
                for entry in book.entries(head.job)
            }
        return [
            f"{job} entry {number}"
            for (job, number), hash_ in self.acknowledged.items()
            if there.get((job, number)) != hash_
        ]

    def _start(self, command: str) -> int:
        assert self._nursery is not None
        assert self._nursery.stdin is not None
        self._nursery.stdin.write(command + "\n")
        self._nursery.stdin.flush()
        return int(self._read_line())

    def _listen(self) -> None:
        while self._hear():
            pass

    def _hear(self) -> bool:
        """Hear one line of the writer; false when it is dead."""
        line = self._read_line()
        if line == "dead":
            return False
        word, rest = line.split(" ", 1)
        if word == "refused":
            self.refusals.append(rest)
        else:
            job, number, hash_ = rest.split(" ")
            self.acknowledged[job, int(number)] = hash_
        return True

    def _read_line(self) -> str:
        assert self._nursery is not None
        assert self._nursery.stdout is not None
        line = self._nursery.stdout.readline()
        if not line:
            raise RuntimeError("the process that starts the writers ended by itself")
        return line.rstrip("\n")


def kill_many(path: Path, times: int, seed: int) -> Victims:
    """Kill ``times`` writers of one book at random moments and return what was seen.

    Raises `AssertionError` as soon as an acknowledged entry is missing.
    """
    moments = random.Random(seed)
    with Victims(path) as victims:
        for round_number in range(1, times + 1):
            victims.kill_one(moments.randrange(7), after_s=moments.uniform(0.0, 0.03))
            if path.exists():
                missing = victims.missing()
                assert not missing, f"after {round_number} kills: {missing[0]} is gone"
    return victims


def _child(path: Path, file_bytes: int | None) -> None:
    if file_bytes is not None:
        import resource  # Not there on every system.

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes, file_bytes))

    def acknowledge(job: str, number: int, hash_: str) -> None:
        os.write(1, f"ack {job} {number} {hash_}\n".encode())

    try:
        with open_book(path) as book:
            write_jobs(book, acknowledge)
    except JournalError as error:
        os.write(1, f"refused {error}\n".encode())


def _nursery(path: Path) -> None:
    for line in sys.stdin:
        words = line.split()
        pid = os.fork()
        if pid == 0:
            try:
                os.write(1, f"{os.getpid()}\n".encode())
                _child(path, int(words[1]) if len(words) > 1 else None)
            except BaseException as error:  # noqa: BLE001 - told to the parent, see below
                os.write(1, f"refused for a reason that nobody meant: {error!r}\n".encode())
            finally:
                os._exit(0)
        os.waitpid(pid, 0)
        os.write(1, b"dead\n")


if __name__ == "__main__":
    _nursery(Path(sys.argv[1]))
