"""The fill: pours recorded, checked at once, answered for, taken back."""

from dataclasses import dataclass, fields, replace

from gaugewright.app.bench import Late, Taken, reading_of
from gaugewright.app.beside_pours import require_drained, require_holds, require_room
from gaugewright.app.live_values import Heard
from gaugewright.app.pictures import VerdictPicture
from gaugewright.app.typed_scale import require_on_scale
from gaugewright.app.verdicts import planned_l, prepare_check, verdict
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.book import Recorded
from gaugewright.journal.demands import Event
from gaugewright.journal.state import FillState, JobState, Kept, TankState
from gaugewright.units import VolumeUnit
from gaugewright.words import Volume, said, together


@dataclass(frozen=True, slots=True)
class Beside:
    """What is known of a pour beside its litres and its counts."""

    fuel_c: float | None = None
    meter_c: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    planned_l: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """A person's answer to a finding."""

    pour: int | None
    """The number of the entry that recorded the pour; ``None`` for the whole fill."""
    finding: str
    answer: str
    """``corrected``, ``repeated`` or ``kept``."""
    reason: str
    added_l: float | None = None
    """The litres put right."""
    counts: float | None = None
    """The counts put right; for ``repeated`` ``None`` takes the live steady reading."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What was recorded, and what the pour check says now."""

    recorded: Recorded
    verdict: VerdictPicture


def begin_fill(yard: Yard, job: str, stamp: Stamp, begun: fk.FillBegun) -> Judged:
    """Begin the stepwise calibration of a tank; with a reason, anew."""
    if yard.repeated(job, stamp) is None:
        require_room(yard.tank(job, begun.tank_id)[1], begun)
    recorded = yard.record(job, stamp, begun)
    prepare_check(recorded.state.tanks[begun.tank_id])
    return _judged(yard, recorded, begun.tank_id)


def change_checks(yard: Yard, job: str, stamp: Stamp, changed: fk.FillChecksChanged) -> Judged:
    """Put right what was checked beside the pours."""
    if yard.repeated(job, stamp) is None:
        require_room(yard.tank(job, changed.tank_id)[1], changed)
    return _judged(yard, yard.record(job, stamp, changed), changed.tank_id)


def record_pour(
    yard: Yard,
    job: str,
    stamp: Stamp,
    tank_id: str,
    added_l: float,
    taken: Taken,
    beside: Beside = Beside(),
) -> Judged:
    """Record a pour with the reading after it, and say at once whether it fits.

    A pour that was voided and is poured or read again stands in for the voided one.
    Raises `StateError` while a finding is unanswered, `UnsteadyError` if the live reading
    may not be recorded now.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        _require_same_pour(before, added_l)
        return _judged(yard, before, tank_id)
    state, tank = yard.tank(job, tank_id)
    fill = _fill(tank)
    _require_fuel_moved(fill.next_step, added_l)
    require_holds(tank, added_l)
    if taken.counts is not None:
        require_on_scale(state, tank, taken.counts)
    _require_answered(tank, yard.unit)
    got = reading_of(yard, job, tank_id, taken)
    step = fill.next_step
    if step == 0:
        require_drained(tank, got.counts)
    voided = _to_be_replaced(fill, step)
    plan = None if tank.plan is None else tank.plan.event.plan
    event = _pour_event(
        tank_id,
        step,
        added_l,
        got,
        replace(
            beside,
            planned_l=planned_l(plan, step) if beside.planned_l is None else beside.planned_l,
        ),
        replaces=None if voided is None else voided.number,
        late=taken.late,
    )
    return _judged(yard, yard.record(job, stamp, event), tank_id)


def place_pour(yard: Yard, job: str, stamp: Stamp, placed: fk.PourPlaced) -> Judged:
    """Place a pour that was left out before one that is recorded, and judge the fill anew.

    It may be placed while a finding waits for an answer: that is often what it answers.
    """
    state, tank = yard.tank(job, placed.tank_id)
    _fill(tank)
    _require_fuel_moved(1, placed.added_l)
    require_holds(tank, placed.added_l)
    require_on_scale(state, tank, placed.counts)
    return _judged(yard, yard.record(job, stamp, placed), placed.tank_id)


def void_pour(yard: Yard, job: str, stamp: Stamp, entry: int, reason: str) -> Judged:
    """Take a pour back; it stays visible, struck through."""
    state = yard.state(job)
    tank_id = _pour_of(state, entry).event.tank_id
    return _judged(yard, yard.record(job, stamp, fk.PourVoided(entry, reason)), tank_id)


def answer_finding(yard: Yard, job: str, stamp: Stamp, tank_id: str, answer: Answer) -> Judged:
    """Answer a finding: with the right figure, with a repeated reading, or by keeping it.

    A corrected or repeated pour is voided and recorded again at its step, in one entry
    after the other and all or none.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return _judged(yard, before, tank_id)
    state, tank = yard.tank(job, tank_id)
    fill = _fill(tank)
    if answer.counts is not None:
        require_on_scale(state, tank, answer.counts)
    message = _message_of(tank, answer, yard.unit)
    kept = None if answer.pour is None else _standing(fill, answer.pour)
    step = fill.standing[-1].event.step if kept is None and fill.standing else 0
    answered = fk.FindingAnswered(
        tank_id,
        step if kept is None else kept.event.step,
        answer.finding,
        answer.answer,
        answer.reason,
        message=message,
        pour=answer.pour,
    )
    events: list[Event] = [answered]
    if answer.answer in ("corrected", "repeated"):
        if kept is None:
            raise InputError(said("say which pour is put right"), field="pour")
        events += _again(yard, job, tank_id, kept, answer)
    return _judged(yard, yard.record(job, stamp, *events), tank_id)


def _again(
    yard: Yard, job: str, tank_id: str, kept: Kept[fk.PourRecorded], answer: Answer
) -> list[Event]:
    old = _as_recorded(kept.event)
    if answer.answer == "repeated":
        got = reading_of(yard, job, tank_id, Taken(answer.counts))
        new = replace(
            old,
            counts=got.counts,
            counts_sd=got.counts_sd,
            is_steady=got.is_steady if answer.counts is None else None,
            steadiness=got.steadiness,
            duration_s=got.duration_s,
            source=got.source,
            fuel_c=old.fuel_c if got.temperature_c is None else got.temperature_c,
        )
    elif answer.added_l is None and answer.counts is None:
        raise InputError(said("give the litres or the counts that are right"), field="added_l")
    else:
        if answer.added_l is not None:
            _require_fuel_moved(old.step, answer.added_l)
        new = replace(
            old,
            added_l=old.added_l if answer.added_l is None else answer.added_l,
            counts=old.counts if answer.counts is None else answer.counts,
        )
    return [
        fk.PourVoided(kept.number, answer.reason),
        replace(new, replaces=kept.number),
    ]


def _as_recorded(event: fk.PourRecorded) -> fk.PourRecorded:
    """Return a pour as the entry that records one, also if it was placed afterwards."""
    return fk.PourRecorded(
        **{each.name: getattr(event, each.name) for each in fields(fk.PourRecorded)}
    )


def _pour_event(
    tank_id: str,
    step: int,
    added_l: float,
    got: Heard,
    beside: Beside,
    *,
    replaces: int | None,
    late: Late | None,
) -> fk.PourRecorded:
    is_typed = got.duration_s is None and not got.steadiness
    return fk.PourRecorded(
        tank_id,
        step,
        added_l,
        got.counts,
        counts_sd=got.counts_sd,
        fuel_c=got.temperature_c if beside.fuel_c is None else beside.fuel_c,
        meter_c=beside.meter_c,
        pitch_deg=beside.pitch_deg,
        roll_deg=beside.roll_deg,
        planned_l=beside.planned_l,
        is_steady=None if is_typed else got.is_steady,
        steadiness=got.steadiness,
        duration_s=got.duration_s,
        source=got.source,
        note=beside.note,
        replaces=replaces,
        typed_at="" if late is None else late.typed_at.isoformat(timespec="seconds"),
    )


def _require_answered(tank: TankState, unit: VolumeUnit) -> None:
    now = verdict(tank, unit)
    if now.blocks:
        opened = next(each for each in now.findings if each.is_open)
        raise StateError(
            said(
                "answer this before the next pour: {what}",
                what=together(opened.message, opened.suggestion or ""),
            )
        )


def _require_fuel_moved(step: int, added_l: float) -> None:
    """Refuse a pour of nothing.  Only here, not in the entry: older books may hold one."""
    if step > 0 and added_l <= 0:
        raise InputError(
            said(
                "a pour adds fuel, so this must be above 0, found {added:.1f}; to read the probe "
                "again, void the pour before and record it anew",
                added=Volume(added_l),
            ),
            field="added_l",
        )


def _require_same_pour(before: Recorded, added_l: float) -> None:
    """A request that is sent again says the same litres; its reading was taken then."""
    entry = before.entries[0]
    if entry.kind != "pour_recorded" or entry.payload.get("added_l") != added_l:
        raise InputError(
            said(
                "this request was already used for something else (entry {number})",
                number=entry.number,
            ),
            field="request_id",
        )


def _to_be_replaced(fill: FillState, step: int) -> Kept[fk.PourRecorded] | None:
    """Return the voided pour that the next one stands in for, if it has no successor yet."""
    replaced = {kept.event.replaces for kept in fill.pours}
    for kept in reversed(fill.pours):
        if kept.voided is not None and kept.event.step == step and kept.number not in replaced:
            return kept
    return None


def _fill(tank: TankState) -> FillState:
    if tank.fill is None:
        raise StateError(said("the fill of tank {tank_id} has not begun", tank_id=tank.tank_id))
    return tank.fill


def _standing(fill: FillState, number: int) -> Kept[fk.PourRecorded]:
    found = next((kept for kept in fill.standing if kept.number == number), None)
    if found is None:
        raise InputError(
            said("entry {number} is not a pour that counts in this fill", number=number),
            field="pour",
        )
    return found


def _pour_of(state: JobState, number: int) -> Kept[fk.PourRecorded]:
    for tank in state.tanks.values():
        for fill in tank.fills:
            for kept in fill.pours:
                if kept.number == number:
                    return kept
    raise NotThereError(
        said("entry {number} of job {job} is not a pour", number=number, job=state.job)
    )


def _message_of(tank: TankState, answer: Answer, unit: VolumeUnit) -> str:
    """Return the words of the finding that is answered; only what was found is answered for."""
    for each in verdict(tank, unit).findings:
        if each.kind == answer.finding and each.pour == answer.pour:
            return each.message
    raise StateError(
        said("there is no finding {finding} to answer for here", finding=answer.finding)
    )


def _judged(yard: Yard, recorded: Recorded, tank_id: str) -> Judged:
    return Judged(recorded, verdict(recorded.state.tanks[tank_id], yard.unit))
