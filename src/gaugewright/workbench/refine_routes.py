"""The API of a table refined in service: the offer, and keeping it."""

from typing import Annotated

from fastapi import Query, Request
from pydantic import Field

from gaugewright.app.pictures_refined import OfferPicture
from gaugewright.workbench import bodies, views
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.asking import page_of
from gaugewright.workbench.schema import Router

router = Router(prefix="/api/jobs/{job}/tanks/{tank_id}/watch/refined")

Entry = Annotated[int | None, Query(ge=1, le=bodies.MOST_ENTRIES)]
"""A log by the number of its entry; the last one if left out."""

Name = Annotated[str, Query(max_length=200)]


class Keeping(bodies.WithReason):
    """Why the refined table is kept."""

    entry: Annotated[int | None, Field(ge=1, le=bodies.MOST_ENTRIES)] = None


@router.get("")
def refined_table(job: str, tank_id: str, yard: YardHere, entry: Entry = None) -> OfferPicture:
    """Offer the table as service would have it, beside the one in use; nothing is recorded."""
    from gaugewright.app.pictures_refined import offer_picture
    from gaugewright.app.refining_job import offer_refined

    offer = offer_refined(yard, job, tank_id, entry)
    return offer_picture(offer.entry, offer.digest, offer.refined)


def refined_piece(
    request: Request, job: str, yard: YardHere, tank: Name, entry: Entry = None
) -> str:
    """Give the offer as a piece of the Watch stage's page; nothing is recorded."""
    return views.render_refined(page_of(request), tank, refined_table(job, tank, yard, entry))


@router.post("")
def keep_refined_table(
    job: str, tank_id: str, body: Keeping, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the offered table as the newest version; accepting it is a step of its own."""
    from gaugewright.app.refining_job import keep_refined

    stamp = stamp_of(body, visitor)
    return recorded_answer(
        keep_refined(yard, job, stamp, tank_id, entry=body.entry, reason=body.reason)
    )
