"""A running workbench and a real Chromium."""

import os
from collections.abc import Iterator
from typing import Any, Literal
from urllib.parse import urlsplit

import pytest
from browser_yards import ARGUMENTS, CHROMIUM, PATIENCE_MS, PHONE, Api, OpenPage
from playwright.sync_api import Browser, ConsoleMessage, Page, expect, sync_playwright

from gaugewright.app.yard import Yard
from gaugewright.journal.book import open_book
from gaugewright.workbench.running import Workbench, prepare

expect.set_options(timeout=PATIENCE_MS)

# Asked while somebody types: a form half filled is rightly refused, and the page says why.
AS_TYPED = ("/preview", "/check", "/plan/layout", "/hand-over/try")


def is_trouble(message: ConsoleMessage) -> bool:
    """Whether the console complains of anything but a form that is half typed."""
    asked = urlsplit(message.location.get("url", "")).path
    return message.type == "error" and not ("422" in message.text and asked.endswith(AS_TYPED))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser.  Where it is not installed the tests are skipped, except on CI."""
    if not CHROMIUM.exists():
        if os.environ.get("CI"):
            pytest.fail(f"{CHROMIUM} is missing: the browser tests must run here")
        pytest.skip(f"{CHROMIUM} is missing")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workbench]:
    """A workbench on a fresh book."""
    book = open_book(tmp_path_factory.mktemp("book") / "yard.book")
    running = prepare(Yard(book), port=0).start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def api(bench: Workbench) -> Api:
    return Api(bench.url, bench.yard)


@pytest.fixture
def open_page(
    chromium: Browser, bench: Workbench, request: pytest.FixtureRequest
) -> Iterator[OpenPage]:
    """Opens a page of the workbench; any console error fails the test at its end.

    Marked ``without_keeper``, no page is kept for when the line is down: to keep one, the
    browser fetches all its files once more in each test.
    """
    marked = request.node.get_closest_marker("without_keeper")
    keeper: Literal["allow", "block"] = "allow" if marked is None else "block"
    contexts, troubles = [], []

    def opened(
        path: str, size: tuple[int, int] = PHONE, *, url: str = bench.url, **options: Any
    ) -> Page:
        context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=size == PHONE,
            reduced_motion="reduce",
            service_workers=keeper,
            **options,
        )
        context.add_init_script(
            "localStorage.getItem('gw-person') ?? localStorage.setItem('gw-person', 'Kim Aldo');"
            "window.shakes = []; navigator.vibrate = (p) => (window.shakes.push(p), true);"
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", lambda m: troubles.append(m.text) if is_trouble(m) else None)
        page.on("pageerror", lambda error: troubles.append(str(error)))
        page.goto(url.rstrip("/") + path)
        page.evaluate("document.fonts.ready")
        return page

    opened.troubles = troubles  # type: ignore[attr-defined]
    yield opened
    for context in contexts:
        context.close()
    expected = getattr(opened, "expected", ())
    unexpected = [t for t in troubles if not any(word in t for word in expected)]
    assert unexpected == []
