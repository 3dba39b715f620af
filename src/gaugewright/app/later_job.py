"""A table after its day, in the journal: re-checks, an exchanged probe, a sister's table."""

from collections.abc import Mapping
from dataclasses import replace
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
    sister_levels,
    table_with,
)
from gaugewright.app.later_records import comparison_records, held_in_words
from gaugewright.app.proving import rows_of
from gaugewright.app.scales import described
from gaugewright.app.sister import SisterSays, sister_says
from gaugewright.app.verdicts import look
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal import kinds as k
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.book import Recorded
from gaugewright.journal.fills import fill_of, table_digest
from gaugewright.journal.state import LaterState, TankState
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.pours.later.hold import Held, Verdict
from gaugewright.pours.later.sentences import LaterWords, verdict_sentence
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.table.later.assumptions import mounting
from gaugewright.table.later.sister import sister_known
from gaugewright.table.records import counts_scale
from gaugewright.table.table import Table
from gaugewright.units import LengthUnit, Volumes
from gaugewright.words import said

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
        raise InputError(said("must be above 0, found {found:g}", found=added_l), field="added_l")
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
    if probe is None:
        return
    low, high = counts_scale(probe.counts_empty, probe.counts_full)
    if not low <= counts <= high:
        raise InputError(
            said(
                "{counts:g} counts is no reading of this probe, wanted {low:g} to {high:g}",
                counts=counts,
                low=low,
                high=high,
            ),
            field="counts",
        )


def void_later_pour(yard: Yard, job: str, stamp: Stamp, entry: int, reason: str) -> Recorded:
    """Take the last pour after the table back; it stays visible, struck through."""
    return yard.record(job, stamp, lk.LaterPourVoided(entry, reason))


def conclude_later(yard: Yard, job: str, stamp: Stamp, tank_id: str) -> Recorded:
    """Say what the pours show, and record it with the figures that it stands on."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    later = _going_on(tank)
    if len(later.standing) < 2:
        raise StateError(said("make at least one pour after the first reading"))
    held = held_of(tank, later)
    what = "The carried table" if later.begun.event.purpose == "exchange" else "The table"
    words = words_of(yard, tank, later)
    event = lk.LaterConcluded(
        tank_id,
        later.begun.number,
        str(held.verdict),
        str(verdict_sentence(held, what)),
        tuple(kept.number for kept in later.standing),
        results=held_in_words(held, words),
        versions=_versions(),
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
    fitted = known_before(tank, later).table_fit() if held is None else held.after
    event = _carried_event(
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


def propose_sister(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, sister_job: str, sister_tank_id: str
) -> Recorded:
    """Propose the table of a tank of the same model, and say what the pours say about it."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    try:
        _, sister = yard.tank(sister_job, sister_tank_id)
    except NotThereError as error:
        raise InputError(str(error), field="sister_job") from None
    proposed = _proposal(tank_id, sister_job, sister)
    says = sister_of(tank, proposed)
    results = {
        "verdict": str(says.verdict).replace(" ", "_"),
        "probability": round(says.both.agreement, 4),
        "log_likelihood": round(says.both.log_likelihood, 2),
        "sentence": says.sentence,
        "comparisons": comparison_records(says.comparisons),
        "band_share": round(says.both.narrower, 3),
        "versions": _versions(),
    }
    return yard.record(job, stamp, replace(proposed, results=results))


def use_sister(yard: Yard, job: str, stamp: Stamp, tank_id: str, reason: str) -> Recorded:
    """Make the table of a fill with the proposed sister's table before its pours."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    if tank.sister is None:
        raise StateError(said("no sister's table was proposed"))
    proposed = tank.sister.event
    says = sister_of(tank, proposed)
    assert tank.fill is not None
    event = _carried_event(
        tank,
        says.table,
        from_digest=proposed.digest,
        way="sister",
        begun=None,
        probe={},
        reason=reason,
        findings=(),
    )
    pours = tuple(kept.number for kept in tank.fill.standing)
    return yard.record(job, stamp, replace(event, pours=pours))


def sister_of(tank: TankState, proposed: lk.SisterProposed) -> SisterSays:
    """Return what this tank's pours say about a sister's table."""
    body, probe = described(tank)
    if probe is None:
        raise StateError(
            said("describe this tank's probe first: counts of one say nothing to another")
        )
    looked = look(tank)
    if looked is None or looked.checked is None:
        why = said("the fill has not begun") if looked is None else looked.why_not
        raise StateError(said("no sister can be held against it yet: {why}", why=why))
    known = sister_known(sister_levels(proposed), probe)
    return sister_says(known, looked.fill, body, probe, looked.checked.doubts)


def _proposal(tank_id: str, sister_job: str, sister: TankState) -> lk.SisterProposed:
    kept = sister.accepted_table or sister.table
    if kept is None:
        raise InputError(
            said("tank {tank_id} of that job has no table", tank_id=sister.tank_id),
            field="sister_tank_id",
        )
    probe = probe_of(sister, kept)
    if probe is None or sister.described is None:
        raise InputError(
            said("the sister's probe is not described; her counts say nothing of levels"),
            field="sister_tank_id",
        )
    event = kept.event
    proposed = lk.SisterProposed(
        tank_id,
        sister_job,
        sister.tank_id,
        event.digest,
        rows=event.rows,
        tank=sister.described.event.tank,
        probe={name: getattr(probe, name) for name in probe.__slots__},
    )
    fill = next(
        (f for f in reversed(sister.fills) if {p.number for p in f.standing} == set(event.pours)),
        None,
    )
    if fill is None or isinstance(event, lk.TableCarried):
        return proposed
    made = fill_of(fill)
    return replace(
        proposed,
        pours=tuple(
            lk.SisterPour(
                p.step,
                p.added_l,
                p.counts,
                p.counts_sd,
                p.fuel_c,
                p.meter_c,
                p.pitch_deg,
                p.roll_deg,
            )
            for p in made.pours
        ),
        meter_checks=fill.checks.event.meter_checks,
        residual_l=made.residual_l,
        u_residual_l=made.u_residual_l,
        dip_empty_mm=made.dip_empty_mm,
        is_draining=made.is_draining,
    )


def _carried_event(tank: TankState, table: Table, **what: Any) -> lk.TableCarried:
    rows = rows_of(table)
    made = tank.table
    pours = () if made is None else made.event.pours
    return lk.TableCarried(
        tank.tank_id, rows, table_digest(rows), pours=pours, versions=_versions(), **what
    )


def _findings(held: Held | None) -> tuple[Mapping[str, Any], ...]:
    """What a certificate has to say about a table that was carried."""
    if held is None:
        message = "Carried over without check pours: not confirmed on the new probe."
    elif held.verdict is Verdict.GOOD:
        return ()
    else:
        message = str(verdict_sentence(held))
    found = {"step": None, "kind": "carried", "severity": "check", "message": message}
    return ({**found, "suggestion": None},)


def _going_on(tank: TankState) -> LaterState:
    if not tank.later:
        raise StateError(said("no pours after the table were begun"))
    return tank.later[-1]


def _versions() -> dict[str, str]:
    return {"gaugewright": __version__, "numpy": np.__version__}
