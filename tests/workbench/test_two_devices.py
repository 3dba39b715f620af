"""Two devices on one job: nothing is lost, nothing is recorded twice."""

import threading
import uuid

from gaugewright.journal.codec import KINDS
from gaugewright.testing.hand import Hand, counts_at
from gaugewright.workbench.entry_words import NAMES


def test_the_second_to_record_is_shown_what_the_first_recorded(hand, workbench):
    other = Hand(workbench.url, "Ben")
    other.job, other.number = hand.job, hand.number
    hand.record("/notes", text="first")
    refused = other.send("/notes", text="second")
    assert refused.status_code == 409
    problem = refused.json()
    assert [(e["kind"], e["person"], e["payload"]["text"]) for e in problem["newer"]] == [
        ("note_added", "Ann", "first")
    ]
    assert "1 newer entry came first, the last one a note by Ann" in problem["error"]
    other.number = problem["number"]
    other.record("/notes", text="second")
    assert [note["text"] for note in other.state()["notes"]] == ["first", "second"]
    other.client.close()


def test_every_kind_of_entry_has_a_name_in_plain_words():
    assert set(NAMES) == set(KINDS)


def test_sending_again_records_once(hand):
    press = str(uuid.uuid4())
    first = hand.send("/notes", text="once", request_id=press)
    again = hand.send("/notes", text="once", request_id=press)
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json()["entries"] == again.json()["entries"]
    assert len(hand.state()["notes"]) == 1


def test_sending_again_gives_the_same_answer_when_others_recorded_since(hand):
    press = str(uuid.uuid4())
    hand.begin()
    hand.pour(0, 0)
    body = {"added_l": 25, "counts": counts_at(25), "request_id": press}
    on = hand.number
    first = hand.record("/tanks/main/pours", **body)
    hand.record("/notes", text="something else")
    hand.number = on
    again = hand.record("/tanks/main/pours", **body)
    assert first["entries"] == again["entries"]
    assert len(again["job"]["tanks"][0]["fill"]["pours"]) == 2


def test_a_request_is_not_used_for_something_else(hand):
    press = str(uuid.uuid4())
    hand.begin()
    hand.pour(0, 0, request_id=press)
    refused = hand.send("/tanks/main/pours", added_l=25, counts=300, request_id=press)
    assert (refused.status_code, refused.json()["field"]) == (422, "request_id")


def test_an_entry_that_is_not_there_is_not_built_on(hand):
    refused = hand.send("/notes", text="a", on=99)
    assert refused.status_code == 409
    assert "there is no entry 99" in refused.json()["error"]


def test_six_devices_at_once_lose_nothing(hand, workbench):
    """Each looks again and presses again until its note is in."""
    done = []

    def record(person):
        mine = Hand(workbench.url, person)
        mine.job = hand.job
        for place in range(3):
            press = str(uuid.uuid4())
            while True:
                mine.number = mine.state()["number"]
                answer = mine.send("/notes", text=f"{person} {place}", request_id=press)
                if answer.status_code == 200:
                    break
                assert answer.status_code == 409, answer.text
        mine.client.close()
        done.append(person)

    threads = [threading.Thread(target=record, args=(f"P{n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(done) == 6
    texts = [note["text"] for note in hand.state()["notes"]]
    assert sorted(texts) == sorted(f"P{n} {place}" for n in range(6) for place in range(3))
    assert workbench.yard.book.faults() == {}
