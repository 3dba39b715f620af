"""What happened on the way: checks, findings, voided pours, hand-over, seals, photos."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from gaugewright.certificate.drawing.plot import Point
from gaugewright.certificate.handover import hand_over
from gaugewright.certificate.identity import more_facts
from gaugewright.certificate.later_life import later_parts
from gaugewright.certificate.names import in_words
from gaugewright.certificate.statement import Grid, Part
from gaugewright.certificate.writing import Writer, free, in_a_row, in_groups
from gaugewright.errors import InputError
from gaugewright.journal.fill_kinds import CheckPourRecorded
from gaugewright.journal.state import JobState, TankState
from gaugewright.metrology.agreement import en_number
from gaugewright.planning.cautions import CAUTIONS
from gaugewright.table.assumptions import Assumptions
from gaugewright.table.table import Table
from gaugewright.words import Said, said

NONE = said("None.")


def tank_parts(state: JobState, tank: TankState, write: Writer) -> tuple[Part, ...]:
    """Return what is told of a tank's results beside its table."""
    return (
        _check_pours(tank, write),
        _findings(tank, write),
        _voided(tank, write),
        *later_parts(tank, write),
        hand_over(tank, write),
        _earlier(tank, write),
    )


def job_parts(state: JobState, write: Writer) -> tuple[Part, ...]:
    """Return what is told of the whole job."""
    return (
        _seals(state, write),
        _mounting(state),
        _cautions(state, write),
        _photos(state),
        _remarks(state, write),
    )


def check_points(tank: TankState, table: Table) -> list[Point]:
    """Return each check pour as a point: where the pour would have ended by the meter."""
    found = []
    for kept in tank.checks_of(_digest(tank)):
        event = kept.event
        try:
            start = float(table.litres_at(event.counts_before))
        except InputError:
            continue  # outside the table: it stands in the list of check pours
        found.append(Point(event.counts_after, start + event.added_l, is_check=True))
    return found


def _digest(tank: TankState) -> str:
    table = tank.accepted_table
    return "" if table is None else table.event.digest


def en_of(event: CheckPourRecorded) -> float | None:
    """Return E_n of a check pour, ``None`` where the table's band is unknown.

    The delivery's expanded uncertainty is what is assumed of a pour by the meter.

    >>> pour = CheckPourRecorded("main", "0" * 64, 40.0, 1300, 1900, 40.13, 2.89, True)
    >>> round(en_of(pour), 3)
    0.045
    """
    if event.u_table_l is None:
        return None
    assumed = Assumptions()
    delivery = 2 * float(np.hypot(assumed.u_delivery_l, assumed.u_meter * event.added_l))
    return en_number(event.table_l, event.added_l, event.u_table_l, delivery)


def _check_pours(tank: TankState, write: Writer) -> Part:
    heading = said("Check pours against the table")
    pours = tank.checks_of(_digest(tank))
    voided = tuple(_voided_checks(tank, write))
    if not pours and voided:
        return Part(heading, (said("No check pour stands against this table."), *voided))
    if not pours:
        return Part(heading, (said("No check pour was made against this table."),))
    rows = []
    for kept in pours:
        event = kept.event
        number = en_of(event)
        agrees = {
            True: said("agrees"),
            False: said("does not agree"),
            None: said("cannot be told"),
        }[event.agrees]
        rows.append(
            (
                write.time(kept.mark.at),
                write.volume(event.added_l, 2),
                write.near(event.table_l, event.u_table_l),
                "–" if number is None else write.figure(number, 2),
                agrees,
            )
        )
    rule = said("Rule: it agrees where |En| ≤ 1 (ISO 13528:2015, 9.7).")
    columns = (
        said("When"),
        said("By the meter"),
        said("By the table"),
        said("En"),
        said("Result"),
    )
    return Part(heading, voided, Grid(columns, tuple(rows), rule))


def _voided_checks(tank: TankState, write: Writer) -> Iterator[Said]:
    for kept in tank.check_pours:
        if kept.voided is not None and kept.event.digest == _digest(tank):
            yield said(
                "The check pour of {litres} ({time}) was voided by {person}: {why}.",
                litres=write.volume(kept.event.added_l, 2),
                time=write.time(kept.mark.at),
                person=free(kept.voided.mark.person),
                why=free(kept.voided.reason),
            )


def _findings(tank: TankState, write: Writer) -> Part:
    heading = said("Findings and how they were answered")
    rows: list[tuple[str, ...]] = []
    for kept in () if tank.fill is None else tank.fill.answers:
        event = kept.event
        words = event.message or event.finding.replace("_", " ")
        answer = said(
            "{answer} by {person}: {reason}",
            answer=in_words(event.answer),
            person=free(kept.mark.person),
            reason=free(event.reason),
        )
        rows.append((str(event.step), free(words), answer))
    table = tank.accepted_table
    for finding in () if table is None else table.event.findings:
        step = finding.get("step")
        kind = free(finding.get("kind", ""))
        if not _is_answered(tank, step, kind):
            found = write.recorded(finding, "message", kind)
            rows.append(("–" if step is None else str(step), found, _unanswered(tank, finding)))
    if not rows:
        return Part(heading, (NONE,))
    columns = said("Step"), said("Found"), said("Answer")
    return Part(heading, (), Grid(columns, tuple(rows), wide=1))


def _unanswered(tank: TankState, finding: Mapping[str, Any]) -> Said:
    if finding.get("severity") == "note":
        return said("a note; no answer was asked")
    stood = tank.accepted[-1]
    return said("accepted with the table by {person}", person=free(stood.mark.person))


def _is_answered(tank: TankState, step: object, kind: str) -> bool:
    answers = () if tank.fill is None else tank.fill.answers
    return any(
        kept.event.finding == kind and (step is None or kept.event.step == step) for kept in answers
    )


def _voided(tank: TankState, write: Writer) -> Part:
    heading = said("Pours that were voided")
    rows = []
    for kept in () if tank.fill is None else tank.fill.pours:
        if kept.voided is None:
            continue
        event = kept.event
        why = f"{free(kept.voided.reason)} ({free(kept.voided.mark.person)})"
        counts = said("{counts:g}", counts=event.counts)
        rows.append((str(event.step), write.volume(event.added_l, 2), counts, why))
    if not rows:
        return Part(heading, (NONE,))
    columns = said("Step"), said("Poured"), said("Counts"), said("Why")
    return Part(heading, (), Grid(columns, tuple(rows), wide=3))


def _earlier(tank: TankState, write: Writer) -> Part:
    told = []
    if len(tank.fills) > 1:
        earlier = len(tank.fills) - 1
        told.append(
            said("{fills} earlier fill(s) stand in the journal and do not count.", fills=earlier)
        )
    for kept in tank.tables[:-1]:
        rows = kept.event.rows
        told.append(
            said(
                "A table of {rows} rows, {first} to {last}, was made on {at} and is replaced by "
                "this one (digest {digest}).",
                rows=len(rows),
                first=write.volume(rows[0].litres),
                last=write.volume(rows[-1].litres),
                at=write.time(kept.mark.at),
                digest=kept.event.digest[:12],
            )
        )
    table, fill = tank.accepted_table, tank.fill
    if table is not None and fill is not None and table.event.pours:
        made_from = set(table.event.pours)
        if made_from != {kept.number for kept in fill.standing}:
            told.append(
                said("Pours were recorded or voided after this table was made; they are not in it.")
            )
    return Part(said("Before this table"), tuple(told) or (said("No earlier table or fill."),))


def _seals(state: JobState, write: Writer) -> Part:
    rows = []
    for kept in state.seals:
        event = kept.event
        where: str = free(event.place)
        if event.tank_id:
            where = said("{place}, tank {tank}", place=where, tank=free(event.tank_id))
        now = said("set")
        if kept.voided is not None:
            now = said("removed: {why}", why=free(kept.voided.reason))
        rows.append((free(event.seal_number), where, write.time(kept.mark.at), now))
    known = {row[0] for row in rows}
    for done in state.mounted:
        number = free(done.event.seal_number or "")
        if done.voided is None and number and number not in known:
            where = free(done.event.item.replace("_", " "))
            rows.append((number, where, write.time(done.mark.at), said("set")))
    if not rows:
        return Part(said("Seals"), (said("No seal was recorded."),))
    columns = said("Number"), said("Where"), said("When"), said("Now")
    return Part(said("Seals"), (), Grid(columns, tuple(rows), wide=1))


def _mounting(state: JobState) -> Part:
    done: dict[str, None] = {}
    for kept in state.mounted:
        if kept.voided is None:
            done[kept.event.item.replace("_", " ")] = None
    told = said("No point was recorded.")
    if done:
        told = said("Done and recorded: {points}.", points=free(", ".join(done)))
    return Part(said("Mounting checklist"), (told,))


def _cautions(state: JobState, write: Writer) -> Part:
    short = {caution.id: caution.step for caution in CAUTIONS}
    by: dict[tuple[str, str], list[str]] = {}
    for kept in state.cautions:
        event = kept.event
        key = (free(event.acknowledged_by), write.day(kept.mark.at))
        by.setdefault(key, []).append(short.get(event.caution, free(event.caution)))
    told = tuple(
        said(
            "{person}, {day}: {count} read and acknowledged ({steps}).",
            person=person,
            day=day,
            count=len(steps),
            steps=in_a_row(dict.fromkeys(steps), "; "),
        )
        for (person, day), steps in by.items()
    )
    open_ = [c.step for c in CAUTIONS if all(k.event.caution != c.id for k in state.cautions)]
    if open_:
        steps = in_a_row(dict.fromkeys(open_), "; ")
        told += (said("Not acknowledged: {steps}.", steps=steps),)
    return Part(said("Cautions"), told)


def _photos(state: JobState) -> Part:
    if not state.photos:
        return Part(said("Photos"), (said("No photo was taken."),))
    rows = tuple(
        (
            str(kept.number),
            free(kept.event.caption or kept.event.item or kept.event.stage or "–"),
            in_groups(kept.event.sha256[:32]),
        )
        for kept in state.photos
    )
    note = said("The first half of each photo’s SHA-256; the whole one stands in the journal.")
    columns = said("Entry"), said("Shows"), said("SHA-256")
    return Part(said("Photos"), (), Grid(columns, rows, note, wide=1))


def _remarks(state: JobState, write: Writer) -> Part:
    told: list[str] = [f"{key}: {value}." for key, value in more_facts(state)]
    told += _corrections(state, write)
    told += [f"{free(k.mark.person)}: {free(k.event.text)}" for k in state.notes]
    told += [
        said("Stage {stage} was opened again: {why}.", stage=stage, why=free(kept.voided.reason))
        for stage, kept in state.stages.items()
        if kept.voided is not None
    ]
    if state.clock_set_back:
        numbers = ", ".join(map(str, state.clock_set_back))
        told.append(said("The clock was set back before entry {numbers}.", numbers=numbers))
    strange = [*state.unknown, *state.out_of_place]
    if strange:
        numbers = ", ".join(str(kept.number) for kept in strange)
        told.append(
            said(
                "Entries that this version cannot place, without effect: {numbers}.",
                numbers=numbers,
            )
        )
    return Part(said("Remarks, additions and deviations"), tuple(told) or (NONE,))


def _corrections(state: JobState, write: Writer) -> Iterator[str]:
    for key, fact in state.facts.items():
        if fact.before and fact.reason and not isinstance(fact.value, Mapping):
            was = ", ".join(free(each.value) for each in fact.before)
            yield said(
                "{fact} was corrected from {was}: {why} ({day}).",
                fact=key.replace("_", " "),
                was=was,
                why=free(fact.reason),
                day=write.day(fact.mark.at),
            )
