"""Gallons and inches on screen, the bench, the mount, the proof: one recording of each."""

import io
import re
from collections.abc import Callable

import pytest
from browser_yards import DESK, PHONE, START_L, Api, OpenPage, counts_after, new_job, poured
from PIL import Image
from playwright.sync_api import Page, Route, expect

from gaugewright.workbench.running import Workbench

pytestmark = pytest.mark.without_keeper

FILL = [62, 56, 60, 58]
GALLON_L = 3.785411784


def holding(page: Page) -> tuple[list[Route], Callable[[], None]]:
    """Hold the page's own code from now on; also what the page before asked for late."""
    held: list[Route] = []
    is_held = [True]
    page.context.route(
        "**/js/main.js*", lambda route: held.append(route) if is_held[0] else route.continue_()
    )

    def release() -> None:
        is_held[0] = False
        for route in held:
            route.continue_()

    return held, release


@pytest.fixture
def in_gallons(api: Api):  # type: ignore[no-untyped-def]
    """The book in gallons and inches, and back in litres afterwards."""
    settings = {"volume_unit": "us_gallons", "length_unit": "inches"}
    metric = {"volume_unit": "litres", "length_unit": "mm"}
    api.call("PUT", "/api/book/settings", {"person": "Kim", "request_id": "gal", **settings})
    yield
    api.call("PUT", "/api/book/settings", {"person": "Kim", "request_id": "lit", **metric})


@pytest.mark.usefixtures("in_gallons")
def test_a_book_in_gallons_takes_and_shows_gallons(open_page: OpenPage, api: Api) -> None:
    job = poured(api, new_job(api), FILL)
    page = open_page(f"/jobs/{job}/pour", DESK)
    page.get_by_label("Gallons by the meter").fill("10,5")
    counts = counts_after(START_L + sum(FILL) + 10.5 * GALLON_L)
    page.get_by_label("Counts that the probe shows").fill(str(counts))
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")

    pours = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]["pours"]
    assert pours[-1]["added_l"] == pytest.approx(10.5 * GALLON_L)
    assert "10.5" in page.locator(".pours").inner_text()
    expect(page.locator(".dwg.wide .level-words")).to_have_text(re.compile(r"\d\.\d\d\sin"))


def test_zero_span_and_repeat_are_recorded_one_after_the_other(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/bench")
    counts = page.get_by_label("Counts that the probe shows")

    counts.fill("31")
    page.get_by_role("button", name="Record zero").click()
    page.get_by_label("Fuel", exact=True).fill("diesel")
    counts.fill("3650")
    page.get_by_role("button", name="Record span").click()
    page.get_by_label("immersed").check()
    counts.fill("3651,5")
    page.get_by_role("button", name="Record it").click()
    page.get_by_role("heading", name="Repeats").wait_for()

    bench = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["bench"]
    found = [bench[kind][0]["counts"] for kind in ("zeros", "spans", "repeats")]
    assert found == [31, 3650, 3651.5]
    assert bench["repeats"][0]["point"] == "span"


KEEP_WHAT_IT_SAYS = """() => {
    window.said = new Set();
    const timer = document.querySelector('[role="timer"]');
    new MutationObserver(() => window.said.add(timer.textContent)).observe(
        timer, { childList: true });
}"""


def test_a_wet_probe_is_given_fifteen_seconds_to_drip(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/bench")
    page.evaluate(KEEP_WHAT_IT_SAYS)

    page.get_by_role("button", name="It has just come out of fuel").click()
    page.wait_for_function("() => window.said.size > 1")

    first, second = page.evaluate("[...window.said]")[:2]
    assert "15" in first
    assert 1 <= int(re.findall(r"\d+", second)[0]) < 15


def test_the_pattern_tester_shows_what_it_finds_in_each_line(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/bench", DESK)
    page.get_by_label("Kind").select_option("serial_text")

    page.get_by_label("Pattern", exact=True).fill("N={counts}")
    page.get_by_label("Lines to try the pattern on").fill("N=412\nhello")
    page.get_by_role("button", name="Try the pattern").click()

    found = page.locator('[data-part="found"] li')
    expect(found).to_have_count(2)
    expect(found.nth(0)).to_contain_text("412")
    expect(found.nth(1)).to_contain_text("does not fit the pattern")


def picture() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (64, 48), "#14603a").save(made, "PNG")
    return made.getvalue()


def test_a_mount_point_is_done_with_its_photo(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/mount", PHONE)
    first = page.locator(".check .what").first.inner_text()

    page.get_by_label("Photo").set_input_files(
        {"name": "hole.png", "mimeType": "image/png", "buffer": picture()}
    )
    page.get_by_role("button", name="Done", exact=True).click()
    page.locator(".check .good").first.wait_for()

    mount = api.call("GET", f"/api/jobs/{job}")["mount"]
    done = [point for point in mount if point["is_done"]]
    assert first.endswith(done[0]["text"])
    assert len(done[0]["photos"]) == 1

    page.get_by_role("button", name="Mount is done").click()
    expect(page.locator(".finish .error")).to_contain_text("points are not done. Press again")
    assert not api.call("GET", f"/api/jobs/{job}")["stages"][3]["is_finished"]
    page.get_by_role("button", name="Mount is done").click()
    page.wait_for_url("**/pour*")
    assert api.call("GET", f"/api/jobs/{job}")["stages"][3]["is_finished"]


def test_a_photo_of_the_survey_is_shown_with_its_caption(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/survey", DESK)

    page.get_by_label("Photo", exact=True).set_input_files(
        {"name": "strap.png", "mimeType": "image/png", "buffer": picture()}
    )
    page.get_by_label("What it shows").fill("rusty strap <b>left</b>")
    page.get_by_role("button", name="Add the photo").click()
    shown = page.get_by_alt_text("rusty strap <b>left</b>")
    shown.wait_for()

    page.wait_for_function(
        "() => document.querySelector('.photos img').complete"
        " && document.querySelector('.photos img').naturalWidth > 0"
    )


def test_table_proof_and_certificate_follow_from_the_pours(open_page: OpenPage, api: Api) -> None:
    job = poured(api, new_job(api), FILL)
    page = open_page(f"/jobs/{job}/table", DESK)
    page.get_by_role("button", name="Make the table").click()
    page.get_by_role("button", name="Accept this table").click()
    page.get_by_text("Accepted by Kim Aldo").wait_for()
    expect(page.locator(".dwg.plot.wide circle")).to_have_count(2 * len(FILL))

    page.get_by_role("link", name="Prove").click()
    full = START_L + sum(FILL)
    page.get_by_label("Counts before the pour").fill(str(counts_after(full)))
    page.get_by_label("Litres by the meter").fill("15")
    page.get_by_label("Counts after the pour").fill(str(counts_after(full + 15)))
    page.get_by_role("button", name="Hold it against the table").click()
    expect(page.locator(".outcome").first).to_contain_text("agrees")

    page.get_by_role("link", name="Certificate").click()
    page.get_by_role("button", name="Issue the certificate").click()
    page.get_by_text(f"Certificate C-{job}").wait_for()
    assert api.call("GET", f"/api/jobs/{job}")["certificate"]["certificate_number"] == f"C-{job}"


def test_a_stage_is_finished_and_opened_again_with_a_reason(open_page: OpenPage, api: Api) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/survey")

    page.get_by_role("button", name="Survey is done").click()
    page.wait_for_url("**/plan*")
    page.get_by_role("link", name="Survey").click()
    page.get_by_role("button", name="Open it again").click()
    page.locator("#ask-reason").get_by_label("Reason").fill("second tank found")
    page.locator("#ask-reason").get_by_role("button", name="Record").click()
    page.get_by_role("button", name="Survey is done").wait_for()

    stages = {s["name"]: s["is_finished"] for s in api.call("GET", f"/api/jobs/{job}")["stages"]}
    assert not stages["Survey"]


def test_a_job_is_begun_from_the_list_by_its_vehicle(open_page: OpenPage, api: Api) -> None:
    page = open_page("/")
    page.get_by_role("link", name="New job").click()
    page.get_by_label("Vehicle").fill("Sweeper 5 <script>")
    page.get_by_label("Customer").fill("Halden Plant Hire")
    page.get_by_label("Supply voltage").fill("12,4")
    page.get_by_role("button", name="Begin the job").click()
    page.locator(".caution").wait_for()

    assert "Sweeper 5 <script>" in page.locator("h1").inner_text()
    newest = api.call("GET", "/api/jobs?containing=Sweeper")["jobs"][0]
    assert newest["vehicle"] == "Sweeper 5 <script>"


def test_a_press_before_the_pages_own_code_is_there_is_kept_and_sent(
    open_page: OpenPage, api: Api
) -> None:
    # Without a keeper, which would have the code at hand.
    page = open_page("/")
    held, release = holding(page)
    page.goto(page.url + "jobs/new", wait_until="commit")
    page.get_by_label("Vehicle").fill("Loader 8")
    page.get_by_label("Customer").fill("Halden Plant Hire")
    page.get_by_role("button", name="Begin the job").click(no_wait_after=True)
    assert page.get_by_label("Vehicle").input_value() == "Loader 8"
    assert held
    release()
    page.locator(".caution").wait_for()

    assert api.call("GET", "/api/jobs?containing=Loader")["jobs"][0]["vehicle"] == "Loader 8"


def test_a_plain_button_pressed_before_the_pages_own_code_is_there_acts_once_it_is(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/survey")
    page.get_by_role("button", name="Survey is done").click()
    page.wait_for_url("**/plan*")
    held, release = holding(page)
    page.goto(page.url.replace("/plan", "/survey"), wait_until="commit")
    page.get_by_role("button", name="Open it again").click(no_wait_after=True)
    assert not page.locator("#ask-reason").is_visible()
    assert held
    release()
    page.locator("#ask-reason").get_by_label("Reason").wait_for()


def test_the_units_of_the_book_are_chosen_on_the_first_page(open_page: OpenPage, api: Api) -> None:
    page = open_page("/")
    page.get_by_text("Units and words of this book").click()
    page.get_by_label("Lengths").select_option("inches")
    page.get_by_label("Workshop").fill("Halden Yard")
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("heading", name="Halden Yard").wait_for()

    kept = api.call("GET", "/api/book/settings")
    metric = {"person": "Kim", "request_id": "metric", "length_unit": "mm", "workshop": ""}
    api.call("PUT", "/api/book/settings", metric)
    assert (kept["length_unit"], kept["workshop"]) == ("inches", "Halden Yard")


def test_a_second_tank_gets_an_id_of_its_own_and_can_be_taken_off_again(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/plan?new=1", DESK)
    page.get_by_label("Name of the tank").fill("Left")
    for label, value in (("Length", "900"), ("Width", "500"), ("Height", "450")):
        page.get_by_label(label, exact=True).fill(value)
    page.get_by_role("button", name="Record the tank").click()
    page.wait_for_url("**/plan?tank=left-2")

    page.get_by_role("button", name="Not on the vehicle").click()
    page.locator("#ask-reason").get_by_label("Reason").fill("belongs to the crane")
    page.locator("#ask-reason").get_by_role("button", name="Record").click()
    expect(page.locator("h1")).to_have_text("Loader 14 · left tank")

    tanks = {t["tank_id"]: t for t in api.call("GET", f"/api/jobs/{job}")["tanks"]}
    assert tanks["left-2"]["removed"] == "belongs to the crane"


def test_fuel_is_drawn_on_the_slope_that_was_typed_with_the_pour(
    open_page: OpenPage, api: Api
) -> None:
    job = poured(api, new_job(api), FILL)
    page = open_page(f"/jobs/{job}/pour", DESK)
    page.get_by_label("Litres by the meter").fill("10")
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 10))
    )
    page.get_by_text("Temperatures and slope").click()
    page.locator("#f-roll_deg").fill("2,5")
    page.get_by_label("Fuel in the tank").fill("18,5")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")

    slope = page.locator(".dwg.wide .fuel line").first.evaluate(
        "e => (e.y1.baseVal.value - e.y2.baseVal.value) / (e.x2.baseVal.value - e.x1.baseVal.value)"
    )
    assert slope == pytest.approx(0.04366, abs=1e-3)
    last = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]["pours"][-1]
    assert (last["fuel_c"], last["roll_deg"]) == (18.5, 2.5)


def test_a_job_file_is_taken_in_and_one_that_was_changed_is_refused(
    open_page: OpenPage, api: Api, bench: Workbench
) -> None:
    open_page.expected = ("409", "422", "503")  # type: ignore[attr-defined]
    job = new_job(api)
    with api.opener.open(f"{api.url}/api/jobs/{job}/export") as answer:
        content = answer.read()
    page = open_page("/")
    page.get_by_text("Take in a job file").click()
    file = {"name": "a.job", "mimeType": "application/zip"}

    page.get_by_label("Job file").set_input_files({**file, "buffer": content[:-40]})
    page.get_by_role("button", name="Take it in").click()
    expect(page.locator('form[data-form="import"] .error')).not_to_be_empty()
    page.get_by_label("Job file").set_input_files({**file, "buffer": content})
    page.get_by_role("button", name="Take it in").click()

    page.wait_for_url(f"**/jobs/{job}/**")
