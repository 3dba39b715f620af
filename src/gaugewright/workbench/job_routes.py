"""The API of a job: opening it, the survey, tanks, bench, mounting, stages, seals."""

from typing import Annotated

from fastapi import File, Form, Path, Query, Request, UploadFile
from starlette.responses import Response

from gaugewright.app import bench, photos, survey, typed
from gaugewright.app.bench import Late, Taken
from gaugewright.app.live_values import Heard
from gaugewright.app.pictured import job_picture
from gaugewright.app.pictured_jobs import jobs_picture
from gaugewright.app.pictures import JobPicture, JobsPicture
from gaugewright.app.yard import NotThereError, Stamp
from gaugewright.errors import InputError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import BookSettings
from gaugewright.workbench import bodies
from gaugewright.workbench.answers import (
    ImportAnswer,
    RecordedAnswer,
    VisitorHere,
    YardHere,
    recorded_answer,
    stamp_of,
)
from gaugewright.workbench.problems import EntryAnswer, entry_answer
from gaugewright.workbench.schema import Router

router = Router(prefix="/api")

EntryNumber = Annotated[int, Path(ge=1, le=bodies.MOST_ENTRIES)]


def taken_of(body: bodies.TakenBody) -> Taken:
    """Return where the counts come from."""
    late = None
    if body.typed_at is not None:
        late = Late(body.typed_at, None if body.shown is None else _shown_of(body.shown))
    if body.counts is None:
        return Taken(None, body.is_unsteady_kept, late=late)
    return Taken(typed.counts(body.counts), late=late)


def _shown_of(body: bodies.ShownBody) -> Heard:
    steadiness = body.steadiness or ("steady" if body.is_steady else "not steady")
    return Heard(body.counts, None, body.is_steady, steadiness, None, None, body.source)


@router.get("/book/settings")
def settings(yard: YardHere) -> BookSettings:
    """Give what holds for every job of the book."""
    return yard.book.settings()


@router.put("/book/settings")
def change_settings(body: bodies.Settings, yard: YardHere, visitor: VisitorHere) -> BookSettings:
    """Change units, language or the workshop's name."""
    changes = body.model_dump(exclude_none=True, exclude={"person", "request_id"})
    return survey.change_settings(yard, stamp_of(body, visitor), changes)


@router.get("/jobs")
def jobs(
    yard: YardHere,
    containing: Annotated[str, Query(max_length=100)] = "",
    before: Annotated[int | None, Query(ge=0, le=bodies.MOST_ENTRIES)] = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> JobsPicture:
    """List jobs, the newest in the book first."""
    return jobs_picture(yard, containing=containing, before=before, limit=limit)


@router.post("/jobs", status_code=201)
def open_job(body: bodies.OpenJob, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Open a job for a vehicle."""
    supply_v = None if body.supply_v is None else typed.figure(body.supply_v, "supply_v")
    recorded = survey.open_job(
        yard,
        stamp_of(body, visitor),
        customer=body.customer,
        vehicle=body.vehicle,
        job=body.job or None,
        supply_v=supply_v,
    )
    return recorded_answer(recorded)


@router.post(
    "/jobs/import",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def import_job(request: Request, yard: YardHere) -> ImportAnswer:
    """Take in a job file; every hash is checked, what is new is added."""
    from starlette.concurrency import run_in_threadpool

    content = await request.body()
    return ImportAnswer(*await run_in_threadpool(survey.import_job, yard, content))


@router.get("/jobs/{job}")
def job(job: str, yard: YardHere) -> JobPicture:
    """Give all that a screen shows of a job."""
    return job_picture(yard.state(job), yard.unit)


@router.get("/jobs/{job}/entries")
def entries(
    job: str,
    yard: YardHere,
    after: Annotated[int, Query(ge=0, le=bodies.MOST_ENTRIES)] = 0,
) -> tuple[EntryAnswer, ...]:
    """Give the journal of a job, each entry checked."""
    yard.state(job)
    return tuple(entry_answer(entry) for entry in yard.book.entries(job)[after:])


@router.get("/jobs/{job}/export", response_class=Response)
def export(job: str, yard: YardHere) -> Response:
    """Give a job as one file: its journal and its photos."""
    yard.state(job)
    safe = "".join(letter if letter.isalnum() and letter.isascii() else "-" for letter in job)
    return Response(
        yard.book.export_job(job),
        media_type="application/zip",
        headers={"content-disposition": f'attachment; filename="{safe[:60]}.job"'},
    )


@router.post("/jobs/{job}/facts")
def facts(job: str, body: bodies.Facts, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Record facts of the survey; with a reason they correct what stood wrong."""
    return recorded_answer(
        survey.change_facts(yard, job, stamp_of(body, visitor), body.facts, body.reason)
    )


@router.post("/jobs/{job}/cautions")
def cautions(
    job: str, body: bodies.Caution, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Put a name to a caution."""
    return recorded_answer(
        survey.acknowledge(
            yard, job, stamp_of(body, visitor), body.caution, text=body.text, stage=body.stage
        )
    )


@router.post("/jobs/{job}/notes")
def notes(job: str, body: bodies.Note, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Record a note."""
    return recorded_answer(
        survey.add_note(
            yard,
            job,
            stamp_of(body, visitor),
            body.text,
            stage=body.stage,
            tank_id=body.tank_id,
        )
    )


@router.post("/jobs/{job}/photos")
def add_photo(
    job: str,
    yard: YardHere,
    visitor: VisitorHere,
    file: Annotated[UploadFile, File()],
    person: Annotated[str, Form(min_length=1, max_length=200)],
    on: Annotated[int, Form(ge=0, le=bodies.MOST_ENTRIES)],
    request_id: Annotated[str | None, Form(max_length=100)] = None,
    caption: Annotated[str, Form(max_length=2_000)] = "",
    stage: Annotated[str, Form(max_length=40)] = "",
    tank_id: Annotated[str | None, Form(max_length=200)] = None,
    item: Annotated[str | None, Form(max_length=200)] = None,
) -> RecordedAnswer:
    """Keep a photo; it is made small and loses where and when it was taken."""
    recorded, _ = photos.add_photo(
        yard,
        job,
        Stamp(person, visitor.device, on, request_id or None),
        file.file.read(photos.MOST_UPLOAD_BYTES + 1),
        caption=caption,
        stage=stage,
        tank_id=tank_id or None,
        item=item or None,
    )
    return recorded_answer(recorded)


def photo(sha256: str, yard: YardHere) -> Response:
    """Give a photo's bytes."""
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        raise InputError("must be 64 hexadecimal digits", field="sha256")
    if not yard.book.store.has_photo(sha256):
        raise NotThereError("there is no such photo")
    content, media_type = yard.book.photo(sha256)
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    return Response(content, media_type=media_type, headers=headers)


@router.put("/jobs/{job}/tanks/{tank_id}")
def describe_tank(
    job: str, tank_id: str, body: bodies.TankBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Describe a tank and its probe by the fields of a tank file."""
    return recorded_answer(
        survey.describe_tank(
            yard,
            job,
            stamp_of(body, visitor),
            tank_id,
            tank=body.tank,
            probe=body.probe,
            name=body.name,
            reason=body.reason,
        )
    )


@router.post("/jobs/{job}/tanks/{tank_id}/remove")
def remove_tank(
    job: str, tank_id: str, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Take a tank off the vehicle."""
    return recorded_answer(
        survey.remove_tank(yard, job, stamp_of(body, visitor), tank_id, body.reason)
    )


@router.post("/jobs/{job}/links")
def link(job: str, body: bodies.Link, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Join tanks by a balance pipe."""
    return recorded_answer(
        survey.link_tanks(
            yard, job, stamp_of(body, visitor), body.link_id, body.tank_ids, body.note
        )
    )


@router.post("/jobs/{job}/links/{link_id}/unlink")
def unlink(
    job: str, link_id: str, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Treat linked tanks as separate again."""
    return recorded_answer(
        survey.unlink_tanks(yard, job, stamp_of(body, visitor), link_id, body.reason)
    )


@router.post("/jobs/{job}/tanks/{tank_id}/plan")
def plan(
    job: str, tank_id: str, body: bodies.Plan, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record a plan as a plan file holds it; a cut length in it is typed twice beside it."""
    plan = survey.with_confirmed_cut(body.plan, body.cut_mm)
    return recorded_answer(
        survey.record_plan(yard, job, stamp_of(body, visitor), tank_id, plan, body.reason)
    )


@router.post("/jobs/{job}/tanks/{tank_id}/bench/zero")
def zero(
    job: str, tank_id: str, body: bodies.TakenBody, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the dry probe's reading."""
    return recorded_answer(
        bench.record_zero(yard, job, stamp_of(body, visitor), tank_id, taken_of(body))
    )


@router.post("/jobs/{job}/tanks/{tank_id}/bench/span")
def span(
    job: str, tank_id: str, body: bodies.BenchSpan, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record the immersed probe's reading."""
    fuel_c = None if body.fuel_c is None else typed.celsius(body.fuel_c, "fuel_c")
    return recorded_answer(
        bench.record_span(
            yard,
            job,
            stamp_of(body, visitor),
            tank_id,
            taken_of(body),
            fuel=body.fuel,
            fuel_c=fuel_c,
        )
    )


@router.post("/jobs/{job}/tanks/{tank_id}/bench/repeat")
def repeat(
    job: str, tank_id: str, body: bodies.BenchRepeat, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record a second dip."""
    return recorded_answer(
        bench.record_repeat(
            yard, job, stamp_of(body, visitor), tank_id, taken_of(body), point=body.point
        )
    )


@router.post("/jobs/{job}/bench/{entry}/void")
def void_bench(
    job: str, entry: EntryNumber, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Void a bench reading."""
    return recorded_answer(
        bench.void_reading(yard, job, stamp_of(body, visitor), entry, body.reason)
    )


@router.post("/jobs/{job}/mount")
def mount(job: str, body: bodies.Mount, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Record that a point of the checklist is done."""
    done = k.MountItemDone(
        body.item,
        tank_id=body.tank_id,
        photo_sha256=tuple(body.photo_sha256),
        seal_number=body.seal_number,
        text=body.text,
    )
    return recorded_answer(survey.mount_item_done(yard, job, stamp_of(body, visitor), done))


@router.post("/jobs/{job}/mount/reopen")
def reopen_mount(
    job: str, body: bodies.MountReopen, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Say that a point has to be done again."""
    return recorded_answer(
        survey.reopen_mount_item(
            yard, job, stamp_of(body, visitor), body.item, body.reason, body.tank_id
        )
    )


@router.post("/jobs/{job}/seals")
def seal(job: str, body: bodies.Seal, yard: YardHere, visitor: VisitorHere) -> RecordedAnswer:
    """Record a seal."""
    event = fk.SealSet(
        body.seal_number, body.place, tank_id=body.tank_id, photo_sha256=body.photo_sha256
    )
    return recorded_answer(survey.set_seal(yard, job, stamp_of(body, visitor), event))


@router.post("/jobs/{job}/seals/remove")
def remove_seal(
    job: str, body: bodies.SealRemove, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Record that a seal was opened."""
    return recorded_answer(
        survey.remove_seal(yard, job, stamp_of(body, visitor), body.seal_number, body.reason)
    )


@router.post("/jobs/{job}/stages/{stage}/finish")
def finish(
    job: str, stage: str, body: bodies.Finish, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Say that a stage is done."""
    stamp = stamp_of(body, visitor)
    return recorded_answer(survey.finish_stage(yard, job, stamp, stage.capitalize(), body.note))


@router.post("/jobs/{job}/stages/{stage}/reopen")
def reopen(
    job: str, stage: str, body: bodies.WithReason, yard: YardHere, visitor: VisitorHere
) -> RecordedAnswer:
    """Go back to a stage."""
    stamp = stamp_of(body, visitor)
    return recorded_answer(survey.reopen_stage(yard, job, stamp, stage.capitalize(), body.reason))
