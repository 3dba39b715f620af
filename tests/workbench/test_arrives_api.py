"""Does the data arrive, over the API: begin, watch, switch the ignition, record the verdict."""

import time
from datetime import UTC, datetime

import pytest

from gaugewright.testing.hand import PROBE, TANK, Hand


@pytest.fixture
def read_live(workbench, tmp_path):
    """A job whose probe is read live from a recording that rises by 200 counts."""
    from gaugewright.app.scales import described_of
    from gaugewright.instruments.rig import Rig, RigSettings
    from gaugewright.instruments.rig_lines import ModbusTcpLine, RunningRig

    hand = Hand(workbench.url)
    hand.open_job()
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    rig = Rig(*described_of(TANK, PROBE), RigSettings(start_l=60.0, flow_l_s=6.0))
    running, line = RunningRig(rig, 1.0), ModbusTcpLine(0)
    running.add(line)
    with running:
        settings = {"kind": "modbus_tcp", "host": "127.0.0.1", "tcp_port": line.tcp_port}
        hand.record("/instruments/main", "PUT", settings=settings)
        hand.rig = rig
        yield hand
        workbench.yard.desk.stop(hand.job, "main")
    hand.client.close()


def post(hand, path, **body):
    return hand.client.post(f"/api/jobs/{hand.job}/tanks/main/arrives{path}", json=body)


def status(hand):
    return hand.client.get(f"/api/jobs/{hand.job}/tanks/main/arrives").json()


def until(hand, is_so, timeout_s=40.0):
    ends = time.monotonic() + timeout_s
    while not is_so(found := status(hand)):
        assert time.monotonic() < ends, found
        time.sleep(0.2)
    return found


def record(value):
    return f"{datetime.now(UTC).isoformat()},{value}\n"


def test_the_ways_to_records_are_offered_with_what_they_must_be_told(workbench):
    hand = Hand(workbench.url)
    ways = hand.client.get("/api/arrives/ways").json()
    hand.client.close()
    assert [way["kind"] for way in ways] == ["records_http", "records_mqtt", "records_file"]
    asked = {setting["name"]: setting for setting in ways[0]["settings"]}
    assert asked["url"]["is_required"]
    assert asked["every_s"]["default"] == 5.0


def test_a_check_gathers_both_ends_and_its_verdict_is_recorded(read_live, tmp_path):
    hand = read_live
    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    settings = {"kind": "records_file", "path": str(far)}
    begun = post(hand, "", settings=settings, shows="counts", hz="10", is_off_wanted=False)
    assert begun.status_code == 200, begun.text
    assert begun.json()["is_running"]
    assert begun.json()["source"] == "the file far.csv"

    until(hand, lambda s: s["readings"] > 20)
    before = hand.state()["number"]
    with far.open("a") as file:
        for _ in range(6):
            file.write(record(round(status(hand)["last_reading"])))
            file.flush()
            time.sleep(0.3)
        hand.rig.pour(20.0)
        for _ in range(34):
            file.write(record(round(status(hand)["last_reading"])))
            file.flush()
            time.sleep(0.3)
    found = until(hand, lambda s: s["records"] >= 40)
    assert hand.state()["number"] == before
    items = {each["kind"]: each for each in found["items"]}
    assert items["arrives"]["state"] == "good"
    assert items["follows"]["state"] == "good", found
    assert items["scale"]["low"] < 1.0 < items["scale"]["high"]
    assert abs(items["delay"]["value"]) < 3.0
    assert "this clock" not in items["delay"]["message"]  # both ends have the same clock here

    answer = hand.record("/tanks/main/arrives/record")
    entry = answer["entries"][0]
    assert entry["kind"] == "arrival_checked"
    assert entry["payload"]["records"] >= 40
    assert "path" not in entry["payload"]["settings"]
    arrival = answer["job"]["tanks"][0]["hand_over"]["arrivals"][-1]
    assert arrival["sentence"] == entry["payload"]["sentence"]
    assert status(hand)["is_running"] is False


def test_the_ignition_is_said_and_a_check_can_be_given_up(read_live, tmp_path):
    hand = read_live
    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    post(hand, "", settings={"kind": "records_file", "path": str(far)})
    assert post(hand, "/ignition", is_off=True).json()["is_off"] is True
    assert post(hand, "/ignition", is_off=False).json()["is_off"] is False
    before = hand.state()["number"]
    assert post(hand, "/stop").status_code == 200
    assert post(hand, "/stop").status_code == 404
    assert hand.state()["number"] == before


@pytest.mark.parametrize(
    ("body", "status_code", "field", "words"),
    [
        ({"settings": {"kind": "carrier_pigeon"}}, 422, "kind", "must be one of"),
        ({"settings": {"kind": "records_http", "url": "ftp://x"}}, 422, "url", "must be http"),
        ({"settings": {"kind": "records_http", "url": "http://x", "every_s": "0,2"}}, 422,
         "every_s", "at least 1 s"),
        ({"settings": {"kind": "records_file", "path": "/none/far.csv"}}, 503, None, "cannot open"),
        ({"settings": {"kind": "records_file", "path": "x"}, "shows": "gallons"}, 422, "shows",
         "must be counts or fuel"),
        ({"settings": {"kind": "records_file", "path": "x"}, "shows": "fuel"}, 422, "shows",
         "needs a table"),
    ],
)  # fmt: skip
def test_what_cannot_be_begun_says_why(read_live, body, status_code, field, words):
    refused = post(read_live, "", **body)
    assert refused.status_code == status_code, refused.text
    assert refused.json()["field"] == field
    assert words in refused.json()["error"]


def test_without_a_live_probe_nothing_is_begun(hand, tmp_path):
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    refused = post(hand, "", settings={"kind": "records_file", "path": str(far)})
    assert refused.status_code == 422
    assert "no instrument is set" in refused.json()["error"]


def test_a_check_that_nobody_ends_stops_by_itself(read_live, tmp_path, monkeypatch):
    from gaugewright.app import arrives

    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    monkeypatch.setattr(arrives, "LONGEST_S", 1.0)
    post(read_live, "", settings={"kind": "records_file", "path": str(far)})
    ended = until(read_live, lambda s: not s["is_running"])
    assert ended["trouble"].startswith("ended by itself")
    post(read_live, "/stop")
