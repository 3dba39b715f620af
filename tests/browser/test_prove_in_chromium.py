"""The Prove stage on a phone: a check that was wrong is taken back."""

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import Page, expect

FILL = [62.0, 56.0, 60.0, 58.0, 50.0]


@pytest.fixture
def proved(api: Api) -> str:
    """A job with a check pour that does not agree, and one that does."""
    job = poured(api, new_job(api, "Truck 8"), FILL)
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    before = START_L + 100
    for litres in (60.0, 40.0):
        api.record(
            job, "/tanks/left/check-pours", added_l=litres,
            counts_before=counts_after(before), counts_after=counts_after(before + 40),
        )  # fmt: skip
    return job


def void(page: Page, why: str) -> None:
    """Void the check that does not agree."""
    wrong = page.locator(".outcome.stop", has_text="60 L were poured")
    wrong.get_by_role("button", name="Void").click()
    dialog = page.locator("#ask-reason")
    dialog.locator("input").fill(why)
    dialog.locator('[data-part="yes"]').click()


def test_a_check_pour_is_voided_by_thumb_once_also_without_a_line(
    open_page: OpenPage, api: Api, proved: str
) -> None:
    open_page.expected = ("ERR_", "Failed to fetch", "Failed to load")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{proved}/certificate")
    expect(page.get_by_text("A check pour does not agree with the table.")).to_be_visible()
    page.goto(page.url.replace("/certificate", "/prove"))
    before = api.call("GET", f"/api/jobs/{proved}")["number"]

    page.context.set_offline(True)
    void(page, "  ")
    expect(page.locator("#ask-reason")).to_be_visible()  # a reason of nothing but spaces is none
    page.locator("#ask-reason").get_by_role("button", name="Back").click()
    void(page, "meter not reset")
    expect(page.locator("#notice")).to_contain_text("Kept on this device")
    page.locator(".outcome.stop").get_by_role("button", name="Void").click()
    expect(page.locator("#ask-reason")).to_be_hidden()
    assert len(page.evaluate("JSON.parse(localStorage.getItem('gw-outbox'))")) == 1
    page.context.set_offline(False)

    expect(page.locator(".outcome s")).to_contain_text("60 L were poured")
    expect(page.locator(".outcome", has=page.locator("s"))).to_contain_text(
        "voided: meter not reset"
    )
    expect(page.locator(".outcome.stop")).to_have_count(0)
    expect(page.locator(".outcome.good")).to_contain_text("40 L were poured")
    job = api.call("GET", f"/api/jobs/{proved}")
    assert job["number"] == before + 1
    voided = [
        check["voided"] and check["voided"]["person"] for check in job["tanks"][0]["check_pours"]
    ]
    assert voided == ["Kim Aldo", None]
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []
    page.goto(page.url.replace("/prove", "/certificate"))
    expect(page.get_by_text("Check pours do not speak against the table.")).to_be_visible()
