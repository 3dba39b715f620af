"""A press that has begun is not lost when another device draws the sheet anew."""

from browser_yards import DESK, START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import expect

FILL = [62, 56, 60, 58]
KEEP_CLICKS = """() => {
    window.clicked = [];
    const keep = ({ target }) => window.clicked.push(target.textContent.trim());
    document.addEventListener("click", keep, true);
}"""


def test_the_sheet_waits_for_the_finger_to_come_up_before_it_is_drawn_anew(
    open_page: OpenPage, api: Api
) -> None:
    job = poured(api, new_job(api), FILL)
    page = open_page(f"/jobs/{job}/pour", DESK)
    expect(page.locator("html")).to_have_attribute("data-is-keeping", "true")
    page.evaluate(KEEP_CLICKS)
    button = page.get_by_role("button", name="Record", exact=True)
    button.scroll_into_view_if_needed()
    button.hover()

    page.mouse.down()
    with page.expect_response(lambda answer: answer.url.endswith(f"/jobs/{job}/pour")) as fetched:
        total = START_L + sum(FILL) + 40
        api.record(job, "/tanks/left/pours", added_l=40, counts=counts_after(total))
    fetched.value.finished()
    page.wait_for_timeout(300)  # in which the sheet could be drawn anew
    page.mouse.up()

    page.wait_for_function("() => window.clicked.length === 1")
    assert page.evaluate("window.clicked") == ["Record"]
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
