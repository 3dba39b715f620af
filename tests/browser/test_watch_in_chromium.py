"""The Watch stage on a phone and on a computer: by touch, keys, wheel and buttons."""

import re
from pathlib import Path
from typing import Any

import pytest
from browser_logs import SLOW_MS, give_log, write_service
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, Api, OpenPage, new_job, poured
from playwright.sync_api import Page, expect

from gaugewright.testing.service import at

pytestmark = pytest.mark.without_keeper

DAYS = 5
FILL = [62, 56, 60, 58, 50]
LEVELS_L = [11.0, 73.0, 129.0, 189.0, 247.0, 297.0]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("service")
    return write_service(folder, "Truck 7", LEVELS_L, days=DAYS, period_s=60.0, inflated_l=20.0)


@pytest.fixture(scope="module")
def job(api: Api) -> str:
    made = poured(api, new_job(api, "Truck 7"), FILL)
    table = api.record(made, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(made, "/tanks/left/table/accept", digest=table["digest"])
    return made


@pytest.fixture
def watched(open_page: OpenPage, job: str, files: dict[str, Path], api: Api) -> str:
    """The job with a log that was given on its page; the first test of all gives it."""
    if not any(e["kind"] == "log_watched" for e in api.call("GET", f"/api/jobs/{job}/entries")):
        page = open_page(f"/jobs/{job}/watch")
        give_log(page, files)
        page.locator('[data-watch-plot][data-state="drawn"]').wait_for(timeout=SLOW_MS)
    return job


def opened(open_page: OpenPage, job: str, *size: Any) -> Page:
    page = open_page(f"/jobs/{job}/watch", *size)
    page.locator('[data-watch-plot][data-state="drawn"]').wait_for()
    return page


def stretch(page: Page) -> tuple[float, float]:
    """Return what the drawing shows, once it has come to rest. [s]"""
    page.wait_for_timeout(250)
    place = page.locator("[data-watch-plot]")
    return float(place.get_attribute("data-from") or 0), float(place.get_attribute("data-to") or 0)


def test_a_log_given_on_a_phone_says_first_whether_fuel_was_taken(
    open_page: OpenPage, watched: str
) -> None:
    page = opened(open_page, watched)
    expect(page.locator("#watch-title")).to_contain_text("1 drain not explained")
    expect(page.get_by_text("Smallest provable drain:")).to_be_visible()
    expect(page.locator(".events").first).to_contain_text("Drain 29")
    expect(page.get_by_text("1 of 3 receipts need a look.")).to_be_visible()
    expect(page.locator("[data-months] td").first).to_have_text("2026-03")
    short = page.locator(".events", has_text="paid for").first.inner_text()
    off = re.search("paid for,\\s\N{MINUS SIGN}([0-9.]+)\\s±\\s([0-9.]+)\\sL", short)
    assert off, short
    assert abs(float(off[1]) - 20.0) <= float(off[2]) < 10.0  # the receipt is 20 L too high
    page.get_by_text("All receipts").click()
    for table in page.locator(".stacked").all():
        assert table.evaluate("each => each.scrollWidth - each.clientWidth") <= 0
    assert page.evaluate(OVERFLOW) == 0
    assert page.evaluate(SMALL) == []
    assert complaints(page) == []


def test_the_page_is_sound_on_a_computer_too(open_page: OpenPage, watched: str) -> None:
    page = opened(open_page, watched, DESK)
    assert page.evaluate(OVERFLOW) == 0
    assert complaints(page) == []


def test_keys_zoom_from_the_whole_log_to_a_minute_and_back(
    open_page: OpenPage, watched: str
) -> None:
    page = opened(open_page, watched, DESK)
    canvas = page.get_by_role("application")
    canvas.focus()
    first, last = stretch(page)
    assert last - first == pytest.approx(DAYS * 86_400 - 60, abs=1)
    for _ in range(14):
        page.keyboard.press("+")
    from_s, to_s = stretch(page)
    assert to_s - from_s == pytest.approx(60, abs=0.5)
    page.keyboard.press("ArrowRight")
    assert stretch(page)[0] == pytest.approx(from_s + 30, abs=0.5)
    page.keyboard.press("0")
    assert stretch(page) == (first, last)
    page.keyboard.press("n")
    shown = stretch(page)
    assert shown[0] < at(0, 11.5) < shown[1]
    assert "Refuels: 1" in (canvas.get_attribute("aria-label") or "")


def test_the_wheel_turns_the_page_until_the_drawing_is_chosen(
    open_page: OpenPage, watched: str
) -> None:
    page = opened(open_page, watched, DESK)
    canvas = page.get_by_role("application")
    box = canvas.bounding_box()
    assert box is not None
    middle = box["x"] + box["width"] / 2, box["y"] + 150
    whole = stretch(page)
    page.mouse.move(*middle)
    page.mouse.wheel(0, -200)
    assert stretch(page) == whole
    page.mouse.click(*middle)
    expect(page.locator('[data-part="readout"]')).to_contain_text(re.compile(r"UTC, \d.* ± .* L"))
    page.mouse.wheel(0, -100)
    near = stretch(page)
    assert near[1] - near[0] < 0.9 * (whole[1] - whole[0])
    page.mouse.down()
    page.mouse.move(middle[0] - 200, middle[1], steps=4)
    page.mouse.up()
    assert stretch(page)[0] > near[0]


def test_two_fingers_zoom_about_what_lies_under_them(open_page: OpenPage, watched: str) -> None:
    page = opened(open_page, watched)
    canvas = page.get_by_role("application")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    y, middle = box["y"] + 200, box["x"] + box["width"] / 2
    whole = stretch(page)
    fingers = page.context.new_cdp_session(page)

    def touch(kind: str, apart: float) -> None:
        points = [{"x": middle + side * apart, "y": y, "id": k} for k, side in enumerate((-1, 1))]
        fingers.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [] if kind == "touchEnd" else points},
        )

    touch("touchStart", 30)
    for apart in (40, 60, 90):
        touch("touchMove", apart)
    touch("touchEnd", 90)
    near = stretch(page)
    assert near[1] - near[0] < 0.6 * (whole[1] - whole[0])
    assert whole[0] < near[0] < near[1] < whole[1]


def test_an_event_is_shown_and_explained_by_name_and_can_be_taken_back(
    open_page: OpenPage, watched: str, api: Api
) -> None:
    page = opened(open_page, watched)
    page.get_by_role("button", name=re.compile("^Show event")).first.click()
    from_s, to_s = stretch(page)
    assert from_s < at(2, 2.25) < to_s
    page.get_by_role("button", name=re.compile("^Explain event")).first.click()
    page.get_by_label("Reason").fill("drained to change the tank's strap")
    page.locator("#ask-reason").get_by_role("button", name="Record").click()
    expect(page.locator("#watch-title")).to_contain_text("Every drain is explained")
    expect(page.get_by_text("drained to change the tank's strap")).to_be_visible()
    page.locator('[data-watch-plot][data-state="drawn"] .mark.drain.hollow').wait_for()
    assert stretch(page) == (from_s, to_s)
    page.get_by_role("button", name=re.compile("^Withdraw explanation")).click()
    page.get_by_label("Reason").fill("it was another truck")
    page.locator("#ask-reason").get_by_role("button", name="Record").click()
    expect(page.locator("#watch-title")).to_contain_text("1 drain not explained")
    kinds = [e["kind"] for e in api.call("GET", f"/api/jobs/{watched}/entries")]
    assert kinds[-2:] == ["seen_event_explained", "explanation_withdrawn"]


def test_a_file_that_is_no_log_is_refused_at_its_field(
    open_page: OpenPage, watched: str, tmp_path: Path
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page = opened(open_page, watched)
    page.get_by_text("Look another log through").click()
    wrong = tmp_path / "notes.csv"
    wrong.write_text("day,weather\nMonday,rain\n")
    page.get_by_label("Log, CSV or Parquet").set_input_files(wrong)
    page.get_by_role("button", name="Look through").click()
    expect(page.locator('form[data-form="watch-log"] .error')).to_contain_text("which column is")
    expect(page.get_by_label("Columns under other names")).to_be_focused()
