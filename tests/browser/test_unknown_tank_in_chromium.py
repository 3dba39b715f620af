"""A tank without a shape on a phone: described by plate and height, planned, cut typed twice."""

from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import PHONE, Api, OpenPage, new_job


def test_plate_and_height_are_enough_for_pours_and_a_cut(open_page: OpenPage, api: Api) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]  # while the tank is half typed
    job = new_job(api)
    page = open_page(f"/jobs/{job}/plan?new=1", PHONE)
    page.fill("#tank-name", "right tank")
    page.select_option("#shape", "unknown")
    assert not page.locator("#size-length_mm").is_visible()
    page.fill("#size-height_mm", "500")
    page.fill("#size-rated_capacity_l", "280")
    page.click("text=Record the tank")
    page.wait_for_url("**tank=right-tank")
    page.select_option("#wish-contents", "diesel")
    page.select_option("#wish-ever_held", "nothing")
    page.locator("[data-part=no-shape]").filter(has_text="no place").wait_for()
    assert not page.locator(".plan-map").is_visible()
    assert "give or take" in page.inner_text("[data-part=facts]")

    page.click('[data-do="rank"]')
    page.wait_for_selector("[data-part=ranked] table")
    assert "measured jug" in page.inner_text("[data-part=ranked]")
    page.fill("#cut-first", "485")
    page.fill("#cut-second", "485,0")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []
    page.click('[data-do="record-plan"]')
    page.wait_for_selector("#papers-title")
    plan = api.call("GET", f"/api/jobs/{job}")["tanks"][1]["plan"]
    assert plan["shape"] == "unknown"
    assert len(plan["pours"]) >= 4


def test_a_described_shape_is_distrusted_by_a_tick(open_page: OpenPage, api: Api) -> None:
    page = open_page(f"/jobs/{new_job(api)}/plan", PHONE)
    page.select_option("#wish-contents", "diesel")
    page.select_option("#wish-ever_held", "nothing")
    page.wait_for_selector(".plan-map svg")

    page.check("[name=is_shape_unknown]")
    page.locator("[data-part=no-shape]").filter(has_text="no place").wait_for()
    assert not page.locator(".plan-map").is_visible()
    page.uncheck("[name=is_shape_unknown]")
    page.locator(".plan-map svg").wait_for()
