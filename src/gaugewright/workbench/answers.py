"""What the API gives back, and how every error becomes one sentence."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse
from starlette.exceptions import HTTPException
from starlette.responses import Response

from gaugewright.app.pictured import job_picture
from gaugewright.app.pictures import JobPicture, VerdictPicture
from gaugewright.app.yard import NotThereError, Stamp, UnsteadyError, Yard
from gaugewright.errors import (
    ChainError,
    ConflictError,
    GaugewrightError,
    InputError,
    JournalError,
    SourceError,
    StateError,
)
from gaugewright.journal.book import BookSettings, Recorded
from gaugewright.journal.chain import Entry
from gaugewright.journal.store import NewerEntriesError
from gaugewright.units import LengthUnit, TemperatureUnit, VolumeUnit
from gaugewright.words import Speech, said
from gaugewright.workbench import bodies, views
from gaugewright.workbench.guard import Door, Visitor, state_of
from gaugewright.workbench.page import Page, UnitsShown
from gaugewright.workbench.pairing import PairingError, TooManyTriesError
from gaugewright.workbench.words import speech


@dataclass(frozen=True, slots=True)
class EntryAnswer:
    """One entry of a journal."""

    number: int
    at: datetime
    person: str
    device: str
    kind: str
    payload: Mapping[str, Any]
    hash: str


@dataclass(frozen=True, slots=True)
class RecordedAnswer:
    """What was recorded, and the job after it."""

    number: int
    entries: tuple[EntryAnswer, ...]
    job: JobPicture
    verdict: VerdictPicture | None = None


@dataclass(frozen=True, slots=True)
class ImportAnswer:
    """What taking in a job file did."""

    job: str
    added: int
    already_there: int
    photos: int


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong, in one sentence, and where."""

    error: str
    field: str | None = None
    newer: tuple[EntryAnswer, ...] | None = None
    """What somebody else recorded first."""
    number: int | None = None
    """The last entry, to look at and build on."""


def yard_of(request: Request) -> Yard:
    """Return the yard that this server works for."""
    yard = request.app.state.yard
    assert isinstance(yard, Yard)
    return yard


def visitor_of(request: Request) -> Visitor:
    """Return who asks."""
    return state_of(request.scope)


def door_of(request: Request) -> Door:
    """Return the door of this server."""
    door = request.app.state.door
    assert isinstance(door, Door)
    return door


YardHere = Annotated[Yard, Depends(yard_of)]
VisitorHere = Annotated[Visitor, Depends(visitor_of)]
DoorHere = Annotated[Door, Depends(door_of)]


def stamp_of(body: bodies.ByPerson, visitor: Visitor) -> Stamp:
    """Return on whose behalf a body is recorded."""
    on = body.on if isinstance(body, bodies.Recording) else 0
    return Stamp(body.person, visitor.device, on, body.request_id)


def recorded_answer(recorded: Recorded, verdict: VerdictPicture | None = None) -> RecordedAnswer:
    """Return what was recorded, for the screen."""
    return RecordedAnswer(
        recorded.state.tip.number,
        tuple(entry_answer(entry) for entry in recorded.entries),
        job_picture(recorded.state, recorded.unit),
        verdict,
    )


def entry_answer(entry: Entry) -> EntryAnswer:
    """Return one entry, for the screen."""
    return EntryAnswer(
        entry.number,
        entry.at,
        entry.person,
        entry.device,
        entry.kind,
        entry.payload,
        entry.hash,
    )


def speech_of(yard: Yard) -> Speech:
    """Return how sentences are said in this book: its language and its units."""
    settings = yard.book.settings()
    return speech(_units(yard.unit, settings), settings.language)


def _units(volume: VolumeUnit, settings: BookSettings) -> UnitsShown:
    return UnitsShown(volume, LENGTH[settings.length_unit], TEMPERATURE[settings.temperature_unit])


LENGTH: dict[str, LengthUnit] = {"mm": "mm", "inches": "in"}
TEMPERATURE: dict[str, TemperatureUnit] = {"celsius": "°C", "fahrenheit": "°F"}
"""Units as the book names them, and as screens do."""


def page_of(request: Request) -> Page:
    """Return what a page knows besides the job."""
    from urllib.parse import unquote

    yard, visitor, door = yard_of(request), visitor_of(request), door_of(request)
    settings = yard.book.settings()
    units = _units(yard.unit, settings)
    may_see = visitor.may_enter
    return Page(
        csrf_token=door.csrf_token(visitor.session),
        device=visitor.device,
        person=unquote(request.cookies.get("person", ""))[:200],
        is_loopback=visitor.is_loopback,
        is_lan=request.app.state.is_lan,
        is_demo=yard.rig is not None,
        units=units,
        language=settings.language,
        workshop=settings.workshop if may_see else "",
        where=yard.book.store.where if may_see else "",
        is_read_only=yard.book.is_read_only,
    )


def problem_of(error: GaugewrightError) -> tuple[int, Problem]:
    """Return the status and the sentence of an error that a person can act on.

    >>> problem_of(InputError("must be above 0", field="added_l"))
    (422, Problem(error='must be above 0', field='added_l', newer=None, number=None))
    """
    # Not `str(error)`: that would be the English text, and can be said in no other way.
    text = error.args[0] if error.args and isinstance(error.args[0], str) else str(error)
    match error:
        case InputError():
            return 422, Problem(error.problem, error.field)
        case NotThereError():
            return 404, Problem(text)
        case UnsteadyError():
            return 409, Problem(text, "counts")
        case NewerEntriesError():
            newer = tuple(entry_answer(entry) for entry in error.newer)
            return 409, Problem(text, None, newer, newer[-1].number)
        case StateError() | ConflictError() | ChainError():
            return 409, Problem(text)
        case TooManyTriesError():
            return 429, Problem(text, "code")
        case PairingError():
            return 403, Problem(text, "code")
        case JournalError() | SourceError():
            return 503, Problem(text)
        case _:
            return 503, Problem(text)


def answer_error(request: Request, error: Exception) -> Response:
    """Answer what a person can put right, as JSON or as a page."""
    assert isinstance(error, GaugewrightError)
    status, problem = problem_of(error)
    return _problem_answer(request, status, problem)


def answer_validation(request: Request, error: Exception) -> Response:
    """Answer a body or an address that does not have the form that is wanted."""
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    place = [
        str(part)
        for part in first["loc"]
        if part not in ("body", "query", "path") and not str(part).startswith(("function-", "con"))
    ]
    # A figure may be a number or a text; which of the two was tried says nothing.
    names = [part for part in place if part not in ("str", "float") and "[" not in part]
    message = str(first["msg"]).removeprefix("Value error, ")
    field = ".".join(names) or None
    return _problem_answer(request, 422, Problem(f"{message[:1].lower()}{message[1:]}", field))


def answer_http(request: Request, error: Exception) -> Response:
    """Answer an address that is not there, or a way of asking that is not known."""
    assert isinstance(error, HTTPException)
    words = {
        404: said("there is nothing at this address"),
        405: said("this cannot be asked for in this way"),
    }
    sentence = words.get(error.status_code, str(error.detail))
    answer = _problem_answer(request, error.status_code, Problem(sentence))
    answer.headers.update(error.headers or {})
    return answer


def _problem_answer(request: Request, status: int, problem: Problem) -> Response:
    sentence = _sayable(speech_of(yard_of(request)).says(problem.error))
    is_page = request.method == "GET" and not request.url.path.startswith(("/api/", "/photos/"))
    if is_page and "application/json" not in request.headers.get("accept", ""):
        page = views.render_problem(page_of(request), status, sentence)
        return HTMLResponse(page, status)
    content: dict[str, Any] = {"error": sentence, "field": problem.field}
    if problem.field is not None:
        content["field"] = _sayable(problem.field)
    if problem.newer is not None:
        from fastapi.encoders import jsonable_encoder

        content |= {"newer": jsonable_encoder(problem.newer), "number": problem.number}
    return JSONResponse(content, status)


def _sayable(text: str) -> str:
    r"""Return a text that can be sent, whatever was typed stands in it.

    >>> _sayable("\ud800")
    '\\ud800'
    """
    return text.encode("utf-8", "backslashreplace").decode()
