"""One piece of the watch's work: a vehicle, or one block of a long history, from rows to events.

A task can be sent to a thread, to another process or to another machine; wherever it runs it
gives the same.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from gaugewright.app.memory import keep_freed_memory
from gaugewright.app.spool import Rows, Stretch, read_stretches
from gaugewright.errors import GaugewrightError
from gaugewright.table.table import Table
from gaugewright.watch.gauge import together
from gaugewright.watch.health.case import Delivery, HealthNote
from gaugewright.watch.order import Arrival, Ordered, ordered
from gaugewright.watch.receipts import gaps_in
from gaugewright.watch.remarks import Remark, column_remarks
from gaugewright.watch.values import COLUMNS, Floats, Track, Watched

Numbers = npt.NDArray[np.floating[Any]]
Detector = Callable[[Track, Table], Watched]
"""From one vehicle's track and table to what it shows; a function of a module, to be sent."""
HealthCheck = Callable[[Track, Table, Watched, Sequence[Delivery]], tuple[HealthNote, ...]]
"""From a track, what was seen in it, and receipts, to what is wrong with probe or records."""


@dataclass(frozen=True)
class Look:
    """How a vehicle is looked at; both are functions of a module, so that they can be sent."""

    detector: Detector
    health: HealthCheck | None = None

    @property
    def name(self) -> str:
        """Name both, to know whether what is finished was looked at in the same way."""
        both = [self.detector, *([self.health] if self.health else [])]
        return " ".join(f"{one.__module__}.{one.__qualname__}" for one in both)


@dataclass(frozen=True, eq=False)
class Task:
    """A vehicle's rows: those of this block, and of the margins before and after it."""

    vehicle: str
    block: int
    core: tuple[Rows, ...]
    tables: tuple[Table, ...]
    look: Look
    latest_s: float
    deliveries: tuple[Delivery, ...] = ()
    before: tuple[Rows, ...] = ()
    after: tuple[Rows, ...] = ()

    def loaded(self) -> "Task":
        """Return the task with its rows in memory, to be sent to a machine without this disk."""
        return replace(
            self,
            core=_in_memory(self.core),
            before=_in_memory(self.before),
            after=_in_memory(self.after),
        )


@dataclass(frozen=True, eq=False)
class Done:
    """What a task gave; ``watched`` is ``None`` where nothing can be said, and remarks say why.

    ``margin`` records stand before the block's first own one, ``own`` are its own; the block
    spans ``first_s`` to ``last_s`` (NaN without records). [s]
    """

    vehicle: str
    block: int
    watched: Watched | None
    arrival: Arrival
    margin: int
    own: int
    first_s: float
    last_s: float
    gaps: tuple[tuple[float, float], ...]
    """Stretches without a record for longer than `watch.receipts.GAP_S`. [s]"""
    remarks: tuple[Remark, ...]
    refused: str | None = None
    """Why the rows cannot be read, if they cannot."""


def run_task(task: Task) -> Done:
    """Put the rows in order, read several probes as one, and look for events."""
    keep_freed_memory()
    try:
        return _done(task)
    except GaugewrightError as error:
        # Sent back as text: a worker's own error would not survive the way.
        nan = float("nan")
        return Done(task.vehicle, task.block, None, Arrival(0), 0, 0, nan, nan, (), (), str(error))


def _done(task: Task) -> Done:
    parts = [
        ordered(task.vehicle, read_stretches(stretches), latest_s=task.latest_s)
        for stretches in (task.before, task.core, task.after)
        if stretches
    ]
    place = 1 if task.before else 0
    own = parts[place]
    remarks = column_remarks(own.track)
    whole = _one_after_the_other(parts)
    watched = None
    if own.track.time_s.size:
        try:
            track, table, more = as_one_probe(whole, task.tables)
            remarks += more
            watched = task.look.detector(track, table)
            if task.look.health is not None:
                remarks += _health(task, own, track, table, watched)
        except GaugewrightError as error:
            remarks.append(Remark(task.vehicle, "not_watched", str(error), needs_person=True))
    times = own.track.time_s
    return Done(
        task.vehicle,
        task.block,
        watched,
        own.arrival,
        margin=parts[0].track.time_s.size if place else 0,
        own=times.size,
        first_s=float(times[0]) if times.size else float("nan"),
        last_s=float(times[-1]) if times.size else float("nan"),
        gaps=gaps_in(times),
        remarks=tuple(remarks),
    )


def _health(task: Task, own: Ordered, track: Track, table: Table, watched: Watched) -> list[Remark]:
    """Return what is wrong with probe or records within the block's own time."""
    assert task.look.health is not None
    first, last = own.track.time_s[0], own.track.time_s[-1]
    return [
        Remark(task.vehicle, str(note.kind), note.message, note.start_s, note.end_s, True)
        for note in task.look.health(track, table, watched, task.deliveries)
        if note.end_s >= first and note.start_s <= last
    ]


def as_one_probe(found: Ordered, tables: tuple[Table, ...]) -> tuple[Track, Table, list[Remark]]:
    """Return one track and one table, and what must be said of the probes."""
    vehicle, remarks = found.track.vehicle, []
    further = [
        counts for name, counts in sorted(found.further.items()) if np.isfinite(counts).any()
    ]
    if len(further) + 1 != len(tables):
        probes, first = len(further) + 1, min(len(further) + 1, len(tables))
        tables_said = "is 1 table" if len(tables) == 1 else f"are {len(tables)} tables"
        read = "one is" if first == 1 else f"{first} are"
        message = (
            f"the log has counts of {probes} probe{'s' if probes > 1 else ''} and there "
            f"{tables_said}; only the first {read} read, the litres are not all"
        )
        remarks.append(Remark(vehicle, "probe_without_table", message, needs_person=True))
        further, tables = further[: first - 1], tables[:first]
    if not further:
        return found.track, tables[0], remarks
    gauge = together(found.track, further, tables)
    for ends, words in ((gauge.below_tip, "below its tip"), (gauge.above_top, "above its top")):
        if ends.any():
            message = (
                f"in {ends.mean():.1%} of the records the fuel is {words} at one of the probes; "
                "there the litres stand still whatever the fuel does"
            )
            remarks.append(Remark(vehicle, "probe_at_its_end", message))
    return gauge.track, gauge.table, remarks


def _one_after_the_other(parts: list[Ordered]) -> Ordered:
    """Return the ordered rows of margins and block as one; their times do not meet."""
    if len(parts) == 1:
        return parts[0]
    tracks = [part.track for part in parts]

    def column(name: str) -> Floats | None:
        columns = [getattr(track, name) for track in tracks]
        if all(values is None for values in columns):
            return None
        return np.concatenate(
            [
                np.full(track.time_s.size, np.nan) if values is None else values
                for track, values in zip(tracks, columns, strict=True)
            ]
        )

    columns: dict[str, Any] = {name: column(name) for name in (*_NEEDED, *COLUMNS)}
    track = Track(tracks[0].vehicle, **columns)
    names = dict.fromkeys(name for part in parts for name in part.further)
    further: Mapping[str, Floats] = {
        name: np.concatenate(
            [part.further.get(name, np.full(part.track.time_s.size, np.nan)) for part in parts]
        )
        for name in names
    }
    return Ordered(track, Arrival(0), further)


_NEEDED = ("time_s", "counts", "speed_kmh", "ignition")


def _in_memory(stretches: tuple[Rows, ...]) -> tuple[Rows, ...]:
    result = []
    for stretch in stretches:
        columns = {name: values.copy() for name, values in stretch.read().items()}
        kinds = tuple((name, values.dtype.str) for name, values in columns.items())
        rows = next(iter(columns.values())).size
        result.append(Stretch(kinds, rows, 0, rows, None, 0, columns))
    return tuple(result)
