"""The two ways in for live records: an HTTP post, and an MQTT topic (OASIS MQTT 3.1.1).

Both tell the sender that a record is taken only when it is on disk.  Over MQTT that is the
acknowledgement of a message with quality of service 1, in a session that the broker keeps, so
that what is sent while this program is down waits at the broker.
"""

import json
import secrets
from collections.abc import Callable
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any, ClassVar
from urllib.parse import urlsplit

from gaugewright.app.watch_live import Answer
from gaugewright.errors import GaugewrightError, InputError, SourceError

Take = Callable[[bytes], Answer]

MOST_BYTES = 20_000_000
"""A post above this is refused before it is read. [bytes]"""
SILENT_S = 30.0
"""A sender that says nothing for so long is hung up on. [s]"""
_LOOPBACK = ("127.0.0.1", "localhost", "::1")


class HttpDoor:
    """Takes records by ``POST /records``; ``GET /events`` says which events stand.

    ``GET /health`` looks all kept records through for what is wrong with probes and records.
    Beyond this computer a token is needed, sent as ``Authorization: Bearer ...``.
    """

    def __init__(
        self,
        address: str,
        take: Take,
        standing: Callable[[], list[dict[str, Any]]],
        token: str | None,
        health: Callable[[], list[dict[str, Any]]] = list,
    ) -> None:
        host, port = _host_and_port(address, field="--http")
        if host not in _LOOPBACK and not token:
            raise InputError(
                f"'{host}' can be reached from outside; set a token in the environment as "
                "GAUGEWRIGHT_SECRET_LIVE, and senders give it as 'Authorization: Bearer ...'",
                field="--http",
            )
        self.take, self.standing, self.token, self.health = take, standing, token, health
        handler = type("Handler", (_Handler,), {"door": self})
        try:
            self._server = ThreadingHTTPServer((host, port), handler)
        except OSError as error:
            raise InputError(
                f"{address} cannot be used: {error.strerror}", field="--http"
            ) from None
        self._server.daemon_threads = True
        self._thread = Thread(target=self._server.serve_forever, name="live-http", daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        """Where records can be posted to."""
        host, port = self._server.server_address[:2]
        return f"http://{host!s}:{port}/records"

    def close(self) -> None:
        """Take no more; requests under way are answered."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Handler(BaseHTTPRequestHandler):
    door: ClassVar[HttpDoor]
    timeout = SILENT_S
    protocol_version = "HTTP/1.1"
    server_version = "gaugewright"
    sys_version = ""

    def do_POST(self) -> None:
        """Take records."""
        if not self._is_welcome("/records"):
            return
        try:
            size = int(self.headers.get("Content-Length", ""))
        except ValueError:
            self._answer(411, {"error": "wanted a Content-Length"})
            return
        if not 0 <= size <= MOST_BYTES:
            self._answer(413, {"error": f"{size} bytes, at most {MOST_BYTES} are taken"})
            return
        content = self.rfile.read(size)
        if len(content) < size:
            return  # the sender is gone: nothing of half a message is taken
        try:
            answer = self.door.take(content)
        except GaugewrightError as error:
            self._answer(503, {"error": str(error)})
            return
        self._answer(
            422 if answer.is_refused else 200,
            {"taken": answer.taken, "doubled": answer.doubled, "refused": answer.refused},
        )

    def do_GET(self) -> None:
        """Say which events stand, or what is wrong with probes and records."""
        path = urlsplit(self.path).path
        if not self._is_welcome("/health" if path == "/health" else "/events"):
            return
        try:
            self._answer(200, self.door.health() if path == "/health" else self.door.standing())
        except GaugewrightError as error:
            self._answer(503, {"error": str(error)})

    def _is_welcome(self, path: str) -> bool:
        given = self.headers.get("Authorization", "").removeprefix("Bearer ")
        token = self.door.token
        if token and not secrets.compare_digest(given.encode(), token.encode()):
            self._answer(401, {"error": "wanted 'Authorization: Bearer ...' with the token"})
            return False
        if not token and urlsplit("//" + self.headers.get("Host", "")).hostname not in _LOOPBACK:
            self._answer(403, {"error": "without a token only this computer is answered"})
            return False
        # A page in a browser of this computer must not be able to post here.
        if self.headers.get("Origin"):
            self._answer(403, {"error": "posts from web pages are not taken"})
            return False
        if urlsplit(self.path).path != path:
            self._answer(404, {"error": "there are POST /records, GET /events and GET /health"})
            return False
        return True

    def _answer(self, status: int, body: object) -> None:
        content = json.dumps(body).encode()
        self.send_response(status)
        if status != 200:
            # What was not read of the request would be taken for the next one.
            self.send_header("Connection", "close")
            self.close_connection = True
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        with suppress(BrokenPipeError, ConnectionResetError):  # the sender sends it again
            self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Keep standard error for what a person must know."""


class MqttDoor:
    """Takes records from a topic, and sends events to another and health to a third."""

    def __init__(
        self,
        address: str,
        topic: str,
        take: Take,
        *,
        trouble: Callable[[str], None],
        client_id: str,
        events_topic: str | None = None,
        health_topic: str | None = None,
        username: str | None = None,
        password: str | None = None,
        use_tls: bool = False,
    ) -> None:
        from paho.mqtt import client as mqtt  # only this door needs it
        from paho.mqtt.enums import CallbackAPIVersion

        self._host, self._port = _host_and_port(address, field="--mqtt", port=1883)
        self._topic, self._events_topic, self._health_topic = topic, events_topic, health_topic
        self._take, self._trouble = take, trouble
        made = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False, manual_ack=True
        )
        if username:
            made.username_pw_set(username, password)
        if use_tls:
            made.tls_set()
        made.on_connect, made.on_message = self._on_connect, self._on_message
        made.on_disconnect = self._on_disconnect
        made.reconnect_delay_set(1, 30)
        self._client = made
        try:
            made.connect(self._host, self._port, keepalive=30)
        except (OSError, ValueError) as error:
            raise SourceError(f"the broker at {address} cannot be reached: {error}") from None
        made.loop_start()

    def send(self, message: dict[str, Any]) -> None:
        """Send a message to the events' topic; return when the broker has it."""
        if self._events_topic is not None:
            self._publish(self._events_topic, message, is_kept=False)

    def send_health(self, notes: list[dict[str, Any]]) -> None:
        """Send what is wrong now; the broker keeps it for whoever listens later."""
        if self._health_topic is not None:
            self._publish(self._health_topic, notes, is_kept=True)

    def _publish(self, topic: str, body: object, *, is_kept: bool) -> None:
        content = json.dumps(body, ensure_ascii=False, allow_nan=False)
        told = self._client.publish(topic, content, qos=1, retain=is_kept)
        try:
            told.wait_for_publish(timeout=10)
        except (ValueError, RuntimeError) as error:
            raise SourceError(f"the broker does not take messages: {error}") from None
        if not told.is_published():
            raise SourceError("the broker did not acknowledge a message within 10 s")

    def close(self) -> None:
        """Take no more; the broker keeps what comes until the next start."""
        self._client.disconnect()
        self._client.loop_stop()

    # --- called by the client's thread ------------------------------------------------

    def _on_connect(
        self, client: Any, data: object, flags: object, code: Any, more: object
    ) -> None:
        if code.is_failure:
            self._trouble(f"the broker refuses: {code}")
        else:
            client.subscribe(self._topic, qos=1)

    def _on_disconnect(
        self, client: Any, data: object, flags: object, code: Any, more: object
    ) -> None:
        if code.is_failure:
            self._trouble(f"the line to the broker is lost ({code}); trying again")

    def _on_message(self, client: Any, data: object, message: Any) -> None:
        if len(message.payload) > MOST_BYTES:
            self._trouble(f"{message.topic}: a message of {len(message.payload)} bytes is left out")
        else:
            try:
                answer = self._take(bytes(message.payload))
            except GaugewrightError as error:
                # Not acknowledged: the broker sends it again when we connect again.
                self._trouble(f"{message.topic}: {error}")
                return
            for refusal in answer.refused[:5]:
                where = f"{message.topic}, record {refusal['row']}, {refusal['field']}"
                self._trouble(f"{where}: {refusal['problem']}")
        client.ack(message.mid, message.qos)


def _host_and_port(address: str, *, field: str, port: int | None = None) -> tuple[str, int]:
    """Return host and port of ``HOST:PORT``, ``:PORT`` being this computer.

    >>> _host_and_port(":8090", field="--http"), _host_and_port("[::1]:5", field="--http")
    (('127.0.0.1', 8090), ('::1', 5))
    """
    try:
        parts = urlsplit(f"//{address}")
        found = parts.port if parts.port is not None else port
    except ValueError:
        found = None
    if found is None or parts.path:
        raise InputError(f"wanted HOST:PORT, found '{address}'", field=field)
    return parts.hostname or "127.0.0.1", found
