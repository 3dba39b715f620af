"""What the API gives back, and what its functions are given."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends
from fastapi.exceptions import RequestValidationError
from starlette.requests import Request
from starlette.responses import Response

from gaugewright.app.pictured import job_picture
from gaugewright.app.pictures import JobPicture, VerdictPicture
from gaugewright.app.yard import Stamp, Yard
from gaugewright.journal.book import Recorded
from gaugewright.words import said
from gaugewright.workbench import bodies
from gaugewright.workbench.asking import door_of, visitor_of, yard_of
from gaugewright.workbench.guard import Door, Visitor
from gaugewright.workbench.problems import EntryAnswer, Problem, entry_answer, problem_answer


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
    return problem_answer(request, 422, Problem(_plain_words(first), ".".join(names) or None))


def _plain_words(error: Mapping[str, Any]) -> str:
    """Return what is wrong with the form of a field, for the person who filled it in."""
    limits = error.get("ctx", {})
    match error["type"]:
        case "missing":
            return said("is missing")
        case "string_too_short" if limits.get("min_length") == 1:
            return said("is empty, wanted a few words")
        case "string_too_long":
            return said(
                "is too long, wanted at most {most} letters", most=int(limits["max_length"])
            )
    message = str(error["msg"]).removeprefix("Value error, ")
    return f"{message[:1].lower()}{message[1:]}"
