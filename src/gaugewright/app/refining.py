"""A table refined in service, from files: offered, never put in place of the one in use."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gaugewright.app.files import naming_file, shown_name
from gaugewright.app.later import Source, read_source
from gaugewright.app.receipt_files import read_receipts
from gaugewright.app.watch_track import Choice, read_track
from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.health.case import Delivery
from gaugewright.watch.receipts import Receipt
from gaugewright.watch.refine import Refined, refine
from gaugewright.watch.service_data import service_data


@dataclass(frozen=True, eq=False)
class RefinedFromFiles:
    """What service teaches, and what it was learnt from."""

    source: Source
    vehicle: str
    refined: Refined
    receipts: int
    """Receipts of this vehicle in the file."""
    has_counter: bool
    table: Table
    """The offered table, on whole counts where the old one is."""


def refine_from_files(
    table_file: str,
    log_file: str,
    receipts_file: str | None = None,
    *,
    tank_file: str | None = None,
    fill_file: str | None = None,
    vehicle: str = "",
    columns: str = "",
    zone: str | None = None,
    latest_s: float = np.inf,
) -> RefinedFromFiles:
    """Learn from a vehicle's log and receipts; every `InputError` names its file.

    With the pour record of the fill (``fill_file``) and the tank file everything that the fill
    taught is the starting point; else the table's band.
    """
    source = read_source(table_file, tank_file, fill_file)
    with naming_file(table_file):
        known = source.known()
    one = read_track(
        Path(log_file), shown_name(log_file), Choice(vehicle, columns=columns), latest_s=latest_s
    )
    receipts: list[Receipt] = []
    if receipts_file is not None:
        found = read_receipts(receipts_file, vehicle=one.track.vehicle, zone=zone)
        receipts = _own(found, one.track.vehicle, receipts_file)
    has_counter = one.track.engine_fuel_l is not None
    if not receipts and not has_counter:
        raise InputError(
            "nothing to learn from: the log has no column engine_fuel_l; give --receipts",
            file=shown_name(log_file),
        )
    from gaugewright.watch.detect import watch_vehicle  # compiles when it is first loaded

    watched = watch_vehicle(one.track, source.table)
    paid = [Delivery(r.time_s, r.litres) for r in receipts]
    data = service_data(one.track, source.table, watched, paid)
    with naming_file(receipts_file or log_file):
        refined = refine(source.table, known, data)
    return RefinedFromFiles(
        source, one.track.vehicle, refined, len(receipts), has_counter, refined.after
    )


def _own(receipts: Sequence[Receipt], vehicle: str, file: str) -> list[Receipt]:
    own = [r for r in receipts if r.vehicle == vehicle]
    if receipts and not own:
        others = ", ".join(sorted({r.vehicle for r in receipts})[:5])
        raise InputError(
            f"no receipt is of vehicle '{vehicle}'; they are of {others}",
            field="vehicle",
            file=shown_name(file),
        )
    return own
