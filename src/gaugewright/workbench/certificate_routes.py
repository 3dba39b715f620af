"""The API of the Certificate stage: issuing, withdrawing, the documents, checking one."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from gaugewright.app import survey
from gaugewright.journal.fill_kinds import MOST_POINTS, MOST_STROKES
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.bodies import Name, Recording, WithReason, Words
from gaugewright.workbench.schema import Router

router = Router(prefix="/api")

Stroke = Annotated[
    list[Annotated[int, Field(ge=0, le=1_000)]], Field(min_length=2, max_length=2 * MOST_POINTS)
]


class Certificate(Recording):
    """A certificate to be issued, and how it is signed."""

    certificate_number: Name
    signed_by: Annotated[str, Field(max_length=200)] = ""
    strokes: Annotated[list[Stroke], Field(default_factory=list, max_length=MOST_STROKES)]
    place: Annotated[str, Field(max_length=200)] = ""
    paper: Annotated[str, Field(max_length=20)] | None = None
    units: Annotated[str, Field(max_length=20)] | None = None
    language: Annotated[str, Field(max_length=20)] | None = None
    reason: Words = ""


class CertificateWithdraw(WithReason):
    """A certificate that is no longer stood for."""

    certificate_number: Name


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """One thing that was checked."""

    what: str
    is_right: bool | None
    said: str


@dataclass(frozen=True, slots=True)
class VerifyAnswer:
    """What a certificate is, and whether it is what was issued."""

    is_unaltered: bool
    line: str
    checks: tuple[CheckAnswer, ...]
    certificate: str | None = None
    job: str | None = None
    last_hash: str | None = None


@router.post("/jobs/{job}/certificate")
def certificate(
    job: str, body: Certificate, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Issue a certificate over the journal as it stands, and keep its document."""
    from gaugewright.app.certify import issue_certificate

    return recorded_answer(
        issue_certificate(
            yard,
            job,
            stamp_of(body, visitor),
            body.certificate_number,
            signed_by=body.signed_by,
            strokes=tuple(tuple(stroke) for stroke in body.strokes),
            place=body.place,
            paper=body.paper or None,
            units=body.units or None,
            language=body.language or None,
            reason=body.reason,
        )
    )


@router.post("/jobs/{job}/certificate/withdraw")
def withdraw(
    job: str, body: CertificateWithdraw, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Stand for a certificate no longer."""
    return recorded_answer(
        survey.withdraw(yard, job, stamp_of(body, visitor), body.certificate_number, body.reason)
    )


Short = Annotated[str | None, Query(max_length=20)]


@router.get("/jobs/{job}/certificate.pdf", response_class=Response)
def document(
    job: str,
    yard: YardHere,
    number: Annotated[str | None, Query(max_length=200)] = None,
    paper: Short = None,
    units: Short = None,
    form: Annotated[str, Query(max_length=20)] = "certificate",
) -> Response:
    """Give a certificate or its one-page summary as a PDF; a draft where none was issued."""
    from gaugewright.app.certify import certificate_of

    yard.state(job)
    found = certificate_of(
        yard.book,
        job,
        at=yard.now(),
        number=number or None,
        paper=paper or None,
        units=units or None,
        form=form,
    )
    headers = {"content-disposition": f'inline; filename="{found.file_name}"'}
    return Response(found.content, media_type="application/pdf", headers=headers)


@router.post(
    "/verify",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "application/octet-stream": {"schema": {"type": "string", "format": "binary"}}
            },
        }
    },
)
async def verify(request: Request) -> VerifyAnswer:
    """Check a certificate with nothing but itself; records nothing."""
    return await run_in_threadpool(_verified, await request.body())


def _verified(content: bytes) -> VerifyAnswer:
    from gaugewright.app.certified import verify_certificate
    from gaugewright.certificate.writing import in_groups

    found = verify_certificate(content)
    checks = tuple(CheckAnswer(c.what, c.is_right, c.said) for c in found.checks)
    if found.attached is None or found.state is None:
        return VerifyAnswer(found.is_unaltered, found.line, checks)
    number, state = found.attached.issue.number, found.state
    return VerifyAnswer(
        found.is_unaltered, found.line, checks, number, state.job, in_groups(state.tip.hash)
    )
