"""The table out of the fill, and what is held against it: check pours, the back office."""

from dataclasses import dataclass

import numpy as np

from gaugewright import __version__
from gaugewright.app.bench import Taken, reading_of
from gaugewright.app.typed_scale import require_on_scale
from gaugewright.app.verdicts import look, verdict
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.book import Recorded
from gaugewright.journal.fills import table_digest
from gaugewright.journal.kept_words import kept
from gaugewright.journal.state import Kept, TankState
from gaugewright.metrology.agreement import en_number, is_within
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.words import Volume, said

DECIMALS = 2
"""Litres of a recorded table are rounded to so many decimals; the band covers it."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Two results side by side."""

    table_l: float
    u_table_l: float | None
    agrees: bool | None


def make_table(yard: Yard, job: str, stamp: Stamp, tank_id: str) -> Recorded:
    """Make the calibration table of a fill and record it with what it was made from.

    Raises `StateError` while a finding is unanswered or where the fill says too little.
    """
    from gaugewright.app.calibrate import table_of  # its numerics load slowly

    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    fill, looked = tank.fill, look(tank, yard.unit)
    if fill is None or looked is None:
        raise StateError(said("the fill of tank {tank_id} has not begun", tank_id=tank_id))
    if looked.checked is None:
        raise StateError(said("no table can be made yet: {why_not}", why_not=looked.why_not))
    now = verdict(tank, yard.unit)
    if now.blocks:
        opened = next(each for each in now.findings if each.is_open)
        raise StateError(
            said("answer this before the table is made: {message}", message=opened.message)
        )
    rows = rows_of(table_of(looked.checked.fit))
    event = fk.TableMade(
        tank_id,
        rows,
        table_digest(rows),
        pours=tuple(kept.number for kept in fill.standing),
        versions={"gaugewright": __version__, "numpy": np.__version__},
        findings=tuple(kept(found.as_json()) for found in looked.checked.findings),
    )
    return yard.record(job, stamp, event)


def rows_of(table: Table) -> tuple[fk.TableRow, ...]:
    """Return a table's rows as the journal holds them, what rounding moved in the band.

    >>> rows_of(Table(np.array([0, 9]), np.array([1.234, 5]), np.array([0.1, 0.1])))[0]
    TableRow(counts=0.0, litres=1.23, u_litres=0.11)
    """
    litres = np.round(table.litres, DECIMALS) + 0.0
    if table.u_litres is None:
        return tuple(
            fk.TableRow(float(c), float(v)) for c, v in zip(table.counts, litres, strict=True)
        )
    steps = (table.u_litres + np.abs(litres - table.litres)) * 10**DECIMALS
    band = np.ceil(steps - 1e-6) / 10**DECIMALS + 0.0
    rows = zip(table.counts, litres, band, strict=True)
    return tuple(fk.TableRow(float(c), float(v), float(u)) for c, v, u in rows)


def accept_table(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, digest: str, remark: str = ""
) -> Recorded:
    """Stand for the last table that was made."""
    return yard.record(job, stamp, fk.TableAccepted(tank_id, digest, remark=remark))


def journal_table(tank: TankState) -> tuple[Table, str]:
    """Return the last table that was made, and its digest."""
    made = _made(tank)
    rows = made.event.rows
    band = [row.u_litres for row in rows]
    table = Table(
        np.array([row.counts for row in rows]),
        np.array([row.litres for row in rows]),
        None if None in band else np.array(band, dtype=np.float64),
    )
    return table, made.event.digest


def check_pour(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    *,
    added_l: float,
    counts_before: float,
    taken: Taken,
    note: str = "",
) -> Recorded:
    """Hold a pour made after the table against it."""
    if taken.counts is None and (before := yard.repeated(job, stamp)):
        return before
    state, tank = yard.tank(job, tank_id)
    table, digest = journal_table(tank)
    require_on_scale(state, tank, counts_before, "counts_before")
    if taken.counts is not None:
        require_on_scale(state, tank, taken.counts, "counts_after")
    after = reading_of(yard, job, tank_id, taken).counts
    if added_l <= 0:
        raise InputError(
            said("must be above 0, found {found}", found=Volume(added_l)), field="added_l"
        )
    compared = compare_pour(table, added_l, counts_before, after)
    event = fk.CheckPourRecorded(
        tank_id,
        digest,
        added_l,
        counts_before,
        after,
        compared.table_l,
        compared.u_table_l,
        compared.agrees,
        note=note,
    )
    return yard.record(job, stamp, event)


def compare_pour(
    table: Table, added_l: float, counts_before: float, counts_after: float
) -> Compared:
    """Return what a table says was added between two readings, and whether it agrees.

    The bands of the two readings are added as if they shared nothing, which is the wider
    choice; the delivery brings its own uncertainty.  Agreement is |E_n| up to 1.

    >>> straight = Table(np.array([0, 100]), np.array([0, 200]), np.array([1.0, 1.0]))
    >>> compare_pour(straight, 40.0, 10, 30)
    Compared(table_l=40.0, u_table_l=1.41, agrees=True)
    """
    ends = _at(table, counts_before, "counts_before"), _at(table, counts_after, "counts_after")
    found = ends[1][0] - ends[0][0]
    if ends[0][1] is None or ends[1][1] is None:
        return Compared(round(found, 2), None, None)
    band = float(np.hypot(ends[0][1], ends[1][1]))
    assumed = Assumptions()
    delivery = 2 * float(np.hypot(assumed.u_delivery_l, assumed.u_meter * added_l))
    agrees = is_within(en_number(found, added_l, band, delivery), 1.0)
    return Compared(round(found, 2), round(band, 2), agrees)


def compare_back_office(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    *,
    shown_l: float,
    taken: Taken,
    note: str = "",
) -> Recorded:
    """Hold what the back office shows against the table at the same reading."""
    if taken.counts is None and (before := yard.repeated(job, stamp)):
        return before
    _, tank = yard.tank(job, tank_id)
    table, digest = journal_table(tank)
    counts = reading_of(yard, job, tank_id, taken).counts
    compared = compare_shown(table, shown_l, counts)
    event = fk.BackOfficeCompared(
        tank_id,
        digest,
        shown_l,
        counts,
        compared.table_l,
        compared.u_table_l,
        compared.agrees,
        note=note,
    )
    return yard.record(job, stamp, event)


def void_check(yard: Yard, job: str, stamp: Stamp, entry: int, reason: str) -> Recorded:
    """Take back a check pour or a look at the back office; it stays visible, struck through."""
    return yard.record(job, stamp, fk.CheckVoided(entry, reason))


def compare_shown(table: Table, shown_l: float, counts: float) -> Compared:
    """Return what the table says at a reading, and whether a shown value lies in its band.

    >>> straight = Table(np.array([0, 100]), np.array([0, 200]), np.array([1.0, 1.0]))
    >>> compare_shown(straight, 42.0, 20).agrees
    False
    """
    litres, band = _at(table, counts, "counts")
    if band is None:
        return Compared(round(litres, 2), None, None)
    return Compared(round(litres, 2), round(band, 2), is_within(shown_l - litres, band))


def _made(tank: TankState) -> Kept[fk.TableMade]:
    if tank.table is None:
        raise NotThereError(
            said("tank {tank_id} has no table yet; make it first", tank_id=tank.tank_id)
        )
    return tank.table


def _at(table: Table, counts: float, field: str) -> tuple[float, float | None]:
    try:
        band = table.band_at(counts)
        return float(table.litres_at(counts)), None if band is None else float(band)
    except InputError as error:
        raise InputError(error.problem, field=field) from None
