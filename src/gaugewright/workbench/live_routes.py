"""The API of what is live: instruments, the stream, the simulated dispenser, pairing."""

from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import JSONResponse, StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from gaugewright import __version__
from gaugewright.app import instruments, typed
from gaugewright.app.instruments import KindOffered
from gaugewright.app.live_values import LiveReading
from gaugewright.app.yard import NotThereError, RigHere, Yard
from gaugewright.errors import InputError, StateError
from gaugewright.instruments.pattern import Trial
from gaugewright.instruments.rig_orders import order
from gaugewright.workbench import bodies
from gaugewright.workbench.answers import (
    DoorHere,
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import speech_of
from gaugewright.workbench.guard import cookie_text
from gaugewright.workbench.pairing import PairingAnswer, PairingError, pairing_answer
from gaugewright.workbench.schema import Router
from gaugewright.workbench.stream import MOST_STREAMS, live_events
from gaugewright.workbench.streams import Streams

router = Router(prefix="/api")


@dataclass(frozen=True, slots=True)
class SessionAnswer:
    """What a page needs to record."""

    csrf_token: str
    device: str
    is_paired: bool
    is_lan: bool
    is_demo: bool
    version: str


@dataclass(frozen=True, slots=True)
class RigAnswer:
    """What the simulated yard says."""

    said: str
    is_pouring: bool
    shown_l: float


@router.get("/session")
def session(
    request: Request, yard: YardHere, visitor: VisitorHere, door: DoorHere
) -> SessionAnswer:
    """Give the token that every recording carries in the header X-Csrf-Token."""
    return SessionAnswer(
        door.csrf_token(visitor.session),
        visitor.device,
        visitor.may_enter,
        request.app.state.is_lan,
        yard.rig is not None and visitor.may_enter,
        __version__,
    )


@router.get("/instruments/kinds")
def kinds() -> tuple[KindOffered, ...]:
    """Give every kind of instrument and what it must be told."""
    return instruments.kinds_offered()


@router.post("/instruments/try-pattern")
def try_pattern(body: bodies.TryPattern) -> tuple[Trial, ...]:
    """Give what a pattern finds in lines of text."""
    return instruments.tried(body.pattern, body.lines)


@router.put("/jobs/{job}/instruments/{tank_id}")
def set_instrument(
    job: str, tank_id: str, body: bodies.Instrument, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record which instrument reads a tank, and read it from now on."""
    return recorded_answer(
        instruments.set_instrument(yard, job, stamp_of(body, visitor), tank_id, body.settings)
    )


@router.post("/jobs/{job}/instruments/{tank_id}/try")
def try_instrument(
    job: str, tank_id: str, body: bodies.InstrumentTry, yard: YardHere
) -> instruments.Tried:
    """Read an instrument for a moment and give what came; records nothing."""
    return speech_of(yard).all_of(instruments.try_settings(yard, job, tank_id, body.settings))


@router.get("/jobs/{job}/instruments/{tank_id}/lines")
def last_lines(job: str, tank_id: str, yard: YardHere) -> tuple[str, ...]:
    """Give the last lines that came from a tank's instrument, as they came."""
    return instruments.last_lines(yard, job, tank_id)


@router.post("/jobs/{job}/instruments/{tank_id}/start")
def start(job: str, tank_id: str, yard: YardHere) -> LiveReading:
    """Read a tank's instrument."""
    instruments.read_live(yard, job, tank_id)
    return _shown(yard, job, tank_id)


@router.post("/jobs/{job}/instruments/{tank_id}/stop", status_code=204)
def stop(job: str, tank_id: str, yard: YardHere) -> Response:
    """Read a tank's instrument no more."""
    yard.tank(job, tank_id)
    yard.desk.stop(job, tank_id)
    return Response(status_code=204)


@router.get("/jobs/{job}/instruments/{tank_id}")
def reading(job: str, tank_id: str, yard: YardHere) -> LiveReading:
    """Give the live reading of a tank now."""
    yard.tank(job, tank_id)
    return _shown(yard, job, tank_id)


@router.get("/jobs/{job}/live", response_class=StreamingResponse)
async def live(job: str, request: Request, yard: YardHere) -> Response:
    """Stream readings, what others record, and the dispenser, as Server-Sent Events."""
    streams = request.app.state.streams
    assert isinstance(streams, Streams)
    await run_in_threadpool(instruments.start_all, yard, job)
    speech = await run_in_threadpool(speech_of, yard)
    if streams.count >= MOST_STREAMS:
        raise StateError(f"{MOST_STREAMS} pages are open already; close one")
    return StreamingResponse(
        live_events(yard, job, streams, speech), media_type="text/event-stream"
    )


@router.post("/jobs/{job}/rig/pour")
def rig_pour(job: str, body: bodies.RigPour, yard: YardHere) -> RigAnswer:
    """Press the simulated dispenser: pour so many litres into the tank."""
    here = _rig(yard, job)
    litres = typed.litres(body.litres, "litres")
    try:
        shown = here.running.rig.pour(litres)
    except InputError as error:
        raise InputError(error.problem, field="litres") from None
    return _rig_answer(here, f"pouring; the meter will show {shown:.1f} L")


@router.post("/jobs/{job}/rig/order")
def rig_order(job: str, body: bodies.RigOrder, yard: YardHere) -> RigAnswer:
    """Give the simulated yard an order, such as 'tilt 1 0' or 'fault silent'."""
    here = _rig(yard, job)
    return _rig_answer(here, order(here.running.rig, body.order))


@router.post("/pairing")
def pairing(request: Request, visitor: VisitorHere, door: DoorHere) -> PairingAnswer:
    """Give a fresh code that lets one device in; only at the computer itself."""
    if not visitor.is_loopback:
        raise PairingError("codes are given at the computer only")
    base = request.app.state.lan_url
    if base is None:
        raise StateError("start with --lan to let a phone in")
    return pairing_answer(base, door.pairing.new_code())


@router.post("/pair")
def pair(body: bodies.PairBody, door: DoorHere) -> Response:
    """Let a device in for a code; it gets a cookie of its own."""
    token = door.pairing.claim(body.code, body.device)
    answer = JSONResponse(
        {"device": door.pairing.device_of(token), "csrf_token": door.csrf_token(token)}
    )
    answer.headers.append("set-cookie", cookie_text(token))
    return answer


def _shown(yard: Yard, job: str, tank_id: str) -> LiveReading:
    live = yard.desk.get(job, tank_id)
    if live is None:
        raise NotThereError(f"no instrument of tank {tank_id} is read now")
    return live.snapshot()


def _rig(yard: Yard, job: str) -> RigHere:
    if yard.rig is None or yard.rig.job != job:
        raise NotThereError("there is no simulated yard for this job")
    return yard.rig


def _rig_answer(here: RigHere, said: str) -> RigAnswer:
    rig = here.running.rig
    return RigAnswer(said, rig.is_pouring, round(rig.shown_l, 1))
