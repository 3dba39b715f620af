"""A table made better from service, offered on a phone: left, asked again, taken over."""

from pathlib import Path

import pytest
from browser_logs import SLOW_MS, give_log, write_service
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import Api, OpenPage, new_job, poured
from playwright.sync_api import expect

FILL = [90, 96, 100]
LEVELS_L = [11.0, 101.0, 197.0, 297.0]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("service")
    return write_service(folder, "Truck 9", LEVELS_L, days=16, period_s=120.0)


def test_a_refined_table_is_offered_left_and_taken_over_only_when_a_person_says_so(
    open_page: OpenPage, api: Api, files: dict[str, Path]
) -> None:
    job = poured(api, new_job(api, "Truck 9"), FILL)
    first = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]["digest"]
    api.record(job, "/tanks/left/table/accept", digest=first)
    page = open_page(f"/jobs/{job}/watch")
    give_log(page, files)
    offer = page.locator('#refined[data-state="offered"]')
    offer.wait_for(timeout=SLOW_MS)

    expect(offer.get_by_role("heading")).to_contain_text("better from service")
    for words in ("At its widest", "In the mean", "It rests on:", "receipts (", "cannot know"):
        expect(offer).to_contain_text(words)
    drawings = offer.locator("svg[role=img]")
    expect(drawings.locator("visible=true")).to_have_count(1)
    assert page.evaluate(OVERFLOW) == 0
    assert page.evaluate(SMALL) == []
    assert complaints(page) == []

    number = api.call("GET", f"/api/jobs/{job}")["number"]
    page.get_by_label("Why it is taken over").fill("sixteen days of receipts")
    page.get_by_role("button", name="Leave the table as it is").click()
    expect(page.locator("#refined")).to_contain_text("stays as it is")
    page.reload()
    expect(page.locator("#refined")).to_contain_text("stays as it is")
    assert api.call("GET", f"/api/jobs/{job}")["number"] == number

    page.get_by_role("button", name="Look at the offer again").click()
    expect(page.get_by_label("Why it is taken over")).to_have_value("sixteen days of receipts")
    page.get_by_role("button", name="Take it over").click()
    expect(page.locator("#refined")).to_contain_text("waits to be accepted")
    versions = api.call("GET", f"/api/jobs/{job}/tanks/left/later")["versions"]
    assert [(v["way"], v["is_accepted"]) for v in versions] == [("service", False), ("fill", True)]
    assert (versions[0]["reason"], versions[0]["from_digest"]) == (
        "sixteen days of receipts",
        first,
    )

    expect(page.get_by_role("link", name="Versions, accepting, check pours")).to_be_visible()
    api.record(job, "/tanks/left/table/accept", digest=versions[0]["digest"])
    page.reload()
    expect(page.locator("#refined")).to_contain_text("made and accepted")
    expect(page.get_by_text("The tank has another table now.")).to_be_visible()
    assert page.evaluate(OVERFLOW) == 0
