"""The job book as the rest of the program uses it."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from gaugewright.errors import InputError, JournalError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import BookSettings, open_book
from gaugewright.journal.fold import fold
from gaugewright.journal.store import NewerEntriesError

BY = {"at": datetime(2026, 5, 4, 12, tzinfo=UTC), "person": "Ada", "device": "laptop"}


def test_what_is_recorded_comes_back_with_the_state_after_it(scribe, happen):
    recorded = scribe.record(happen.opened())

    assert recorded.entries[0].kind == "job_opened"
    assert recorded.state.fact("customer") == "Quarry Yard"
    assert recorded.state.tip == recorded.entries[-1].tip


def test_the_state_at_hand_is_always_the_fold_of_what_is_on_disk(filling, happen, book_path):
    for step in range(1, 6):
        recorded = filling.record(happen.pour(step))
    filling.record(fk.PourVoided(filling.number, "typo"))

    on_disk = fold("J-1", filling.book.entries("J-1"))

    assert filling.book.state("J-1") == on_disk
    assert recorded.state.tanks["A"].fill.next_step == 6
    with open_book(book_path, read_only=True) as reader:
        assert reader.state("J-1") == on_disk


def test_a_reader_in_another_process_sees_what_is_new(filling, happen, book_path):
    with open_book(book_path, read_only=True) as reader:
        assert reader.state("J-1").tanks["A"].fill.next_step == 1
        filling.record(happen.pour(1))
        assert reader.state("J-1").tanks["A"].fill.next_step == 2


def test_a_pour_that_is_sent_again_after_the_network_came_back_is_there_once(filling, happen):
    seen = filling.number
    first = filling.record(happen.pour(1), request_id="tap-7")

    same_page = filling.record(happen.pour(1), request_id="tap-7", expected_number=seen)
    fresh_page = filling.record(happen.pour(1), request_id="tap-7")
    filling.record(happen.pour(2))
    later = filling.record(happen.pour(1), request_id="tap-7", expected_number=seen)

    assert first.entries == same_page.entries == fresh_page.entries == later.entries
    assert [p.event.step for p in filling.book.state("J-1").tanks["A"].fill.pours] == [0, 1, 2]


def test_two_devices_on_one_job_see_each_other_s_pour_before_recording_theirs(filling, happen):
    seen = filling.number
    phone = happen.scribe(filling.book, "J-1", person="Bob", device="phone")
    phone.record(happen.pour(1, added_l=40.0))

    with pytest.raises(NewerEntriesError, match="pour_recorded by Bob on phone") as caught:
        filling.record(happen.pour(1, added_l=41.0), expected_number=seen)

    assert caught.value.newer[0].payload["added_l"] == 40.0
    assert filling.book.state("J-1").tanks["A"].fill.next_step == 2


def test_events_sent_together_are_written_together_or_not_at_all(filling, happen):
    before = filling.number

    with pytest.raises(StateError):
        filling.record(happen.pour(1), happen.pour(1))

    assert filling.number == before


def test_threads_recording_at_once_lose_nothing(filling):
    def write(device):
        done, number = 0, 0
        while done < 10:
            try:
                recorded = filling.book.record(
                    "J-1",
                    number,
                    [k.NoteAdded(f"{device} {done}")],
                    at=BY["at"],
                    person="p",
                    device=device,
                )
                number, done = recorded.state.tip.number, done + 1
            except NewerEntriesError as error:
                number = error.newer[-1].number

    threads = [threading.Thread(target=write, args=(f"device {n}",)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    notes = [kept.event.text for kept in filling.book.state("J-1").notes]
    assert sorted(notes) == sorted(f"device {d} {n}" for d in range(3) for n in range(10))
    assert filling.book.state("J-1") == fold("J-1", filling.book.entries("J-1"))


def test_a_photo_must_be_in_the_book_before_an_entry_speaks_of_it(filling, jpeg):
    with pytest.raises(InputError, match="add its bytes first"):
        filling.record(k.PhotoAdded("0" * 64))
    sha256 = filling.book.add_photo(jpeg)
    filling.record(k.PhotoAdded(sha256, "rear", "Survey"))

    assert filling.book.photo(filling.book.state("J-1").photos[0].event.sha256)[0] == jpeg
    with pytest.raises(JournalError, match="there is no photo"):
        filling.book.photo("0" * 64)


def test_the_list_of_jobs_follows_what_changes_in_a_job(filling, happen):
    assert filling.book.jobs()[0].summary == {
        "customer": "Quarry Yard",
        "vehicle": "Tipper 4",
        "stage": "Survey",
        "tanks": 1,
        "certificate": None,
    }
    filling.record(k.FactsCorrected({"vehicle": "Tipper 5"}, "wrong plate"))
    filling.record(fk.StageFinished("Survey"))
    filling.record(happen.pour(1))

    (head,) = filling.book.jobs(containing="tipper 5")
    assert head.summary["stage"] == "Plan"
    assert head.tip == filling.book.state("J-1").tip


def test_a_job_that_is_not_there_is_said_so(book):
    with pytest.raises(JournalError, match=r"there is no job J-9 in yard\.book"):
        book.state("J-9")
    with pytest.raises(JournalError, match="there is no job J-9"):
        book.export_job("J-9")


def test_settings_are_kept_and_what_a_later_version_wrote_is_not_lost(book):
    assert book.settings() == BookSettings()
    book.store.add_settings({"volume_unit": "us_gallons", "theme": "dusk"}, **BY)
    settings = book.settings()
    book.change_settings(BookSettings("litres", more=settings.more), **BY)

    assert settings.volume_unit == "us_gallons"
    assert book.settings() == BookSettings("litres", more={"theme": "dusk"})


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        (BookSettings(volume_unit="pints"), "volume_unit"),
        (BookSettings(length_unit="cm"), "length_unit"),
        (BookSettings(temperature_unit="K"), "temperature_unit"),
    ],
)
def test_a_unit_that_is_not_offered_is_refused(book, settings, field):
    with pytest.raises(InputError, match=field):
        book.change_settings(settings, **BY)


def test_a_clock_set_back_is_recorded_and_flagged_not_refused(filling):
    filling.at -= timedelta(days=400)
    recorded = filling.record(k.NoteAdded("battery was flat"))

    assert recorded.state.clock_set_back == (recorded.entries[0].number,)


def test_more_jobs_than_are_held_ready_are_all_there(book, happen):
    for number in range(70):
        book.record(f"J-{number}", 0, [happen.opened()], **BY)

    assert book.state("J-0").tip.number == 1
    assert len(book.jobs()) == 70
