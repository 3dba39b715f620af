"""How every error becomes one sentence, on a page or as JSON."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from gaugewright.app.yard import NotThereError, UnsteadyError
from gaugewright.errors import (
    ChainError,
    ConflictError,
    GaugewrightError,
    InputError,
    JournalError,
    SourceError,
    StateError,
)
from gaugewright.journal.chain import Entry
from gaugewright.journal.store import NewerEntriesError
from gaugewright.words import said
from gaugewright.workbench import sheets
from gaugewright.workbench.asking import page_of, settings_of, speech_of, yard_of
from gaugewright.workbench.entry_words import entry_name
from gaugewright.workbench.pairing import PairingError, TooManyTriesError


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
class Problem:
    """What is wrong, in one sentence, and where."""

    error: str
    field: str | None = None
    newer: tuple[EntryAnswer, ...] | None = None
    """What somebody else recorded first."""
    number: int | None = None
    """The last entry, to look at and build on."""


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
            return 409, Problem(_came_first(newer), None, newer, newer[-1].number)
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


def _came_first(newer: tuple[EntryAnswer, ...]) -> str:
    last = newer[-1]
    return said(
        "{number} newer {word} came first, the last one {what} by {person} on {device}. "
        "Nothing was added; look at it and record again",
        number=len(newer),
        word=said("entry") if len(newer) == 1 else said("entries"),
        what=entry_name(last.kind),
        person=last.person,
        device=last.device,
    )


def answer_error(request: Request, error: Exception) -> Response:
    """Answer what a person can put right, as JSON or as a page."""
    assert isinstance(error, GaugewrightError)
    status, problem = problem_of(error)
    return problem_answer(request, status, problem)


def answer_http(request: Request, error: Exception) -> Response:
    """Answer an address that is not there, or a way of asking that is not known."""
    assert isinstance(error, HTTPException)
    words = {
        404: said("there is nothing at this address"),
        405: said("this cannot be asked for in this way"),
    }
    sentence = words.get(error.status_code, str(error.detail))
    answer = problem_answer(request, error.status_code, Problem(sentence))
    answer.headers.update(error.headers or {})
    return answer


def problem_answer(request: Request, status: int, problem: Problem) -> Response:
    """Answer with a sentence: a page where one was asked for, else JSON."""
    yard = yard_of(request)
    settings = settings_of(yard)
    sentence = _sayable(speech_of(yard, settings).says(problem.error))
    is_page = request.method == "GET" and not request.url.path.startswith(("/api/", "/photos/"))
    if is_page and "application/json" not in request.headers.get("accept", ""):
        page = sheets.render_problem(page_of(request, settings), status, sentence)
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
