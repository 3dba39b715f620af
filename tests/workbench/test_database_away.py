"""A book's database that goes away while the workbench is open, and comes back."""

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from gaugewright.app.yard import Yard, load_numerics
from gaugewright.journal.book import open_book
from gaugewright.testing.hand import Hand
from gaugewright.workbench.running import Workbench, prepare


@pytest.fixture
def hand(mortal_postgresql: Any) -> Iterator[Hand]:
    """A person with a job of their own, in a book on a server that may be killed."""
    load_numerics()
    bench: Workbench = prepare(Yard(open_book(mortal_postgresql.url)), port=0).start()
    found = Hand(bench.url)
    found.open_job()
    yield found
    found.client.close()
    bench.stop()


def test_while_the_database_is_away_pages_and_the_api_say_so_and_nothing_else_is_told(
    hand: Hand, mortal_postgresql: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    hand.client.get("/").raise_for_status()
    mortal_postgresql.kill()
    capfd.readouterr()

    for address in ("/", "/jobs/new", f"/jobs/{hand.job}/survey"):
        page = hand.client.get(address, headers={"accept": "text/html"})
        assert page.status_code == 503
        assert "the database does not answer" in page.text
        assert "<h1" in page.text
    refused = hand.send("/notes", text="drained")
    assert refused.status_code == 503
    assert "the database does not answer. Nothing was recorded" in refused.json()["error"]
    told = capfd.readouterr()
    assert (told.out, told.err) == ("", "")


def test_the_first_press_after_the_database_is_back_is_recorded_once(
    hand: Hand, mortal_postgresql: Any
) -> None:
    hand.record("/notes", text="before")
    mortal_postgresql.kill()
    mortal_postgresql.start()

    hand.record("/notes", text="after")

    assert [note["text"] for note in hand.state()["notes"]] == ["before", "after"]


def test_a_press_during_the_outage_is_recorded_once_when_sent_again(
    hand: Hand, mortal_postgresql: Any
) -> None:
    mortal_postgresql.kill()
    pressed = {"text": "drained", "request_id": "r-1"}
    assert hand.send("/notes", **pressed).status_code == 503
    mortal_postgresql.start()

    hand.record("/notes", **pressed)
    number = hand.number
    assert hand.send("/notes", **pressed).status_code == 200

    assert hand.state()["number"] == number
    assert [note["text"] for note in hand.state()["notes"]] == ["drained"]


def test_a_live_line_stays_open_through_an_outage_and_tells_nothing_on_the_terminal(
    hand: Hand, mortal_postgresql: Any, capfd: pytest.CaptureFixture[str]
) -> None:
    heard: list[str] = []

    def listen() -> None:
        url = hand.client.base_url.join(f"/api/jobs/{hand.job}/live")
        try:
            with httpx.stream("GET", url, timeout=20.0) as answer:
                heard.extend(line for line in answer.iter_lines() if line)
        except httpx.TransportError:
            heard.append("cut off")

    listening = threading.Thread(target=listen, daemon=True)
    listening.start()
    time.sleep(0.5)
    mortal_postgresql.kill()
    capfd.readouterr()
    time.sleep(3.0)  # the book is looked at every two seconds
    assert hand.client.get(f"/api/jobs/{hand.job}/live").status_code == 503
    told = capfd.readouterr()
    assert (told.out, told.err) == ("", "")
    assert listening.is_alive()

    mortal_postgresql.start()
    hand.record("/notes", text="after")
    ends = time.monotonic() + 10.0
    while listening.is_alive() and time.monotonic() < ends and "event: job" not in heard:
        time.sleep(0.05)

    assert "event: job" in heard


def test_the_terminal_names_a_database_without_its_password(postgresql_url: str) -> None:
    address = postgresql_url.replace("gauge@", "gauge:secret@")
    start = "import sys; from gaugewright.cli.open import open_; " + (
        "open_(sys.argv[1], port='0', no_browser=True)"
    )
    program = subprocess.Popen(
        [sys.executable, "-c", start, address], stdout=subprocess.PIPE, text=True
    )
    assert program.stdout is not None
    with program, program.stdout:
        line = program.stdout.readline()
        program.kill()

    assert "is open at http://127.0.0.1" in line
    assert "secret" not in line
