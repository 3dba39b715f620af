"""Records from an MQTT topic (OASIS MQTT 3.1.1)."""

import queue
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock, Fault, Signal, TroubleKind
from gaugewright.instruments.payload import Payload
from gaugewright.instruments.records import Once, RecordsSettings, require_no_secret, with_secrets
from gaugewright.instruments.source import Source

LONGEST_MESSAGE: Final = 200_000
"""A message above this is no record. [bytes]"""
WAITS_S: Final = 4.0
"""The longest wait for the broker's answer. [s]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsMqttSettings(RecordsSettings):
    """A topic at a broker.  ``password`` names a secret, ``{GAUGEWRIGHT_SECRET_…}``."""

    kind: ClassVar[str] = "records_mqtt"

    host: str
    topic: str
    port: int = 1883
    username: str = ""
    password: str = ""
    use_tls: bool = False

    def _check(self) -> None:
        self._require_text("host")
        self._require_text("topic")
        self._require_within("port", 1, 65535)
        require_no_secret(self.password, "password")
        if self.password and "{" not in self.password:
            raise InputError(
                "would stand in the journal; write {GAUGEWRIGHT_SECRET_NAME} and set that in the "
                "environment",
                field="password",
            )
        if len(self.topic.encode()) > 65_535 or "\0" in self.topic:
            raise InputError("is no topic", field="topic")
        Payload(self.value_path, self.time_path, self.records_path)

    @property
    def place(self) -> str:
        """Where the records come from."""
        return f"topic {self.topic} at {self.host}"

    def describe(self) -> str:
        """Return one line with what may be shown."""
        return f"{self.source_id} ({self.kind} {self.place})"


class RecordsMqttSource(Source[RecordsMqttSettings]):
    """Listens to a topic; the client's own thread only puts messages in a queue."""

    def __init__(self, settings: RecordsMqttSettings, clock: Clock = SYSTEM_CLOCK) -> None:
        super().__init__(settings, clock)
        self._payload = Payload(settings.value_path, settings.time_path, settings.records_path)
        self._once = Once()
        self._client: Any = None
        self._messages: queue.Queue[bytes | SourceError] = queue.Queue(maxsize=10_000)
        self._answered: queue.Queue[str] = queue.Queue()

    def _connect(self) -> None:
        from paho.mqtt import client as mqtt  # only this way to records needs it
        from paho.mqtt.enums import CallbackAPIVersion

        s = self.settings
        made = mqtt.Client(CallbackAPIVersion.VERSION2)
        made.connect_timeout = WAITS_S
        if s.username:
            made.username_pw_set(s.username, with_secrets(s.password, "password") or None)
        if s.use_tls:
            made.tls_set()
        made.on_connect = self._on_connect
        made.on_message = self._on_message
        made.on_disconnect = self._on_disconnect
        made.on_subscribe = self._on_subscribe
        self._messages, self._answered = queue.Queue(maxsize=10_000), queue.Queue()
        self._client = made
        try:
            made.connect(s.host, s.port, keepalive=30)
        except (OSError, ValueError) as error:
            self._client = None
            raise SourceError(f"cannot reach {s.host}:{s.port}: {error}") from error
        made.loop_start()
        try:
            answer = self._answered.get(timeout=WAITS_S)
        except queue.Empty:
            answer = f"no answer within {WAITS_S:g} s"
        if answer:
            self._disconnect()
            raise SourceError(f"{s.host}:{s.port} did not let us listen to {s.topic}: {answer}")

    def _receive(self, timeout_s: float) -> Sequence[Signal] | None:
        try:
            found = self._messages.get(timeout=timeout_s)
        except queue.Empty:
            return []
        if isinstance(found, SourceError):
            raise found
        if len(found) > LONGEST_MESSAGE:
            return [Fault(TroubleKind.GARBAGE, f"a message of {len(found)} bytes", found[:256])]
        return self._once.new(self._payload.signals(found))

    def _disconnect(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.disconnect()
            client.loop_stop()

    # --- called by the client's thread ------------------------------------------------

    def _on_connect(
        self, client: Any, data: object, flags: object, code: Any, props: object
    ) -> None:
        if code.is_failure:
            self._answered.put(str(code))
        else:
            client.subscribe(self.settings.topic, qos=1)

    def _on_subscribe(
        self, client: object, data: object, number: object, codes: list[Any], props: object
    ) -> None:
        refused = [str(code) for code in codes if code.is_failure]
        self._answered.put(refused[0] if refused else "")

    def _on_message(self, client: object, data: object, message: Any) -> None:
        # A full queue is 10,000 records that nobody took: the check shows what it has.
        with suppress(queue.Full):
            self._messages.put_nowait(bytes(message.payload))

    def _on_disconnect(
        self, client: object, data: object, flags: object, code: Any, props: object
    ) -> None:
        if self._client is not None:
            with suppress(queue.Full):
                self._messages.put_nowait(SourceError(f"the broker is gone: {code}"))
