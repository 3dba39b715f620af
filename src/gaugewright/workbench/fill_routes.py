"""The API of a fill: pours and their verdict, answers, the table, check pours."""

from typing import Annotated, Any, Literal

from fastapi import Query
from starlette.responses import Response

from gaugewright.app import filling, proving, typed
from gaugewright.app.bench import Taken
from gaugewright.app.filling import Answer, Beside, Judged
from gaugewright.app.instruments import TYPED_BY_HAND
from gaugewright.app.pictures import LandingPicture, VerdictPicture
from gaugewright.app.typed import Typed
from gaugewright.app.verdicts import landing_of, look, verdict
from gaugewright.app.yard import Yard
from gaugewright.journal import fill_kinds as fk
from gaugewright.table.export import export_csv, export_json, export_xlsx
from gaugewright.workbench import bodies
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import speech_of
from gaugewright.workbench.job_routes import EntryNumber, taken_of
from gaugewright.workbench.schema import Router

router = Router(prefix="/api/jobs/{job}")

MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@router.post("/tanks/{tank_id}/fill")
def begin(
    job: str, tank_id: str, body: bodies.BeginFill, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Begin the fill of a tank; with a reason, anew."""
    begun = fk.FillBegun(
        tank_id,
        is_draining=body.is_draining,
        dispenser=body.dispenser,
        fuel=body.fuel,
        reason=body.reason,
        **_checks(body),
    )
    return _answer(filling.begin_fill(yard, job, stamp_of(body, visitor), begun), yard)


@router.post("/tanks/{tank_id}/fill/checks")
def change_checks(
    job: str, tank_id: str, body: bodies.ChangeChecks, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Put right what was checked beside the pours."""
    changed = fk.FillChecksChanged(tank_id, body.reason, **_checks(body))
    return _answer(filling.change_checks(yard, job, stamp_of(body, visitor), changed), yard)


@router.post("/tanks/{tank_id}/pours")
def pour(
    job: str, tank_id: str, body: bodies.PourBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record a pour and say at once whether it fits."""
    beside = Beside(
        fuel_c=_celsius(body.fuel_c, "fuel_c"),
        meter_c=_celsius(body.meter_c, "meter_c"),
        pitch_deg=_figure(body.pitch_deg, "pitch_deg"),
        roll_deg=_figure(body.roll_deg, "roll_deg"),
        planned_l=_litres(body.planned_l, "planned_l"),
        note=body.note,
    )
    added_l = typed.litres(body.added_l, "added_l")
    return _answer(
        filling.record_pour(
            yard, job, stamp_of(body, visitor), tank_id, added_l, taken_of(body), beside
        ),
        yard,
    )


@router.post("/tanks/{tank_id}/pours/placed")
def place(
    job: str, tank_id: str, body: bodies.PlacedBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Place a pour that was left out before one that is recorded, and judge the fill anew."""
    placed = fk.PourPlaced(
        tank_id,
        body.before,
        typed.litres(body.added_l, "added_l"),
        typed.counts(body.counts),
        body.reason,
        fuel_c=_celsius(body.fuel_c, "fuel_c"),
        meter_c=_celsius(body.meter_c, "meter_c"),
        pitch_deg=_figure(body.pitch_deg, "pitch_deg"),
        roll_deg=_figure(body.roll_deg, "roll_deg"),
        source=TYPED_BY_HAND,
        note=body.note,
    )
    return _answer(filling.place_pour(yard, job, stamp_of(body, visitor), placed), yard)


@router.post("/pours/{entry}/void")
def void(
    job: str, entry: EntryNumber, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Take a pour back; it stays visible, struck through."""
    return _answer(filling.void_pour(yard, job, stamp_of(body, visitor), entry, body.reason), yard)


@router.post("/tanks/{tank_id}/answers")
def answer(
    job: str, tank_id: str, body: bodies.AnswerBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Answer a finding: corrected, repeated, or kept with a reason."""
    given = Answer(
        pour=body.pour,
        finding=body.finding,
        answer=body.answer,
        reason=body.reason,
        added_l=_litres(body.added_l, "added_l"),
        counts=None if body.counts is None else typed.counts(body.counts),
    )
    return _answer(filling.answer_finding(yard, job, stamp_of(body, visitor), tank_id, given), yard)


@router.get("/tanks/{tank_id}/verdict")
def current_verdict(job: str, tank_id: str, yard: YardHere) -> VerdictPicture:
    """Give the verdict on the fill so far."""
    return speech_of(yard).all_of(verdict(yard.tank(job, tank_id)[1], yard.unit))


@router.get("/tanks/{tank_id}/forecast")
def forecast(
    job: str,
    tank_id: str,
    yard: YardHere,
    added_l: Annotated[str, Query(max_length=60)],
) -> LandingPicture | None:
    """Give where a pour of so much should land; null off the scale or too early to say."""
    looked = look(yard.tank(job, tank_id)[1], yard.unit)
    litres = typed.litres(added_l, "added_l")
    return None if looked is None else landing_of(looked, litres)


@router.post("/tanks/{tank_id}/table")
def make_table(
    job: str, tank_id: str, body: bodies.Recording, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Make the calibration table of the fill."""
    return recorded_answer(proving.make_table(yard, job, stamp_of(body, visitor), tank_id))


@router.post("/tanks/{tank_id}/table/accept")
def accept_table(
    job: str, tank_id: str, body: bodies.Accept, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Stand for the last table that was made."""
    return recorded_answer(
        proving.accept_table(yard, job, stamp_of(body, visitor), tank_id, body.digest, body.remark)
    )


@router.get("/tanks/{tank_id}/table.{form}", response_class=Response)
def hand_over(
    job: str, tank_id: str, form: Literal["csv", "json", "xlsx"], yard: YardHere
) -> Response:
    """Give the last table as a file; no cell of it is a formula."""
    state, tank = yard.tank(job, tank_id)
    table, digest = proving.journal_table(tank)
    facts = {
        "job": job,
        "customer": state.fact("customer"),
        "vehicle": state.fact("vehicle"),
        "tank": tank_id,
        "digest": digest,
    }
    content: str | bytes
    if form == "csv":
        content = export_csv(table)
    elif form == "json":
        content = export_json(table, facts)
    else:
        content = export_xlsx(table, facts)
    return Response(
        content,
        media_type=MEDIA_TYPES[form],
        headers={"content-disposition": f'attachment; filename="table.{form}"'},
    )


@router.post("/tanks/{tank_id}/check-pours")
def check_pour(
    job: str, tank_id: str, body: bodies.CheckPour, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Hold a pour made after the table against it."""
    taken = taken_of(body)
    if body.counts_after is not None:
        taken = Taken(typed.counts(body.counts_after, "counts_after"))
    return recorded_answer(
        proving.check_pour(
            yard,
            job,
            stamp_of(body, visitor),
            tank_id,
            added_l=typed.litres(body.added_l, "added_l"),
            counts_before=typed.counts(body.counts_before, "counts_before"),
            taken=taken,
            note=body.note,
        )
    )


@router.post("/tanks/{tank_id}/back-office")
def back_office(
    job: str, tank_id: str, body: bodies.BackOffice, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Hold what the back office shows against the table."""
    return recorded_answer(
        proving.compare_back_office(
            yard,
            job,
            stamp_of(body, visitor),
            tank_id,
            shown_l=typed.litres(body.shown_l, "shown_l"),
            taken=taken_of(body),
            note=body.note,
        )
    )


@router.post("/checks/{entry}/void")
def void_check(
    job: str, entry: EntryNumber, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Take back a check pour or a look at the back office; it stays visible, struck through."""
    return recorded_answer(
        proving.void_check(yard, job, stamp_of(body, visitor), entry, body.reason)
    )


def _answer(judged: Judged, yard: Yard) -> RecordedAnswer:
    return recorded_answer(judged.recorded, speech_of(yard).all_of(judged.verdict))


def _checks(body: bodies.Checks) -> dict[str, Any]:
    """Return what was checked beside the pours, by the names of the journal."""
    cans = tuple(
        fk.CanCheck(
            typed.litres(can.indicated_l, "meter_checks.indicated_l"),
            typed.litres(can.true_l, "meter_checks.true_l"),
        )
        for can in body.meter_checks
    )
    dip = body.dip_empty_mm
    return {
        "meter_checks": cans,
        "residual_l": _litres(body.residual_l, "residual_l"),
        "u_residual_l": _litres(body.u_residual_l, "u_residual_l"),
        "dip_empty_mm": None if dip is None else typed.length_mm(dip, "dip_empty_mm"),
        "pitch_deg": _figure(body.pitch_deg, "pitch_deg"),
        "roll_deg": _figure(body.roll_deg, "roll_deg"),
    }


def _litres(value: Typed | None, field: str) -> float | None:
    return None if value is None else typed.litres(value, field)


def _celsius(value: Typed | None, field: str) -> float | None:
    return None if value is None else typed.celsius(value, field)


def _figure(value: Typed | None, field: str) -> float | None:
    return None if value is None else typed.figure(value, field)
