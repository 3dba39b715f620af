"""One vehicle's track out of a log file on the shelf."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from gaugewright.app.log_columns import Columns, ColumnsMissingError, parse_columns
from gaugewright.app.log_files import LogFile, Vehicles, log_files, read_batches
from gaugewright.app.log_memory import Memory
from gaugewright.app.spool import Spool, read_stretches
from gaugewright.errors import InputError
from gaugewright.watch.order import Arrival, ordered
from gaugewright.watch.values import Track

MOST_NAMED = 12
"""Vehicles that are named in a message."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which records of a log are meant, as a person says it.

    ``columns`` is as with the command line: ``counts=Fuel,time=Date+Time,zone=Europe/Oslo``.
    """

    vehicle: str = ""
    """Empty: the only one in the log, or the one that is called as the job's vehicle."""
    probe: int = 1
    columns: str = ""


@dataclass(frozen=True, eq=False)
class OneTrack:
    """A vehicle's track, how its records came in and which column was which."""

    track: Track
    arrival: Arrival
    columns: Mapping[str, Any] = field(default_factory=dict)
    memory: Memory = field(default_factory=Memory)
    """What was told of the columns; to be kept when all is done."""


def read_track(
    path: Path,
    name: str,
    choice: Choice,
    *,
    likely: str = "",
    latest_s: float = np.inf,
    before: Mapping[str, Any] | None = None,
    places: Sequence[Path] = (),
) -> OneTrack:
    """Return the track of the vehicle that is meant.

    ``likely`` is what the job calls its vehicle, ``latest_s`` the latest time that can be
    true, ``before`` the ``columns`` with which the same log was read before, ``places`` the
    files that remember what was told of other logs with its header.

    Raises `InputError` with file, row and column, and naming the vehicles in the log where it
    cannot be known which is meant.
    """
    told = parse_columns([choice.columns] if choice.columns else [])
    if before is not None:
        told = Columns(**{k: before[k] for k in asdict(Columns()) if k in before}) | told
    memory = Memory(told, places)
    known: list[Columns] = []

    def columns_for(header: list[str], file: LogFile) -> Columns:
        known.append(_matched(header, memory, choice, name))
        return known[-1]

    vehicles = Vehicles()
    with tempfile.TemporaryDirectory(prefix="watch-") as folder:
        spool = Spool(Path(folder))
        for file in log_files(str(path), Path(folder)):
            with memory.naming():
                for batch in read_batches(replace(file, name=name), columns_for, vehicles):
                    spool.add(batch.codes, batch.columns)
        spool.close()
        meant = _meant(vehicles.names, choice.vehicle, likely)
        columns = read_stretches(spool.stretches(vehicles.names.index(meant)))
    found = ordered(meant, columns, latest_s=latest_s)
    track = found.track
    if choice.probe > 1:
        counts = found.further.get(f"counts_{choice.probe}")
        if counts is None:
            more = ", ".join(sorted(found.further)) or "none"
            raise InputError(
                f"there is no counts_{choice.probe} in {name}; further probes there: {more}",
                field="probe",
            )
        track = replace(track, counts=counts)
    if not track.time_s.size:
        raise InputError(f"{name} holds no record of {meant} with a time", field="log")
    return OneTrack(track, found.arrival, _as_record(known[0], memory), memory)


def _matched(header: list[str], memory: Memory, choice: Choice, name: str) -> Columns:
    try:
        return memory.matched(header, file=name)
    except ColumnsMissingError as error:
        if error.missing == ("vehicle",):
            # A log of one vehicle often does not say which.
            memory.told = replace(memory.told, vehicle=choice.vehicle or "this vehicle")
            return memory.matched(header, file=name)
        raise InputError(
            f"which column is {' and which '.join(error.missing)}? {name} has "
            f"{', '.join(error.header) or 'none'}; write for example {error.missing[0]}=NAME",
            field="columns",
        ) from None


def _meant(names: list[str], wanted: str, likely: str) -> str:
    if not names:
        raise InputError("the log holds no records", field="log")
    if wanted:
        if wanted not in names:
            raise InputError(f"{_listed(names)}; there is no '{wanted}'", field="vehicle")
        return wanted
    if len(names) == 1:
        return names[0]
    if likely in names:
        return likely
    raise InputError(f"{_listed(names)}; say which one is meant", field="vehicle")


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"the log is of {len(names)} vehicle{'s' if len(names) > 1 else ''}: {shown}{more}"


def _as_record(columns: Columns, memory: Memory) -> dict[str, Any]:
    told = asdict(columns) | {"remembered": memory.lent}
    return {k: dict(v) if isinstance(v, Mapping) else v for k, v in told.items() if v}
