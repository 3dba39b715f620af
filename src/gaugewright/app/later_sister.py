"""A sister tank's table in the journal: proposed for a fill, and used for its table."""

from dataclasses import replace

from gaugewright.app.later_job import carried_event, versions
from gaugewright.app.later_known import probe_of, sister_levels
from gaugewright.app.later_records import comparison_records
from gaugewright.app.scales import described
from gaugewright.app.sister import SisterSays, sister_says
from gaugewright.app.verdicts import look
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.book import Recorded
from gaugewright.journal.fills import fill_of
from gaugewright.journal.kept_words import with_words
from gaugewright.journal.state import TankState
from gaugewright.table.later.sister import sister_known
from gaugewright.words import said


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
        **with_words(sentence=says.sentence),
        "comparisons": comparison_records(says.comparisons),
        "band_share": round(says.both.narrower, 3),
        "versions": versions(),
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
    event = carried_event(
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
