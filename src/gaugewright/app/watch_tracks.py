"""Every vehicle's track out of a log, one after the other, for reports and drawings."""

import tempfile
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gaugewright.app.log_columns import Columns, matched, places_beside, remembered
from gaugewright.app.log_files import LogFile, Vehicles, log_files, read_batches
from gaugewright.app.spool import Spool, read_stretches
from gaugewright.app.watch_tables import TableFiles
from gaugewright.app.watch_task import as_one_probe
from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.order import ordered
from gaugewright.watch.values import Track


@dataclass(frozen=True, eq=False)
class VehicleTrack:
    """One vehicle's records and the table that reads them."""

    track: Track
    table: Table


def vehicle_tracks(
    log: str,
    tables: TableFiles,
    wanted: Collection[str],
    *,
    told: Columns,
    latest_s: float = np.inf,
    scratch: str | None = None,
) -> Iterator[VehicleTrack]:
    """Yield the tracks of these vehicles by name; never more than one is held.

    The log is read once more, as `watch_log` reads it.  Raises `InputError` for standard
    input, which cannot be read twice.
    """
    if log == "-":
        raise InputError("a report reads the log a second time; give a file in place of -")
    places = places_beside(log)

    def columns_for(header: list[str], file: LogFile) -> Columns:
        known = remembered(header, places) | told
        return matched(header, known, file=file.name, has_vehicle=file.vehicle is not None)

    with tempfile.TemporaryDirectory(prefix="watch-", dir=scratch) as folder:
        spool, vehicles = Spool(Path(folder)), Vehicles()
        for file in log_files(log, Path(folder)):
            for batch in read_batches(file, columns_for, vehicles):
                spool.add(batch.codes, batch.columns)
        spool.close()
        for name in sorted(set(vehicles.names) & set(wanted)):
            stretches = spool.stretches(vehicles.names.index(name))
            found = ordered(name, read_stretches(stretches), latest_s=latest_s)
            track, table, _ = as_one_probe(found, tables.of(name))
            yield VehicleTrack(track, table)
