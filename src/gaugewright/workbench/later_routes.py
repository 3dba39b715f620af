"""The API of a table's later life: re-checks, an exchanged probe, a sister's table."""

from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import Query, Request
from pydantic import Field

from gaugewright.app import typed
from gaugewright.app.filling import Beside
from gaugewright.app.later_pictures import LaterPicture, later_picture
from gaugewright.app.pictured import job_picture
from gaugewright.app.survey import in_mm_and_litres
from gaugewright.app.typed import Typed
from gaugewright.app.yard import NotThereError
from gaugewright.errors import InputError
from gaugewright.journal import later_kinds as lk
from gaugewright.tank.description import number
from gaugewright.workbench import bodies, views
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import page_of, speech_of
from gaugewright.workbench.job_routes import EntryNumber, taken_of
from gaugewright.workbench.schema import Router

if TYPE_CHECKING:
    from types import ModuleType

router = Router(prefix="/api/jobs/{job}")


class LaterBegin(bodies.Recording):
    """Pours after the table begin."""

    purpose: Literal["recheck", "exchange"]
    is_drained: bool = False
    cautions_read: bool = False
    probe: Annotated[dict[str, bodies.Figure], Field(max_length=20)] = Field(default_factory=dict)
    u_tip_mm: bodies.Figure | None = None
    u_zero_counts: bodies.Figure | None = None
    u_span_counts: bodies.Figure | None = None
    u_place_mm: bodies.Figure | None = None
    probe_serial: Annotated[str, Field(max_length=200)] = ""
    reason: Annotated[str, Field(max_length=2_000)] = ""


class LaterPour(bodies.TakenBody):
    """One pour after the table; the first is the reading before any."""

    added_l: bodies.Figure = 0.0
    fuel_c: bodies.Figure | None = None
    meter_c: bodies.Figure | None = None
    pitch_deg: bodies.Figure | None = None
    roll_deg: bodies.Figure | None = None
    note: bodies.Words = ""


class Sister(bodies.Recording):
    """A tank of the same model."""

    sister_job: bodies.Name
    sister_tank_id: bodies.Name


@router.get("/tanks/{tank_id}/later")
def later(job: str, tank_id: str, yard: YardHere) -> LaterPicture:
    """Give every version of a tank's table and what was poured after it."""
    return speech_of(yard).all_of(later_picture(yard.tank(job, tank_id)[1]))


@router.post("/tanks/{tank_id}/later")
def begin_later(
    job: str, tank_id: str, body: LaterBegin, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Begin a re-check of the table, or the check of a new probe."""
    _, tank = yard.tank(job, tank_id)
    if tank.table is None:
        raise NotThereError(f"tank {tank_id} has no table yet; make it first")
    begun = lk.LaterBegun(
        tank_id,
        tank.table.event.digest,
        body.purpose,
        is_drained=body.is_drained,
        probe=_probe(body, later_picture(tank)),
        mounting=_mounting(body),
        probe_serial=body.probe_serial,
        reason=body.reason,
    )
    recorded = _job().begin_later(
        yard, job, stamp_of(body, visitor), begun, cautions_read=body.cautions_read
    )
    return recorded_answer(recorded)


@router.post("/tanks/{tank_id}/later/pours")
def later_pour(
    job: str, tank_id: str, body: LaterPour, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record a pour after the table."""
    beside = Beside(
        fuel_c=None if body.fuel_c is None else typed.celsius(body.fuel_c, "fuel_c"),
        meter_c=None if body.meter_c is None else typed.celsius(body.meter_c, "meter_c"),
        pitch_deg=_figure(body.pitch_deg, "pitch_deg"),
        roll_deg=_figure(body.roll_deg, "roll_deg"),
        note=body.note,
    )
    added_l = typed.litres(body.added_l, "added_l")
    recorded = _job().record_later_pour(
        yard, job, stamp_of(body, visitor), tank_id, added_l, taken_of(body), beside
    )
    return recorded_answer(recorded)


@router.post("/later/{entry}/void")
def void_later_pour(
    job: str, entry: EntryNumber, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Take the last pour after the table back; it stays visible, struck through."""
    recorded = _job().void_later_pour(yard, job, stamp_of(body, visitor), entry, body.reason)
    return recorded_answer(recorded)


@router.post("/tanks/{tank_id}/later/conclude")
def conclude_later(
    job: str, tank_id: str, body: bodies.Recording, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Say what the pours show, and record it."""
    return recorded_answer(_job().conclude_later(yard, job, stamp_of(body, visitor), tank_id))


@router.post("/tanks/{tank_id}/later/carry")
def carry_later(
    job: str, tank_id: str, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Make the newer version of the table; the older one stays readable."""
    recorded = _job().carry_later(yard, job, stamp_of(body, visitor), tank_id, body.reason)
    return recorded_answer(recorded)


@router.post("/tanks/{tank_id}/sister")
def propose_sister(
    job: str, tank_id: str, body: Sister, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Propose the table of a tank of the same model, and hear what the pours say about it."""
    recorded = _sister().propose_sister(
        yard, job, stamp_of(body, visitor), tank_id, body.sister_job, body.sister_tank_id
    )
    return recorded_answer(recorded)


@router.post("/tanks/{tank_id}/sister/use")
def use_sister(
    job: str, tank_id: str, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Make the table with the sister's table before the pours."""
    recorded = _sister().use_sister(yard, job, stamp_of(body, visitor), tank_id, body.reason)
    return recorded_answer(recorded)


def later_page(
    request: Request,
    job: str,
    yard: YardHere,
    tank: Annotated[str | None, Query(max_length=200)] = None,
) -> str:
    """Give the page of a table's later life."""
    state = yard.state(job)
    if tank is not None and tank not in state.tanks:
        raise NotThereError(f"there is no tank {tank} in job {job}")
    shown = tank
    if shown is None and state.standing_tanks:
        shown = state.standing_tanks[0].tank_id
    picture = None if shown is None else later_picture(state.tanks[shown])
    return views.render_later(page_of(request), job_picture(state), picture, shown)


def _probe(body: LaterBegin, shown: LaterPicture) -> dict[str, float]:
    """Return the new probe: what was typed, and the old one's place where it was not."""
    if body.purpose == "recheck":
        if body.probe:
            raise InputError("a re-check has no new probe", field="probe")
        return {}
    typed_in = in_mm_and_litres({name: value for name, value in body.probe.items() if value != ""})
    found = {name: number(f"probe.{name}", value) for name, value in typed_in.items()}
    for name in ("x_mm", "y_mm"):
        if name not in found and shown.probe is not None:
            found[name] = shown.probe[name]
    return found


def _mounting(body: LaterBegin) -> dict[str, float]:
    lengths = {
        name: typed.length_mm(value, name)
        for name in ("u_tip_mm", "u_place_mm")
        if (value := getattr(body, name)) is not None
    }
    counts = {
        name: typed.figure(value, name)
        for name in ("u_zero_counts", "u_span_counts")
        if (value := getattr(body, name)) is not None
    }
    return {**lengths, **counts}


def _figure(value: Typed | None, field: str) -> float | None:
    return None if value is None else typed.figure(value, field)


def _job() -> "ModuleType":
    # The numerics are loaded when they are first asked for: no first page waits.
    from gaugewright.app import later_job

    return later_job


def _sister() -> "ModuleType":
    # As `_job`.
    from gaugewright.app import later_sister

    return later_sister
