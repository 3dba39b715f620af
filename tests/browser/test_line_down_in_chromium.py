"""The line goes down and comes back: nothing lost, nothing twice, nothing old shown as live."""

from collections.abc import Iterator
from datetime import UTC, datetime
from time import monotonic

import pytest
from browser_yards import START_L, Api, Line, OpenPage, counts_after, new_job, poured
from playwright.sync_api import expect

from gaugewright.app.yard import Yard
from gaugewright.instruments.events import Trouble, TroubleKind
from gaugewright.instruments.reader import ReaderState
from gaugewright.instruments.rig import RIG_PATTERN, Rig, RigSettings
from gaugewright.instruments.rig_lines import RunningRig, SerialTextLine
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.workbench.running import Workbench

FILL = [62, 56, 60, 58]
WITHIN_MS = 10_000
"""Within how many seconds a person is told that the line hangs. [ms]"""


@pytest.fixture
def half_poured(api: Api) -> str:
    return poured(api, new_job(api), FILL)


def pours_of(api: Api, job: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = api.call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"][
        "pours"
    ]
    return found


def test_a_pour_pressed_without_a_line_is_kept_and_recorded_once_on_return(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    open_page.expected = ("ERR_", "Failed to fetch", "Failed to load")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour")
    page.get_by_label("Litres by the meter").fill("40")
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 40))
    )

    page.context.set_offline(True)
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#notice")).to_contain_text("Kept on this device")
    page.get_by_role("button", name="Record", exact=True).click()
    page.get_by_role("button", name="Record", exact=True).click()
    assert len(page.evaluate("JSON.parse(localStorage.getItem('gw-outbox'))")) == 1
    assert len(pours_of(api, half_poured)) == len(FILL) + 1
    page.context.set_offline(False)

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    assert [p["added_l"] for p in pours_of(api, half_poured)][-1] == 40
    assert len(pours_of(api, half_poured)) == len(FILL) + 2
    assert page.evaluate("localStorage.getItem('gw-outbox')") == "[]"


def test_an_answer_lost_on_the_way_back_does_not_record_twice(
    open_page: OpenPage, api: Api, half_poured: str
) -> None:
    open_page.expected = ("ERR_", "Failed to", "fetching the script")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour")
    lost = []

    def lose_first(route):  # type: ignore[no-untyped-def]
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())  # the server has recorded it
        route.abort()

    page.route("**/tanks/left/pours", lose_first)
    page.get_by_label("Litres by the meter").fill("40")
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 40))
    )
    page.get_by_role("button", name="Record", exact=True).click()
    page.wait_for_function("() => localStorage.getItem('gw-outbox') === '[]'")

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    assert lost[0].ok
    assert len(pours_of(api, half_poured)) == len(FILL) + 2


def test_what_is_typed_is_still_there_after_the_page_was_closed(
    open_page: OpenPage, half_poured: str
) -> None:
    page = open_page(f"/jobs/{half_poured}/pour")
    page.get_by_label("Litres by the meter").fill("41,5")
    page.reload()

    assert page.get_by_label("Litres by the meter").input_value() == "41,5"


@pytest.fixture
def radio(bench: Workbench) -> Iterator[Line]:
    """The line between the phone and the workbench."""
    made = Line(bench.url)
    yield made
    made.close()


@pytest.fixture
def live_job(bench: Workbench, api: Api, half_poured: str):  # type: ignore[no-untyped-def]
    """A half-poured job whose probe is read live from the rig over a serial line."""
    from browser_yards import PROBE, TANK

    rig = Rig(Tank(**TANK), Probe(**PROBE), RigSettings(start_l=START_L + sum(FILL)))
    running = RunningRig(rig, 1.0)
    line = SerialTextLine()
    running.add(line)
    yard: Yard = bench.yard
    with running:
        settings = {"kind": "serial_text", "port": line.path, "pattern": RIG_PATTERN}
        api.record(half_poured, "/instruments/left", "PUT", settings=settings)
        yield half_poured, rig
        yard.desk.stop(half_poured, "left")


def test_a_live_reading_is_shown_with_its_age_and_never_as_live_when_it_is_old(
    open_page: OpenPage, live_job: tuple[str, Rig]
) -> None:
    job, rig = live_job
    page = open_page(f"/jobs/{job}/pour")
    reading = page.locator("[data-live]")
    expect(reading).to_have_attribute("data-state", "steady")
    expect(reading.locator("[data-part=state]")).to_have_text("■ Steady")
    shown = reading.locator("[data-part=counts]").inner_text().replace("\u202f", "")
    assert abs(int(shown) - counts_after(START_L + sum(FILL))) < 30

    from gaugewright.instruments.rig_orders import order

    order(rig, "fault silent")
    expect(reading).to_have_attribute("data-state", "old")

    expect(reading.locator("[data-part=age]")).to_contain_text("not live")
    expect(reading.locator("[data-part=state]")).to_contain_text("No live reading")
    assert "old" in page.locator("[data-drawing]").get_attribute("class")
    order(rig, "fault none")
    expect(reading).not_to_have_attribute("data-state", "old")


def test_a_line_to_the_probe_that_is_gone_leaves_the_entry_on_the_screen(
    open_page: OpenPage, bench: Workbench, live_job: tuple[str, Rig]
) -> None:
    job, _ = live_job
    live = bench.yard.desk.get(job, "left")
    assert live is not None
    page = open_page(f"/jobs/{job}/pour")
    trouble = page.locator("[data-live] [data-part=trouble]")
    expect(page.locator("[data-live]")).to_have_attribute("data-state", "steady")

    whole = f"the line is gone: {live.settings.describe()}"
    live._take(  # noqa: SLF001
        Trouble("left", datetime.now(UTC), monotonic(), TroubleKind.DISCONNECTED, whole),
        ReaderState.DISCONNECTED,
    )

    expect(trouble).to_have_text("the line to left is gone, trying again")
    entry = page.get_by_label("Litres by the meter").bounding_box()
    assert entry is not None
    assert entry["y"] < page.viewport_size["height"]  # type: ignore[index]


def test_what_a_line_says_that_cannot_be_opened_is_folded_on_the_bench_page(
    open_page: OpenPage, api: Api, half_poured: str, bench: Workbench
) -> None:
    settings = {"kind": "serial_text", "port": "/dev/none", "pattern": RIG_PATTERN}
    api.record(half_poured, "/instruments/left", "PUT", settings=settings)
    page = open_page(f"/jobs/{half_poured}/bench")
    reading = page.locator("[data-live]").first

    expect(reading.locator("[data-part=trouble]")).to_have_text(
        "the line to left cannot be opened, trying again"
    )
    details = reading.locator("[data-part=trouble-details]")
    expect(details).to_be_hidden()
    reading.get_by_text("What the line says").click()
    expect(details).to_contain_text("port=/dev/none")
    bench.yard.desk.stop(half_poured, "left")


def test_a_line_that_hangs_is_told_within_seconds_and_comes_back_by_itself(
    open_page: OpenPage, live_job: tuple[str, Rig], radio: Line
) -> None:
    open_page.expected = ("ERR_", "Failed to", "fetching the script")  # type: ignore[attr-defined]
    job, _ = live_job
    page = open_page(f"/jobs/{job}/pour", url=radio.url)
    reading = page.locator("[data-live]")
    expect(reading.locator("[data-part=age]")).to_contain_text("ago")

    radio.hang()
    expect(reading).to_have_attribute("data-state", "old", timeout=WITHIN_MS)
    expect(page.locator("#notice")).to_contain_text("No connection", timeout=WITHIN_MS)
    page.wait_for_timeout(1500)
    assert reading.get_attribute("data-state") == "old"
    assert "not live" in reading.locator("[data-part=age]").inner_text()
    radio.come_back()

    expect(reading).not_to_have_attribute("data-state", "old")
    expect(page.locator("#notice")).not_to_contain_text("No connection")


def test_a_pour_pressed_while_the_line_hangs_is_recorded_once(
    open_page: OpenPage, api: Api, half_poured: str, radio: Line
) -> None:
    open_page.expected = ("ERR_", "Failed to", "fetching the script")  # type: ignore[attr-defined]
    page = open_page(f"/jobs/{half_poured}/pour", url=radio.url)
    page.get_by_label("Litres by the meter").fill("40")
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 40))
    )

    radio.hang()
    page.get_by_role("button", name="Record", exact=True).click()
    page.wait_for_timeout(500)
    radio.come_back()

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    assert [p["added_l"] for p in pours_of(api, half_poured)][5:] == [40]


def test_steady_is_told_once_by_vibration_not_with_every_reading(
    open_page: OpenPage, live_job: tuple[str, Rig]
) -> None:
    job, _ = live_job
    page = open_page(f"/jobs/{job}/pour")
    page.get_by_label("Sound and vibration").check()
    expect(page.locator("[data-live]")).to_have_attribute("data-state", "steady")
    page.wait_for_timeout(1500)

    assert len(page.evaluate("window.shakes")) <= 1


def test_a_reading_that_is_not_steady_is_not_recorded_without_a_person_saying_so(
    open_page: OpenPage, api: Api, live_job: tuple[str, Rig]
) -> None:
    open_page.expected = ("409",)  # type: ignore[attr-defined]
    job, rig = live_job
    page = open_page(f"/jobs/{job}/pour")
    expect(page.locator("[data-live]")).to_have_attribute("data-state", "steady")
    rig.pour(30)
    expect(page.locator("[data-live]")).to_have_attribute("data-state", "not_steady")

    page.get_by_label("Litres by the meter").fill("30")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#entry-error")).to_contain_text("not steady")
    expect(page.locator("#entry-error")).to_contain_text("Wait until it says ■ Steady")
    expect(page.get_by_label("Counts that the probe shows")).to_be_hidden()  # nothing mistyped
    assert len(pours_of(api, job)) == len(FILL) + 1
    page.get_by_role("button", name="Record all the same").click()

    expect(page.locator("tbody tr").first).to_contain_text("unsteady")
    assert pours_of(api, job)[-1]["is_steady"] is False
