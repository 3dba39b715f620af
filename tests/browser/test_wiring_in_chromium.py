"""The wiring on a phone: crossings checked as they are typed, the result recorded and carried."""

from typing import Any

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, PHONE, Api, OpenPage, new_job
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.without_keeper

FORM = "form[data-wiring]"


def type_rows(page: Page, rows: list[tuple[str, str, str]]) -> None:
    wires = page.locator(f"{FORM} [data-list=wires] li")
    for k, row in enumerate(rows):
        for name, text in zip(("colour", "at_probe", "at_unit"), row, strict=True):
            wires.nth(k).locator(f"[data-cell={name}]").fill(text)


@pytest.fixture
def wired(open_page: OpenPage, api: Api) -> Any:
    """Opens the Plan stage of a fresh job with the wiring half typed."""

    def opened(size: tuple[int, int] = PHONE) -> tuple[Page, str]:
        job = new_job(api)
        page = open_page(f"/jobs/{job}/plan", size)
        page.wait_for_selector(f"{FORM} [data-part=remarks] li")
        page.select_option("#wiring-fed", "permanent")
        page.fill("#wiring-length_m", "12,5")
        page.fill("#wiring-battery_ah", "180")
        load = {"name": "probe", "least_v": "9", "most_v": "60", "running_ma": "50"}
        for name, text in {**load, "standing_ma": "8"}.items():
            page.fill(f"{FORM} [data-list=loads] [data-cell={name}]", text)
        return page, job

    return opened


def test_a_crossing_is_judged_as_it_is_typed(wired: Any) -> None:
    page, _ = wired()
    assert page.input_value("#wiring-supply") == "24 V"
    type_rows(page, [("red", "+24V", "+24V"), ("black", "GND", "GND"), ("white", "TX", "TX")])
    crossing = page.locator(f"{FORM} [data-part=crossing]").nth(2)
    crossing.filter(has_text="cross it, transmit goes to receive").wait_for()

    type_rows(page, [("red", "+24V", "+24V"), ("black", "GND", "GND"), ("white", "TX", "RX")])
    crossing.filter(has_text="fits").wait_for()
    page.locator(f"{FORM} [data-part=remarks]").filter(has_text="Nothing is wrong").wait_for()
    figures = page.inner_text(f"{FORM} [data-part=figures]")
    assert "0.5 mm²" in figures
    assert "days" in figures
    assert "minus lead off first" in page.inner_text(f"{FORM} [data-part=cautions]")
    page.fill("#wiring-area_mm2", "AWG 14")
    expect(page.locator(f"{FORM} [data-part=figures]")).to_contain_text("14 AWG (2.08 mm²)")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []


def test_it_is_recorded_and_the_mount_stage_shows_fuse_and_pins(
    open_page: OpenPage, wired: Any, api: Api
) -> None:
    page, job = wired()
    type_rows(page, [("red", "+24V", "+24V"), ("black", "GND", "GND"), ("white", "TX", "RX")])
    page.locator(f"{FORM} [data-part=remarks]").filter(has_text="Nothing is wrong").wait_for()
    page.click('[data-do="record-wiring"]')
    page.wait_for_selector("#wiring-reason")

    tank = api.call("GET", f"/api/jobs/{job}")["tanks"][0]
    assert tank["wiring"]["length_m"] == "12,5"
    assert tank["wiring_found"]["verdict"] == "clear"
    assert page.locator(f"{FORM} [data-list=wires] li").count() == 3
    assert page.input_value(f"{FORM} [data-list=loads] [data-cell=running_ma]") == "50"
    mount = open_page(f"/jobs/{job}/mount", PHONE)
    assert "Fuse 1 A" in mount.inner_text("[aria-labelledby=wired-title]")
    assert mount.locator("[aria-labelledby=wired-title] tbody tr").count() == 3
    assert complaints(mount) == []


def test_what_is_typed_survives_a_reload_and_a_wrong_figure_is_marked(
    open_page: OpenPage, wired: Any
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page, _ = wired(DESK)
    page.click(f'{FORM} [data-list=stations] [data-do="add-row"]')
    page.keyboard.type("unit")
    page.keyboard.press("Tab")
    page.keyboard.type("300")
    error = page.locator(f"{FORM} [data-part=wiring-error]")
    error.filter(has_text="must be 1 to 247, found 300").wait_for()

    page.reload()
    error.filter(has_text="must be 1 to 247, found 300").wait_for()
    assert page.input_value("#wiring-length_m") == "12,5"
    page.fill(f"{FORM} [data-list=stations] [data-cell=address]", "3")
    page.wait_for_function(
        "() => !document.querySelector('form[data-wiring] [data-part=wiring-error]').textContent"
    )
