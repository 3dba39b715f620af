"""The Certificate stage in a real browser: signing by hand, taking it away, checking it."""

from pathlib import Path

import pytest
from browser_sheets import OVERFLOW, SMALL, complaints
from browser_yards import DESK, PHONE, Api, OpenPage, new_job, poured
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.without_keeper

SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture
def tabled(api: Api) -> str:
    """A job whose table is accepted."""
    job = poured(api, new_job(api, "Truck 9"), [62, 56, 60, 58])
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    return job


def draw(page: Page) -> None:
    """Draw a stroke and a dot on the pad."""
    pad = page.locator("canvas[data-pad]")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 20, box["y"] + 50)
    page.mouse.down()
    for k in range(20):
        page.mouse.move(box["x"] + 20 + 8 * k, box["y"] + 40 + 25 * (k % 3))
    page.mouse.up()
    page.mouse.click(box["x"] + 250, box["y"] + 30)


INKED = "(pad) => pad.getContext('2d').getImageData(0, 0, 1000, 300).data.some((v) => v > 0)"


@SIZES
def test_it_is_signed_by_hand_taken_away_and_checked(
    open_page: OpenPage, api: Api, tabled: str, size: tuple[int, int], tmp_path: Path
) -> None:
    page = open_page(f"/jobs/{tabled}/certificate", size)
    page.get_by_label("Place of the work").fill("Halden, bay 3")
    page.get_by_label("Paper", exact=True).select_option("letter")
    draw(page)
    assert page.locator("canvas[data-pad]").evaluate(INKED)
    page.get_by_role("button", name="Issue the certificate").click()
    page.get_by_text(f"Certificate C-{tabled}").first.wait_for()

    issued = api.call("GET", f"/api/jobs/{tabled}")["certificate"]
    assert (issued["is_drawn"], issued["place"]) == (True, "Halden, bay 3")
    entry = api.call("GET", f"/api/jobs/{tabled}/entries")[-1]["payload"]
    assert [len(stroke) > 2 for stroke in entry["strokes"]] == [True, False]
    assert entry["issue"]["paper"] == "letter"

    with page.expect_download() as taken:
        page.get_by_role("link", name="The certificate, PDF").click()
    file = tmp_path / "c.pdf"
    taken.value.save_as(file)
    assert file.read_bytes().startswith(b"%PDF-1.7")
    page.get_by_label("Certificate, PDF", exact=True).set_input_files(file)
    page.get_by_role("button", name="Check it").click()
    checks = page.locator('[data-part="checks"] li')
    expect(checks).to_have_count(6)
    expect(checks.last).to_contain_text(f"Unaltered: certificate C-{tabled}")
    assert complaints(page) == []
    assert page.evaluate(OVERFLOW) <= 0
    assert page.evaluate(SMALL) == []


def test_an_altered_file_is_told_on_the_page(
    open_page: OpenPage, api: Api, tabled: str, tmp_path: Path
) -> None:
    page = open_page(f"/jobs/{tabled}/certificate")
    with page.expect_download() as taken:
        page.get_by_role("link", name="Look at a draft first, PDF").click()
    file = tmp_path / "d.pdf"
    taken.value.save_as(file)
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(bytes(content))
    page.get_by_label("Certificate, PDF", exact=True).set_input_files(file)
    page.get_by_role("button", name="Check it").click()
    last = page.locator('[data-part="checks"] li').last
    expect(last).to_contain_text("Altered, or not what was issued")


def test_the_pad_is_wiped_and_keeps_its_strokes_while_the_sheet_is_drawn_anew(
    open_page: OpenPage, api: Api, tabled: str
) -> None:
    page = open_page(f"/jobs/{tabled}/certificate")
    draw(page)
    api.record(tabled, "/notes", text="somebody else wrote meanwhile")
    page.wait_for_function(
        "(was) => document.getElementById('sheet').dataset.number > was",
        arg=page.locator("#sheet").get_attribute("data-number"),
    )
    assert page.locator("canvas[data-pad]").evaluate(INKED)
    page.get_by_role("button", name="Sign again").click()
    assert not page.locator("canvas[data-pad]").evaluate(INKED)


def test_made_anew_it_asks_why_and_lists_the_one_before_on_whose_paper_it_is(
    open_page: OpenPage, api: Api, tabled: str
) -> None:
    told = {"paper": "letter", "units": "us", "place": "Bay 3"}
    api.record(tabled, "/certificate", certificate_number="C-1", **told)
    api.record(tabled, "/notes", text="strap replaced")
    page = open_page(f"/jobs/{tabled}/certificate")
    page.get_by_text("Make it anew").click()
    page.get_by_label("Why it is made anew").fill("strap replaced")
    page.get_by_role("button", name="Issue the certificate").click()
    page.get_by_text("Stands in for C-1: strap replaced").wait_for()
    page.get_by_role("heading", name="Issued before").wait_for()
    issued = api.call("GET", f"/api/jobs/{tabled}")["certificates"]
    assert [c["certificate_number"] for c in issued] == ["C-1", f"C-{tabled}"]
    assert {name: issued[1][name] for name in told} == told
