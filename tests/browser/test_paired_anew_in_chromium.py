"""A phone no longer paired when the line is back: what it kept is sent once it is paired anew."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_yards import START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import Page, Route, expect

from gaugewright.app.yard import Yard
from gaugewright.journal.book import open_book
from gaugewright.workbench import guard, running
from gaugewright.workbench.running import Workbench, prepare

FILL = [62.0, 56.0]


class Computer:
    """A workbench whose browser is on another device unless the computer itself asks."""

    def __init__(self, book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.book = book
        self.is_far = False
        self.doors: list[guard.Door] = []
        monkeypatch.setattr(running, "Door", self._door)
        self.bench: Workbench = prepare(Yard(open_book(book)), port=0).start()
        self.url = self.bench.url
        monkeypatch.setattr(guard, "_is_loopback", lambda client: not self.is_far)

    def _door(self) -> guard.Door:
        self.doors.append(guard.Door())
        return self.doors[-1]

    def start_again(self) -> None:
        """Close the workbench and open it again: nobody is paired any more."""
        self.bench.stop()
        port = int(self.url.rstrip("/").rsplit(":", 1)[1])
        self.bench = prepare(Yard(open_book(self.book)), port=port).start()

    def pair(self, page: Page) -> None:
        """Type a fresh code into the page that shows the way in."""
        page.get_by_label("Code").fill(self.doors[-1].pairing.new_code())
        page.get_by_label("Name of this device").fill("wet phone")
        page.get_by_role("button", name="Pair").click()


@pytest.fixture
def computer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Computer]:
    made = Computer(tmp_path / "yard.book", monkeypatch)
    yield made
    made.bench.stop()


def press_record_off_line(page: Page) -> None:
    """Pour 40 L more and record it without a line, so that the page keeps it."""
    page.get_by_label("Litres by the meter").fill("40")
    counts = counts_after(START_L + sum(FILL) + 40)
    page.get_by_label("Counts that the probe shows").fill(str(counts))
    page.context.set_offline(True)
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#notice")).to_contain_text("Kept on this device")


def test_what_a_phone_kept_is_sent_once_after_it_is_paired_anew(
    open_page: OpenPage, computer: Computer
) -> None:
    open_page.expected = ("401", "ERR_", "Failed to", "fetching")  # type: ignore[attr-defined]
    job = poured(Api(computer.url), new_job(Api(computer.url)), FILL)
    computer.is_far = True
    page = open_page(f"/jobs/{job}/pour", url=computer.url)
    computer.pair(page)
    press_record_off_line(page)
    computer.start_again()
    page.context.set_offline(False)

    expect(page.get_by_text("This device is not paired.")).to_be_visible()
    assert len(page.evaluate("JSON.parse(localStorage.getItem('gw-outbox'))")) == 1
    computer.pair(page)

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "4")
    expect(page.locator("tbody tr")).to_have_count(4)
    assert page.evaluate("localStorage.getItem('gw-outbox')") == "[]"
    page.reload()
    expect(page.locator("tbody tr")).to_have_count(4)
    computer.is_far = False
    pours = Api(computer.url).call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]["pours"]
    assert [pour["added_l"] for pour in pours] == [0, *FILL, 40]
    assert pours[-1]["device"] == "wet phone"


def test_what_waits_is_not_thrown_away_by_a_refusal_of_the_device(
    open_page: OpenPage, api: Api
) -> None:
    open_page.expected = ("401", "ERR_", "Failed to", "fetching")  # type: ignore[attr-defined]
    job = poured(api, new_job(api), FILL)
    page = open_page(f"/jobs/{job}/pour")
    press_record_off_line(page)
    refused = []

    def refuse(route: Route) -> None:
        refused.append(route.request.url)
        route.fulfill(status=401, json={"error": "this device is not paired", "field": "device"})

    page.route("**/tanks/left/pours", refuse)
    with page.expect_response("**/tanks/left/pours"):
        page.context.set_offline(False)
    page.wait_for_timeout(300)
    assert len(page.evaluate("JSON.parse(localStorage.getItem('gw-outbox'))")) == 1
    assert refused
    page.unroute("**/tanks/left/pours")
    page.reload()

    expect(page.locator("tbody tr")).to_have_count(len(FILL) + 2)
    assert page.evaluate("localStorage.getItem('gw-outbox')") == "[]"
