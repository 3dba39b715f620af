"""The door: who may ask, from which page, how much at once, and what a page may load.

Plain ASGI, so that streams pass through untouched.
"""

import contextlib
import hashlib
import hmac
import ipaddress
import json
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from gaugewright.errors import JournalError
from gaugewright.words import ENGLISH, Speech, said
from gaugewright.workbench.pairing import Pairing

COOKIE = "gaugewright_session"
CSRF_HEADER = "x-csrf-token"
THIS_COMPUTER = "this computer"
SAFE = ("GET", "HEAD", "OPTIONS")
MOST_BODY_BYTES = 512_000
MOST_DRAINED_BYTES = 64_000_000
LARGE_BODIES = (
    (re.compile(r"/api/jobs/[^/]+/photos"), 20_500_000),
    (re.compile(r"/api/jobs/import"), 500_000_000),
    (re.compile(r"/api/jobs/[^/]+/tanks/[^/]+/watch"), 406_000_000),
    (re.compile(r"/api/verify"), 50_000_000),
)
"""Addresses that take more."""
OPEN_TO_ALL = ("/pair", "/api/pair", "/api/session", "/favicon.ico", "/keeper.js", "/no-line")
"""What a device that is not paired may ask for, beside /static/."""

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'; manifest-src 'self'; worker-src 'self'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}
"""On every answer."""


@dataclass(slots=True)
class Door:
    """What the guard goes by."""

    hosts: frozenset[str] = frozenset({"localhost", "127.0.0.1", "[::1]"})
    """Names under which this server may be asked, without the port."""
    pairing: Pairing = field(default_factory=Pairing)
    key: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def csrf_token(self, session: str) -> str:
        """Return the token that a page of this session sends along."""
        return hmac.new(self.key, session.encode(), hashlib.sha256).hexdigest()


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks; found at ``request.state.visitor``."""

    session: str
    device: str
    is_loopback: bool
    is_paired: bool

    @property
    def may_enter(self) -> bool:
        """Whether jobs may be seen and recorded on."""
        return self.is_loopback or self.is_paired


class Guard:
    """Lets requests in, or answers them itself."""

    def __init__(
        self, app: ASGIApp, door: Door, speech: Callable[[], Speech] = lambda: ENGLISH
    ) -> None:
        self.app = app
        self.door = door
        self.speech = speech
        """How the one who asks reads: it may look into the book, so it is asked in a thread."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        visitor, is_new = self._visitor(scope, headers)
        scope.setdefault("state", {})["visitor"] = visitor
        send = _with_headers(send, scope["path"], visitor.session if is_new else None)
        refused = self._refusal(scope, headers, visitor)
        if refused is not None:
            if refused[0] == 401 and _wants_page(scope, headers):
                # Where the way in stands; the address stays, so that it is there afterwards.
                await self.app(
                    {**scope, "path": "/pair", "raw_path": b"/pair", "query_string": b""},
                    receive,
                    _with_status(send, 401),
                )
                return
            await _drain(receive)
            await self._answer(send, *refused)
            return
        limit = _most_bytes(scope["path"])
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit() or int(length) > limit:
            await _drain(receive)
            await self._answer(send, 413, _too_large(limit), "body")
            return
        await self._pass_on(scope, receive, send, limit)

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
        heard = 0
        has_begun = False

        async def counted() -> Message:
            nonlocal heard
            message = await receive()
            heard += len(message.get("body", b""))
            if heard > limit:
                raise _BodyTooLargeError
            return message

        async def noted(message: Message) -> None:
            nonlocal has_begun
            if heard > limit and not has_begun:
                return  # whatever it says of a body that was cut off
            has_begun = True
            await send(message)

        # Answered below, as is one that the application has caught.
        with contextlib.suppress(_BodyTooLargeError):
            await self.app(scope, counted, noted)
        if heard > limit and not has_begun:
            await _drain(receive)
            await self._answer(send, 413, _too_large(limit), "body")

    async def _answer(self, send: Send, status: int, error: str, field_name: str | None) -> None:
        try:
            speech = await run_in_threadpool(self.speech)
        except JournalError:
            speech = ENGLISH  # A book that cannot be read keeps nobody out; the refusal does.
        await _answer(send, status, speech.says(error), field_name)

    def _visitor(self, scope: Scope, headers: Headers) -> tuple[Visitor, bool]:
        session = _cookie(headers.get("cookie", ""))
        is_new = session is None
        if session is None:
            session = secrets.token_urlsafe(32)
        is_loopback = _is_loopback(scope.get("client"))
        device = self.door.pairing.device_of(session)
        name = device or (THIS_COMPUTER if is_loopback else "a device that is not paired")
        return Visitor(session, name, is_loopback, device is not None), is_new

    def _refusal(
        self, scope: Scope, headers: Headers, visitor: Visitor
    ) -> tuple[int, str, str | None] | None:
        host = headers.get("host", "")
        if _without_port(host) not in self.door.hosts:
            return 403, said("this server is not asked under that name"), "host"
        path = scope["path"]
        is_open = path in OPEN_TO_ALL or path.startswith("/static/")
        if not (visitor.may_enter or is_open):
            error = said("this device is not paired: scan the code on the computer")
            return 401, error, "device"
        if scope["method"] in SAFE:
            return None
        origin = headers.get("origin")
        if origin is not None and origin != f"{scope['scheme']}://{host}":
            return 403, said("the request comes from another site"), "origin"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, said("the request comes from another site"), "origin"
        given = headers.get(CSRF_HEADER, "")
        wanted = self.door.csrf_token(visitor.session)
        if not hmac.compare_digest(given.encode(), wanted.encode()):
            return 403, said("the page is too old; load it again"), "csrf"
        return None


class _BodyTooLargeError(Exception):
    """More came than is taken here."""


def cookie_text(session: str) -> str:
    """Return the header that gives a browser its session."""
    return f"{COOKIE}={session}; Path=/; HttpOnly; SameSite=Strict"


def _with_headers(send: Send, path: str, new_session: str | None) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            if path.startswith("/static/"):
                # Else a phone runs old scripts under new pages for days after an update.
                headers.setdefault("cache-control", "no-cache")
            elif not path.startswith("/photos/"):
                headers["cache-control"] = "no-store"
            if new_session is not None and "set-cookie" not in headers:
                headers.append("set-cookie", cookie_text(new_session))
        await send(message)

    return sent


def _wants_page(scope: Scope, headers: Headers) -> bool:
    """Whether a person looks at the answer, not a program."""
    is_page = scope["method"] == "GET" and not scope["path"].startswith(("/api/", "/photos/"))
    return is_page and "text/html" in headers.get("accept", "")


def _with_status(send: Send, status: int) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message["status"] = status
        await send(message)

    return sent


async def _answer(send: Send, status: int, error: str, field_name: str | None) -> None:
    body = json.dumps({"error": error, "field": field_name}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        # The body was not read, so the line cannot be used again.
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _drain(receive: Receive) -> None:
    """Hear a body out without keeping it, up to a limit.

    To close a line on somebody who is still talking resets it, and they never see why.
    """
    heard = 0
    while heard < MOST_DRAINED_BYTES:
        message = await receive()
        if message["type"] != "http.request" or not message.get("more_body", False):
            return
        heard += len(message.get("body", b""))


def _cookie(text: str) -> str | None:
    try:
        found = SimpleCookie(text).get(COOKIE)
    except CookieError:
        return None
    if found is None or not re.fullmatch(r"[A-Za-z0-9_-]{20,100}", found.value):
        return None
    return found.value


def _is_loopback(client: tuple[str, int] | None) -> bool:
    if client is None:
        return False
    try:
        address = ipaddress.ip_address(client[0])
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return bool((mapped or address).is_loopback)


def _without_port(host: str) -> str:
    """Return a Host header without its port, in small letters.

    >>> _without_port("LOCALHOST:8047"), _without_port("[::1]:8047")
    ('localhost', '[::1]')
    """
    return re.sub(r":\d+$", "", host).lower()


def _most_bytes(path: str) -> int:
    return next((most for at, most in LARGE_BODIES if at.fullmatch(path)), MOST_BODY_BYTES)


def _too_large(limit: int) -> str:
    return said("more than {most_mb:.1f} MB are not taken here", most_mb=limit / 1e6)


def state_of(scope: Mapping[str, object]) -> Visitor:
    """Return who asks, as the guard has found out."""
    state = scope["state"]
    assert isinstance(state, dict)
    visitor = state["visitor"]
    assert isinstance(visitor, Visitor)
    return visitor
