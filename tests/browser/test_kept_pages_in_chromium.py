"""A reload while the server is dead: the page last seen stands there, marked for what it is."""

import re
import threading
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest
from browser_sheets import complaints
from browser_yards import START_L, Api, OpenPage, counts_after, new_job, poured
from playwright.sync_api import Page, expect

from gaugewright.testing.serving import start

FILL = [62, 56, 60, 58]


class Server:
    """A workbench in its own process, killed and brought back at the same address."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.process: BaseProcess
        self.process, self.url = start(book)
        self.port = urllib.parse.urlsplit(self.url).port

    def kill(self) -> None:
        self.process.kill()
        self.process.join(10)

    def come_back(self) -> None:
        self.process, self.url = start(self.book, port=self.port or 0)


@contextmanager
def refusing(port: int | None) -> Iterator[None]:
    """A server at the address that knows this device no longer."""

    class Refusing(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(401)
            self.end_headers()
            self.wfile.write(b"this device is not paired")

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    made = ThreadingHTTPServer(("127.0.0.1", port or 0), Refusing)
    thread = threading.Thread(target=made.serve_forever)
    thread.start()
    try:
        yield
    finally:
        made.shutdown()
        made.server_close()
        thread.join(10)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    made = Server(tmp_path / "yard.book")
    yield made
    made.kill()


def kept(page: Page) -> Page:
    """The page, once the browser says that it is kept."""
    expect(page.locator("html")).to_have_attribute("data-is-keeping", "true")
    return page


def test_a_reload_while_the_server_is_dead_shows_the_kept_page_and_sends_once_on_return(
    open_page: OpenPage, server: Server
) -> None:
    open_page.expected = ("ERR_", "Failed to")  # type: ignore[attr-defined]
    job = poured(Api(server.url), new_job(Api(server.url)), FILL)
    page = kept(open_page(f"/jobs/{job}/pour", url=server.url))
    page.get_by_label("Litres by the meter").fill("40")

    server.kill()
    page.reload()

    mark = page.locator("#kept")
    expect(mark).to_contain_text("this page was kept on this device, it is")
    expect(mark).to_contain_text("Nothing on it is live")
    expect(page.locator("tbody tr")).to_have_count(len(FILL) + 1)
    assert page.get_by_label("Litres by the meter").input_value() == "40"
    expect(page.locator("[data-live]")).to_contain_text("No live reading")
    assert complaints(page) == []
    page.get_by_label("Counts that the probe shows").fill(
        str(counts_after(START_L + sum(FILL) + 40))
    )
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("#notice")).to_contain_text("Kept on this device")
    page.reload()
    expect(mark).to_be_visible()
    server.come_back()

    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")
    expect(mark).to_have_count(0)
    pours = Api(server.url).call("GET", f"/api/jobs/{job}")["tanks"][0]["fill"]["pours"]
    assert [p["added_l"] for p in pours] == [0, *FILL, 40]
    assert page.evaluate("localStorage.getItem('gw-outbox')") == "[]"


def test_the_sheet_as_last_drawn_is_kept_not_the_page_as_first_opened(
    open_page: OpenPage, server: Server
) -> None:
    open_page.expected = ("ERR_", "Failed to")  # type: ignore[attr-defined]
    api = Api(server.url)
    job = poured(api, new_job(api), FILL)
    page = kept(open_page(f"/jobs/{job}/pour", url=server.url))
    total = START_L + sum(FILL) + 40
    api.record(job, "/tanks/left/pours", added_l=40, counts=counts_after(total))
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")

    server.kill()
    page.reload()

    expect(page.locator("#kept")).to_be_visible()
    expect(page.locator("[data-pour]")).to_have_attribute("data-step", "6")


def test_a_page_never_seen_says_so_and_offers_those_that_were(
    open_page: OpenPage, server: Server
) -> None:
    open_page.expected = ("ERR_", "Failed to")  # type: ignore[attr-defined]
    job = new_job(Api(server.url))
    page = kept(open_page(f"/jobs/{job}/plan", url=server.url))

    server.kill()
    page.goto(f"{server.url}jobs/{job}/bench")

    expect(page.get_by_role("heading", level=2)).to_contain_text("was not kept")
    page.get_by_role("link", name=f"Plan · Loader 14 · {job}").click()
    expect(page.locator("#kept")).to_be_visible()
    expect(page.get_by_label("Length", exact=False).first).to_be_visible()


def test_what_is_kept_holds_no_token_and_goes_when_the_device_is_let_in_no_longer(
    open_page: OpenPage, server: Server
) -> None:
    open_page.expected = ("401", "ERR_", "Failed to")  # type: ignore[attr-defined]
    job = new_job(Api(server.url))
    page = kept(open_page(f"/jobs/{job}/plan", url=server.url))
    text = "async () => (await (await caches.match(location.href)).text())"
    assert 'name="csrf" content=""' in page.evaluate(text)

    server.kill()
    with refusing(server.port):
        page.reload()
    page.goto(f"{server.url}jobs/{job}/plan")

    expect(page.get_by_role("heading", level=2)).to_contain_text("was not kept")
    expect(page.locator('[data-part="kept-pages"] li')).to_have_count(0)


PUT_IN = """
async ([name, url, find, set]) => {
  const cache = await caches.open(name);
  const [old] = (await cache.keys()).filter((each) => each.url.endsWith(url));
  const kept = await cache.match(old);
  const text = (await kept.text()).replaceAll(find, set);
  await cache.put(old, new Response(text, { headers: kept.headers }));
  return text.includes(set);
}
"""


def test_a_script_that_is_kept_of_this_version_is_not_asked_for_again(
    open_page: OpenPage,
) -> None:
    page = kept(open_page("/"))
    other = "document.documentElement.dataset.isFromStore = true;\nexport function age("
    assert page.evaluate(PUT_IN, ["gw-files-1", "/js/say.js", "export function age(", other])

    page.reload()

    expect(page.locator("html")).to_have_attribute("data-is-from-store", "true")


def test_a_kept_page_of_an_older_version_finds_the_files_of_the_newer(
    open_page: OpenPage, server: Server
) -> None:
    open_page.expected = ("ERR_", "Failed to")  # type: ignore[attr-defined]
    page = kept(open_page("/", url=server.url))
    (version,) = set(re.findall(r"/static/(v-[^/]*)/", page.content()))
    assert page.evaluate(PUT_IN, ["gw-pages-1", "/", version, "v-older"])

    server.kill()
    page.reload()

    assert "/static/v-older/js/main.js" in page.content()
    expect(page.locator("#kept")).to_be_visible()
    assert complaints(page) == []
