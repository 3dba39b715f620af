"""What waits on a phone: one of each form, shown where it was pressed, never lost or doubled."""

from collections.abc import Callable
from typing import Any

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import Locator, Page, Route, expect

pytestmark = pytest.mark.without_keeper

FILL = [62.0, 56.0]
TOTAL = START_L + sum(FILL)
NO_LINE = ("ERR_", "Failed to", "409", "503")


@pytest.fixture
def job(api: Api) -> str:
    return poured(api, new_job(api), FILL)


@pytest.fixture
def at_pour(open_page: OpenPage, job: str) -> Page:
    open_page.expected = NO_LINE  # type: ignore[attr-defined]
    return open_page(f"/jobs/{job}/pour")


def litres_of(api: Api, job: str) -> list[float]:
    fill = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]
    return [pour["added_l"] for pour in fill["pours"] if pour["voided"] is None]


def kept(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(
        "JSON.parse(localStorage.getItem('gw-outbox') ?? '[]')"
    )
    return found


def press(page: Page, litres: str, counts: int) -> None:
    page.get_by_label("Litres by the meter").fill(litres)
    page.get_by_label("Counts that the probe shows").fill(str(counts))
    page.get_by_role("button", name="Record", exact=True).click()


def waits(page: Page) -> Locator:
    return page.locator("[data-waits]")


def press_off_line(page: Page, litres: str, counts: int) -> None:
    page.context.set_offline(True)
    press(page, litres, counts)
    expect(waits(page)).to_contain_text(f"Litres by the meter {litres} L")


def test_a_slip_that_waits_is_named_and_can_be_changed_before_it_is_sent(
    at_pour: Page, api: Api, job: str
) -> None:
    press_off_line(at_pour, "4,0", counts_after(TOTAL + 40))
    at_pour.get_by_label("Litres by the meter").fill("40")
    at_pour.get_by_role("button", name="Record", exact=True).click()

    expect(at_pour.locator("#entry-error")).to_contain_text("One waits already: Litres by")
    expect(at_pour.locator("#entry-error")).to_contain_text("not kept yet")
    assert [item["body"]["added_l"] for item in kept(at_pour)] == ["4,0"]
    assert complaints(at_pour) == []
    assert at_pour.evaluate(OVERFLOW) <= 0
    assert at_pour.evaluate(SMALL) == []
    take_back = waits(at_pour).get_by_role("button", name="Take it back")
    take_back.click()
    expect(waits(at_pour)).to_contain_text("is gone if you press again")
    take_back.click()
    expect(waits(at_pour)).to_have_count(0)
    expect(at_pour.get_by_label("Litres by the meter")).to_have_value("40")
    at_pour.get_by_role("button", name="Record", exact=True).click()
    expect(waits(at_pour)).to_contain_text("Litres by the meter 40 L")
    at_pour.context.set_offline(False)

    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "4")
    assert litres_of(api, job) == [0, *FILL, 40]
    expect(waits(at_pour)).to_have_count(0)
    expect(at_pour.get_by_label("Litres by the meter")).to_have_value("")


def test_the_next_pour_typed_while_one_waits_stays_in_its_fields(
    at_pour: Page, api: Api, job: str
) -> None:
    press_off_line(at_pour, "40", counts_after(TOTAL + 40))
    press(at_pour, "30", counts_after(TOTAL + 70))
    expect(at_pour.locator("#entry-error")).to_contain_text("One waits already")
    at_pour.context.set_offline(False)

    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "4")
    expect(at_pour.get_by_label("Litres by the meter")).to_have_value("30")
    at_pour.get_by_role("button", name="Record", exact=True).click()
    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "5")
    assert litres_of(api, job) == [0, *FILL, 40, 30]


def test_a_pour_taken_back_goes_into_its_fields_again(at_pour: Page) -> None:
    press_off_line(at_pour, "40", counts_after(TOTAL + 40))
    at_pour.get_by_label("Litres by the meter").fill("")
    at_pour.get_by_label("Counts that the probe shows").fill("")

    waits(at_pour).get_by_role("button", name="Take it back").click()

    expect(at_pour.get_by_label("Litres by the meter")).to_have_value("40")
    assert kept(at_pour) == []


def test_a_pour_in_the_book_whose_answer_was_lost_is_not_doubled_by_taking_it_back(
    at_pour: Page, api: Api, job: str
) -> None:
    sent = []

    def lose(route: Route) -> None:
        if not sent:
            sent.append(route.fetch())  # the server has recorded it
        route.abort()

    at_pour.route("**/tanks/left/pours", lose)
    press(at_pour, "40", counts_after(TOTAL + 40))
    take_back = waits(at_pour).get_by_role("button", name="Take it back")
    take_back.click()
    expect(waits(at_pour)).to_have_count(0)
    at_pour.unroute("**/tanks/left/pours")
    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "4")
    at_pour.get_by_role("button", name="Record", exact=True).click()

    expect(at_pour.locator("#notice")).to_contain_text("Somebody else recorded")
    assert litres_of(api, job) == [0, *FILL, 40]


def test_a_later_pour_pressed_thrice_without_a_line_waits_once(
    open_page: OpenPage, api: Api
) -> None:
    open_page.expected = NO_LINE  # type: ignore[attr-defined]
    job = poured(api, new_job(api, "Truck 9"), [62, 56, 60, 58, 50])
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    api.record(job, "/tanks/left/later", purpose="recheck", cautions_read=True)
    api.record(job, "/tanks/left/later/pours", counts=counts_after(START_L))
    page = open_page(f"/jobs/{job}/later")
    form = page.locator("form[data-url$='/later/pours']")
    form.locator("[name=added_l]").fill("55,5")
    form.locator("[name=counts]").fill(str(counts_after(START_L + 55.5)))

    page.context.set_offline(True)
    record = form.get_by_role("button", name="Record the pour")
    record.click()
    expect(waits(page)).to_contain_text("Litres by the meter 55,5 L")
    record.click()
    expect(form.locator(".error")).to_contain_text("One waits already")
    record.click()
    assert len(kept(page)) == 1
    page.context.set_offline(False)

    expect(page.locator(".pours-later li")).to_have_count(2)
    expect(page.locator("#notice")).to_contain_text("What was kept has been recorded")
    pours = api.call("GET", f"/api/jobs/{job}/tanks/left/later")["runs"][0]["pours"]
    assert [pour["added_l"] for pour in pours] == [0, 55.5]
    assert kept(page) == []


def test_two_forms_kept_without_a_line_are_both_recorded_in_order(
    at_pour: Page, api: Api, job: str
) -> None:
    press_off_line(at_pour, "40", counts_after(TOTAL + 40))
    at_pour.get_by_role("button", name="Pour is done").click()
    at_pour.get_by_role("button", name="Pour is done").click()  # the pour is still in its fields
    expect(waits(at_pour)).to_have_count(2)
    at_pour.context.set_offline(False)

    expect(at_pour.get_by_text("Finished", exact=False).first).to_be_visible()
    assert litres_of(api, job) == [0, *FILL, 40]
    assert kept(at_pour) == []


def test_a_note_of_somebody_else_does_not_hold_up_a_kept_pour(
    at_pour: Page, api: Api, job: str
) -> None:
    press_off_line(at_pour, "40", counts_after(TOTAL + 40))
    api.record(job, "/notes", text="the customer called", person="Bo Ruud")
    at_pour.context.set_offline(False)

    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "4")
    assert litres_of(api, job) == [0, *FILL, 40]
    assert kept(at_pour) == []


def test_a_kept_pour_stays_when_somebody_else_poured_first_and_every_tab_says_so(
    at_pour: Page, api: Api, job: str
) -> None:
    other = at_pour.context.new_page()
    other.goto(at_pour.url)
    press_off_line(at_pour, "40", counts_after(TOTAL + 70))
    expect(waits(other)).to_contain_text("Litres by the meter 40 L")
    api.record(
        job, "/tanks/left/pours", added_l=30, counts=counts_after(TOTAL + 30), person="Bo Ruud"
    )
    at_pour.context.set_offline(False)

    for page in (at_pour, other):
        expect(waits(page)).to_contain_text("Not recorded, still on this device")
        expect(waits(page)).to_contain_text("the last one a pour by Bo Ruud")
        expect(waits(page)).to_contain_text("Litres by the meter 40 L")
        expect(page.locator("#notice")).to_contain_text("was not recorded")
        expect(page.locator("[data-pour]")).to_have_attribute("data-step", "4")
    assert litres_of(api, job) == [0, *FILL, 30]
    assert complaints(at_pour) == []
    assert at_pour.evaluate(OVERFLOW) <= 0
    assert at_pour.evaluate(SMALL) == []
    waits(at_pour).get_by_role("button", name="Send it again").click()

    for page in (at_pour, other):
        expect(page.locator("[data-pour]")).to_have_attribute("data-step", "5")
        expect(waits(page)).to_have_count(0)
        expect(page.locator("#notice")).not_to_contain_text("on this device")
    assert litres_of(api, job) == [0, *FILL, 30, 40]


def test_a_refusal_names_its_form_on_the_page_of_another_job(
    at_pour: Page, api: Api, job: str
) -> None:
    press_off_line(at_pour, "40", counts_after(TOTAL + 70))
    api.record(job, "/tanks/left/pours", added_l=30, counts=counts_after(TOTAL + 30))
    with at_pour.expect_response("**/tanks/left/pours"):
        at_pour.context.set_offline(False)
    expect(waits(at_pour)).to_contain_text("Not recorded")
    at_pour.goto(at_pour.url.replace(f"{job}/pour", f"{new_job(api)}/survey"))

    expect(waits(at_pour)).to_contain_text("Litres by the meter 40 L")
    waits(at_pour).get_by_role("link", name=f"Pour · Loader 14 · {job}").click()
    expect(waits(at_pour).get_by_role("button", name="Send it again")).to_be_visible()


def away(error: str) -> Callable[[Route], None]:
    def answer(route: Route) -> None:
        route.fulfill(status=503, json={"error": error, "field": None})

    return answer


def test_a_pour_pressed_while_the_database_is_away_is_kept_and_recorded_once_it_is_back(
    at_pour: Page, api: Api, job: str
) -> None:
    at_pour.route("**/tanks/left/pours", away("the database does not answer"))
    press(at_pour, "40", counts_after(TOTAL + 40))
    expect(at_pour.locator("#notice")).to_contain_text("Kept on this device")
    expect(waits(at_pour)).to_contain_text("Litres by the meter 40 L")
    with at_pour.expect_response("**/tanks/left/pours"):
        pass  # tried again, and kept again
    assert len(kept(at_pour)) == 1
    at_pour.unroute("**/tanks/left/pours")

    expect(at_pour.locator("[data-pour]")).to_have_attribute("data-step", "4")
    assert litres_of(api, job) == [0, *FILL, 40]
    assert kept(at_pour) == []
