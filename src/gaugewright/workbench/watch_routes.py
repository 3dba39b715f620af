"""The API of the Watch stage: logs, their drawing, explanations, reports."""

from typing import Annotated, Literal

from fastapi import File, Form, Query, UploadFile
from pydantic import Field
from starlette.responses import Response

from gaugewright.app.pictures_watch import MonthsPicture, PlotPicture, WatchPicture
from gaugewright.app.yard import Stamp
from gaugewright.workbench import bodies
from gaugewright.workbench.answers import (
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.schema import Router

router = Router(prefix="/api/jobs/{job}/tanks/{tank_id}/watch")

Entry = Annotated[int | None, Query(ge=1, le=bodies.MOST_ENTRIES)]
"""A log by the number of its entry; the last one if left out."""
Seconds = Annotated[float | None, Query(ge=-1e11, le=1e11, allow_inf_nan=False)]
"""Since 1970-01-01 UTC."""
Pixels = Annotated[int, Query(ge=1, le=4000)]
Month = Annotated[str | None, Query(pattern=r"^\d{4}-\d\d$")]
Table = Literal["months", "events", "not_decidable", "receipts", "health", "vehicles"]


class Explanation(bodies.WithReason):
    """What a person knows of an event."""

    watched: Annotated[int, Field(ge=1, le=bodies.MOST_ENTRIES)]
    event: Annotated[int, Field(ge=1, le=1_000_000)]


@router.post("")
def look_through_a_log(
    job: str,
    tank_id: str,
    yard: YardHere,
    visitor: VisitorHere,
    log: Annotated[UploadFile, File()],
    person: Annotated[str, Form(min_length=1, max_length=200)],
    on: Annotated[int, Form(ge=0, le=bodies.MOST_ENTRIES)],
    request_id: Annotated[str | None, Form(max_length=100)] = None,
    receipts: Annotated[UploadFile | None, File()] = None,
    vehicle: Annotated[str, Form(max_length=200)] = "",
    probe: Annotated[int, Form(ge=1, le=9)] = 1,
    columns: Annotated[str, Form(max_length=2_000)] = "",
) -> RecordedAnswer:
    """Look a log (CSV or Parquet) through with the tank's table and record what it shows."""
    from gaugewright.app.watch_upload import Upload, take_in

    stamp = Stamp(person, visitor.device, on, request_id)
    has_receipts = receipts is not None and receipts.size != 0
    given = None
    if has_receipts and receipts is not None:
        given = Upload(receipts.file, receipts.filename or "receipts.csv")
    return recorded_answer(
        take_in(
            yard, job, stamp, tank_id, Upload(log.file, log.filename or "log"), given,
            vehicle=vehicle.strip(), probe=probe, columns=columns.strip(),
        )
    )  # fmt: skip


@router.get("")
def watched_log(job: str, tank_id: str, yard: YardHere, entry: Entry = None) -> WatchPicture:
    """Give what a log showed, and what people said to it."""
    from gaugewright.app.pictured_watch import watch_picture

    return watch_picture(yard, yard.tank(job, tank_id)[1], entry)


@router.get("/plot")
def watched_plot(
    job: str,
    tank_id: str,
    yard: YardHere,
    entry: Entry = None,
    from_s: Seconds = None,
    to_s: Seconds = None,
    pixels: Pixels = 800,
) -> PlotPicture:
    """Give a stretch of the log for drawing: lowest, mean and highest litres of each pixel."""
    from gaugewright.app.pictured_watch import plot_picture

    return plot_picture(yard, job, tank_id, entry, from_s=from_s, to_s=to_s, pixels=pixels)


@router.get("/months")
def watched_months(job: str, tank_id: str, yard: YardHere, entry: Entry = None) -> MonthsPicture:
    """Give litres in, used and not explained, month by month, each with its band."""
    from gaugewright.app.pictured_watch import months_picture

    return months_picture(yard, job, tank_id, entry)


@router.post("/explain")
def explain_event(
    job: str, tank_id: str, body: Explanation, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Put a reason beside an event of a log."""
    from gaugewright.app.watching import explain

    return recorded_answer(
        explain(
            yard, job, stamp_of(body, visitor), tank_id,
            watched=body.watched, event=body.event, reason=body.reason,
        )
    )  # fmt: skip


@router.post("/explain/withdraw")
def withdraw_explanation(
    job: str, tank_id: str, body: Explanation, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Take back what was said to an event."""
    from gaugewright.app.watching import withdraw_explanation as withdraw

    return recorded_answer(
        withdraw(
            yard, job, stamp_of(body, visitor), tank_id,
            watched=body.watched, event=body.event, reason=body.reason,
        )
    )  # fmt: skip


@router.get("/demo-{part}.csv", response_class=Response)
def demo_service(
    job: str, tank_id: str, part: Literal["log", "receipts"], yard: YardHere
) -> Response:
    """Give an invented log, or its receipts, to try the stage with; only in the demo."""
    from gaugewright.app.demo_service import demo_service as made

    content = made(yard, job, tank_id, part).encode()
    return _download(content, "text/csv; charset=utf-8", f"{job}-{part}-invented.csv")


@router.get("/report.pdf", response_class=Response)
def report_pdf(
    job: str, tank_id: str, yard: YardHere, entry: Entry = None, month: Month = None
) -> Response:
    """Give the report on service as PDF: drawing, months, events, receipts, health."""
    from gaugewright.app.watch_reported import job_report_pdf

    made = job_report_pdf(yard, job, tank_id, entry, month)
    return _download(made, "application/pdf", f"{job}-{tank_id}-service.pdf")


@router.get("/report.xlsx", response_class=Response)
def report_xlsx(
    job: str, tank_id: str, yard: YardHere, entry: Entry = None, month: Month = None
) -> Response:
    """Give the report on service as a workbook."""
    from gaugewright.app.watch_reported import job_report
    from gaugewright.certificate.watch_files import report_xlsx as written

    media_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    made = written(job_report(yard, job, tank_id, entry, month), yard.unit)
    return _download(made, media_type, f"{job}-{tank_id}-service.xlsx")


@router.get("/report.parquet", response_class=Response)
def report_parquet(
    job: str,
    tank_id: str,
    yard: YardHere,
    entry: Entry = None,
    month: Month = None,
    table: Table = "months",
) -> Response:
    """Give one table of the report on service as Parquet."""
    from gaugewright.app.watch_reported import job_report
    from gaugewright.certificate.watch_files import report_parquet as written

    made = written(job_report(yard, job, tank_id, entry, month), table)
    return _download(made, "application/vnd.apache.parquet", f"{job}-{tank_id}-{table}.parquet")


@router.get("/plot.svg", response_class=Response)
def watched_drawing(
    job: str,
    tank_id: str,
    yard: YardHere,
    entry: Entry = None,
    from_s: Seconds = None,
    to_s: Seconds = None,
) -> Response:
    """Give the drawing of a stretch of the log as SVG."""
    from gaugewright.app.watch_reported import job_drawing

    made = job_drawing(yard, job, tank_id, entry, from_s, to_s)
    return _download(made.svg.encode(), "image/svg+xml", f"{job}-{tank_id}-service.svg")


@router.get("/plot.pdf", response_class=Response)
def watched_drawing_pdf(
    job: str,
    tank_id: str,
    yard: YardHere,
    entry: Entry = None,
    from_s: Seconds = None,
    to_s: Seconds = None,
) -> Response:
    """Give the drawing of a stretch of the log on one page, as PDF."""
    from gaugewright.app.watch_reported import job_drawing
    from gaugewright.certificate.watch_pages import drawing_pdf

    made = job_drawing(yard, job, tank_id, entry, from_s, to_s)
    content = drawing_pdf(made.heading, made.says, made.svg, made_at=yard.now())
    return _download(content, "application/pdf", f"{job}-{tank_id}-drawing.pdf")


def _download(content: bytes, media_type: str, name: str) -> Response:
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-._") else "-" for c in name)
    headers = {"content-disposition": f'attachment; filename="{safe}"'}
    return Response(content, media_type=media_type, headers=headers)
