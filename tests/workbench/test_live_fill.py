"""The rig over Modbus, the stream, and a whole fill with a mistake caught."""

import json
import threading
import time
from queue import Empty, Queue

import httpx
import pytest

from gaugewright.app.live_desk import LiveDesk
from gaugewright.app.scales import described_of
from gaugewright.app.yard import RigHere, Yard, load_numerics
from gaugewright.instruments.rig import Rig, RigFault, RigSettings
from gaugewright.instruments.rig_lines import ModbusTcpLine, RunningRig
from gaugewright.journal.book import open_book
from gaugewright.pours.steady import SteadySettings
from gaugewright.testing.hand import PROBE, TANK, Hand, counts_at
from gaugewright.workbench.running import prepare

SPEED = 20.0
"""The rig's seconds in each of ours."""
PATIENCE_S = 60.0
"""How long a test waits for what it waits for: a busy machine is slow, not wrong. [s]"""


@pytest.fixture(scope="module")
def yard_with_rig(tmp_path_factory):
    """A server whose job has the rig on a Modbus line."""
    load_numerics()
    desk = LiveDesk(steady=SteadySettings(window_s=1.0, history_s=20.0, least_samples=8))
    yard = Yard(open_book(tmp_path_factory.mktemp("yard") / "yard.book"), desk=desk)
    body, probe = described_of(TANK, PROBE)
    rig = Rig(body, probe, RigSettings(start_l=1.2, flow_l_s=5.0, noise_counts=2.0))
    line = ModbusTcpLine(0)
    running = RunningRig(rig, SPEED)
    running.add(line)
    bench = prepare(yard, port=0).start()
    hand = Hand(bench.url)
    hand.open_job(job="LIVE-1")
    yard.rig = RigHere(running, "LIVE-1", "main")
    with running:
        hand.begin()
        hand.record(
            "/instruments/main",
            "PUT",
            settings={
                "kind": "modbus_tcp",
                "host": "127.0.0.1",
                "tcp_port": str(line.tcp_port),
                "every_s": "0,03",
                "silent_after_s": 2.0,
                "temperature_address": 1,
            },
        )
        yield hand, rig
        bench.stop()
    hand.client.close()


class Page:
    """A page that listens to the stream."""

    def __init__(self, hand):
        self.events = Queue()
        self._ends = threading.Event()
        self._address = f"{hand.client.base_url}api/jobs/{hand.job}/live"
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()

    def _listen(self):
        with httpx.stream("GET", self._address, timeout=PATIENCE_S) as answer:
            assert answer.headers["content-type"].startswith("text/event-stream")
            name = ""
            for line in answer.iter_lines():
                if self._ends.is_set():
                    return
                if line.startswith("event: "):
                    name = line.removeprefix("event: ")
                elif line.startswith("data: "):
                    heard = json.loads(line.removeprefix("data: "))
                    self.events.put((name, heard, time.monotonic()))

    def wait_for(self, name, holds, timeout_s=PATIENCE_S):
        """Return the first event that holds."""
        until_s = time.monotonic() + timeout_s
        last = None
        while time.monotonic() < until_s:
            try:
                found, heard, _ = self.events.get(timeout=0.5)
            except Empty:
                continue
            last = heard
            if found == name and holds(heard):
                return heard
        raise AssertionError(f"no such {name} within {timeout_s} s; the last was {last}")

    def forget(self):
        """Look only at what comes from now on."""
        while not self.events.empty():
            self.events.get_nowait()

    def close(self):
        self._ends.set()
        self._thread.join()


@pytest.fixture
def page(yard_with_rig):
    """A page on the job."""
    found = Page(yard_with_rig[0])
    yield found
    found.close()


def pour_by_rig(hand, page, litres, shown_l, total_l):
    """Press the dispenser, and look at the screen until the fuel stands where it must."""
    page.forget()
    answer = hand.client.post(f"/api/jobs/{hand.job}/rig/pour", json={"litres": litres})
    assert answer.status_code == 200, answer.text
    # A page that is served late may hear of the end only; no two pours in turn end alike.
    page.wait_for("rig", lambda heard: not heard["is_pouring"] and heard["shown_l"] == shown_l)
    there = counts_at(total_l)
    page.wait_for(
        "reading",
        lambda heard: heard["verdict"] == "steady" and abs(heard["mean_counts"] - there) < 25,
    )


def record_when_steady(hand, added_l):
    """Press the button until the reading is steady, as a person with wet gloves does."""
    until_s = time.monotonic() + PATIENCE_S
    while True:
        answer = hand.send("/tanks/main/pours", added_l=added_l)
        if answer.status_code == 200:
            hand.number = answer.json()["number"]
            return answer.json()
        assert (answer.status_code, answer.json()["field"]) == (409, "counts"), answer.text
        assert time.monotonic() < until_s, answer.text
        time.sleep(0.1)


def test_a_fill_by_the_live_reading_with_a_mistake_caught(yard_with_rig, page):
    hand, rig = yard_with_rig
    assert record_when_steady(hand, 0)["verdict"]["blocks"] is False
    total_l = 0
    for typed, litres in (("45,0", 45), (44, 44), (45, 45), (44, 44)):
        total_l += litres
        pour_by_rig(hand, page, typed, litres, total_l)
        recorded = record_when_steady(hand, litres)
        fill = recorded["job"]["tanks"][0]["fill"]
        counts = [(pour["counts"], pour["steadiness"]) for pour in fill["pours"]]
        assert recorded["verdict"]["blocks"] is False, (counts, recorded["verdict"]["sentence"])
    pour_by_rig(hand, page, 45, 45, total_l + 45)
    caught = record_when_steady(hand, 54)["verdict"]
    finding = caught["findings"][0]
    assert caught["blocks"]
    assert (finding["kind"], finding["value"]) == ("litres_mistyped", 45.0)
    done = hand.record(
        "/tanks/main/answers",
        pour=finding["pour"],
        finding=finding["kind"],
        answer="corrected",
        added_l=45,
        reason="digits exchanged",
    )
    assert done["verdict"]["state"] == "clear"
    pours = done["job"]["tanks"][0]["fill"]["pours"]
    assert [pour["added_l"] for pour in pours] == [0, 45, 44, 45, 44, 54, 45]
    assert all(pour["is_steady"] for pour in pours)
    assert pours[1]["source"].startswith("main (modbus_tcp")
    assert pours[1]["fuel_c"] == 15.0
    assert rig.litres == pytest.approx(1.2 + total_l + 45, abs=1.0)


def test_an_unsteady_reading_is_refused_and_says_why_unless_it_is_kept(yard_with_rig, page):
    hand, rig = yard_with_rig
    rig.disturb(30.0, 0.05)
    refused = page.wait_for("reading", lambda heard: heard["verdict"] == "not_steady")
    assert refused["reason"]
    answer = hand.send("/tanks/main/bench/zero")
    assert (answer.status_code, answer.json()["field"]) == (409, "counts")
    assert answer.json()["error"].startswith("the reading is not steady: ")
    hand.record("/tanks/main/bench/zero", is_unsteady_kept=True)
    rig.disturb(0.0, 0.0)


def test_a_line_that_falls_silent_is_never_shown_as_live(yard_with_rig, page):
    hand, rig = yard_with_rig
    page.wait_for("reading", lambda heard: heard["is_live"])
    rig.fault = RigFault.SILENT
    gone = page.wait_for("reading", lambda heard: not heard["is_live"])
    assert (gone["counts"], gone["litres"], gone["verdict"]) == (None, None, None)
    assert gone["last_counts"] is not None
    older = page.wait_for("reading", lambda heard: heard["age_s"] > gone["age_s"])
    assert not older["is_live"]
    refused = hand.send("/tanks/main/bench/zero")
    assert "there is no live reading" in refused.json()["error"]
    rig.fault = RigFault.NONE
    page.wait_for("reading", lambda heard: heard["is_live"] and heard["counts"] is not None)


def test_readings_come_ten_times_a_second_and_young(yard_with_rig, page):
    """In some two seconds, at the least: a busy machine is slow in others."""
    page.wait_for("reading", lambda heard: heard["is_live"])
    ends_s = time.monotonic() + PATIENCE_S
    while True:
        page.forget()
        began_s, ages = time.monotonic(), []
        while time.monotonic() < began_s + 2.0:
            heard = page.wait_for("reading", lambda heard: heard["is_live"])
            ages.append(heard["age_s"])
        if len(ages) >= 12 and sorted(ages)[len(ages) // 2] <= 0.2:
            return
        assert time.monotonic() < ends_s, ages


def test_the_page_hears_what_another_device_records(yard_with_rig, page):
    hand, _ = yard_with_rig
    page.wait_for("reading", lambda heard: True)
    hand.record("/notes", text="from elsewhere")
    assert page.wait_for("job", lambda heard: heard["number"] == hand.number)["job"] == hand.job


def test_stopping_an_instrument_stops_its_readings(yard_with_rig):
    hand, _ = yard_with_rig
    base = f"/api/jobs/{hand.job}/instruments/main"
    assert hand.client.post(f"{base}/stop").status_code == 204
    assert hand.client.get(base).status_code == 404
    page = Page(hand)  # a page that is opened does not start what was stopped by hand
    page.wait_for("rig", lambda heard: True)
    assert hand.client.get(base).status_code == 404
    page.close()
    assert hand.client.post(f"{base}/start").json()["tank_id"] == "main"


def test_settings_are_tried_before_they_are_recorded(yard_with_rig):
    hand, _ = yard_with_rig
    known = hand.state()["tanks"][0]["instrument"]
    before = hand.state()["number"]
    right = {name: known[name] for name in ("kind", "host", "tcp_port", "every_s")}
    base = f"/api/jobs/{hand.job}/instruments/main"
    given = hand.client.post(f"{base}/try", json={"settings": right}).json()
    assert given["reading"]["is_live"]
    wrong = {**right, "tcp_port": 1, "timeout_s": 0.2}
    given = hand.client.post(f"{base}/try", json={"settings": wrong}).json()
    assert not given["reading"]["is_live"]
    assert given["reading"]["trouble"]["message"]
    refused = hand.client.post(f"{base}/try", json={"settings": {**right, "tcp_prot": 1}})
    assert (refused.status_code, refused.json()["field"]) == (422, "tcp_prot")
    assert hand.state()["number"] == before
    assert isinstance(hand.client.get(f"{base}/lines").json(), list)


def test_orders_to_the_rig_that_are_none_are_refused(yard_with_rig):
    hand, _ = yard_with_rig
    for path, body in (("order", {"order": "explode"}), ("pour", {"litres": -3})):
        answer = hand.client.post(f"/api/jobs/{hand.job}/rig/{path}", json=body)
        assert answer.status_code == 422
    assert hand.client.post("/api/jobs/other/rig/pour", json={"litres": 3}).status_code == 404
