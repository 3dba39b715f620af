"""From the heads of a book's journals to the list of jobs that a screen shows."""

from gaugewright.app.pictures_jobs import JobLine, JobsPicture
from gaugewright.app.yard import Yard
from gaugewright.journal.reading import Head

MOST_LINES = 200
"""Jobs in one list; older ones are asked for by ``before``."""


def jobs_picture(
    yard: Yard, *, containing: str = "", before: int | None = None, limit: int = 50
) -> JobsPicture:
    """Return the list of jobs, the newest in the book first."""
    heads = yard.book.jobs(limit=min(limit, MOST_LINES), before=before, containing=containing)
    return JobsPicture(tuple(_line(head) for head in heads))


def _line(head: Head) -> JobLine:
    summary = head.summary
    return JobLine(
        job=head.job,
        customer=summary.get("customer"),
        vehicle=summary.get("vehicle"),
        stage=summary.get("stage"),
        tanks=summary.get("tanks"),
        certificate=summary.get("certificate"),
        last_at=head.last_at,
        number=head.tip.number,
        place=head.place,
        problem=head.problem,
    )
