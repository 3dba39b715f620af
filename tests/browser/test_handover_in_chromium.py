"""The hand-over on a phone: a recipe by questions, the text to paste, what is copied back."""

import re
from pathlib import Path

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, PHONE, Api, OpenPage, new_job, poured
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.without_keeper


@pytest.fixture
def job(api: Api) -> str:
    """A job with an accepted table."""
    found = poured(api, new_job(api, "Truck 9"), [62, 56, 60, 58])
    made = api.record(found, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(found, "/tanks/left/table/accept", digest=made["digest"])
    return found


def given(page: Page) -> str:
    page.wait_for_function("() => document.getElementById('given').value !== ''")
    return page.input_value("#given")


def choose(page: Page, name: str) -> None:
    page.fill("#recipe-name", name)
    page.fill("#recipe-most_rows", "9")
    page.select_option("#recipe-scale", "full_scale")
    page.fill("#recipe-scale_high", "1023")
    page.select_option("#recipe-volume_unit", "US gal")
    page.select_option("#recipe-decimal_mark", "comma")
    page.fill("#recipe-header", "Raw;Fuel")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_recipe_by_questions_gives_the_text_and_its_cost(
    open_page: OpenPage, job: str, size: tuple[int, int]
) -> None:
    page = open_page(f"/jobs/{job}/table", size)
    whole = given(page)
    assert page.locator('[data-question="scale_high"]').is_hidden()

    choose(page, f"depot {size[0]}")
    expect(page.locator('[data-part="tried"]')).to_contain_text("9 of")
    expect(page.locator('[data-part="tried"]')).to_contain_text("One step of their scale")
    page.click('form[data-form="recipe"] button')
    expect(page.locator("#given-title + p")).to_contain_text(f"depot {size[0]}")
    expect(page.locator('[data-part="cost"]')).to_contain_text("9 of")
    expect(page.locator('[data-part="cost"]')).to_contain_text("within a band of ±")

    text = given(page)
    assert text != whole
    assert text.splitlines()[0] == "Raw;Fuel"
    assert len(text.splitlines()) == 10
    assert re.fullmatch(r"\d+;\d+,\d", text.splitlines()[-1])
    with page.expect_download() as download:
        page.click("text=Download it")
    assert Path(download.value.path()).read_bytes() == text.encode()

    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []


def test_copy_it_puts_the_very_text_on_the_clipboard(open_page: OpenPage, job: str) -> None:
    page = open_page(f"/jobs/{job}/table", PHONE, permissions=["clipboard-read", "clipboard-write"])
    text = given(page)
    page.click("text=Copy it")
    expect(page.locator('[data-part="copied"]')).to_have_text("Copied. Paste it there.")
    assert page.evaluate("navigator.clipboard.readText()").replace("\r\n", "\n") == text


def test_an_answer_that_cannot_be_is_said_at_its_question(open_page: OpenPage, job: str) -> None:
    open_page.expected = ("422",)  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{job}/table")
    given(page)
    choose(page, "depot with a slip")
    page.fill("#recipe-most_rows", "1")
    page.click('form[data-form="recipe"] button')
    expect(page.locator('form[data-form="recipe"] .error')).to_contain_text("must be 2 to 10000")
    assert page.get_attribute("#recipe-most_rows", "aria-invalid") == "true"


def test_what_is_copied_back_stands_until_it_is_clean(open_page: OpenPage, job: str) -> None:
    page = open_page(f"/jobs/{job}/table")
    expect(page.locator("#back-title + p")).to_contain_text("Nobody has looked yet")
    lines = given(page).splitlines()
    counts, litres = lines[5].split(",")
    wrong = "\n".join([*lines[:5], f"{counts},{litres.replace('.', '')}", *lines[6:]])
    page.fill("#shown-text", wrong)
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("1 thing differs")
    expect(page.locator('[data-part="differences"] li')).to_contain_text("decimal mark has slipped")
    expect(page.locator("[data-handover]")).to_contain_text("it is wrong by up to")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []

    page.fill("#shown-text", "\n".join(lines))
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("nothing differs")


def test_a_file_or_rows_typed_by_hand_serve_too(
    open_page: OpenPage, job: str, api: Api, tmp_path: Path
) -> None:
    api.record(job, "/tanks/left/recipe", recipe={"name": "six rows", "most_rows": 6})
    page = open_page(f"/jobs/{job}/table")
    rows = [line.split(";") for line in given(page).splitlines()]
    page.click("text=or type it row by row")
    for number, (_, litres) in enumerate(rows, start=1):
        page.get_by_label(f"Row {number}: fuel").fill(litres if number != 3 else "1")
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("1 thing differs")
    expect(page.locator('[data-part="differences"] li')).to_contain_text("Row 3")
    expect(page.get_by_label("Row 6: fuel")).to_have_value(rows[5][1])
    page.get_by_label("Row 3: fuel").fill(rows[2][1])
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("nothing differs in 6 rows")
    expect(page.get_by_label("Row 6: fuel")).to_have_value("")

    shown = tmp_path / "shown.txt"
    shown.write_text(given(page))
    page.set_input_files("#shown-file", str(shown))
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("nothing differs in 6 rows")


def test_a_difference_that_has_to_stay_is_accepted_by_name(open_page: OpenPage, job: str) -> None:
    page = open_page(f"/jobs/{job}/table")
    page.fill("#shown-text", "\n".join(given(page).splitlines()[:-1]))
    page.click("text=Look for differences")
    expect(page.locator("#back-title + p")).to_contain_text("differs")
    page.click("text=It has to stay different")
    page.fill("#accepted-by", "Bea Lund")
    page.fill("#accepted-why", "closed at the filler cap")
    page.click("text=Accept the difference")
    expect(page.locator("#back-title + p")).to_contain_text(
        "It differs, and Bea Lund stands for that: closed at the filler cap"
    )
