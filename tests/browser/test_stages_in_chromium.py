"""Every stage in a real browser: readable, reachable, and nothing for axe to find."""

import pytest
from browser_sheets import OVERFLOW, SMALL, STAGES, complaints
from browser_yards import (
    DESK,
    PHONE,
    PROBE,
    START_L,
    TANK,
    Api,
    OpenPage,
    counts_after,
    new_job,
    poured,
)
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.without_keeper

SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture(scope="module")
def whole_job(api: Api) -> str:
    """A job with something to see at every stage."""
    job = new_job(api, "Truck 7")
    api.record(job, "/tanks/left/bench/zero", counts=31)
    api.record(job, "/tanks/left/bench/span", counts=3650, fuel="diesel")
    poured(api, job, [62, 56, 60, 58])
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    api.record(job, "/tanks/left/back-office", shown_l=180, counts=2800)
    return job


@SIZES
@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_is_reachable_readable_and_fits_its_screen(
    open_page: OpenPage, whole_job: str, stage: str, size: tuple[int, int]
) -> None:
    page = open_page(f"/jobs/{whole_job}/{stage}", size)
    page.wait_for_selector("#sheet > :not(noscript)")

    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []
    if size == PHONE:
        assert_the_current_stage_is_in_view(page)
        # The same phone at 200 percent: nothing runs off the side.
        page.set_viewport_size({"width": 180, "height": 370})
        assert page.evaluate(OVERFLOW) <= 0


SCRIPTS = """
[...performance.getEntriesByType("resource")]
  .map((each) => each.name.split("/").at(-1)).filter((name) => name.endsWith(".js")).sort()
"""


def test_a_page_asks_at_once_for_the_scripts_of_its_stage_and_no_others(
    open_page: OpenPage, whole_job: str
) -> None:
    page = open_page(f"/jobs/{whole_job}/certificate")

    named = page.eval_on_selector_all(
        "link[rel=modulepreload]", "all => all.map((each) => each.href.split('/').at(-1))"
    )

    # Whatever a script imports is named on the page, so that nothing waits for it to be read.
    assert page.evaluate(SCRIPTS) == sorted(["early.js", *named])
    assert "sign.js" in named
    assert not {"pour.js", "plan.js", "watch.js"} & set(named)


def test_a_sheet_whose_scripts_are_not_on_the_page_is_loaded_with_them(
    open_page: OpenPage, api: Api
) -> None:
    job = poured(api, new_job(api), [62])
    page = open_page(f"/jobs/{job}/pour")
    page.evaluate("document.querySelector('script[src$=\"/pour.js\"]').remove()")

    api.record(job, "/tanks/left/pours", added_l=56, counts=counts_after(START_L + 118))

    expect(page.locator('script[src$="/pour.js"]')).to_have_count(1)
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "3")


def assert_the_current_stage_is_in_view(page: Page) -> None:
    page.wait_for_function("() => document.querySelector('#stages [aria-current]').offsetWidth > 0")
    box = page.locator("#stages [aria-current]").bounding_box()
    assert box is not None
    assert box["x"] >= -1
    assert box["x"] + box["width"] <= PHONE[0] + 1


@SIZES
@pytest.mark.parametrize("path", ["/", "/jobs/new", "/pair", "/jobs/none/pour"])
def test_the_other_pages_stand_up_to_axe_too(
    open_page: OpenPage, whole_job: str, path: str, size: tuple[int, int]
) -> None:
    open_page.expected = ("404",)  # type: ignore[attr-defined]
    page = open_page(path, size)

    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0


@pytest.mark.parametrize("theme", ["dark", "sun"])
@pytest.mark.parametrize("stage", ["pour", "table", "mount"])
def test_dark_and_sunlight_keep_every_contrast(
    open_page: OpenPage, whole_job: str, stage: str, theme: str
) -> None:
    page = open_page(f"/jobs/{whole_job}/{stage}")
    page.select_option('[data-pref="theme"]', theme)
    page.reload()

    assert page.evaluate("document.documentElement.dataset.theme") == theme
    assert complaints(page) == []


def test_a_figure_with_thousands_never_breaks_over_two_lines(
    open_page: OpenPage, whole_job: str
) -> None:
    page = open_page(f"/jobs/{whole_job}/pour")

    rows = page.evaluate(
        "[...document.querySelectorAll('.pours td:nth-child(3)')].map((c) => c.getClientRects().length"  # noqa: E501
        " && c.scrollHeight / parseFloat(getComputedStyle(c).lineHeight))"
    )
    assert "2\u202f793" in page.locator(".pours").inner_text()
    assert rows
    assert max(page.locator(".pours td:nth-child(3)").nth(1).bounding_box()["height"], 0) < 60  # type: ignore[index]


def test_every_caution_is_read_by_name_before_its_stage_goes_on(
    open_page: OpenPage, api: Api
) -> None:
    body = {"person": "Kim Aldo", "customer": "Halden", "vehicle": "Van 3", "job": "HB-CAUTION"}
    api.call("POST", "/api/jobs", {**body, "request_id": "caution-job"})
    page = open_page("/jobs/HB-CAUTION/survey")
    here = [
        c for c in api.call("GET", "/api/jobs/HB-CAUTION")["cautions"] if c["stage"] == "Survey"
    ]

    for caution in here:
        assert caution["text"] in page.locator(".caution").inner_text()
        assert "come first" in page.locator(".caution").inner_text()
        assert complaints(page) == []
        page.get_by_role("button", name="I have read this").click()
        page.wait_for_function(
            "text => !document.querySelector('.caution')?.innerText.includes(text)",
            arg=caution["text"],
        )

    page.get_by_role("heading", name="What you see").wait_for()
    read = api.call("GET", "/api/jobs/HB-CAUTION")["cautions"]
    assert {c["acknowledged_by"] for c in read if c["stage"] == "Survey"} == {"Kim Aldo"}

    page.get_by_role("button", name="Record", exact=True).click()
    page.get_by_text("Nothing is typed yet").wait_for()
    page.get_by_label("Condition of tank and brackets").fill("straps rusty")
    page.get_by_role("button", name="Survey is done").click()
    page.get_by_text("Typed, but not recorded: Condition of tank and brackets.").wait_for()
    stages = api.call("GET", "/api/jobs/HB-CAUTION")["stages"]
    assert not any(s["is_finished"] for s in stages)
    page.get_by_role("button", name="Survey is done").click()
    page.wait_for_url("**/plan")


def test_a_tank_is_drawn_while_it_is_typed_and_the_wrong_size_is_named(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{job}/plan", DESK)
    before = page.locator(".dwg.wide").first.get_attribute("viewBox")

    page.get_by_label("Height").first.fill("300 mm")
    page.wait_for_function(
        "was => document.querySelector('.dwg.wide').getAttribute('viewBox') !== was", arg=before
    )
    page.get_by_label("Height").first.fill("120")
    page.get_by_text("edge_radius_mm").or_(page.get_by_text("half the height")).first.wait_for()
    page.get_by_role("button", name="Record the tank").click()

    page.locator('[aria-invalid="true"]').wait_for()
    assert api.call("GET", f"/api/jobs/{job}")["tanks"][0]["tank"]["height_mm"] == 600


def test_a_size_typed_in_inches_is_kept_as_millimetres(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/plan", DESK)
    standing = api.call("GET", f"/api/jobs/{job}")["number"]

    page.get_by_label("Length").first.fill("40 in")
    page.get_by_role("button", name="Record the tank").click()

    page.wait_for_function(
        "n => Number(document.getElementById('sheet')?.dataset.number) > n", arg=standing
    )
    tank = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["tank"]
    assert float(tank["length_mm"]) == pytest.approx(1016)


def test_what_the_tanks_form_does_not_show_stays_as_it_was_described(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    told = {
        **TANK, "shape": "stepped", "step_length_mm": 200, "step_height_mm": 100,
        "step_at": "top", "displaced_l": 4.25, "usable_fraction": 0.9, "u_mm": 1,
    }  # fmt: skip
    api.record(job, "/tanks/left", "PUT", tank=told, probe=PROBE, name="left", reason="seen")
    page = open_page(f"/jobs/{job}/plan", PHONE)
    page.get_by_label("Name of the tank").fill("Left, by the door")
    page.get_by_label("Length", exact=True).fill("905")
    page.get_by_role("button", name="Record the tank").click()
    expect(page.get_by_role("heading", name="Left, by the door", exact=True)).to_be_visible()

    kept = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["tank"]
    assert {name: kept.get(name) for name in told} == {**told, "length_mm": 905}
