"""Durable appends per second of the job book beside bare sqlite3 at the same synchronisation.

Run ``python -m benchmarks journal``.  Both write the same text for each entry, one
transaction each, in write-ahead mode with full synchronisation.  The bare side has the
text ready, no guards and nothing to check.  They take turns in short blocks, because the
disk is seldom left alone; the medians of the blocks and of their ratios are printed.
"""

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book
from gaugewright.journal.codec import kind_of, to_payload
from gaugewright.journal.store import Draft, Store

BLOCKS = 41
PER_BLOCK = 50
AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
POUR = fk.PourRecorded(
    "A", 3, 45.5, 1234.5, 0.8, 18.5, None, 0.4, -0.2, 45.0, True, "steady, 0.8 counts", 12.0, "rig"
)


def bare_block(connection: sqlite3.Connection, text: str, hash_: str) -> Callable[[], None]:
    """Return a block of bare appends of the same row."""
    numbers = iter(range(1, BLOCKS * PER_BLOCK + 1))

    def run() -> None:
        for _ in range(PER_BLOCK):
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?)",
                ("J-1", next(numbers), text, hash_, hash_),
            )
            connection.execute("COMMIT")

    return run


def store_block(store: Store) -> Callable[[], None]:
    """Return a block of appends to a job book."""
    draft = Draft(kind_of(POUR), to_payload(POUR))
    store.append("J-1", 0, [draft], at=AT, person="Ada", device="laptop", summary={})
    numbers = iter(range(1, BLOCKS * PER_BLOCK + 1))

    def run() -> None:
        for _ in range(PER_BLOCK):
            store.append("J-1", next(numbers), [draft], at=AT, person="Ada", device="laptop")

    return run


def taken_s(run: Callable[[], None]) -> float:
    """Return how long a block takes. [s]"""
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


def appends(folder: Path) -> None:
    """Print durable appends per second, side by side."""
    bare = sqlite3.connect(folder / "bare.sqlite", isolation_level=None)
    bare.execute("PRAGMA journal_mode = WAL")
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute(
        "CREATE TABLE entry (job TEXT, number INTEGER, text TEXT, prev_hash TEXT, hash TEXT, "
        "PRIMARY KEY (job, number)) WITHOUT ROWID"
    )
    with open_book(folder / "yard.book") as book:
        write_store = store_block(book.store)
        entry = book.store.entries("J-1")[0]
        write_bare = bare_block(bare, entry.text, entry.hash)
        pairs = [(taken_s(write_bare), taken_s(write_store)) for _ in range(BLOCKS)]
    bare.close()
    ratio = statistics.median(bare_s / store_s for bare_s, store_s in pairs)
    for name, place in (("bare sqlite3", 0), ("job book", 1)):
        median_s = statistics.median(pair[place] for pair in pairs)
        print(f"{name:>14}: {PER_BLOCK / median_s:7.0f} durable appends/s")
    print(f"{'ratio':>14}: {100 * ratio:7.0f} %  (goal 80 %)")


def without_waiting() -> None:
    """Print what an append costs where the disk costs nothing, if there is such a folder."""
    memory = Path("/dev/shm")
    if memory.is_dir():
        with tempfile.TemporaryDirectory(dir=memory) as name:
            print("the same in memory, where synchronising costs nothing:")
            appends(Path(name))


def whole_fill(folder: Path) -> None:
    """Print what recording a pour costs with everything: checks, rules, fold, state."""
    with open_book(folder / "fill.book") as book:
        by = {"at": AT, "person": "Ada", "device": "laptop"}
        book.record("J-1", 0, [k.JobOpened("Yard", "Tipper")], **by)
        book.record("J-1", 1, [k.TankDescribed("A", {}), fk.FillBegun("A")], **by)
        times = []
        for step in range(200):
            pour = fk.PourRecorded("A", step, 45.5, 30.0 + step)
            times.append(taken_s(lambda pour=pour: book.record("J-1", pour.step + 3, [pour], **by)))
    print(f"record a pour, all in: median {1000 * statistics.median(times):.2f} ms of 200 pours")


def many_jobs(folder: Path) -> None:
    """Print how long the list of jobs takes in a big book."""
    with open_book(folder / "big.book") as book:
        draft = Draft(kind_of(POUR), to_payload(POUR))
        for number in range(2_000):
            book.store.append(
                f"J-{number}", 0, [draft] * 50, at=AT, person="Ada", device="laptop",
                summary={"customer": "Yard", "vehicle": f"Tipper {number}"},
            )  # fmt: skip
        first_s = min(taken_s(lambda: book.jobs(limit=50)) for _ in range(5))
        every_s = min(taken_s(lambda: book.jobs()) for _ in range(5))
        found_s = min(
            taken_s(lambda: book.jobs(containing="tipper 77", limit=50)) for _ in range(5)
        )
    print(
        f"2,000 jobs with 100,000 entries: first 50 in {1000 * first_s:.1f} ms, "
        f"search in {1000 * found_s:.1f} ms, all in {1000 * every_s:.0f} ms"
    )


def main() -> None:
    """Run all of it in a folder that is removed afterwards."""
    with tempfile.TemporaryDirectory() as name:
        for run in (appends, whole_fill, many_jobs):
            run(Path(name))
    without_waiting()


if __name__ == "__main__":
    main()
