"""``gaugewright watch --live``: records come in by HTTP or MQTT, events go out as they are seen."""

import hashlib
import json
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from gaugewright.errors import GaugewrightError, InputError

if TYPE_CHECKING:  # the rooms below are imported only when a command runs
    from gaugewright.app.watch_live import LiveSettings, LiveWatch
    from gaugewright.app.watch_task import Look

TOKEN = "GAUGEWRIGHT_SECRET_LIVE"
PASSWORD = "GAUGEWRIGHT_SECRET_MQTT"
STORE = "live.sqlite"

Live = Annotated[
    bool,
    typer.Option("--live", help="Take records as they come, by --http or --mqtt, until stopped."),
]
Http = Annotated[
    str | None,
    typer.Option(
        "--http", metavar="HOST:PORT",
        help="Live: take records by POST /records, give GET /events and GET /health; beyond "
        f"this computer set {TOKEN}.",
    ),
]  # fmt: skip
Mqtt = Annotated[
    str | None, typer.Option("--mqtt", metavar="HOST:PORT", help="Live: the broker to listen to.")
]
Topic = Annotated[
    str | None, typer.Option("--topic", metavar="T", help="Live: the topic with records.")
]
EventsTopic = Annotated[
    str | None, typer.Option("--events-topic", metavar="T", help="Live: the topic for events.")
]
HealthTopic = Annotated[
    str | None,
    typer.Option(
        "--health-topic", metavar="T",
        help="Live: the topic that holds what is wrong with probes and records.",
    ),
]  # fmt: skip
User = Annotated[
    str | None,
    typer.Option("--mqtt-user", metavar="NAME", help=f"Live: its password is in {PASSWORD}."),
]
Tls = Annotated[bool, typer.Option("--mqtt-tls", help="Live: speak to the broker by TLS.")]


@dataclass(frozen=True)
class Doors:
    """Where records come from and events go to, as the person said it."""

    http: str | None = None
    mqtt: str | None = None
    topic: str | None = None
    events_topic: str | None = None
    user: str | None = None
    use_tls: bool = False
    health_topic: str | None = None

    def require(self) -> None:
        """Refuse what cannot work."""
        if self.http is None and self.mqtt is None:
            raise InputError("needs --http HOST:PORT or --mqtt HOST:PORT", field="--live")
        if self.mqtt is not None and self.topic is None:
            raise InputError("needs --topic, the topic with records", field="--mqtt")
        if self.health_topic is not None and self.mqtt is None:
            raise InputError("needs --mqtt HOST:PORT", field="--health-topic")

    def require_none(self) -> None:
        """Refuse doors without ``--live``."""
        if self != Doors():
            raise InputError("--http, --mqtt and what belongs to them need --live")


def watch_live(
    doors: Doors,
    tables: str,
    out: Path,
    look: "Look",
    settings: "LiveSettings | None" = None,
) -> None:
    """Take records until stopped; print each event as one line of JSON, keep ``events.csv``."""
    from gaugewright.app.files import write_text
    from gaugewright.app.watch_files import events_csv
    from gaugewright.app.watch_live import LiveSettings, LiveWatch
    from gaugewright.app.watch_live_health import HealthTeller
    from gaugewright.app.watch_live_store import LiveStore
    from gaugewright.app.watch_tables import table_files

    doors.require()
    found = table_files(tables)
    told: dict[str, str] = {}
    with ExitStack() as closing:
        store = LiveStore(out / STORE)
        closing.callback(store.close)
        watch = LiveWatch(store, found, look, time, settings or LiveSettings())
        senders = _open_doors(doors, watch, out, closing)
        tellers = [
            HealthTeller(lambda: _health_notes(watch), sender.send_health, monotonic)
            for sender in senders
            if doors.health_topic is not None
        ]

        def changed() -> None:
            # Before anything is sent: whoever hears of an event finds it in the file.
            write_text(str(out / "events.csv"), events_csv(watch.standing()))

        def tell_and_say() -> None:
            try:
                for teller in tellers:
                    teller.tell()
                watch.troubles.pop("health", None)
            except GaugewrightError as error:
                watch.troubles["health"] = str(error)
            for name, trouble in watch.troubles.items():
                if told.get(name) != trouble:
                    told[name] = trouble
                    _say(f"{name}: {trouble}")

        def send(message: dict[str, Any]) -> None:
            for sender in senders:
                sender.send(message)
            sys.stdout.write(json.dumps(message, ensure_ascii=False, allow_nan=False) + "\n")
            sys.stdout.flush()

        with _stopped_by_signals() as stop:
            watch.run(send, stop, changed=changed, after=tell_and_say)
        _say("stopped; what is not sent yet is sent at the next start")


def _open_doors(doors: Doors, watch: Any, out: Path, closing: ExitStack) -> Sequence[Any]:
    """Open the doors, say where they are, and return those that events go out by."""
    from gaugewright.app.watch_files import EVENT_COLUMNS, event_rows
    from gaugewright.app.watch_live_doors import HttpDoor, MqttDoor

    def standing() -> list[dict[str, Any]]:
        rows = event_rows(watch.standing())
        return [dict(zip(EVENT_COLUMNS[:-2], row[:-2], strict=True)) for row in rows]

    senders = []
    if doors.mqtt is not None:
        # The same at each start, so that the broker knows what it keeps for us.
        place = hashlib.sha256(f"{out.resolve()} {doors.topic}".encode()).hexdigest()
        client = f"gaugewright-{place[:12]}"
        door = MqttDoor(
            doors.mqtt, doors.topic or "", watch.take, trouble=_say, client_id=client,
            events_topic=doors.events_topic, health_topic=doors.health_topic,
            username=doors.user, password=os.environ.get(PASSWORD), use_tls=doors.use_tls,
        )  # fmt: skip
        closing.callback(door.close)
        senders.append(door)
        _say(f"listening to {doors.topic} at {doors.mqtt}")
    if doors.http is not None:
        token = os.environ.get(TOKEN)
        http = HttpDoor(doors.http, watch.take, standing, token, lambda: _health_notes(watch))
        closing.callback(http.close)
        _say(f"records are taken at {http.address}")
    return senders


def _health_notes(watch: "LiveWatch") -> list[dict[str, Any]]:
    """Look all kept records through for what is wrong with probes and records."""
    from gaugewright.app.watch_files import iso
    from gaugewright.watch.health.notes import health  # compiles when it is first loaded

    return [
        {
            "vehicle": one.vehicle,
            "kind": one.kind,
            "from": None if one.start_s is None else iso(one.start_s),
            "to": None if one.end_s is None else iso(one.end_s),
            "message": one.message,
        }
        for one in watch.health(health)
    ]


@contextmanager
def _stopped_by_signals() -> Iterator[threading.Event]:
    """Give a flag that Ctrl-C or a request to end raises, so that a look is finished first."""
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = {
        number: signal.signal(number, lambda *_: stop.set())
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _say(text: str) -> None:
    from gaugewright.cli.output import show

    show(f"gaugewright: {text}", to_error=True)
    sys.stderr.flush()
