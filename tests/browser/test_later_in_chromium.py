"""A table after its day in a real browser: re-checked and carried to another probe by thumb."""

import os
from pathlib import Path

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, PHONE, PROBE, START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import Page

pytestmark = pytest.mark.without_keeper


@pytest.fixture
def done(api: Api) -> str:
    """A job whose table was accepted and whose stages are finished."""
    job = poured(api, new_job(api, "Truck 9"), [62, 56, 60, 58, 50])
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    for stage in ("Pour", "Table", "Prove"):
        api.record(job, f"/stages/{stage}/finish")
    return job


def kept(page: Page, name: str) -> None:
    """Keep a picture where somebody wants to look at it."""
    folder = os.environ.get("GAUGEWRIGHT_SHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def stands(page: Page) -> None:
    """Nothing for axe to find, nothing off the side, nothing too small for a thumb."""
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []


def begin(page: Page, button: str) -> None:
    form = page.locator("form", has=page.get_by_role("button", name=button))
    form.locator("[name=cautions_read]").check()
    form.get_by_role("button", name=button).click()
    page.get_by_role("button", name="Record the reading").wait_for()


def pour(page: Page, litres: float | None, counts: int) -> None:
    """Type one reading, with its litres where there are any."""
    form = page.locator("form[data-url$='/later/pours']")
    if litres is not None:
        form.locator("[name=added_l]").fill(str(litres).replace(".", ","))
    form.locator("[name=counts]").fill(str(counts))
    shown = page.locator(".pours-later li").count()
    form.get_by_role("button", name="Record the").first.click()
    page.locator(".pours-later li").nth(shown).wait_for()
    page.wait_for_function("() => !document.querySelector('[name=counts]').value")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_re_check_is_begun_poured_and_says_that_the_table_is_still_good(
    open_page: OpenPage, api: Api, done: str, size: tuple[int, int]
) -> None:
    page = open_page(f"/jobs/{done}/prove", size)
    page.locator("#stages").get_by_role("link", name="Later").click()
    page.wait_for_url("**/later?tank=left")
    stands(page)
    kept(page, f"later-begin-{size[0]}")
    page.locator("[name=is_drained]").first.check()
    begin(page, "Begin the re-check")
    stands(page)

    total = START_L
    pour(page, None, counts_after(total))
    for litres in (55.5, 60.0, 60.0):
        total += litres
        pour(page, litres, counts_after(total))
    kept(page, f"later-poured-{size[0]}")
    page.get_by_role("button", name="What do they show?").click()
    page.locator("[data-verdict=good]").wait_for()

    assert "Still good" in page.locator("[data-verdict]").inner_text()
    assert page.locator(".en tbody tr").count() == 3
    assert "could have shown" in page.locator("section[data-run]").inner_text()
    stands(page)
    kept(page, f"later-good-{size[0]}")


def test_a_drifted_zero_is_not_taken_for_fuel_left_in_the_tank_and_is_named_once_it_is_read(
    open_page: OpenPage, done: str
) -> None:
    page = open_page(f"/jobs/{done}/later")
    page.locator("[name=is_drained]").first.check()
    begin(page, "Begin the re-check")
    drift, total = 100, START_L
    pour(page, None, counts_after(total) + drift)
    for litres in (60.0, 70.0, 80.0):
        total += litres
        pour(page, litres, counts_after(total) + drift)
    page.get_by_role("button", name="What do they show?").click()
    page.locator("[data-verdict=cannot_tell]").wait_for()
    assert "Take the probe out" in page.locator("[data-verdict]").inner_text()
    stands(page)
    kept(page, "later-open-zero-360")

    page.locator("#zero-counts").fill(str(drift))
    page.get_by_role("button", name="Record the zero").click()
    page.get_by_text("Pours or the zero have changed").wait_for()
    page.get_by_role("button", name="What do they show?").click()
    page.locator("[data-verdict=not_good]").wait_for()
    assert "zero drifted" in page.locator("[data-verdict]").inner_text()
    stands(page)
    kept(page, "later-drifted-360")


def test_cautions_that_were_not_read_again_hold_the_work_back(
    open_page: OpenPage, done: str
) -> None:
    page = open_page(f"/jobs/{done}/later")
    form = page.locator("form", has=page.get_by_role("button", name="Begin the re-check"))

    form.get_by_role("button", name="Begin the re-check").click()

    assert form.locator("[name=cautions_read]").evaluate("box => box.validity.valueMissing")
    assert page.locator("section[data-run]").count() == 0


def test_a_tank_that_holds_less_is_named_and_a_newer_table_accepted_beside_the_old(
    open_page: OpenPage, api: Api, done: str
) -> None:
    page = open_page(f"/jobs/{done}/later")
    page.locator("[name=is_drained]").first.check()
    begin(page, "Begin the re-check")
    total = 30.0
    pour(page, None, counts_after(total))
    for litres in (60.0, 70.0, 80.0):
        total += 1.1 * litres
        pour(page, litres, counts_after(total))
    page.get_by_role("button", name="What do they show?").click()
    page.locator("[data-verdict=not_good]").wait_for()
    assert "the tank holds less" in page.locator("section[data-run]").inner_text()
    kept(page, "later-dented-360")

    page.locator("#carry-why").fill("dented by a stone")
    page.get_by_role("button", name="Make the newer version").click()
    page.get_by_role("button", name="Accept this table").wait_for()
    assert page.locator("[data-version]").count() == 2
    assert "Superseded" in page.locator("[data-version]").last.inner_text()
    page.get_by_role("button", name="Accept this table").click()
    page.get_by_role("link", name="Make the certificate anew").wait_for()
    stands(page)
    kept(page, "later-versions-360")


def test_an_exchanged_probe_takes_the_table_over(open_page: OpenPage, api: Api, done: str) -> None:
    page = open_page(f"/jobs/{done}/later")
    page.get_by_text("The probe was exchanged").click()
    form = page.locator("form", has=page.get_by_role("button", name="Begin the exchange"))
    for name, value in (
        ("probe.active_length_mm", str(PROBE["active_length_mm"])),
        ("probe.tip_clearance_mm", str(PROBE["tip_clearance_mm"])),
        ("reason", "struck by a stone"),
    ):
        form.locator(f"[name='{name}']").fill(value)
    kept(page, "later-exchange-360")
    begin(page, "Begin the exchange")
    total = 80.0
    pour(page, None, counts_after(total))
    for litres in (60.0, 80.0):
        total += litres
        pour(page, litres, counts_after(total))
    page.get_by_role("button", name="What do they show?").click()
    page.locator("[data-verdict=good]").wait_for()
    page.locator("#carry-why").fill("new probe")
    page.get_by_role("button", name="Make the newer version").click()
    page.get_by_role("button", name="Accept this table").wait_for()

    assert "carried to a new probe" in page.locator("[data-version]").first.inner_text()
    stands(page)
