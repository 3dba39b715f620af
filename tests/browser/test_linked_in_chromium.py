"""Tanks that a balance pipe joins, in a real browser: both are seen whole on a phone."""

import pytest
from browser_sheets import OVERFLOW
from browser_yards import PHONE, START_L, TANK, Api, OpenPage, counts_after, new_job


@pytest.fixture
def linked(api: Api) -> str:
    """A job with two linked tanks, alike, and three pours into both as one."""
    job = new_job(api)
    api.record(job, "/tanks/right", "PUT", tank=TANK, name="right tank")
    api.record(job, "/links", link_id="both", tank_ids=["left", "right"])
    api.record(job, "/tanks/both/fill", dispenser="D-2", fuel="diesel")
    for step in range(4):
        counts = counts_after(START_L + 60.0 * step)  # half of what was poured is in each
        api.record(job, "/tanks/both/pours", added_l=120.0 if step else 0, counts=counts)
    return job


def test_linked_tanks_are_both_drawn_on_plan_and_pour_on_a_phone(
    open_page: OpenPage, linked: str
) -> None:
    for stage in ("plan", "pour"):
        page = open_page(f"/jobs/{linked}/{stage}?tank=both")
        drawing = page.locator("[data-drawing] svg:visible")
        box = drawing.bounding_box()

        assert drawing.count() == 1
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= PHONE[0]
        assert page.evaluate(OVERFLOW) == 0
        assert drawing.locator("[data-part=pipe]").count() == 1
        for name in ("left tank", "right tank"):
            words = drawing.get_by_text(name, exact=True).bounding_box()
            assert words is not None
            assert box["x"] <= words["x"]
            assert words["x"] + words["width"] <= box["x"] + box["width"]


def test_where_the_next_pour_should_land_is_drawn_in_both_and_told_of_what_is_typed(
    open_page: OpenPage, linked: str
) -> None:
    page = open_page(f"/jobs/{linked}/pour?tank=both")
    drawing = page.locator("[data-drawing] svg:visible")
    told = page.locator("span[data-part=landing]")
    before = told.inner_text()

    page.fill("form [name=added_l]", "40")
    page.wait_for_function(
        "(before) => document.querySelector('span[data-part=landing]').innerText !== before",
        arg=before,
    )

    assert drawing.locator("[data-part=landing] line").count() == 2
    assert "counts" in told.inner_text()
