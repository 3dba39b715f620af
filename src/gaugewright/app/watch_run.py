"""A whole log watched: read once, laid down by vehicle, each vehicle looked at, results kept."""

import hashlib
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import isfinite
from pathlib import Path

from gaugewright.app.engines import (
    Engine,
    default_jobs,
    run_here,
    run_in_processes,
    run_in_threads,
    run_on_cluster,
)
from gaugewright.app.files import shown_name
from gaugewright.app.log_columns import Columns, places_beside
from gaugewright.app.log_files import (
    ColumnsFor,
    LogFile,
    Vehicles,
    log_files,
    naming_refusal,
    read_batches,
)
from gaugewright.app.log_memory import Memory
from gaugewright.app.log_parquet import FileRows, file_rows
from gaugewright.app.memory import keep_freed_memory
from gaugewright.app.spool import MEMORY_RECORDS, Rows, Spool
from gaugewright.app.watch_blocks import in_blocks
from gaugewright.app.watch_kept import Kept, VehicleDone, digest_of
from gaugewright.app.watch_tables import TableFiles
from gaugewright.app.watch_task import Done, Look, Task
from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.blocks import BLOCK_RECORDS, joined
from gaugewright.watch.health.case import Delivery
from gaugewright.watch.order import Arrival
from gaugewright.watch.receipts import GAP_S, Receipt
from gaugewright.watch.remarks import Remark, arrival_remarks, watched_remarks

FEW_RECORDS = 10_000_000
"""Up to so many records workers would take longer to start than to work."""

Progress = Callable[[str, float, float], None]
"""Told what is being done, how much of it is done, and how much there is (0: not known)."""


@dataclass(frozen=True)
class HowToRun:
    """Choices that change how fast the watch is, and never what it says."""

    jobs: int | None = None
    cluster: str | None = None
    engine: str = "auto"
    """``threads``, ``processes``, ``here``, or ``auto``."""
    block_records: int = BLOCK_RECORDS
    memory_records: int = MEMORY_RECORDS
    scratch: str | None = None
    """Folder for records that are laid down meanwhile; the system's own if not told."""
    is_fresh: bool = False
    """Do everything anew, whatever is finished."""


@dataclass(frozen=True)
class WatchedLog:
    """All vehicles of a log, and what is to be said of the log itself."""

    vehicles: tuple[VehicleDone, ...]
    remarks: tuple[Remark, ...]
    records: int
    again: int
    """How many vehicles were finished before and not done again."""
    memory: Memory = field(default_factory=Memory)
    """What was told of the log's columns; to be kept when all is written."""

    @property
    def all_remarks(self) -> list[Remark]:
        """Every remark, by vehicle and time."""
        found = [remark for done in self.vehicles for remark in done.remarks]
        return sorted(
            [*found, *self.remarks],
            key=lambda one: (
                one.vehicle,
                one.start_s if one.start_s is not None else -1.0,
                one.kind,
            ),
        )


@dataclass
class _Reading:
    """What came out of reading the log once."""

    spool: Spool
    vehicles: Vehicles
    records: int = 0
    unnamed: int = 0
    columns: dict[tuple[str, ...], Columns] = field(default_factory=dict)
    apart: dict[str, list[FileRows]] = field(default_factory=dict)
    """Rows of files that are of one vehicle each; whoever looks at the vehicle reads them."""

    def rows_of(self, vehicle: str) -> tuple[Rows, ...]:
        """Return where a vehicle's rows are."""
        if self.apart:
            return tuple(self.apart[vehicle])
        return self.spool.stretches(self.vehicles.code(vehicle))

    def count(self, vehicle: str) -> int:
        """Return how many records a vehicle has."""
        if self.apart:
            return sum(rows.rows for rows in self.apart[vehicle])
        return self.spool.count(self.vehicles.code(vehicle))

    def made_from(self, files: Sequence[LogFile]) -> Callable[[str], object]:
        """Return what says of a vehicle which files its records are from, and how they were read.

        With thousands of vehicles, looking through all files for each of them takes hours.
        """
        if self.apart:
            return lambda vehicle: [
                (rows.file.mark, rows.columns, rows.groups) for rows in self.apart[vehicle]
            ]
        everything = repr((tuple(file.mark for file in files), self.columns)).encode()
        digest = hashlib.sha256(everything).hexdigest()
        return lambda vehicle: digest


def watch_log(
    log: str,
    tables: TableFiles,
    look: Look,
    *,
    latest_s: float,
    receipts: Sequence[Receipt] = (),
    out: Path | None = None,
    told: Columns | None = None,
    how: HowToRun | None = None,
    progress: Progress = lambda doing, done, of: None,
) -> WatchedLog:
    """Return what a log shows.

    ``latest_s`` is the latest time a record can truly have [s since 1970].  ``receipts`` help
    to see a table of the wrong size.  With ``out`` each finished vehicle is kept there, and not
    done again while its input is the same.  A vehicle without a table is named and passed over.
    Raises `InputError` if the log or a table of one of its vehicles cannot be read.
    """
    how, told = how or HowToRun(), told or Columns()
    keep_freed_memory()
    with tempfile.TemporaryDirectory(prefix="watch-", dir=how.scratch) as folder:
        files = log_files(log, Path(folder))
        memory = Memory(told, places_beside(log))
        with memory.naming():
            reading = _read(files, Path(folder), memory, how, progress)
        if not reading.records:
            raise InputError("the log holds no records", file=shown_name(log))
        names = reading.vehicles.names
        own_tables = {name: tables.of(name) for name in names}
        if tables.only is not None and len(names) > 1:
            raise InputError(
                f"one table was given and the log is of {len(names)} vehicles; "
                "wanted a folder of <vehicle>.csv", field="--tables",
            )  # fmt: skip
        kept = Kept(out) if out is not None and log != "-" else None
        paid: dict[str, list[Delivery]] = {name: [] for name in names}
        for receipt in receipts:
            if receipt.vehicle in paid:
                paid[receipt.vehicle].append(Delivery(receipt.time_s, receipt.litres))
        digests: dict[str, str] = {}
        finished: dict[str, VehicleDone] = {}
        if kept is not None:
            made_from = reading.made_from(files)
            for name, own in own_tables.items():
                told_all = (told, made_from(name), paid[name])
                digests[name] = digest_of(told_all, own, look.name)
                found = None if how.is_fresh else kept.find(name, digests[name])
                if found is not None:
                    finished[name] = found
        again = len(finished)
        wanted = [name for name in names if own_tables[name] and name not in finished]
        pieces = _Pieces(reading, own_tables, paid, Path(folder), look, latest_s, how)
        with memory.naming():
            for done in pieces.done(wanted, progress):
                finished[done.vehicle] = done
                if kept is not None:
                    kept.keep(done, digests[done.vehicle])
        return WatchedLog(
            tuple(finished[name] for name in sorted(finished)),
            tuple(_log_remarks(reading, own_tables, tables)),
            reading.records,
            again,
            memory,
        )


def _read(
    files: list[LogFile], folder: Path, memory: Memory, how: HowToRun, progress: Progress
) -> _Reading:
    spool = Spool(folder, memory_records=how.memory_records)
    reading = _Reading(spool, Vehicles())

    def columns_for(header: list[str], file: LogFile) -> Columns:
        columns = memory.matched(header, file=file.name, has_vehicle=file.vehicle is not None)
        reading.columns.setdefault(tuple(header), columns)
        return columns

    if all(file.vehicle is not None and file.is_parquet for file in files):
        _note_apart(files, reading, columns_for)
        return reading
    sizes = [max(file.mark[1], 1) for file in files]
    for place, file in enumerate(files):
        for batch in read_batches(file, columns_for, reading.vehicles):
            reading.records += batch.codes.size
            reading.unnamed += int((batch.codes < 0).sum())
            spool.add(batch.codes, batch.columns)
            progress("reading", sum(sizes[:place]), sum(sizes))
    spool.close(on_disk=_kind(how, reading.records, len(reading.vehicles.names)) == "processes")
    progress("reading", sum(sizes), sum(sizes))
    return reading


def _note_apart(files: list[LogFile], reading: _Reading, columns_for: ColumnsFor) -> None:
    """Note which rows are whose, and read none of them yet."""
    for file in files:
        with naming_refusal(file.name):
            for rows in file_rows(file, columns_for, most=MEMORY_RECORDS // 4):
                assert file.vehicle is not None
                reading.vehicles.code(file.vehicle)
                reading.apart.setdefault(file.vehicle, []).append(rows)
                reading.records += rows.rows


@dataclass
class _Pieces:
    """Makes tasks of vehicles, runs them, and puts the vehicles together as they are done."""

    reading: _Reading
    tables: dict[str, tuple[Table, ...]]
    paid: dict[str, list[Delivery]]
    folder: Path
    look: Look
    latest_s: float
    how: HowToRun
    cut_at: dict[str, tuple[float, ...]] = field(default_factory=dict)
    arrivals: dict[str, Arrival] = field(default_factory=dict)
    parts: dict[str, list[Done]] = field(default_factory=dict)

    def done(self, wanted: list[str], progress: Progress) -> Iterator[VehicleDone]:
        """Yield the vehicles as they are finished."""
        total = sum(self.reading.count(name) for name in wanted)
        seen = 0
        for done in _engine(self.how, self.reading.records, len(wanted))(self.tasks(wanted)):
            name = done.vehicle
            if done.refused is not None:
                raise InputError(done.refused)
            self.parts[name].append(done)
            seen += done.arrival.records
            progress("looking", seen, total)
            if len(self.parts[name]) == len(self.cut_at[name]) + 1:
                yield _whole(
                    self.parts.pop(name), self.cut_at[name], self.arrivals[name], self.tables[name]
                )

    def tasks(self, wanted: list[str]) -> Iterator[Task]:
        """Yield the tasks of each vehicle, one for each block of its history."""
        for name in wanted:
            blocks = in_blocks(
                self.reading.rows_of(name), self.reading.count(name), self.folder,
                latest_s=self.latest_s, most=self.how.block_records,
            )  # fmt: skip
            held = [k for k, rows in enumerate(blocks.rows) if rows[1]]
            # A cut is of use only between two blocks that both have records.
            self.cut_at[name] = tuple(blocks.at_s[k - 1] for k in held[1:])
            self.arrivals[name], self.parts[name] = blocks.arrival, []
            for block, k in enumerate(held):
                before, core, after = blocks.rows[k]
                yield Task(
                    name, block, core, self.tables[name], self.look, self.latest_s,
                    tuple(self.paid[name]), before, after,
                )  # fmt: skip


def _whole(
    parts: list[Done], at_s: tuple[float, ...], of_whole: Arrival, tables: Sequence[Table]
) -> VehicleDone:
    """Return the blocks of one vehicle as one."""
    parts = sorted(parts, key=lambda done: done.block)
    arrival = sum((done.arrival for done in parts), Arrival(0))
    if at_s:
        arrival = replace(
            arrival,
            records=arrival.records + of_whole.misdated + of_whole.twice,
            late=of_whole.late,
            worst_late_s=of_whole.worst_late_s,
            misdated=of_whole.misdated,
            twice=of_whole.twice,
        )
    vehicle = parts[0].vehicle
    held = [done for done in parts if isfinite(done.first_s)]
    gaps = [gap for done in held for gap in done.gaps]
    gaps += [(a.last_s, b.first_s) for a, b in pairwise(held) if b.first_s - a.last_s > GAP_S]
    first_s = held[0].first_s if held else float("nan")
    last_s = held[-1].last_s if held else float("nan")
    remarks = list(dict.fromkeys(remark for done in parts for remark in done.remarks))
    remarks += arrival_remarks(vehicle, arrival)
    shown = [done.watched for done in parts if done.watched is not None]
    watched = None
    if len(shown) == len(parts):
        own, firsts = 0, []
        for done in parts:
            firsts.append(own - done.margin)
            own += done.own
        watched = joined(shown, at_s, firsts, records=own, span_s=last_s - first_s)
        remarks += watched_remarks(watched)
    return VehicleDone(
        vehicle, watched, arrival, tuple(remarks), first_s, last_s, tuple(sorted(gaps)),
        bottom_l=sum(float(table.litres[0]) for table in tables),
        top_l=sum(float(table.litres[-1]) for table in tables),
    )  # fmt: skip


def _kind(how: HowToRun, records: int, vehicles: int) -> str:
    """Return where the tasks run: ``here``, ``threads``, ``processes`` or ``cluster``."""
    if how.cluster is not None:
        return "cluster"
    if _jobs(how) == 1:
        return "here"
    if how.engine != "auto":
        return how.engine
    return "here" if vehicles < 2 or records < FEW_RECORDS else "processes"


def _jobs(how: HowToRun) -> int:
    return how.jobs if how.jobs is not None else default_jobs()


def _engine(how: HowToRun, records: int, vehicles: int) -> Engine:
    kind, jobs, address = _kind(how, records, vehicles), _jobs(how), how.cluster
    if address is not None:
        return lambda tasks: run_on_cluster(tasks, address)
    if kind == "here":
        return run_here
    return lambda tasks: (run_in_threads if kind == "threads" else run_in_processes)(tasks, jobs)


def _log_remarks(
    reading: _Reading, own_tables: dict[str, tuple[Table, ...]], tables: TableFiles
) -> Iterator[Remark]:
    for name, own in own_tables.items():
        if not own:
            message = f"there is no table {name}.csv; its records are not looked at"
            yield Remark(name, "no_table", message, needs_person=True)
    for name in tables.without(set(own_tables)):
        yield Remark(name, "not_in_log", "there is a table and no record", needs_person=True)
    if reading.unnamed:
        message = f"{reading.unnamed} of {reading.records} records name no vehicle; left out"
        yield Remark("", "no_vehicle", message, needs_person=True)
