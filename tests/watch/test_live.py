"""Records come in live, events go out; whatever is killed and when, nothing is lost or twice."""

import asyncio
import csv
import gc
import http.client
import json
import queue
import random
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
import warnings
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest

from gaugewright.app.watch_files import event_rows
from gaugewright.app.watch_live import LiveSettings, LiveWatch, corrections
from gaugewright.app.watch_live_doors import HttpDoor, MqttDoor
from gaugewright.app.watch_live_health import EVERY_S, HealthTeller
from gaugewright.app.watch_live_records import read_records
from gaugewright.app.watch_live_store import LiveStore, Said
from gaugewright.app.watch_tables import table_files
from gaugewright.app.watch_task import Look
from gaugewright.cli.watch_live import Doors
from gaugewright.errors import InputError, SourceError
from gaugewright.table.files import read_table
from gaugewright.testing.plain_watch import steps
from gaugewright.watch.health.notes import health
from gaugewright.watch.values import Event, EventKind, Track

T0 = 1_772_323_200.0
TABLE = "counts,litres,u_litres\n0,5,1\n4000,405,2\n"
NOW = T0 + 40 * 86_400


def history(records, seed=5, period_s=60.0):
    """A level with many steps, every record a minute after the one before."""
    rng = np.random.default_rng(seed)
    level, counts = 3000.0, []
    for _ in range(records):
        level -= 0.5
        if rng.random() < 0.02:
            level += rng.choice([-1, 1]) * rng.uniform(200, 600)
        level = float(np.clip(level, 300, 3900))
        counts.append(round(level))
    return [(T0 + period_s * k, c) for k, c in enumerate(counts)]


def offline(rows, vehicle="T-7"):
    time_s, counts = (np.array(column, float) for column in zip(*rows, strict=True))
    nothing = np.full(time_s.size, np.nan)
    return steps(Track(vehicle, time_s, counts, nothing, nothing), read_table(TABLE)).events


def body(rows, vehicle="T-7"):
    return json.dumps([{"vehicle": vehicle, "time": t, "counts": c} for t, c in rows]).encode()


def plain(events):
    return [row[:-2] for row in event_rows(events)]


@pytest.fixture
def tables(tmp_path):
    (tmp_path / "tables").mkdir()
    for name in ("T-7", "T-8"):
        (tmp_path / "tables" / f"{name}.csv").write_text(TABLE)
    return tmp_path / "tables"


@pytest.fixture
def watch(tmp_path, tables):
    store = LiveStore(tmp_path / "live.sqlite")
    yield LiveWatch(store, table_files(str(tables)), Look(steps), lambda: NOW)
    store.close()


def test_what_comes_in_pieces_in_any_order_gives_what_a_log_gives(watch):
    rows = history(600)
    mixed = rows[:]
    random.Random(1).shuffle(mixed)
    sent = []
    for k in range(0, 600, 37):
        answer = watch.take(body(mixed[k : k + 37]))
        assert (answer.taken, answer.doubled, answer.refused) == (len(mixed[k : k + 37]), 0, [])
        watch.look_round()
        watch.send_all(sent.append)

    assert plain(watch.standing()) == plain(offline(rows))
    assert [message["number"] for message in sent] == list(range(1, len(sent) + 1))
    standing = {said.id for said in watch.store.said() if said.stands}
    assert standing == set(told(sent))


def test_a_record_sent_twice_changes_nothing_and_one_with_counts_replaces_one_without(watch):
    rows = history(50)
    watch.take(b'{"vehicle": "T-7", "time": %f, "counts": null}' % rows[7][0])

    first, again = watch.take(body(rows)), watch.take(body(rows))

    assert (first.taken, first.doubled) == (50, 0)
    assert (again.taken, again.doubled) == (0, 50)
    assert watch.store.columns("T-7", 0)["counts"].tolist() == [c for _, c in rows]


def test_an_event_is_said_once_and_corrected_under_its_number(watch):
    rows = [(T0 + 60 * k, 1000 if k < 5 else 2000) for k in range(10)]
    sent = []
    watch.take(body(rows))
    watch.look_round()
    watch.send_all(sent.append)
    watch.look_round()
    watch.send_all(sent.append)
    assert [(m["what"], m["event"], m["litres"]) for m in sent] == [("new", 1, 100.0)]

    watch.take(body([(rows[4][0] + 30, 1500)]))  # a late record in the middle of the step
    watch.look_round()
    watch.send_all(sent.append)

    assert [(m["what"], m["event"], m["litres"]) for m in sent[1:]] == [
        ("changed", 1, 50.0), ("new", 2, 50.0),
    ]  # fmt: skip


def test_what_turns_out_to_be_no_event_is_withdrawn(watch):
    rows = [(T0 + 60 * k, 1000) for k in range(5)] + [(T0 + 1000 * 60, 1400)]
    watch.take(body(rows))
    watch.look_round()

    watch.take(body([(T0 + 60 * k, 1000 + 0.4 * k) for k in range(5, 1000)]))
    watch.look_round()

    assert watch.standing() == []
    sent = []
    watch.send_all(sent.append)
    assert [(m["what"], m["event"]) for m in sent] == [("new", 1), ("withdrawn", 1)]


def test_what_has_left_the_window_stands_as_it_was_said(tmp_path, tables):
    store = LiveStore(tmp_path / "live.sqlite")
    watch = LiveWatch(store, table_files(str(tables)), Look(steps), lambda: NOW,
                      LiveSettings(window_days=3.0))  # fmt: skip
    rows = history(10 * 144, period_s=600.0)
    for k in range(0, len(rows), 144):
        watch.take(body(rows[k : k + 144]))
        watch.look_round()
        store.forget(4 * 86_400)

    assert plain(watch.standing()) == plain(offline(rows))
    assert store.columns("T-7", 0)["time_s"][0] > T0 + 5 * 86_400
    store.close()


def test_what_cannot_be_sent_now_is_sent_later_and_in_order(watch):
    watch.take(body(history(300)))
    watch.look_round()
    tries, sent = iter([False, True, False]), []

    def send(message):
        if not next(tries, True):
            raise SourceError("the broker is away")
        sent.append(message["number"])

    watch.send_all(send)
    assert watch.troubles == {"sending": "the broker is away"}
    while watch.send_all(send) or watch.troubles:
        pass

    assert sent == list(range(1, len(offline(history(300))) + 1))


def test_a_vehicle_without_a_table_is_a_trouble_and_heals_when_it_has_one(watch, tables):
    watch.take(body(history(100), "T-9"))
    watch.look_round()
    assert watch.troubles == {"T-9": "there is no table T-9.csv"}

    (tables / "T-9.csv").write_text(TABLE)
    watch.tables = table_files(str(tables))
    watch.take(body([(T0 + 1e5, 500)], "T-9"))
    watch.look_round()

    assert watch.troubles == {}
    assert watch.standing()


@pytest.mark.parametrize(
    ("record", "field", "problem"),
    [
        ({"time": T0, "counts": 1}, "vehicle", "wanted a name of 1 to 200 letters, found null"),
        ({"vehicle": "A", "counts": 1}, "time", "wanted ISO 8601 with a zone, or seconds"),
        ({"vehicle": "A", "time": "2026-03-01T10:00", "counts": 1}, "time", "has no zone"),
        ({"vehicle": "A", "time": "soon", "counts": 1}, "time", '"soon" is no time'),
        ({"vehicle": "A", "time": 5, "counts": 1}, "time", "no right clock shows 5 now"),
        ({"vehicle": "A", "time": NOW + 9e5, "counts": 1}, "time", "no right clock shows"),
        ({"vehicle": "A", "time": T0}, "counts", "is missing"),
        ({"vehicle": "A", "time": T0, "counts": "12"}, "counts", "wanted a number or null, found"),
        ({"vehicle": "A", "time": T0, "counts": True}, "counts", "wanted a number or null"),
        ({"vehicle": "A", "time": T0, "counts": 1, "speed_kmh": []}, "speed_kmh", "wanted a num"),
    ],
)
def test_a_wrong_record_is_named_and_the_others_are_taken(record, field, problem):
    good = {"vehicle": "A", "time": T0, "counts": 1}

    taken, refused = read_records(json.dumps([good, record]).encode(), latest_s=NOW)

    assert len(taken) == 1
    assert (refused[0].row, refused[0].field) == (2, field)
    assert problem in refused[0].problem


@pytest.mark.parametrize(
    "text",
    [
        '{"vehicle": 7, "time": "2026-03-01T01:00:00+01:00", "counts": 5, "ignition": true}',
        '{"records": [{"vehicle": "7", "time": 1772323200000, "counts": 5, "ignition": 1}]}',
        '{"vehicle": "7", "time": 1772323200, "counts": 5, "ignition": 1}\n'
        '{"vehicle": "7", "time": 1772323200, "counts": 5, "ignition": 1}\n',
    ],
)
def test_records_come_in_several_shapes(text):
    taken, refused = read_records(text.encode(), latest_s=NOW)

    assert refused == []
    assert (taken[0].vehicle, taken[0].time_s, taken[0].figures[:3]) == ("7", T0, (5, None, 1))


@pytest.mark.parametrize(
    "content", [b"", b"\xff\xfe", b"{", b"[" * 100_000, b"5", b'"x"', b"[1e999]"]
)
def test_any_bytes_are_answered(content):
    taken, refused = read_records(content, latest_s=NOW)

    assert taken == []
    assert len(refused) == 1


EVENT = Event("T-7", EventKind.DRAIN, T0, T0 + 600, 20, 2, 100, 80, 9, "", -1, -1)


def test_corrections_keep_quiet_about_small_moves_and_pair_by_kind_and_time():
    said = [Said(1, EVENT, True), Said(2, replace(EVENT, kind=EventKind.REFUEL), True)]
    near = replace(EVENT, litres=20.9, start_s=T0 + 5)
    far = replace(EVENT, litres=22.5)

    def what(seen):
        return [(what, one.id if one else None) for what, one, _ in corrections(said, seen)]

    assert what([EVENT, said[1].event]) == []
    assert what([near, said[1].event]) == [("refined", 1)]
    assert what([far, said[1].event]) == [("changed", 1)]
    assert what([EVENT]) == [("withdrawn", 2)]
    later = replace(EVENT, start_s=T0 + 700, end_s=T0 + 900)
    assert what([later, said[1].event]) == [("new", None), ("withdrawn", 1)]


# --- the doors ---------------------------------------------------------------------------------


def post(address, content, **headers):
    request = urllib.request.Request(address, content, headers)
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


@pytest.fixture
def door(watch):
    opened = HttpDoor("127.0.0.1:0", watch.take, lambda: [], None)
    yield opened
    opened.close()


def test_records_are_posted(door, watch):
    rows = history(10)

    assert post(door.address, body(rows)) == (200, {"taken": 10, "doubled": 0, "refused": []})
    assert watch.store.columns("T-7", 0)["counts"].size == 10
    status, answer = post(door.address, b'{"vehicle": "T-7"}')
    assert (status, answer["refused"][0]["field"]) == (422, "time")
    assert post(door.address.replace("records", "else"), b"")[0] == 404


def test_web_pages_and_other_names_for_this_computer_are_turned_away(door):
    assert post(door.address, b"[]", Origin="http://evil.example")[0] == 403
    assert post(door.address, b"[]", Host="evil.example")[0] == 403


def test_beyond_this_computer_a_token_is_needed(watch):
    with pytest.raises(InputError, match="can be reached from outside; set a token"):
        HttpDoor("0.0.0.0:0", watch.take, lambda: [], None)

    door = HttpDoor("127.0.0.1:0", watch.take, lambda: [], "secret")
    try:
        assert post(door.address, b"[]")[0] == 401
        assert post(door.address, b"[]", Authorization="Bearer wrong")[0] == 401
        assert post(door.address, body(history(3)), Authorization="Bearer secret")[0] == 200
    finally:
        door.close()


@pytest.mark.parametrize("address", ["8090", "host", "host:port", "host:99999", ":1/path"])
def test_an_address_that_is_none_is_refused(address, watch):
    with pytest.raises(InputError, match="wanted HOST:PORT, found"):
        HttpDoor(address, watch.take, lambda: [], None)


@pytest.fixture
def broker():
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


def test_records_come_by_a_topic_and_events_go_out_by_another(watch, broker):
    from paho.mqtt import client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    rows, heard, troubles = history(120), queue.Queue(), []
    door = MqttDoor(
        f"127.0.0.1:{broker}", "fleet/+/records", watch.take, trouble=troubles.append,
        client_id="live-test", events_topic="fleet/events",
    )  # fmt: skip
    other = mqtt.Client(CallbackAPIVersion.VERSION2)
    subscribed = threading.Event()
    other.on_connect = lambda client, *_: client.subscribe("fleet/events", qos=1)
    other.on_subscribe = lambda *_: subscribed.set()
    other.on_message = lambda client, data, message: heard.put(json.loads(message.payload))
    try:
        other.connect("127.0.0.1", broker)
        other.loop_start()
        assert subscribed.wait(20)
        ended = time.monotonic() + 30
        # The door's own subscription may come a moment after the first message.
        while not watch.store.waiting() and time.monotonic() < ended:
            other.publish("fleet/7/records", body(rows[:1]), qos=1).wait_for_publish(10)
        other.publish("fleet/7/records", body(rows), qos=1).wait_for_publish(10)
        other.publish("fleet/7/records", b"no json", qos=1).wait_for_publish(10)
        while not troubles and time.monotonic() < ended:
            time.sleep(0.02)
        watch.look_round()
        number = watch.send_all(door.send)
        events = [heard.get(timeout=60) for _ in range(number)]
    finally:
        other.disconnect()
        other.loop_stop()
        door.close()

    assert [e["start"] for e in events] == [row[2] for row in plain(offline(rows))]
    assert "fleet/7/records, record 1" in troubles[0]


def test_what_is_wrong_stands_at_a_topic_for_whoever_listens_later(watch, broker):
    from paho.mqtt import subscribe

    door = MqttDoor(
        f"127.0.0.1:{broker}", "fleet/+/records", watch.take, trouble=print,
        client_id="live-test", health_topic="fleet/health",
    )  # fmt: skip
    clock, looks = [0.0], iter([[], [{"vehicle": "T-7", "kind": "spikes"}]])
    teller = HealthTeller(lambda: next(looks), door.send_health, lambda: clock[0])

    def standing():
        message = subscribe.simple("fleet/health", qos=1, hostname="127.0.0.1", port=broker)
        return message.retain, json.loads(message.payload)

    try:
        teller.tell()
        first = standing()
        teller.tell()  # nothing is due: the records are not looked through again
        clock[0] += EVERY_S
        teller.tell()
        second = standing()
    finally:
        door.close()

    assert first == (True, [])
    assert second == (True, [{"vehicle": "T-7", "kind": "spikes"}])


def test_health_that_could_not_be_sent_is_sent_later_without_looking_again():
    away, sent, looks = [True], [], iter([[{"vehicle": "T-7"}]])

    def send(notes):
        if away[0]:
            raise SourceError("the broker is away")
        sent.append(notes)

    teller = HealthTeller(lambda: next(looks), send, lambda: 0.0)
    with pytest.raises(SourceError):
        teller.tell()
    away[0] = False
    teller.tell()
    teller.tell()

    assert sent == [[{"vehicle": "T-7"}]]


def test_a_topic_for_health_needs_a_broker():
    with pytest.raises(InputError, match="--mqtt") as refused:
        Doors(http=":0", health_topic="fleet/health").require()
    assert refused.value.field == "--health-topic"


def test_a_broker_that_is_not_there_is_said(watch):
    with pytest.raises(SourceError, match="cannot be reached"):
        MqttDoor("127.0.0.1:1", "t", watch.take, trouble=print, client_id="x")


# --- killed ------------------------------------------------------------------------------------


class Victim:
    """The live watch as a process; killed and started again."""

    def __init__(self, tables, out):
        self.command = [sys.executable, "-m", "gaugewright.testing.live_victim", tables, out]
        self.lines = []

    def start(self):
        self.process = subprocess.Popen(
            [str(part) for part in self.command], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True,
        )  # fmt: skip
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()
        for line in self.process.stderr:
            if found := re.search(r"http://\S+", line):
                return found[0]
        raise AssertionError("it did not say where it listens")

    def _read(self):
        for line in self.process.stdout:
            # A line that the kill has cut is sent again by the next start.
            with suppress(json.JSONDecodeError):
                self.lines.append(json.loads(line))

    def kill(self, how=signal.SIGKILL):
        self.process.send_signal(how)
        self.process.wait(60)
        self.reader.join(20)
        self.process.stderr.close()
        self.process.stdout.close()


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is POSIX")
def test_killed_at_any_moment_no_record_and_no_event_is_lost(tmp_path, tables):
    rows = history(900)
    pieces = [rows[k : k + 25] for k in range(0, len(rows), 25)]
    victim, rng = Victim(tables, tmp_path / "out"), random.Random(7)
    address, kills = victim.start(), 0
    try:
        while pieces:
            if kills < 3 and len(pieces) < 34 and rng.random() < 0.4:
                timer = threading.Timer(rng.uniform(0.0, 0.4), victim.process.kill)
                timer.start()
                kills += 1
                while pieces and victim.process.poll() is None:
                    with suppress(OSError, ValueError, http.client.HTTPException):
                        if post(address, body(pieces[0]))[0] == 200:
                            pieces.pop(0)
                timer.join()
                victim.kill()
                address = victim.start()
            elif post(address, body(pieces[0]))[0] == 200:
                pieces.pop(0)
        ended = time.monotonic() + 60
        wanted = plain(offline(rows))
        while time.monotonic() < ended and stands(victim.lines) != [row[2] for row in wanted]:
            time.sleep(0.05)
    finally:
        victim.kill(signal.SIGTERM)

    assert kills > 0
    assert stands(victim.lines) == [row[2] for row in wanted]
    with (tmp_path / "out" / "events.csv").open() as file:
        kept = [row["start"] for row in csv.DictReader(file)]
    assert kept == [row[2] for row in wanted]
    store = LiveStore(tmp_path / "out" / "live.sqlite")
    assert store.columns("T-7", 0)["time_s"].tolist() == [t for t, _ in rows]
    store.close()


def told(messages):
    """Return what stands after these messages, by the event's number."""
    standing = {}
    for message in sorted(messages, key=lambda one: one["number"]):
        if message["what"] == "withdrawn":
            standing.pop(message["event"])
        else:
            standing[message["event"]] = message
    return standing


def stands(lines):
    """Return the starts of the events that stand after these messages, each heard at least once."""
    once = {message["number"]: message for message in lines}
    return sorted(message["start"] for message in told(once.values()).values())


def test_health_is_told_when_asked_for_over_the_records_that_are_kept(watch):
    rows = [
        (t, 65535 if k % 10 == 0 else c)
        for k, (t, c) in enumerate((NOW - 86_400 + 60 * k, 400 + k % 3) for k in range(1440))
    ]
    watch.take(body(rows))
    door = HttpDoor(
        "127.0.0.1:0", watch.take, lambda: [], None,
        lambda: [{"vehicle": r.vehicle, "message": r.message} for r in watch.health(health)],
    )  # fmt: skip
    try:
        with urllib.request.urlopen(door.address.replace("records", "health"), timeout=60) as got:
            told_now = json.load(got)
    finally:
        door.close()

    assert any("65535" in each["message"] for each in told_now), told_now
    assert {each["vehicle"] for each in told_now} == {"T-7"}
    watch.take(body([(NOW - 60 * k, 400 + k % 3) for k in range(1440)], "T-8"))
    of_t8 = [each.message for each in watch.health(health) if each.vehicle == "T-8"]
    assert not any("65535" in message for message in of_t8), of_t8
