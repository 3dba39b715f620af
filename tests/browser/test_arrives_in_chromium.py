"""The check before leaving on a phone: begin, watch it live, switch the ignition, record."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import (
    PHONE,
    PROBE,
    START_L,
    TANK,
    Api,
    OpenPage,
    new_job,
    poured,
)
from playwright.sync_api import Page, expect

from gaugewright.instruments.rig import Rig, RigSettings
from gaugewright.instruments.rig_lines import ModbusTcpLine, RunningRig
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank

FILL = [62.0, 56.0, 60.0, 58.0]


@pytest.fixture
def job(api: Api) -> Iterator[tuple[str, Rig]]:
    """A job with a table, its probe read live."""
    found = poured(api, new_job(api, "Truck 11"), FILL)
    made = api.record(found, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(found, "/tanks/left/table/accept", digest=made["digest"])
    start_l = START_L + sum(FILL) - 40
    rig = Rig(Tank(**TANK), Probe(**PROBE), RigSettings(start_l=start_l, flow_l_s=6.0))
    running, line = RunningRig(rig, 1.0), ModbusTcpLine(0)
    running.add(line)
    with running:
        settings = {"kind": "modbus_tcp", "host": "127.0.0.1", "tcp_port": line.tcp_port}
        api.record(found, "/instruments/left", "PUT", settings=settings)
        yield found, rig
        api.call("POST", f"/api/jobs/{found}/instruments/left/stop", {})


def begin(page: Page, far: Path) -> None:
    page.wait_for_function("() => document.querySelectorAll('#way option').length === 3")
    page.select_option("#way", "records_file")
    page.fill("#way-path", str(far))
    page.fill("#arrives-hz", "10")
    page.click("text=Begin the check >> nth=-1")
    expect(page.locator('[data-part="running"]')).to_be_visible()
    expect(page.locator("#arrives-title")).to_be_in_viewport()


def test_a_check_is_watched_live_and_its_verdict_recorded(
    open_page: OpenPage, api: Api, job: tuple[str, Rig], tmp_path: Path
) -> None:
    number, rig = job
    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    page = open_page(f"/jobs/{number}/prove")
    expect(page.locator(".banner")).to_contain_text("has not been copied back yet")
    begin(page, far)
    expect(page.locator('[data-part="items"]')).to_contain_text("No record has come")

    url = f"/api/jobs/{number}/tanks/left/arrives"
    while api.call("GET", url)["last_reading"] is None:
        time.sleep(0.1)

    def send(count: int) -> None:
        with far.open("a") as file:
            for _ in range(count):
                value = round(api.call("GET", url)["last_reading"])
                file.write(f"{datetime.now(UTC).isoformat()},{value}\n")
                file.flush()
                page.wait_for_timeout(300)

    send(6)
    rig.pour(20.0)
    send(30)
    items = page.locator('[data-part="items"]')
    expect(items).to_contain_text("The records follow this probe")
    expect(items).to_contain_text("One step here is")
    expect(items).to_contain_text("Switch the ignition off for 1 min or more")
    # On a busy machine the records may really come unevenly, which is told first.
    expect(page.locator('[data-part="sentence"]')).to_contain_text("Not yet: ")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []

    page.click("text=Ignition is off now")
    expect(page.locator('[data-do="ignition"]')).to_have_text("Ignition is on again")
    page.click("text=Record this verdict")
    last = page.locator('[data-part="last"]')
    expect(last).to_contain_text("Not yet: ")
    expect(last).to_be_in_viewport()
    assert page.locator('[data-part="begin"]').get_attribute("open") is None
    page.get_by_text("Begin a check").click()
    assert page.input_value("#way-path") == str(far)
    expect(page.locator('[data-part="running"]')).to_be_hidden()
    entries = api.call("GET", f"/api/jobs/{number}/entries")
    assert entries[-1]["kind"] == "arrival_checked"
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0


def test_what_cannot_be_read_is_said_at_its_field(
    open_page: OpenPage, job: tuple[str, Rig]
) -> None:
    open_page.expected = ("422", "503")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{job[0]}/prove", PHONE)
    page.wait_for_function("() => document.querySelectorAll('#way option').length === 3")
    page.fill("#way-url", "http://fleet.example/last?api_key=abc")
    page.click("text=Begin the check >> nth=-1")
    error = page.locator('form[data-form="arrives"] .error')
    expect(error).to_contain_text("looks like a secret")
    page.fill("#way-url", "http://fleet.example/last")
    assert page.get_attribute("#way-every_s", "inputmode") == "decimal"
    page.fill("#way-every_s", "0,5")
    page.click("text=Begin the check >> nth=-1")
    expect(error).to_have_text("Ask every: must be at least 1 s, found 0.5 s")
    here = page.locator(".f", has=page.locator("#way-every_s")).locator(".error-here")
    expect(here).to_be_in_viewport()
    page.fill("#way-every_s", "5")
    page.fill("#way-url", "http://fleet.example/last?api_key=abc")
    page.click("text=Begin the check >> nth=-1")
    expect(error).to_contain_text("looks like a secret")
    assert page.get_attribute("#way-url", "aria-invalid") == "true"
    page.select_option("#way", "records_file")
    page.fill("#way-path", "/none/far.csv")
    page.click("text=Begin the check >> nth=-1")
    expect(error).to_contain_text("cannot open /none/far.csv")
    assert complaints(page) == []
    assert page.evaluate(SMALL) == []


def test_a_check_can_be_given_up_and_leaves_nothing(
    open_page: OpenPage, api: Api, job: tuple[str, Rig], tmp_path: Path
) -> None:
    far = tmp_path / "far.csv"
    far.write_text("time,value\n")
    page = open_page(f"/jobs/{job[0]}/prove")
    before = api.call("GET", f"/api/jobs/{job[0]}")["number"]
    begin(page, far)
    page.click("text=Give it up")
    expect(page.locator('[data-part="running"]')).to_be_visible()
    page.click("text=Give up what was gathered")
    expect(page.locator('[data-part="running"]')).to_be_hidden()
    assert api.call("GET", f"/api/jobs/{job[0]}")["number"] == before
