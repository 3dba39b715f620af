"""Records from an address that is asked again and again.

Nothing is asked beyond the address that the person named: redirects are refused, an answer
is read up to a limit of bytes and of time, and no cookie or proxy of the surroundings is
used.
"""

import http.client
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO, Any, ClassVar, Final

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock, Fault, Signal, TroubleKind
from gaugewright.instruments.payload import Payload
from gaugewright.instruments.records import Once, RecordsSettings, require_no_secret, with_secrets
from gaugewright.instruments.source import Source

MOST_BYTES: Final = 2_000_000
"""The longest answer that is read. [bytes]"""
LONGEST_S: Final = 4.0
"""The longest time for one answer, so that a stop is heard. [s]"""
_HIDDEN_WORDS: Final = ("key", "token", "secret", "password", "pass", "auth", "sig")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsHttpSettings(RecordsSettings):
    """An address that gives JSON.  ``header`` is sent along, such as an authorisation."""

    kind: ClassVar[str] = "records_http"

    url: str
    header: str = ""
    every_s: float = 5.0
    timeout_s: float = 3.0

    def _check(self) -> None:
        require_no_secret(self.url, "url")
        require_no_secret(self.header, "header")
        parts = _parts(self.url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise InputError(f"must be http:// or https://, found {self.url[:80]!r}", field="url")
        if parts.username or parts.password:
            raise InputError("a password has no place in an address", field="url")
        for name, value in urllib.parse.parse_qsl(parts.query):
            if any(word in name.lower() for word in _HIDDEN_WORDS) and "{" not in value:
                raise InputError(
                    f"'{name}' looks like a secret: it would stand in the journal; write "
                    f"{name}={{GAUGEWRIGHT_SECRET_NAME}} and set that in the environment",
                    field="url",
                )
        name, colon, value = self.header.partition(":")
        if self.header and not (colon and name.strip() and value.strip()):
            raise InputError("must be Name: value", field="header")
        if self.header and not self.header.isprintable():
            raise InputError("must be one line of printable text", field="header")
        if "authorization" in name.lower() and "{" not in value:
            raise InputError(
                "would stand in the journal; write {GAUGEWRIGHT_SECRET_NAME} for the secret and "
                "set that in the environment",
                field="header",
            )
        if self.every_s < 1.0:
            raise InputError(f"must be at least 1 s, found {self.every_s:g} s", field="every_s")
        if not 0 < self.timeout_s <= LONGEST_S:
            raise InputError(
                f"must be above 0 and up to {LONGEST_S:g} s, found {self.timeout_s:g} s",
                field="timeout_s",
            )
        Payload(self.value_path, self.time_path, self.records_path)

    @property
    def place(self) -> str:
        """Where the records come from, without query and header."""
        parts = _parts(self.url)
        return f"{parts.scheme}://{parts.netloc}{parts.path}"

    @property
    def are_polls(self) -> bool:
        """Without a time of its own a record is what stood there when it was asked for."""
        return not self.time_path

    def describe(self) -> str:
        """Return one line with what may be shown."""
        return f"{self.source_id} ({self.kind} {self.place} every {self.every_s:g} s)"


def _parts(url: str) -> urllib.parse.SplitResult:
    try:
        parts = urllib.parse.urlsplit(url)
        _ = parts.port
    except ValueError as error:
        raise InputError(f"is no address: {error}", field="url") from None
    return parts


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str,
        headers: http.client.HTTPMessage, newurl: str,
    ) -> None:  # fmt: skip
        """Refuse: the person named one address and no other."""
        host = urllib.parse.urlsplit(newurl).hostname or "elsewhere"
        raise SourceError(f"the address sends on to {host}; name the right address itself")


class RecordsHttpSource(Source[RecordsHttpSettings]):
    """Asks an address for records."""

    def __init__(self, settings: RecordsHttpSettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._payload = Payload(settings.value_path, settings.time_path, settings.records_path)
        self._once = Once()
        self._next_s = 0.0
        self._opener = urllib.request.build_opener(_NoRedirect(), urllib.request.ProxyHandler({}))

    def _connect(self) -> None:
        # Only what is told wrong at once; the address itself is asked in `_receive`.
        with_secrets(self.settings.url, "url")
        with_secrets(self.settings.header, "header")
        self._next_s = 0.0

    def _receive(self, timeout_s: float) -> Sequence[Signal] | None:
        wait_s = self._next_s - self.clock.monotonic_s()
        if wait_s > 0:
            self._stop.wait(min(wait_s, timeout_s))
            return []
        self._next_s = self.clock.monotonic_s() + self.settings.every_s
        return self._once.new(self._payload_signals(self._ask()))

    def _payload_signals(self, raw: bytes) -> list[Signal]:
        if len(raw) > MOST_BYTES:
            return [Fault(TroubleKind.GARBAGE, f"an answer of more than {MOST_BYTES} bytes")]
        return self._payload.signals(raw)

    def _ask(self) -> bytes:
        s = self.settings
        headers = {"Accept": "application/json", "User-Agent": "gaugewright"}
        if s.header:
            name, _, value = with_secrets(s.header, "header").partition(":")
            headers[name.strip()] = value.strip()
        request = urllib.request.Request(with_secrets(s.url, "url"), headers=headers)
        until_s = time.monotonic() + LONGEST_S
        try:
            with self._opener.open(request, timeout=s.timeout_s) as answer:
                return _read(answer, until_s)
        except urllib.error.HTTPError as error:
            raise SourceError(f"{s.place} answered {error.code} {error.reason}") from None
        except (urllib.error.URLError, http.client.HTTPException, OSError) as error:
            if isinstance(error, SourceError):
                raise
            # Never with the request in it: its address may hold a secret by now.
            why = getattr(error, "reason", None) or type(error).__name__
            raise SourceError(f"{s.place} cannot be asked: {why}") from None

    def _disconnect(self) -> None:
        """Nothing is kept open between two questions."""


def _read(answer: Any, until_s: float) -> bytes:
    """Read an answer up to the limits of bytes and time."""
    found = b""
    while len(found) <= MOST_BYTES:
        if time.monotonic() > until_s:
            raise SourceError(f"the answer took more than {LONGEST_S:g} s")
        piece = answer.read(65_536)
        if not piece:
            break
        found += piece
    return found
