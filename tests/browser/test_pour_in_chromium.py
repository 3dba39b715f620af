"""The pour screen in a real browser: typed, judged, answered, undone."""

import re

import pytest
from browser_sheets import OVERFLOW, complaints, is_above_the_fold
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

from gaugewright.app.yard import RigHere
from gaugewright.instruments.rig import Rig, RigSettings
from gaugewright.instruments.rig_lines import RunningRig
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.workbench.running import Workbench

FILL = [62, 56, 60, 58]
MISTAKE_L, TRUE_L = 75, 57


@pytest.fixture
def half_poured(api: Api) -> str:
    return poured(api, new_job(api), FILL)


def with_a_mistake(api: Api, job: str) -> None:
    after = counts_after(START_L + sum(FILL) + TRUE_L)
    verdict = api.record(job, "/tanks/left/pours", added_l=MISTAKE_L, counts=after)["verdict"]
    assert verdict["blocks"]


def pours_of(api: Api, job: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"][
        "pours"
    ]
    return found


def test_the_entry_is_above_the_fold_while_a_verdict_is_open(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    with_a_mistake(api, half_poured)
    page = open_page(f"/jobs/{half_poured}/pour", PHONE)

    for seen in ("#litres", "form.entry button.main", ".verdict h2", ".verdict .row button"):
        assert is_above_the_fold(page, seen), seen
    assert page.locator("#litres").input_value() == "75.0"
    assert page.evaluate(OVERFLOW) <= 0
    assert complaints(page) == []


def test_a_whole_fill_with_a_mistake_caught_by_keyboard_alone(
    open_page: OpenPage, api: Api
) -> None:
    job = new_job(api)
    page = open_page(f"/jobs/{job}/pour", DESK)

    def press_to(name: str, role: str = "button") -> None:
        target = page.get_by_role(role, name=name, exact=True)  # type: ignore[arg-type]
        for _ in range(60):
            if target.count() and target.first.evaluate("e => e === document.activeElement"):
                return
            page.keyboard.press("Tab")
        pytest.fail(f"{name} cannot be reached with Tab")

    press_to("Begin")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Record the drained tank").wait_for()
    press_to("Counts that the probe shows", "textbox")
    page.keyboard.type(str(counts_after(START_L)))
    page.keyboard.press("Enter")
    total = START_L
    for step, litres in enumerate([*FILL, TRUE_L], start=1):
        expect(page.locator("[data-pour]")).to_have_attribute("data-step", str(step))
        total += litres
        press_to("Litres by the meter", "textbox")
        page.keyboard.type(f"{MISTAKE_L if litres == TRUE_L else litres},0")
        press_to("Counts that the probe shows", "textbox")
        page.keyboard.type(str(counts_after(total)))
        page.keyboard.press("Enter")
    page.locator(".verdict").wait_for()
    expect(page.locator(".verdict")).to_contain_text("57 L instead of 75 L would fit")

    press_to("Use 57.0\u00a0L")
    page.keyboard.press("Enter")
    page.locator(".verdict").wait_for(state="detached")

    standing = [p for p in pours_of(api, job) if p["voided"] is None]
    assert [p["added_l"] for p in standing] == [0, *FILL, TRUE_L]
    assert "voided" in page.locator("tr.void").inner_text() or page.locator("tr.void").count() == 1


def test_a_decimal_comma_is_taken_and_never_read_as_thousands(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    open_page.expected = ("409",)  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour")

    page.get_by_label("Litres by the meter").fill("40,5")
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 40.5))
    )
    page.evaluate("document.getElementById('sheet').dataset.number = 3")  # others have gone on
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#notice")).to_contain_text("Somebody else recorded on this job first")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")

    expect(page.locator("#notice")).to_be_empty()
    assert pours_of(api, half_poured)[-1]["added_l"] == 40.5
    assert page.evaluate("localStorage.getItem('gw-outbox')") in (None, "[]")


def test_an_empty_entry_is_asked_for_and_nothing_is_recorded(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour")

    page.get_by_role("button", name="Record", exact=True).click()

    expect(page.locator("#entry-error")).to_have_text("Type the litres that the meter shows.")
    assert page.locator("#litres").get_attribute("aria-invalid") == "true"
    assert len(pours_of(api, half_poured)) == len(FILL) + 1


def test_what_is_no_number_is_named_and_stays_in_the_entry(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour")

    page.get_by_label("Litres by the meter").fill("1.200,5")
    page.get_by_label("Counts that the probe shows").fill("3300")
    page.get_by_role("button", name="Record", exact=True).click()

    expect(page.locator("#entry-error")).not_to_be_empty()
    assert page.locator("#litres").input_value() == "1.200,5"
    assert len(pours_of(api, half_poured)) == len(FILL) + 1


def test_a_finding_comes_into_sight_from_wherever_the_page_was_scrolled_to(
    open_page: OpenPage, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour", PHONE)
    page.get_by_label("Litres by the meter").fill(str(MISTAKE_L))
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + TRUE_L))
    )
    page.evaluate("window.scrollTo(0, 400)")
    page.keyboard.press("Enter")
    page.locator(".verdict").wait_for()
    page.wait_for_function("() => window.scrollY === 0")

    assert is_above_the_fold(page, "#litres")
    assert is_above_the_fold(page, ".verdict .row button")


def test_an_open_finding_stops_the_flow_until_it_is_kept_with_a_reason(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    with_a_mistake(api, half_poured)
    page = open_page(f"/jobs/{half_poured}/pour")
    assert page.get_by_role("button", name="Record", exact=True).count() == 0

    page.get_by_role("button", name="Keep, with a reason").click()
    dialog = page.locator("#ask-reason")
    dialog.get_by_role("button", name="meter and probe read twice").click()
    assert complaints(page) == []
    dialog.get_by_role("button", name="Keep, with a reason").click()
    page.get_by_role("button", name="Record", exact=True).wait_for()

    verdict = api.call("GET", f"/api/jobs/{half_poured}/tanks/left/verdict")
    assert not verdict["blocks"]
    answers = [f["answer"] for f in verdict["findings"] if f["answer"]]
    assert [a["reason"] for a in answers] == ["meter and probe read twice"]


def test_the_litres_typed_again_answer_the_finding(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    with_a_mistake(api, half_poured)
    page = open_page(f"/jobs/{half_poured}/pour")

    page.locator("#litres").fill("57,0")
    page.get_by_role("button", name="Correct").click()
    page.get_by_role("button", name="Record", exact=True).wait_for()

    assert [p["added_l"] for p in pours_of(api, half_poured) if p["voided"] is None][-1] == 57


def test_a_level_that_did_not_rise_is_answered_with_the_reading_not_with_litres(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    stuck = counts_after(START_L + sum(FILL))
    found = api.record(half_poured, "/tanks/left/pours", added_l=57, counts=stuck)["verdict"]
    assert [f["kind"] for f in found["findings"] if f["is_open"]] == ["not_rising"]
    page = open_page(f"/jobs/{half_poured}/pour", PHONE)
    assert page.locator("#litres").count() == 0
    expect(page.get_by_role("button", name="Nothing was poured: void it")).to_be_visible()
    expect(page.get_by_role("button", name="Take the reading of now")).to_have_count(0)

    page.get_by_role("button", name="Correct").click()
    expect(page.locator("#entry-error")).to_contain_text("stands in the record already")
    page.get_by_role("button", name="Type the counts again").click()
    right = counts_after(START_L + sum(FILL) + 57)
    page.get_by_label("what does the probe show?").fill(str(right))
    page.get_by_role("button", name="Correct").click()
    page.get_by_role("button", name="Record", exact=True).wait_for()

    last = [p for p in pours_of(api, half_poured) if p["voided"] is None][-1]
    assert (last["added_l"], last["counts"]) == (57, right)


def test_a_pour_of_nothing_is_refused_with_the_name_of_its_field(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour", PHONE)

    page.get_by_label("Litres by the meter").fill("-5")
    page.get_by_label("Counts that the probe shows").fill("3300")
    page.get_by_role("button", name="Record", exact=True).click()

    expect(page.locator("#entry-error")).to_contain_text(
        "Litres by the meter: a pour adds fuel, so this must be above 0, found"
    )
    assert len(pours_of(api, half_poured)) == len(FILL) + 1


def test_undo_voids_the_pour_and_leaves_it_struck_through_with_its_reason(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour")

    page.get_by_role("button", name="Undo").click()
    dialog = page.locator("#ask-reason")
    dialog.get_by_label("Reason").fill("hose was still dripping")
    dialog.get_by_role("button", name="Undo").click()
    row = page.locator("tr.void")
    row.wait_for()

    expect(row).to_contain_text("voided: hose was still dripping")
    line = row.locator("td").first.evaluate("e => getComputedStyle(e).textDecorationLine")
    assert line == "line-through"
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "4")


def test_what_another_device_records_shows_and_what_is_typed_here_stays(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour")
    page.get_by_label("Litres by the meter").fill("33")

    api.record(
        half_poured, "/tanks/left/pours", added_l=40,
        counts=counts_after(START_L + sum(FILL) + 40),
    )  # fmt: skip

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    assert page.locator("#litres").input_value() == "33"


def test_the_drawing_says_in_a_sentence_what_it_shows(
    open_page: OpenPage, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour", DESK)

    label = page.locator(".dwg.wide").get_attribute("aria-label")
    assert label is not None
    assert re.match(r"Section of left tank\. After the last pour the fuel stood at 404", label)
    assert page.locator(".dwg.narrow").is_hidden()


def signals(page: Page) -> list[list[int]]:
    found: list[list[int]] = page.evaluate("window.shakes")
    return found


def test_vibration_tells_recorded_from_finding_only_if_it_is_allowed(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour")

    def record(litres: float, true_l: float, total: float) -> None:
        page.get_by_label("Litres by the meter").fill(f"{litres}")
        page.get_by_label("Counts that the probe shows").fill(str(counts_after(total + true_l)))
        page.get_by_role("button", name="Record", exact=True).click()

    record(20, 20, START_L + sum(FILL))
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    assert signals(page) == []
    page.get_by_label("Sound and vibration").check()
    record(20, 20, START_L + sum(FILL) + 20)
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "7")
    assert len(signals(page)) == 1
    record(62, 26, START_L + sum(FILL) + 40)
    page.locator(".verdict").wait_for()

    assert len(signals(page)) == 2
    assert sum(signals(page)[1]) > 3 * sum(signals(page)[0])


def test_the_demonstration_dispenser_says_what_its_litres_are(
    open_page: OpenPage, bench: Workbench, half_poured: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    running = RunningRig(Rig(Tank(**TANK), Probe(**PROBE), RigSettings(start_l=50.0)), 1.0)
    with running:
        monkeypatch.setattr(bench.yard, "rig", RigHere(running, half_poured, "left"))
        page = open_page(f"/jobs/{half_poured}/pour", PHONE)
        expect(page.locator('[data-part="rig"]')).to_have_text(
            re.compile(r"Its counter shows 0\.0.L")
        )
