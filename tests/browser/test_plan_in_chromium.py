"""The Plan stage in a real browser: zones drawn by touch, the best place, the cut typed twice."""

import re
from typing import Any

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, PHONE, Api, OpenPage, new_job, poured
from playwright.sync_api import Page

from gaugewright.app.plan import Wishes

pytestmark = pytest.mark.without_keeper

MAP = ".plan-map svg"
BEST = """() => {
  const best = document.querySelector('.plan-map .best');
  return [Number(best.dataset.x), Number(best.dataset.y)];
}"""
ZONES = "[data-part=zones] > li"


@pytest.fixture
def planned(open_page: OpenPage, api: Api) -> Any:
    """Opens the Plan stage of a fresh job with the tank's contents answered."""

    def opened(size: tuple[int, int] = PHONE, contents: str = "diesel") -> tuple[Page, str]:
        job = new_job(api)
        page = open_page(f"/jobs/{job}/plan", size)
        page.select_option("#wish-contents", contents)
        page.select_option("#wish-ever_held", "nothing")
        if contents == "diesel":
            page.wait_for_selector(MAP)
        return page, job

    return opened


def point_of(page: Page, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Where a place on the tank is on the screen; the map must be in view."""
    walls = page.evaluate(
        "() => { const b = document.querySelector('.plan-map .wall').getBoundingClientRect();"
        " return [b.left, b.top, b.width, b.height]; }"
    )
    left, top, width, height = walls
    return left + width * x_mm / 1000, top + height * (1 - y_mm / 620)


def drag_by_touch(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """A finger pressed, moved in steps and lifted, as the browser itself reports it."""
    wire = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        given = [{"x": x, "y": y} for x, y in points]
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": given})

    touch("touchStart", start)
    for step in range(1, 6):
        at = [a + (b - a) * step / 5 for a, b in zip(start, end, strict=True)]
        touch("touchMove", (at[0], at[1]))
    touch("touchEnd")


def draw_baffle(page: Page) -> None:
    page.tap('[data-do="draw"]')
    page.locator(".plan-map").scroll_into_view_if_needed()
    drag_by_touch(page, point_of(page, 380, 60), point_of(page, 620, 560))
    page.wait_for_function(f"() => ({BEST})()[0] !== 500")


def test_a_keep_out_zone_drawn_by_touch_moves_the_best_place_out_of_it(planned: Any) -> None:
    page, _ = planned()
    assert page.evaluate(BEST) == [500, 310]

    draw_baffle(page)

    assert page.locator(ZONES).count() == 1
    x, y = page.evaluate(BEST)
    assert not (370 < x < 630 and 50 < y < 570)
    drawn = [page.input_value(f"[data-zone={part}]") for part in ("x1", "x2", "y1", "y2")]
    for found, wanted in zip(drawn, (380, 620, 60, 560), strict=True):
        assert float(found) == pytest.approx(wanted, abs=8)
    assert "baffle" in page.inner_text("[data-part=notes]")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []


def test_a_zone_is_typed_and_taken_away_with_the_keyboard_alone(planned: Any) -> None:
    page, _ = planned(DESK)
    page.focus('[data-do="add-zone"]')
    page.keyboard.press("Enter")
    for figure in ("400,5", "600", "0", "620"):
        page.keyboard.type(figure)
        page.keyboard.press("Tab")
    page.wait_for_function(f"() => ({BEST})()[0] !== 500")

    assert page.evaluate("document.activeElement.dataset.do") == "delete-zone"
    page.keyboard.press("Enter")
    page.wait_for_function(f"() => ({BEST})()[0] === 500")
    assert page.locator(ZONES).count() == 0


def test_a_tap_tries_a_place_and_only_a_press_takes_it_over(planned: Any, api: Api) -> None:
    page, job = planned()
    page.locator(".plan-map").scroll_into_view_if_needed()
    page.touchscreen.tap(*point_of(page, 250, 200))
    page.wait_for_selector(".plan-map .tried")
    standing = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["probe"]
    assert (standing["x_mm"], standing["y_mm"]) == (500, 310)

    page.tap('[data-do="take-over"]')
    page.wait_for_function(
        "() => JSON.parse(document.querySelector('[data-plan]').dataset.probe).x_mm < 300"
    )
    moved = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["probe"]
    assert moved["x_mm"] == pytest.approx(250, abs=8)
    assert moved["y_mm"] == pytest.approx(200, abs=8)
    assert moved["active_length_mm"] == 560


def test_the_plan_is_recorded_once_the_cut_is_typed_twice(
    open_page: OpenPage, planned: Any, api: Api
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page, job = planned()
    draw_baffle(page)
    said = re.search(r"[\d.]+", page.inner_text("[data-part=cut-words]"))
    assert said is not None
    cut = said[0]
    page.click('[data-do="rank"]')
    page.wait_for_selector("[data-part=ranked] table")
    page.fill("#cut-first", cut)
    page.fill("#cut-second", cut[::-1])
    open_refusal = page.locator("[data-part=record-error]")
    with page.expect_response("**/plan/confirmed") as refused:
        page.click('[data-do="record-plan"]')
    assert refused.value.status == 422
    open_refusal.filter(has_text="typed before").wait_for()

    page.fill("#cut-second", cut.replace(".", ","))
    page.click('[data-do="record-plan"]')
    page.wait_for_selector("#papers-title")
    plan = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["plan"]
    assert plan["cut_confirmed_mm"] == float(cut)
    assert len(plan["pours"]) >= 3
    assert plan["wishes"]["keep_out"][0]["name"] == "baffle"
    page.wait_for_selector(MAP)
    assert page.locator(ZONES).count() == 1
    with page.expect_download() as download:
        page.click("text=Drilling template")
    assert "100 mm" in download.value.path().read_text(encoding="utf-8")


def test_petrol_stops_the_plan_with_the_reason_and_shows_no_map(
    open_page: OpenPage, planned: Any
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page, _ = planned(contents="petrol")

    page.locator("[data-part=stopped]").filter(has_text="explosive vapour").wait_for()
    assert not page.locator(".plan-map").is_visible()
    assert not page.locator('[data-do="record-plan"]').is_visible()
    assert page.locator("#wish-licensed").is_visible()
    assert complaints(page) == []


def test_the_map_follows_an_edit(planned: Any) -> None:
    page, _ = planned(DESK)
    page.click("text=Slope, room and other places")
    for slope in ("6", "7", "8"):
        before = page.inner_text("[data-part=map-words]")
        page.fill("#wish-slope_along", slope)
        page.wait_for_function(
            "(before) => document.querySelector('[data-part=map-words]').innerText !== before",
            arg=before,
        )


def test_the_usual_values_that_the_page_names_are_the_plans_own(planned: Any) -> None:
    page, _ = planned(DESK)
    usual = Wishes()

    for name in ("clear_mm", "seat_mm", "cap_mm", "bottom_flex_mm", "hole_mm", "flange_mm"):
        hint = page.text_content(f"#wish-{name}-hint")
        assert hint is not None
        assert hint.endswith(f"{getattr(usual, name):.0f}\N{NO-BREAK SPACE}mm"), name
    assert "5 %" in str(page.text_content("#wish-slope_along-hint"))
    assert (usual.slope.along, usual.slope.across) == (0.05, 0.03)


def test_the_pour_stage_says_what_the_next_pour_still_teaches(
    open_page: OpenPage, api: Api
) -> None:
    page = open_page(f"/jobs/{poured(api, new_job(api), [62, 56])}/pour")

    said = page.locator("[data-next-action]").filter(has_text="What teaches most now")
    said.wait_for()
    now, then = re.findall(r"from ([\d.]+)\sL to ([\d.]+)\sL", said.inner_text())[0]
    assert float(then) < float(now)
    others = page.locator("[data-part=next-choices]")
    others.locator("summary").click()
    told = others.inner_text()
    assert "measured can" in told
    assert "inclinometer" in told
    assert page.evaluate(OVERFLOW) <= 0
    assert complaints(page) == []


def test_a_slope_read_once_is_recorded_for_all_pours_beside_the_cans_that_stand(
    open_page: OpenPage, api: Api
) -> None:
    job = poured(api, new_job(api), [62, 56])
    can = {"indicated_l": 100, "true_l": 100.2}
    api.record(job, "/tanks/left/fill/checks", meter_checks=[can], reason="the can")
    page = open_page(f"/jobs/{job}/pour")
    page.click("text=What was checked beside the pours")
    page.fill("#checks-pitch", "0,5")
    page.fill("#checks-roll", "-0,3")
    page.fill('[name="meter_checks.1.indicated_l"]', "100")
    page.fill('[name="meter_checks.1.true_l"]', "100,3")
    page.fill('form[data-url$="/fill/checks"] [name=reason]', "read after the first pours")
    page.click('form[data-url$="/fill/checks"] button')
    page.wait_for_function("() => document.querySelector('#checks-pitch')?.value === '0.5'")

    fill = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]
    assert (fill["pitch_deg"], fill["roll_deg"]) == (0.5, -0.3)
    assert [c["true_l"] for c in fill["meter_checks"]] == [100.2, 100.3]
    choices = api.call("GET", f"/api/jobs/{job}/tanks/left/plan/next")["choices"]
    assert all(choice["kind"] != "slope" for choice in choices)


def test_with_a_mouse_a_zone_is_dragged_at_once_and_stays_after_a_reload(planned: Any) -> None:
    page, _ = planned(DESK)
    page.locator(".plan-map").scroll_into_view_if_needed()
    page.select_option("[data-part=kind]", "strap")
    page.mouse.move(*point_of(page, 420, 100))
    page.mouse.down()
    page.mouse.move(*point_of(page, 500, 300), steps=3)
    page.mouse.move(*point_of(page, 600, 520), steps=3)
    page.mouse.up()
    page.wait_for_function(f"() => ({BEST})()[0] !== 500")

    page.reload()
    page.wait_for_selector(MAP)
    assert page.input_value("#wish-contents") == "diesel"
    assert page.locator(ZONES).count() == 1
    assert page.input_value("[data-zone=name]") == "strap"
    page.wait_for_function(f"() => ({BEST})()[0] !== 500")


def test_a_book_in_inches_plans_and_cuts_in_inches(planned: Any, api: Api) -> None:
    settings = {"person": "Kim", "request_id": "plan-inches", "length_unit": "inches"}
    api.call("PUT", "/api/book/settings", settings)
    try:
        page, job = planned(DESK)
        page.click('[data-do="add-zone"]')
        for part, inches in (("x1", "16"), ("x2", "24"), ("y1", "0"), ("y2", "24,4")):
            page.fill(f"[data-zone={part}]", inches)
        page.wait_for_function(f"() => ({BEST})()[0] !== 500")
        said = re.search(r"([\d.]+)\sin", page.inner_text("[data-part=cut-words]"))
        assert said is not None
        assert float(said[1]) == pytest.approx(583 / 25.4, abs=0.006)
        page.fill("#cut-first", said[1])
        page.fill("#cut-second", said[1])
        page.click('[data-do="record-plan"]')
        page.wait_for_selector("#papers-title")
    finally:
        api.call("PUT", "/api/book/settings", {**settings, "request_id": "mm", "length_unit": "mm"})

    plan = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["plan"]
    assert plan["cut_confirmed_mm"] == pytest.approx(583, abs=0.15)
    corner = plan["wishes"]["keep_out"][0]["corners_mm"][2]
    assert corner == pytest.approx([609.6, 619.76])


def test_at_200_percent_the_whole_plan_still_fits_the_phone(planned: Any) -> None:
    page, _ = planned((180, 370))
    page.click('[data-do="add-zone"]')
    page.click('[data-do="rank"]')
    page.wait_for_selector("[data-part=ranked] table")
    for details in page.locator("form[data-plan] details").all():
        details.evaluate("each => { each.open = true; }")

    assert page.evaluate(OVERFLOW) <= 0
    assert complaints(page) == []
