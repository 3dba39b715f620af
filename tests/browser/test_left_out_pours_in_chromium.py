"""A pour found on the slip afterwards, and one typed while the line was down."""

import pytest
from browser_sheets import complaints
from browser_yards import START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import expect

FILL = [62, 56, 60, 58]


@pytest.fixture
def half_poured(api: Api) -> str:
    return poured(api, new_job(api), FILL)


def test_a_pour_left_out_is_placed_from_the_finding_that_misses_it(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    poured_l = START_L + sum(FILL)
    api.record(
        half_poured, "/tanks/left/pours", added_l=24.5, counts=counts_after(poured_l + 37.8 + 24.5)
    )
    page = open_page(f"/jobs/{half_poured}/pour")
    expect(page.locator(".verdict")).to_contain_text("left out before this one")

    page.locator("#placed-l").fill("37,8")
    page.locator("#placed-counts").fill(str(counts_after(poured_l + 37.8)))
    page.locator("#placed-reason").fill("it stands on the slip")
    assert complaints(page) == []
    page.get_by_role("button", name="Place the pour").click()

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "7")
    expect(page.locator("[data-pour]")).to_have_attribute("data-blocks", "false")
    expect(page.locator("tbody")).to_contain_text("placed here afterwards: it stands on the slip")
    steps = [cell.inner_text() for cell in page.locator("tbody tr td:first-child").all()]
    assert steps == ["5", "6", "4", "3", "2", "1", "0"]  # as they were recorded, newest first


def test_without_a_line_and_without_a_reading_the_counts_are_asked_for_at_once(
    open_page: OpenPage, half_poured: str
) -> None:
    open_page.expected = ("ERR_", "Failed to")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour")
    page.get_by_label("Litres by the meter").fill("40")

    page.context.set_offline(True)
    page.get_by_role("button", name="Record", exact=True).click()

    expect(page.locator("#entry-error")).to_contain_text("type the counts that the probe shows")
    assert page.evaluate("localStorage.getItem('gw-outbox')") in (None, "[]")
    assert page.get_by_label("Litres by the meter").input_value() == "40"
