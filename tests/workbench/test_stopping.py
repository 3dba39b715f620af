"""Starting and stopping: quick, clean with a page open, nothing lost by a kill."""

import os
import random
import signal
import subprocess
import sys
import threading
import time

import httpx
import pytest

from gaugewright.app.yard import Yard
from gaugewright.journal.book import open_book
from gaugewright.testing import serving
from gaugewright.testing.hand import Hand, counts_at
from gaugewright.testing.thorough import thorough
from gaugewright.workbench.running import prepare

FULL = 65
"""Pours after which the box of the tests is full and its fill begins anew."""
START = """
import sys
from gaugewright.cli.open import open_
open_(sys.argv[1], port="0", no_browser=True)
"""


def start(book):
    """Start the program on a book and return it with its address."""
    program = subprocess.Popen(
        [sys.executable, "-c", START, str(book)], stdout=subprocess.PIPE, text=True
    )
    assert program.stdout is not None
    line = program.stdout.readline()
    url = next(word for word in line.split() if word.startswith("http://"))
    return program, url


def when_answering(url):
    for _ in range(2000):
        try:
            return Hand(url)
        except httpx.TransportError:
            time.sleep(0.01)
    raise AssertionError("the server does not answer")


def end(program):
    program.stdout.close()
    program.wait(10)


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_though_a_page_holds_its_live_line_open(tmp_path, by):
    program, url = start(tmp_path / "yard.book")
    hand = when_answering(url)
    hand.open_job()
    with httpx.stream("GET", f"{url}api/jobs/{hand.job}/live", timeout=10.0) as answer:
        lines = answer.iter_lines()
        assert next(lines).startswith("retry")
        program.send_signal(by)
        assert "event: bye" in list(lines)
        program.wait(30)
    assert program.returncode == 0
    hand.client.close()
    end(program)


def test_killed_at_random_moments_of_a_fill_nothing_that_was_answered_is_lost(tmp_path):
    """Every entry that was acknowledged is there, and the job goes on at its step.

    Each life is to answer a number of pours first, and the kill falls within twice the time that
    the last answer took: a busy machine is killed in the midst of its work too, only later.
    """
    chance = random.Random(20)
    book = tmp_path / "yard.book"
    acknowledged: dict[int, str] = {}
    job, step = "", 0
    promised = 0
    for _ in range(int(os.environ.get("GAUGEWRIGHT_KILLS", thorough(8, 200)))):
        program, url = serving.start(book)
        hand = Hand(url)
        if not job:
            hand.open_job()
            job = hand.job
            hand.begin()
        hand.job = job
        asked_s = time.monotonic()
        state = hand.state()
        took_s = time.monotonic() - asked_s
        kept = {entry["number"]: entry["hash"] for entry in entries_of(hand)}
        assert acknowledged.items() <= kept.items()
        # A pour that was not answered may be there or not; never half, never twice.
        found = state["tanks"][0]["fill"]["next_step"]
        assert found in (step, step + 1, 0 if step == FULL else step)
        hand.number, step = state["number"], found
        to_answer = chance.randrange(4)
        promised += to_answer
        killing = None
        try:
            while True:
                if step == FULL:
                    hand.record("/tanks/main/fill", reason="the box is full")
                    step = 0
                if killing is None and to_answer == 0:
                    killing = threading.Timer(chance.uniform(0.0, 2 * took_s), program.kill)
                    killing.start()
                asked_s = time.monotonic()
                pour = {"added_l": 4.0 if step else 0, "counts": counts_at(4.0 * step)}
                answer = hand.send("/tanks/main/pours", **pour)
                assert answer.status_code == 200, answer.text
                took_s = time.monotonic() - asked_s
                hand.number, step = answer.json()["number"], step + 1
                acknowledged[hand.number] = answer.json()["job"]["hash"]
                to_answer -= 1
        except httpx.TransportError:
            assert killing is not None, "the server fell silent before it was killed"
        killing.join()
        hand.client.close()
        program.join()
        assert program.exitcode == -signal.SIGKILL
    assert len(acknowledged) >= promised > 10
    with open_book(book) as whole:
        assert whole.faults() == {}


def entries_of(hand):
    return hand.client.get(f"/api/jobs/{hand.job}/entries").json()


def test_a_port_that_is_taken_is_said_so(tmp_path):
    first = prepare(Yard(open_book(tmp_path / "a.book")), port=0)
    taken = first.sockets[0].getsockname()[1]
    second = Yard(open_book(tmp_path / "b.book"))
    with pytest.raises(ValueError, match=f"port {taken} cannot be had"):
        prepare(second, port=taken)
    for each in (first.yard, second):
        each.close()
    first.sockets[0].close()


def test_a_book_that_cannot_be_written_is_looked_at_and_says_so(tmp_path):
    book = tmp_path / "yard.book"
    with open_book(book):
        pass
    yard = Yard(open_book(book, read_only=True))
    bench = prepare(yard, port=0).start()
    hand = Hand(bench.url)
    body = {"person": "Ann", "customer": "A", "vehicle": "B"}
    answer = hand.client.post("/api/jobs", json=body)
    assert answer.status_code == 503
    assert "opened only to look" in answer.json()["error"]
    assert hand.client.get("/").status_code == 200
    hand.client.close()
    bench.stop()
