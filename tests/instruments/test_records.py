"""Records at the other end: a growing file, an address, a topic at a real broker."""

import asyncio
import gc
import json
import socket
import threading
import time
import warnings
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import Reading, Trouble, TroubleKind
from gaugewright.instruments.json_path import NOT_THERE, parse_path, value_at
from gaugewright.instruments.payload import Payload
from gaugewright.instruments.reader import ReaderThread
from gaugewright.instruments.records_catalog import records_settings_of, records_source_of

BOOKS = {"store": {"book": [
    {"category": "reference", "author": "Nigel Rees", "title": "Sayings of the Century",
     "price": 8.95},
    {"category": "fiction", "author": "Evelyn Waugh", "title": "Sword of Honour", "price": 12.99},
]}}  # fmt: skip


@pytest.mark.parametrize(
    ("document", "query", "found"),
    [
        # RFC 9535, figure 1 and tables 2, 5 and 8; from memory.
        (BOOKS, "$.store.book[0].title", "Sayings of the Century"),
        ({"o": {"j j": {"k.k": 3}}, "'": {"@": 2}}, "$.o['j j']", {"k.k": 3}),
        ({"o": {"j j": {"k.k": 3}}, "'": {"@": 2}}, "$.o['j j']['k.k']", 3),
        ({"o": {"j j": {"k.k": 3}}, "'": {"@": 2}}, '$.o["j j"]["k.k"]', 3),
        ({"o": {"j j": {"k.k": 3}}, "'": {"@": 2}}, '$["\'"]["@"]', 2),
        (["a", "b"], "$[1]", "b"),
        (["a", "b"], "$[-2]", "a"),
        (["a", "b"], "$[2]", NOT_THERE),
        ({"a": 1}, "$", {"a": 1}),
        ({"a": 1}, "$.b", NOT_THERE),
        ({"a": [1]}, "$.a.b", NOT_THERE),
    ],
)
def test_a_query_means_one_value_or_none(document, query, found):
    assert value_at(document, parse_path(query)) == found


@pytest.mark.parametrize("query", ["a", "$a", "$.", "$[*]", "$..a", "$[01]", "$.a[?(@.b)]", "$['a"])
def test_what_is_no_single_value_is_refused(query):
    with pytest.raises(InputError, match="path"):
        parse_path(query)


@pytest.mark.parametrize(
    ("message", "value", "minute"),
    [
        (b'{"v": 5, "t": 1777887000}', 5.0, 30),
        (b'{"v": "45,5", "t": "2026-05-04T11:30:00+02:00"}', 45.5, 30),
        (b'{"v": -1e2, "t": 1777887060000}', -100.0, 31),
    ],
)
def test_a_record_is_read_with_its_own_time(message, value, minute):
    (sample,) = Payload("$.v", "$.t").signals(message)
    assert (sample.counts, sample.device_at.minute) == (value, minute)


@pytest.mark.parametrize(
    ("message", "words"),
    [
        (b"half a li", "is not JSON"),
        (b'{"t": 5}', "no value in the record"),
        (b'{"v": true, "t": 5}', "is not a number"),
        (b'{"v": 5}', "no time in the record"),
        (b'{"v": 5, "t": "2026-05-04 09:30"}', "has no zone"),
        (b'{"v": NaN, "t": 5}', "is not a number"),
        (b"\xff\xfe", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
    ],
)
def test_what_is_no_record_is_a_trouble_that_says_why(message, words):
    (fault,) = Payload("$.v", "$.t").signals(message)
    assert fault.kind is TroubleKind.GARBAGE
    assert words in fault.message


def heard(reader, subscription, count, timeout_s=20.0):
    """Return so many readings, and the troubles on the way."""
    readings, troubles = [], []
    until = time.monotonic() + timeout_s
    while len(readings) < count:
        assert time.monotonic() < until, (readings, troubles)
        event = subscription.get(timeout_s)
        (readings if isinstance(event, Reading) else troubles).append(event)
    return readings, troubles


@contextmanager
def listening(mapping):
    reader = ReaderThread(records_source_of(records_settings_of(mapping)))
    subscription = reader.subscribe()
    with reader:
        yield reader, subscription


def test_a_file_that_grows_gives_what_is_new_and_half_a_line_waits(tmp_path):
    path = tmp_path / "far.csv"
    path.write_text("time;value\n2026-05-04T09:29:00Z;1\n")
    with listening({"kind": "records_file", "path": str(path)}) as (reader, subscription):
        with path.open("a") as file:
            file.write("2026-05-04T09:30:00Z;812,5\n2026-05-04T09:30:1")
            file.flush()
            (first,), _ = heard(reader, subscription, 1)
            file.write("0Z;813\nnonsense\n")
            file.flush()
        (second,), _ = heard(reader, subscription, 1)
        trouble = subscription.get(20.0)
    assert (first.counts, first.device_at.minute) == (812.5, 30)
    assert (second.counts, second.device_at.second) == (813.0, 10)
    assert isinstance(trouble, Trouble)


def test_json_lines_from_the_start_and_a_file_put_anew(tmp_path):
    path = tmp_path / "far.jsonl"
    lines = [json.dumps({"at": 1777887000 + n, "fuel": {"raw": n}}) for n in range(3)]
    path.write_text("\n".join(lines) + "\n")
    settings = {
        "kind": "records_file", "path": str(path), "from_start": True,
        "value_path": "$.fuel.raw", "time_path": "$.at", "retry_first_s": 0.05,
    }  # fmt: skip
    with listening(settings) as (reader, subscription):
        readings, _ = heard(reader, subscription, 3)
        path.write_text(json.dumps({"at": 1777887100, "fuel": {"raw": 9}}) + "\n")
        # It is shorter than before: the source says so, opens it anew and goes on.
        while not isinstance(event := subscription.get(20.0), Trouble):
            pass
        assert event.kind is TroubleKind.DISCONNECTED
        assert "cut short" in event.message
        while reader.last_trouble.kind is not TroubleKind.RECONNECTED:
            time.sleep(0.02)
        with path.open("a") as file:
            file.write(json.dumps({"at": 1777887101, "fuel": {"raw": 10}}) + "\n")
        after, _ = heard(reader, subscription, 2)
    assert [r.counts for r in readings] == [0.0, 1.0, 2.0]
    assert [r.counts for r in after] == [9.0, 10.0]


def test_a_file_that_is_not_there_is_said_at_once(tmp_path):
    with (
        pytest.raises(SourceError, match="cannot open"),
        listening({"kind": "records_file", "path": str(tmp_path / "none.csv")}),
    ):
        pass


class Depot(BaseHTTPRequestHandler):
    """Answers as a fleet system might; what it does wrong stands in the path."""

    count = 0

    def do_GET(self):
        self.server.asked.append((self.path, dict(self.headers)))
        type(self).count += 1
        if self.path.startswith("/moved"):
            self.send_response(302)
            self.send_header("location", "http://127.0.0.1:1/elsewhere")
            self.end_headers()
            return
        if self.path.startswith("/refused"):
            self.send_error(401)
            return
        body = json.dumps(
            {"data": [{"raw": type(self).count, "at": 1777887000 + type(self).count}]}
        ).encode()
        if self.path.startswith("/huge"):
            body = b" " * 2_100_000
        self.send_response(200)
        self.end_headers()
        if self.path.startswith("/slow"):
            for _ in range(40):
                self.wfile.write(b" ")
                time.sleep(0.25)
        self.wfile.write(body)

    def log_message(self, *_):
        pass


@pytest.fixture
def depot():
    server = HTTPServer(("127.0.0.1", 0), Depot)
    server.asked = []
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    server.url = f"http://127.0.0.1:{server.server_address[1]}"
    yield server
    server.shutdown()
    thread.join(10)
    server.server_close()


def polled(url, **more):
    return {
        "kind": "records_http", "url": url, "every_s": 1.0, "value_path": "$.raw",
        "time_path": "$.at", "records_path": "$.data", **more,
    }  # fmt: skip


def test_an_address_is_asked_again_and_again(depot):
    with listening(polled(depot.url + "/last")) as (reader, subscription):
        readings, troubles = heard(reader, subscription, 2)
    assert readings[1].counts == readings[0].counts + 1
    assert readings[0].device_at is not None
    assert troubles == []


def test_a_secret_comes_from_the_environment_and_stands_nowhere_else(depot, monkeypatch):
    monkeypatch.setenv("GAUGEWRIGHT_SECRET_DEPOT", "s3cr3t-value")
    mapping = polled(
        depot.url + "/refused?key={GAUGEWRIGHT_SECRET_DEPOT}",
        header="Authorization: Bearer {GAUGEWRIGHT_SECRET_DEPOT}",
    )
    settings = records_settings_of(mapping)
    with listening(mapping) as (_, subscription):
        trouble = subscription.get(20.0)
    path, headers = depot.asked[0]
    assert path == "/refused?key=s3cr3t-value"
    assert headers["Authorization"] == "Bearer s3cr3t-value"
    assert trouble.message.endswith("/refused answered 401 Unauthorized")
    told = [settings.describe(), settings.place, trouble.message, json.dumps(settings.to_mapping())]
    assert not any("s3cr3t-value" in each for each in told)


def test_a_secret_that_is_not_set_is_said_by_its_name(monkeypatch):
    monkeypatch.delenv("GAUGEWRIGHT_SECRET_DEPOT", raising=False)
    mapping = polled("http://127.0.0.1:9/x", header="X-Key: {GAUGEWRIGHT_SECRET_DEPOT}")
    with (
        pytest.raises(SourceError, match="asks for GAUGEWRIGHT_SECRET_DEPOT"),
        listening(mapping),
    ):
        pass


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/moved", "sends on to 127.0.0.1; name the right address"),
        ("/huge", "more than 2000000 bytes"),
        ("/slow", "took more than 4 s"),
    ],
)
def test_nothing_is_followed_swallowed_whole_or_waited_for_for_ever(depot, path, words):
    with listening(polled(depot.url + path)) as (_, subscription):
        trouble = subscription.get(20.0)
    assert words in trouble.message


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"url": "file:///etc/passwd"}, "url", "must be http:// or https://"),
        ({"url": "http://me:pw@host/x"}, "url", "password has no place"),
        ({"url": "http://host/x?api_key=abc"}, "url", "looks like a secret"),
        ({"url": "http://host/{PATH}"}, "url", "must begin with GAUGEWRIGHT_SECRET_"),
        ({"header": "Authorization: Bearer abc"}, "header", "would stand in the journal"),
        ({"header": "nothing"}, "header", "must be Name: value"),
        ({"header": "A: b\r\nC: d"}, "header", "one line"),
        ({"every_s": 0.1}, "every_s", "at least 1 s"),
        ({"timeout_s": 60.0}, "timeout_s", "up to 4 s"),
        ({"value_path": "$..x"}, "value_path", "cannot be read"),
    ],
)
def test_settings_that_cannot_be_are_refused_by_their_field(changes, field, words):
    with pytest.raises(InputError) as refused:
        records_settings_of({**polled("http://host/x"), **changes})
    assert refused.value.field == field
    assert words in refused.value.problem


@pytest.fixture
def broker():
    """A real broker in a thread of its own."""
    from amqtt.broker import Broker

    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
    loop = asyncio.new_event_loop()
    ready, stop = threading.Event(), asyncio.Event()

    async def serve():
        running = Broker(config)
        await running.start()
        ready.set()
        await stop.wait()
        await running.shutdown()

    thread = threading.Thread(target=loop.run_until_complete, args=(serve(),), daemon=True)
    thread.start()
    assert ready.wait(20)
    yield port
    loop.call_soon_threadsafe(stop.set)
    thread.join(20)
    loop.close()
    with warnings.catch_warnings():
        # The broker leaves connections open; they are not to fail a later test.
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


def test_a_topic_at_a_real_broker_is_listened_to(broker):
    from paho.mqtt import publish

    settings = {
        "kind": "records_mqtt", "host": "127.0.0.1", "port": broker, "topic": "fleet/7/fuel",
        "value_path": "$.raw", "time_path": "$.at",
    }  # fmt: skip
    with listening(settings) as (reader, subscription):
        for n in (812, 813, 813):
            message = json.dumps({"raw": n, "at": 1777887000 + n})
            publish.single("fleet/7/fuel", message, qos=1, hostname="127.0.0.1", port=broker)
        publish.single("fleet/8/fuel", "{}", hostname="127.0.0.1", port=broker)
        publish.single("fleet/7/fuel", "half", qos=1, hostname="127.0.0.1", port=broker)
        readings, _ = heard(reader, subscription, 2)
        trouble = subscription.get(20.0)
    assert [r.counts for r in readings] == [812.0, 813.0]  # the same record twice counts once
    assert isinstance(trouble, Trouble)
    assert "is not JSON" in trouble.message


def test_a_broker_that_is_not_there_is_said_at_once():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    settings = {"kind": "records_mqtt", "host": "127.0.0.1", "port": port, "topic": "a"}
    with pytest.raises(SourceError, match="cannot reach"), listening(settings):
        pass


def test_a_password_in_the_settings_is_refused():
    with pytest.raises(InputError, match="would stand in the journal"):
        records_settings_of(
            {"kind": "records_mqtt", "host": "h", "topic": "a", "password": "hunter2"}
        )
