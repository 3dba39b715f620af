"""A table after its day, in the journal: re-checks, an exchanged probe, a sister's table."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from gaugewright import __version__
from gaugewright.app.bench import Taken, reading_of
from gaugewright.app.filling import Beside
from gaugewright.app.later_known import (
    exchanged_known,
    held_of,
    known_before,
    probe_of,
    table_with,
)
from gaugewright.app.later_records import held_in_words
from gaugewright.app.later_zero import require_on_scale
from gaugewright.app.proving import rows_of
from gaugewright.app.scales import described
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal import kinds as k
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.book import Recorded
from gaugewright.journal.fills import table_digest
from gaugewright.journal.kept_words import with_words
from gaugewright.journal.state import LaterState, TankState
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.pours.later.hold import Held, Verdict, require_sound
from gaugewright.pours.later.sentences import LaterWords, verdict_sentence
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.later.assumptions import mounting
from gaugewright.table.table import Table
from gaugewright.units import LengthUnit, Volumes
from gaugewright.words import Volume, said

CAUTIONS_OF = {"recheck": ("Pour",), "exchange": ("Mount", "Pour")}
"""Stages whose cautions are read again before pours after the table."""
LENGTH_UNITS: dict[str, LengthUnit] = {"mm": "mm", "inches": "in"}


def cautions_of(purpose: str) -> tuple[tuple[str, str, str], ...]:
    """Return (id, stage, text) of every caution that is read again."""
    stages = CAUTIONS_OF[purpose]
    return tuple((each.id, each.stage, each.text) for each in CAUTIONS if each.stage in stages)


def begin_later(
    yard: Yard,
    job: str,
    stamp: Stamp,
    begun: lk.LaterBegun,
    *,
    cautions_read: bool,
) -> Recorded:
    """Begin pours after the table; its cautions are read again and put to the person's name.

    Raises `InputError` if they were not, or where the new probe cannot stand in the tank.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, begun.tank_id)
    begun.check()
    if not cautions_read:
        raise InputError(said("read the cautions of this work first"), field="cautions_read")
    if begun.purpose == "exchange":
        mounting_of(begun.mounting)
        probe_from_mapping(dict(begun.probe))
        exchanged_known(tank, begun)
    read = [
        k.CautionAcknowledged(name, stamp.person, text=text, stage=stage)
        for name, stage, text in cautions_of(begun.purpose)
    ]
    return yard.record(job, stamp, *read, begun)


def mounting_of(given: Mapping[str, Any]) -> None:
    """Refuse uncertainties that are none."""
    for name, value in given.items():
        if not isinstance(value, int | float) or not 0 <= value < 1e4:
            raise InputError(said("must be 0 or more, found {value}", value=value), field=name)
    try:
        mounting(**given)
    except TypeError:
        raise InputError(
            said("wanted u_tip_mm, u_zero_counts, u_span_counts or u_place_mm"), field="mounting"
        ) from None


def record_later_pour(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    added_l: float,
    taken: Taken,
    beside: Beside,
) -> Recorded:
    """Record one pour after the table; the first is the reading before any, without litres."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    later = _going_on(tank)
    step = later.next_step
    if step == 0 and added_l != 0:
        raise InputError(
            said("must be 0 at first: the reading before the pours comes first"), field="added_l"
        )
    if step > 0 and added_l <= 0:
        raise InputError(
            said("must be above 0, found {found}", found=Volume(added_l)), field="added_l"
        )
    got = reading_of(yard, job, tank_id, taken)
    _require_on_scale(tank, later, got.counts)
    event = lk.LaterPourRecorded(
        tank_id,
        later.begun.number,
        step,
        added_l,
        got.counts,
        counts_sd=got.counts_sd,
        fuel_c=got.temperature_c if beside.fuel_c is None else beside.fuel_c,
        meter_c=beside.meter_c,
        pitch_deg=beside.pitch_deg,
        roll_deg=beside.roll_deg,
        is_steady=None if taken.counts is not None else got.is_steady,
        source=got.source,
        note=beside.note,
    )
    return yard.record(job, stamp, event)


def _require_on_scale(tank: TankState, later: LaterState, counts: float) -> None:
    """Refuse counts that the probe cannot send: a slip of the thumb, not a drift."""
    begun = later.begun.event
    if begun.probe:
        probe: Probe | None = probe_from_mapping(dict(begun.probe))
    else:
        probe = probe_of(tank, table_with(tank, begun.digest))
    if probe is not None:
        require_on_scale(counts, probe, "counts")


def void_later_pour(yard: Yard, job: str, stamp: Stamp, entry: int, reason: str) -> Recorded:
    """Take the last pour after the table back; it stays visible, struck through."""
    return yard.record(job, stamp, lk.LaterPourVoided(entry, reason))


def conclude_later(yard: Yard, job: str, stamp: Stamp, tank_id: str) -> Recorded:
    """Say what the pours show, and record it with the figures that it stands on."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    later = _going_on(tank)
    if len(later.standing) < 3:
        raise StateError(said("make at least two pours after the first reading"))
    held = held_of(tank, later)
    verdict = with_words(
        sentence=verdict_sentence(held, is_carried=later.begun.event.purpose == "exchange")
    )
    words = words_of(yard, tank, later)
    event = lk.LaterConcluded(
        tank_id,
        later.begun.number,
        str(held.verdict),
        verdict.pop("sentence"),
        tuple(kept.number for kept in later.standing),
        results={**held_in_words(held, words), **verdict},
        versions=versions(),
    )
    return yard.record(job, stamp, event)


def words_of(yard: Yard, tank: TankState, later: LaterState) -> LaterWords:
    """Return in which units changes are said in this book."""
    known = known_before(tank, later)
    is_mm = bool(later.begun.event.probe) or described(tank)[1] is not None
    length = LENGTH_UNITS.get(yard.book.settings().length_unit, "mm")
    return LaterWords(Volumes(yard.unit), length, known.probe.mm_per_count, is_mm)


def carry_later(yard: Yard, job: str, stamp: Stamp, tank_id: str, reason: str) -> Recorded:
    """Make the newer version of the table: carried to the new probe, or put right by a re-check.

    The older one stays readable.  Without check pours, or where they do not confirm it, the
    new table says so in its findings.
    """
    # The fit is loaded when it is first asked for: no first page waits.
    from gaugewright.app.calibrate import table_of

    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    later = _going_on(tank)
    begun = later.begun.event
    has_pours = len(later.standing) > 1
    if begun.purpose == "recheck" and not has_pours:
        raise StateError(said("make at least one pour after the first reading"))
    held = held_of(tank, later) if has_pours else None
    if held is not None:
        require_sound(held)
    fitted = known_before(tank, later).table_fit() if held is None else held.after
    event = carried_event(
        tank,
        table_of(fitted),
        from_digest=begun.digest,
        way=begun.purpose,
        begun=later.begun.number,
        probe=begun.probe,
        reason=reason,
        findings=_findings(held),
    )
    return yard.record(job, stamp, event)


def carried_event(tank: TankState, table: Table, **what: Any) -> lk.TableCarried:
    """Return the entry of a newer table, made from the same pours as the one before it."""
    rows = rows_of(table)
    made = tank.table
    pours = () if made is None else made.event.pours
    return lk.TableCarried(
        tank.tank_id, rows, table_digest(rows), pours=pours, versions=versions(), **what
    )


def _findings(held: Held | None) -> tuple[Mapping[str, Any], ...]:
    """What a certificate has to say about a table that was carried."""
    if held is None:
        message = said("Carried over without check pours: not confirmed on the new probe.")
    elif held.verdict is Verdict.GOOD:
        return ()
    else:
        message = verdict_sentence(held)
    found = {"step": None, "kind": "carried", "severity": "check", **with_words(message=message)}
    return ({**found, "suggestion": None},)


def _going_on(tank: TankState) -> LaterState:
    if not tank.later:
        raise StateError(said("no pours after the table were begun"))
    return tank.later[-1]


def versions() -> dict[str, str]:
    """Return what made a result."""
    return {"gaugewright": __version__, "numpy": np.__version__}
