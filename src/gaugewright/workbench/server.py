"""The local web application: the door, the list of jobs, and everything else behind it.

The list of jobs is the first page.  It is answered with the little that it needs; the other
pages and the API take several times as long to load, and are loaded when they are first asked
for or, by a running workbench, while the person looks at the list.
"""

import threading
from collections.abc import Callable

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from gaugewright.app.loading import loading
from gaugewright.app.pictured_jobs import jobs_picture
from gaugewright.app.yard import Yard
from gaugewright.errors import GaugewrightError, InputError
from gaugewright.table.delimited import whole_number
from gaugewright.words import said
from gaugewright.workbench import sheets
from gaugewright.workbench.asking import MOST_ENTRIES, page_of, speech_of, yard_of
from gaugewright.workbench.guard import Door, Guard
from gaugewright.workbench.problems import answer_error, answer_http
from gaugewright.workbench.streams import Streams

MOST_LETTERS = 100
"""Longest text that jobs are searched for. [characters]"""


class Inside:
    """Everything behind the first page, loaded once."""

    def __init__(self) -> None:
        self._app: ASGIApp | None = None
        self._lock = threading.Lock()
        self.outside: Starlette | None = None
        """The server that it belongs to, whose state it shares."""

    def load(self) -> ASGIApp:
        """Load it, if nobody has, and return it.  Safe between threads."""
        with self._lock:
            if self._app is None:
                assert self.outside is not None
                with loading():
                    from gaugewright.workbench.inside import build_inside

                    self._app = build_inside(self.outside.state)
            return self._app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        app = self._app if self._app is not None else await run_in_threadpool(self.load)
        await app(scope, receive, send)


class StaticByVersion(StaticFiles):
    """Static files under a path that changes with them, so that they are asked for once.

    Under another version, as a page of an older day asks, today's file is given and not kept.
    """

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return a file, for good if it is that of the version asked for."""
        answer = await super().get_response(path, scope)
        if scope["path_params"]["version"] == sheets.static_version():
            # Not for a proxy to hand on: a first answer carries a session.
            answer.headers["cache-control"] = "private, max-age=31536000, immutable"
        return answer


def build_app(
    yard: Yard,
    *,
    door: Door | None = None,
    lan_url: str | None = None,
    is_closing: Callable[[], bool] = lambda: False,
) -> Starlette:
    """Return the application for a yard; ``app.state.inside.load()`` loads all of it.

    ``lan_url`` is the address under which phones find it, ``None`` on this computer only;
    ``is_closing`` tells the streams that they must end.
    """
    door = door or Door()
    app = Starlette(
        routes=[
            Route("/", _jobs),
            Route("/keeper.js", _keeper),
            Mount("/static/v-{version}", StaticByVersion(directory=sheets.STATIC)),
            Mount("/static", StaticFiles(directory=sheets.STATIC), name="static"),
        ],
        middleware=[Middleware(Guard, door=door, speech=lambda: speech_of(yard))],
        exception_handlers={GaugewrightError: answer_error, HTTPException: answer_http},
    )
    app.state.yard = yard
    app.state.door = door
    app.state.lan_url = lan_url
    app.state.is_lan = lan_url is not None
    app.state.streams = Streams(is_closing)
    app.state.inside = app.router.default = inside = Inside()
    inside.outside = app
    return app


def _jobs(request: Request) -> Response:
    asked = request.query_params
    containing, before = asked.get("containing", ""), asked.get("before")
    if len(containing) > MOST_LETTERS:
        raise InputError(
            said("must be at most {most} letters", most=MOST_LETTERS), field="containing"
        )
    place = None if before is None else whole_number(before, field="before")
    if place is not None and not 0 <= place <= MOST_ENTRIES:
        raise InputError(
            said("must be 0 to {most}, found {place}", most=MOST_ENTRIES, place=place),
            field="before",
        )
    shown = jobs_picture(yard_of(request), containing=containing, before=place)
    return HTMLResponse(sheets.render_jobs(page_of(request), shown, containing))


def _keeper(request: Request) -> Response:
    """Give the service worker from the root, since it may keep only what lies below it."""
    return FileResponse(sheets.STATIC / "js" / "keeper.js", media_type="text/javascript")
