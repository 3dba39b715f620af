"""Everything behind the first page: the other pages, the API, the stream."""

from typing import Annotated, Any

from fastapi import FastAPI, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.datastructures import State
from starlette.exceptions import HTTPException
from starlette.responses import Response

from gaugewright import __version__
from gaugewright.app.pictured import job_picture
from gaugewright.app.verdicts import verdict
from gaugewright.app.yard import NotThereError
from gaugewright.errors import GaugewrightError
from gaugewright.journal.kinds import STAGES
from gaugewright.workbench import (
    arrives_routes,
    bodies,
    certificate_routes,
    fill_routes,
    handover_routes,
    job_routes,
    later_routes,
    live_routes,
    plan_routes,
    refine_routes,
    views,
    watch_routes,
    wiring_routes,
)
from gaugewright.workbench.answers import YardHere, answer_validation
from gaugewright.workbench.asking import MOST_ENTRIES, page_of
from gaugewright.workbench.problems import Problem, answer_error, answer_http
from gaugewright.workbench.schema import openapi_of

ROUTERS = (
    job_routes.router,
    fill_routes.router,
    live_routes.router,
    plan_routes.router,
    refine_routes.router,
    watch_routes.router,
    handover_routes.router,
    arrives_routes.router,
    certificate_routes.router,
    wiring_routes.router,
    later_routes.router,
)


def build_inside(state: State) -> FastAPI:
    """Return the application behind the first page; ``state`` is what the server keeps."""
    app = FastAPI(
        title="Gaugewright",
        version=__version__,
        description="Every action of the workbench. Numbers may be typed with a decimal comma.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    app.state = state
    app.add_exception_handler(GaugewrightError, answer_error)
    app.add_exception_handler(RequestValidationError, answer_validation)
    app.add_exception_handler(HTTPException, answer_http)
    for router in ROUTERS:
        app.include_router(router)
    _add_pages(app)
    # How FastAPI itself says to replace the schema; mypy minds a method given anew.
    app.openapi = lambda: _openapi(app)  # type: ignore[method-assign]
    return app


def _openapi(app: FastAPI) -> dict[str, Any]:
    if app.openapi_schema is None:
        app.openapi_schema = openapi_of(app, ROUTERS, Problem)
    return app.openapi_schema


def _add_pages(app: FastAPI) -> None:
    pages: dict[str, Any] = {"include_in_schema": False, "response_class": HTMLResponse}
    app.get("/photos/{sha256}", include_in_schema=False)(job_routes.photo)
    app.get("/jobs/new", **pages)(_new_job)
    app.get("/jobs/{job}", **pages)(_job)
    app.get("/jobs/{job}/later", **pages)(later_routes.later_page)
    app.get("/jobs/{job}/refined", **pages)(refine_routes.refined_piece)
    app.get("/jobs/{job}/{stage}", **pages)(_stage)
    app.post("/jobs/{job}/preview", **pages)(_preview)
    app.get("/pair", **pages)(_pair)
    app.get("/no-line", **pages)(_no_line)


def _new_job(request: Request) -> str:
    return views.render_new_job(page_of(request))


def _job(job: str, yard: YardHere) -> Response:
    from urllib.parse import quote

    stage = yard.state(job).stage
    return RedirectResponse(f"/jobs/{quote(job, safe='')}/{stage.lower()}", status_code=303)


def _stage(
    request: Request,
    job: str,
    stage: str,
    yard: YardHere,
    tank: Annotated[str | None, Query(max_length=200)] = None,
    new: bool = False,
    entry: Annotated[int | None, Query(ge=1, le=MOST_ENTRIES)] = None,
) -> str:
    name = next((each for each in STAGES if each.lower() == stage), None)
    if name is None:
        raise NotThereError(f"there is no stage {stage}")
    state = yard.state(job)
    if tank is not None and tank not in state.tanks:
        raise NotThereError(f"there is no tank {tank} in job {job}")
    picture = job_picture(state, yard.unit)
    shown = tank
    if shown is None and state.standing_tanks:
        shown = state.standing_tanks[0].tank_id
    said = None if shown is None else verdict(state.tanks[shown], yard.unit)
    watch = None
    if name == "Watch" and shown is not None and state.tanks[shown].watches:
        from gaugewright.app.pictured_watch import watch_picture  # only this stage needs it

        watch = watch_picture(yard, state.tanks[shown], entry)
    return views.render_stage(page_of(request), picture, name, tank, said, is_new=new, watch=watch)


def _preview(request: Request, job: str, body: bodies.Preview, yard: YardHere) -> str:
    yard.state(job)
    return views.render_preview(page_of(request), body.tank, body.probe)


def _pair(request: Request, code: Annotated[str, Query(max_length=40)] = "") -> str:
    return views.render_pair(page_of(request), code)


def _no_line(request: Request) -> str:
    return views.render_no_line(page_of(request))
