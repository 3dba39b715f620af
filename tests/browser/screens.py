"""Take the pictures of every stage in docs/screens.  Run it by hand and look at them.

    python tests/browser/screens.py

It opens a fresh book with the simulated rig on a serial line, so figures are invented.
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from browser_yards import (
    ARGUMENTS,
    CHROMIUM,
    DESK,
    PHONE,
    PROBE,
    START_L,
    TANK,
    Api,
    Line,
    counts_after,
    new_job,
    poured,
)
from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from gaugewright.app.watch_upload import Upload, take_in
from gaugewright.app.yard import RigHere, Stamp, Yard
from gaugewright.instruments.rig import RIG_PATTERN, Rig, RigSettings
from gaugewright.instruments.rig_lines import RunningRig, SerialTextLine
from gaugewright.journal.book import open_book
from gaugewright.probe import Probe
from gaugewright.table.table import Table
from gaugewright.tank.description import Tank
from gaugewright.testing.service import receipts_csv, service_columns, service_csv, usual_changes
from gaugewright.workbench.running import Workbench, prepare

SCREENS = Path(__file__).parents[2] / "docs" / "screens"
FILL = [62, 56, 60, 58]


def photo() -> bytes:
    """Return an invented photo: three bands of colour."""
    made = Image.new("RGB", (640, 480), "#6b7075")
    made.paste("#b9bec2", (60, 120, 580, 400))
    made.paste("#3c4146", (280, 60, 350, 140))
    content = BytesIO()
    made.save(content, "JPEG")
    return content.getvalue()


def live_job(api: Api, yard: Yard, running: RunningRig, line: SerialTextLine) -> str:
    """A job half poured, its probe read live, its dispenser to press."""
    job = poured(api, new_job(api), FILL)
    settings = {"kind": "serial_text", "port": line.path, "pattern": RIG_PATTERN}
    api.record(job, "/instruments/left", "PUT", settings=settings)
    api.record(job, "/facts", facts={"fuel": "diesel", "condition": "straps rusty, no leak"})
    api.record(job, "/tanks/left/bench/zero", counts=31)
    api.record(job, "/tanks/left/bench/span", counts=3650, fuel="diesel")
    yard.rig = RigHere(running, job, "left")
    return job


def finished_job(api: Api) -> str:
    """A job with its table accepted and proved."""
    job = poured(api, new_job(api, "Truck 7"), [*FILL, 50])
    made = api.record(job, "/tanks/left/table")["job"]["tanks"][0]["table"]
    api.record(job, "/tanks/left/table/accept", digest=made["digest"])
    full = START_L + sum(FILL) + 50
    api.record(
        job, "/tanks/left/check-pours", added_l=20,
        counts_before=counts_after(full), counts_after=counts_after(full + 20),
    )  # fmt: skip
    return job


def watch_a_week(yard: Yard, api: Api, job: str) -> None:
    """Give a finished job nine days of an invented log, with a drain and a receipt too high."""
    levels = np.array([START_L, *(START_L + np.cumsum([*FILL, 50]))])
    table = Table(np.array([counts_after(v) for v in levels]), levels, None)
    changes = usual_changes(9, float(levels[-1]))
    log = service_csv(service_columns(table, changes, days=9, start_part=0.6), "Truck 7")
    receipts = receipts_csv(changes, "Truck 7", inflated_l=20.0)
    number = api.call("GET", f"/api/jobs/{job}")["number"]
    take_in(
        yard, job, Stamp("Kim Aldo", "this computer", number), "left",
        Upload(BytesIO(log.encode()), "truck-7-march.csv"),
        Upload(BytesIO(receipts.encode()), "receipts.csv"),
    )  # fmt: skip


@contextmanager
def opened(browser: Browser, url: str, size: tuple[int, int], theme: str) -> Iterator[Page]:
    """Open a page in a fresh context, without motion."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce"
    )
    context.add_init_script(
        f"localStorage.setItem('gw-theme', '{theme}');"
        "localStorage.setItem('gw-person', 'Kim Aldo');"
    )
    page = context.new_page()
    page.goto(url)
    page.evaluate("document.fonts.ready")
    yield page
    context.close()


def save(page: Page, name: str, **options: Any) -> None:
    """Keep a picture with as many colours as it needs: drawings need no more."""
    picture = Image.open(BytesIO(page.screenshot(**options))).convert("RGB")
    picture.quantize(160).save(SCREENS / f"{name}.png", optimize=True)


def take(browser: Browser, bench: Workbench, api: Api, live: str, done: str) -> None:
    """Take every picture."""
    base = bench.url.rstrip("/")
    pages = {"jobs": "/", "survey": f"/jobs/{live}/survey", "plan": f"/jobs/{live}/plan",
             "bench": f"/jobs/{live}/bench", "mount": f"/jobs/{live}/mount",
             "pour": f"/jobs/{live}/pour", "table": f"/jobs/{done}/table",
             "prove": f"/jobs/{done}/prove", "certificate": f"/jobs/{done}/certificate",
             "watch": f"/jobs/{done}/watch",
    }  # fmt: skip
    shots = [(n, p, "paper") for n, p in pages.items()]
    shots += [("pour-sun", pages["pour"], "sun"), ("pour-dark", pages["pour"], "dark")]
    for name, path, theme in shots:
        for kind, size in (("phone", PHONE), ("desk", DESK)):
            with opened(browser, base + path, size, theme) as page:
                if name.startswith(("pour", "bench")):
                    page.locator('[data-live][data-state="steady"]').wait_for(timeout=40000)
                if name == "watch":
                    page.locator('[data-watch-plot][data-state="drawn"]').wait_for(timeout=40000)
                save(page, f"{name}-{kind}")


def take_a_drain(browser: Browser, bench: Workbench, done: str) -> None:
    """Take the drain of the Watch stage, zoomed in on."""
    for kind, size in (("phone", PHONE), ("desk", DESK)):
        url = f"{bench.url.rstrip('/')}/jobs/{done}/watch"
        with opened(browser, url, size, "paper") as page:
            page.locator('[data-watch-plot][data-state="drawn"]').wait_for(timeout=40000)
            page.locator("#drains-title ~ ul [data-plot-show]").first.click()
            page.wait_for_timeout(1500)
            save(page, f"watch-drain-{kind}")


def take_the_moments(browser: Browser, bench: Workbench, api: Api, live: str) -> None:
    """Take a caution, a finding that is open, and the line down."""
    base = bench.url.rstrip("/")
    begun = {"person": "Kim Aldo", "request_id": "screens", "customer": "Halden Plant Hire"}
    job = api.call("POST", "/api/jobs", {**begun, "vehicle": "Excavator 2"})["job"]["job"]
    after = counts_after(START_L + sum(FILL) + 57)
    api.record(live, "/tanks/left/pours", added_l=75, counts=after)
    for kind, size in (("phone", PHONE), ("desk", DESK)):
        with opened(browser, f"{base}/jobs/{job}/survey", size, "paper") as page:
            save(page, f"caution-{kind}")
        with opened(browser, f"{base}/jobs/{live}/pour", size, "paper") as page:
            page.locator('[data-live][data-state="steady"]').wait_for(timeout=40000)
            save(page, f"finding-{kind}")
        line = Line(bench.url)
        with opened(browser, f"{line.url}/jobs/{live}/pour", size, "paper") as page:
            page.locator('[data-live][data-state="steady"]').wait_for(timeout=40000)
            line.hang()
            page.locator("#notice.offline").wait_for()
            page.wait_for_timeout(2500)
            save(page, f"offline-{kind}")
        line.close()


def main() -> None:
    """Run a workbench and a browser, and take the pictures."""
    SCREENS.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        yard = Yard(open_book(Path(folder) / "yard.book"))
        bench = prepare(yard, port=0).start()
        api = Api(bench.url)
        rig = Rig(Tank(**TANK), Probe(**PROBE), RigSettings(start_l=START_L + sum(FILL)))
        running, line = RunningRig(rig, 1.0), SerialTextLine()
        running.add(line)
        with running, sync_playwright() as playwright:
            live, done = live_job(api, yard, running, line), finished_job(api)
            watch_a_week(yard, api, done)
            browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
            take(browser, bench, api, live, done)
            take_a_drain(browser, bench, done)
            take_the_moments(browser, bench, api, live)
            browser.close()
            bench.stop()


if __name__ == "__main__":
    main()
