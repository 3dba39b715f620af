"""Durable appends per second of the job book beside bare sqlite3 at the same synchronisation.

Run ``python -m benchmarks journal``.  All write the same columns with the same text for each
entry, one transaction each, in write-ahead mode with full synchronisation.  *bare rows* has
its text ready and nothing to check, and writes it by the one statement that costs SQLite
least; *book, made* has its entries ready too, as they are when a pour was held against the
job before it is written.  *bare chain* makes the JSON and the hash of each row with the
standard library, as anybody would have to who wants the same rows; so does *book, making*.
They take turns in short blocks, each first in its turn, because the disk is seldom left
alone.  Printed are the median of the blocks with the median of their ratios in pairs, and
the tenth that was least disturbed, which is what a quiet disk gives.
"""

import hashlib
import json
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book
from gaugewright.journal.chain import next_entry
from gaugewright.journal.codec import kind_of, to_payload
from gaugewright.journal.store import Draft, Store

BLOCKS = 300
PER_BLOCK = 20
AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
POUR = fk.PourRecorded(
    "A", 3, 45.5, 1234.5, 0.8, 18.5, None, 0.4, -0.2, 45.0, True, "steady, 0.8 counts", 12.0, "rig"
)


def bare_block(path: Path, text: str, *, is_chain: bool) -> Callable[[], None]:
    """Return a block of bare appends of the same row, made or ready."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(
        "CREATE TABLE entry (job TEXT, number INTEGER, text TEXT, prev_hash TEXT, hash TEXT, "
        "request_id TEXT, request_part INTEGER, PRIMARY KEY (job, number)) WITHOUT ROWID"
    )
    numbers = iter(range(1, BLOCKS * PER_BLOCK + 1))
    payload = to_payload(POUR)
    last = "0" * 64

    def made(number: int) -> tuple[str, str]:
        record = {
            "at": AT.isoformat(timespec="microseconds"),
            "device": "laptop",
            "job": "J-1",
            "kind": "pour_recorded",
            "number": number,
            "payload": payload,
            "person": "Ada",
        }
        line = json.dumps(record, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return line, hashlib.sha256(f"{last}\n{line}".encode()).hexdigest()

    def run() -> None:
        nonlocal last
        for number in islice(numbers, PER_BLOCK):
            line, hash_ = made(number) if is_chain else (text, last)
            connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)",
                ("J-1", number, line, last, hash_, None, None),
            )
            last = hash_

    return run


def store_block(store: Store, *, is_made: bool) -> Callable[[], None]:
    """Return a block of appends to a job book, of entries made beforehand or not."""
    draft = Draft(kind_of(POUR), to_payload(POUR))
    by: Any = {"at": AT, "person": "Ada", "device": "laptop"}
    (first,) = store.append("J-1", 0, [draft], **by, summary={})
    numbers = iter(range(1, BLOCKS * PER_BLOCK + 1))
    entries = [first]
    if is_made:
        for _ in range(BLOCKS * PER_BLOCK):
            entries.append(
                next_entry(entries[-1].tip, job="J-1", kind=draft.kind, payload=draft.payload, **by)
            )
    made = [(entry,) for entry in entries[1:]]

    def run() -> None:
        for number in islice(numbers, PER_BLOCK):
            ready = made[number - 1] if is_made else ()
            store.append("J-1", number, [draft], **by, made=ready)

    return run


def taken_s(run: Callable[[], None]) -> float:
    """Return how long a block takes. [s]"""
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


def appends(folder: Path) -> None:
    """Print durable appends per second, side by side."""
    with open_book(folder / "made.book") as made, open_book(folder / "making.book") as making:
        write_made = store_block(made.store, is_made=True)
        make_and_write = store_block(making.store, is_made=False)
        text = made.store.entries("J-1")[0].text
        blocks = {
            "bare rows": bare_block(folder / "rows.sqlite", text, is_chain=False),
            "book, made": write_made,
            "bare chain": bare_block(folder / "chain.sqlite", text, is_chain=True),
            "book, making": make_and_write,
        }
        taken: dict[str, list[float]] = {name: [] for name in blocks}
        names = list(blocks)
        for turn in range(BLOCKS):
            first = turn % len(names)
            for name in names[first:] + names[:first]:
                taken[name].append(taken_s(blocks[name]))
    bare = taken["bare rows"]
    for name, times in taken.items():
        ratio = statistics.median(bare_s / own_s for bare_s, own_s in zip(bare, times, strict=True))
        quiet_s = quiet(times)
        print(
            f"{name:>12}: {PER_BLOCK * BLOCKS / sum(times):7.0f} durable appends/s, "
            f"{100 * sum(bare) / sum(times):4.0f} % of bare rows; "
            f"median block {PER_BLOCK / statistics.median(times):7.0f}/s, {100 * ratio:4.0f} %; "
            f"least disturbed {PER_BLOCK / quiet_s:7.0f}/s, {100 * quiet(bare) / quiet_s:4.0f} %"
        )


def quiet(times: list[float]) -> float:
    """Return the time of a block below which a tenth of them lies. [s]"""
    return sorted(times)[len(times) // 10]


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
