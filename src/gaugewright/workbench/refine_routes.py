"""The API of a table refined in service: the offer, and keeping it."""

from typing import Annotated, Any

from fastapi import Query
from pydantic import Field

from gaugewright.workbench import bodies
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.schema import Router

router = Router(prefix="/api/jobs/{job}/tanks/{tank_id}/watch/refined")

Entry = Annotated[int | None, Query(ge=1, le=bodies.MOST_ENTRIES)]
"""A log by the number of its entry; the last one if left out."""


class Keeping(bodies.WithReason):
    """Why the refined table is kept."""

    entry: Annotated[int | None, Field(ge=1, le=bodies.MOST_ENTRIES)] = None


@router.get("")
def refined_table(job: str, tank_id: str, yard: YardHere, entry: Entry = None) -> dict[str, Any]:
    """Offer the table as service would have it, beside the one in use; nothing is recorded."""
    from gaugewright.app.refining import refined_record
    from gaugewright.app.refining_job import offer_refined

    offer = offer_refined(yard, job, tank_id, entry)
    return {"entry": offer.entry, "digest": offer.digest, **refined_record(offer.refined)}


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
