"""The store on both databases: nothing lost, nothing changed, nobody overwritten."""

import threading
from datetime import UTC, datetime

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from gaugewright.errors import ChainError, ConflictError, InputError, JournalError
from gaugewright.journal.book import Book
from gaugewright.journal.chain import canonical_json, digest, next_entry
from gaugewright.journal.opening import open_store
from gaugewright.journal.store import Draft, NewerEntriesError

AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
BY = {"at": AT, "person": "Ada", "device": "laptop"}


def note(words="drained"):
    return Draft("note_added", {"text": words})


@pytest.fixture
def store(where):
    with open_store(where) as store:
        yield store


def test_an_entry_is_there_after_closing_and_opening(where):
    with open_store(where) as store:
        written = store.append("J-1", 0, [note("größe ⛽"), note()], **BY)

    with open_store(where, read_only=True) as store:
        assert store.entries("J-1") == written
        assert [entry.number for entry in written] == [1, 2]


def test_entries_made_beforehand_are_written_as_they_are(store):
    tip = store.append("J-1", 0, [note("one")], **BY)[-1].tip
    made = next_entry(tip, job="J-1", kind="note_added", payload={"text": "two"}, **BY)

    written = store.append("J-1", 1, [note("two")], made=[made], **BY)

    assert written == (made,)
    assert store.entries("J-1")[1:] == written


def test_entries_made_upon_another_end_are_made_again(store):
    tip = store.append("J-1", 0, [note("one")], **BY)[-1].tip
    elsewhere = tip._replace(hash="e" * 64)
    made = next_entry(elsewhere, job="J-1", kind="note_added", payload={"text": "two"}, **BY)

    (written,) = store.append("J-1", 1, [note("two")], made=[made], **BY)

    assert written.prev_hash == tip.hash
    assert store.entries("J-1")[1:] == (written,)


def test_an_append_that_came_second_gets_the_newer_entries_and_adds_nothing(store):
    store.append("J-1", 0, [note("one")], **BY)
    first = store.append("J-1", 1, [note("by the laptop")], **BY)

    with pytest.raises(NewerEntriesError, match="1 newer entry came first") as caught:
        store.append("J-1", 1, [note("by the phone")], at=AT, person="Bob", device="phone")

    assert caught.value.newer == first
    assert isinstance(caught.value, ConflictError)
    assert len(store.entries("J-1")) == 2


def test_a_job_cannot_be_opened_twice(store):
    store.append("J-1", 0, [note("one")], **BY)

    with pytest.raises(NewerEntriesError):
        store.append("J-1", 0, [note("another one")], **BY)


def test_an_append_that_builds_on_nothing_is_refused(store):
    store.append("J-1", 0, [note()], **BY)

    with pytest.raises(JournalError, match="ends at entry 1, there is no entry 5"):
        store.append("J-1", 5, [note()], **BY)


@pytest.mark.parametrize("number_on_return", [1, 3, 4])
def test_the_same_request_again_adds_nothing_and_gives_the_earlier_result(store, number_on_return):
    store.append("J-1", 0, [note()], **BY)
    drafts = [note("a"), note("b")]
    first = store.append("J-1", 1, drafts, request_id="r-1", **BY)
    store.append("J-1", 3, [note("later")], **BY)

    again = store.append("J-1", number_on_return, drafts, request_id="r-1", **BY)

    assert again == first
    assert len(store.entries("J-1")) == 4


def test_a_request_id_used_for_something_else_is_refused(store):
    store.append("J-1", 0, [note("a")], request_id="r-1", **BY)

    with pytest.raises(InputError, match="already used for something else"):
        store.append("J-1", 1, [note("b")], request_id="r-1", **BY)


def test_jobs_do_not_share_request_ids(store):
    store.append("J-1", 0, [note("a")], request_id="r-1", **BY)
    store.append("J-2", 0, [note("b")], request_id="r-1", **BY)

    assert store.jobs() == ("J-1", "J-2")


def test_a_batch_is_written_whole_or_not_at_all(store):
    store.append("J-1", 0, [note()], **BY)

    with pytest.raises(InputError):
        store.append("J-1", 1, [note(), Draft("note_added", {"text": float("nan")})], **BY)

    assert len(store.entries("J-1")) == 1


def test_threads_appending_at_once_never_fork_the_chain(store):
    store.append("J-1", 0, [note()], **BY)
    errors = []

    def write(device):
        done, number = 0, 1
        while done < 15:
            try:
                entries = store.append(
                    "J-1", number, [note(f"{device} {done}")], at=AT, person="p", device=device
                )
                number, done = entries[-1].number, done + 1
            except NewerEntriesError as error:
                number = error.newer[-1].number
            except BaseException as error:
                errors.append(error)
                raise

    threads = [threading.Thread(target=write, args=(f"device {n}",)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    entries = store.entries("J-1")
    assert not errors
    assert len(entries) == 46
    assert sorted(entry.payload["text"] for entry in entries[1:]) == sorted(
        f"device {device} {count}" for device in range(3) for count in range(15)
    )


def test_the_list_of_jobs_is_newest_first_and_can_be_paged_and_searched(store):
    for number in range(1, 6):
        store.append(
            f"J-{number}", 0, [note(), note()], summary={"vehicle": f"Truck_{number}"}, **BY
        )
    store.append("J-2", 2, [note()], summary={"vehicle": "Crane"}, **BY)

    heads = store.heads()

    assert [head.job for head in heads] == ["J-5", "J-4", "J-3", "J-2", "J-1"]
    assert heads[3].tip == store.entries("J-2")[-1].tip
    assert heads[3].summary == {"vehicle": "Crane"}
    assert heads[0].last_at == AT
    page = store.heads(limit=2)
    assert [head.job for head in store.heads(limit=2, before=page[-1].place)] == ["J-3", "J-2"]
    assert [head.job for head in store.heads(containing="crane")] == ["J-2"]
    assert [head.job for head in store.heads(containing="k_3")] == ["J-3"]
    assert store.heads(containing="%") == ()


def test_a_photo_is_kept_once_under_its_hash(store, jpeg):
    sha256 = store.add_photo(jpeg)

    assert store.add_photo(jpeg) == sha256
    assert store.photo(sha256) == (jpeg, "image/jpeg")
    assert store.photo("0" * 64) is None


def test_what_is_no_picture_is_refused(store):
    with pytest.raises(InputError, match="JPEG, PNG or WebP"):
        store.add_photo(b"<svg onload=alert(1)>")


def test_settings_are_versions_and_the_last_one_holds(store):
    assert store.settings() == {}
    store.add_settings({"volume_unit": "litres"}, **BY)
    store.add_settings({"volume_unit": "us_gallons"}, **BY)

    assert store.settings() == {"volume_unit": "us_gallons"}


def raw(where):
    if "://" in str(where):
        return create_engine(str(where).replace("postgresql://", "postgresql+psycopg://"))
    return create_engine(f"sqlite:///{where}")


CHANGES = [
    "UPDATE entry SET text = 'x'",
    "DELETE FROM entry WHERE number = 2",
    "DELETE FROM job",
    "UPDATE photo SET media_type = 'text/html'",
    "DELETE FROM photo",
    "UPDATE setting SET text = '{}'",
    "DELETE FROM setting",
    "INSERT INTO entry (job, number, text, prev_hash, hash) "
    f"VALUES ('J-1', 4, '{{}}', '{'0' * 64}', '{'1' * 64}')",
    "INSERT INTO entry (job, number, text, prev_hash, hash) "
    f"VALUES ('J-1', 3, '{{}}', '{'0' * 64}', '{'1' * 64}')",
    "INSERT INTO entry (job, number, text, prev_hash, hash) "
    f"VALUES ('J-9', 1, '{{}}', '{'5' * 64}', '{'1' * 64}')",
    "INSERT INTO entry (job, number, text, prev_hash, hash) "
    f"VALUES ('J-9', 1, '{{}}', '{'0' * 64}', '{'1' * 64}')",
    "UPDATE job SET job = 'J-9'",
    "INSERT INTO job (place, job, summary) VALUES (1, 'J-9', '{}')",
]


@pytest.mark.parametrize("statement", CHANGES)
def test_the_database_itself_refuses_to_change_what_was_written(where, jpeg, statement):
    with open_store(where) as store:
        store.append("J-1", 0, [note(), note()], **BY)
        store.add_photo(jpeg)
        store.add_settings({}, **BY)
        engine = raw(where)
        with pytest.raises(DBAPIError), engine.begin() as connection:
            connection.execute(text(statement))
        engine.dispose()

        assert len(store.entries("J-1")) == 2


def test_a_replaced_row_is_refused_too(book_path):
    with open_store(book_path) as store:
        store.append("J-1", 0, [note(), note()], **BY)
        old = store.entries("J-1")[1]
        engine = raw(book_path)
        with pytest.raises(DBAPIError), engine.begin() as connection:
            connection.execute(
                text(
                    "INSERT OR REPLACE INTO entry (job, number, text, prev_hash, hash) "
                    "VALUES ('J-1', 2, '{}', :prev, :hash)"
                ),
                {"prev": old.prev_hash, "hash": "1" * 64},
            )
        engine.dispose()
        assert store.entries("J-1")[1] == old


@pytest.mark.parametrize(("place", "job"), [(1, "J-9"), (7, "J-1")])
def test_a_job_is_not_replaced_by_another_one_of_its_place_or_name(book_path, place, job):
    replace = f"INSERT OR REPLACE INTO job (place, job, summary) VALUES ({place}, '{job}', '{{}}')"
    with open_store(book_path) as store:
        store.append("J-1", 0, [note()], **BY)
        engine = raw(book_path)
        with pytest.raises(DBAPIError), engine.begin() as connection:
            connection.execute(text(replace))
        engine.dispose()
        assert [head.job for head in store.heads()] == ["J-1"]


def test_an_entry_written_behind_the_store_s_back_is_found_and_nothing_is_added(book_path):
    with open_store(book_path) as store:
        store.append("J-1", 0, [note("one")], **BY)
        second = store.append("J-1", 1, [note("two")], **BY)[0]
        other = next_entry(second.tip, job="J-1", kind="note_added", payload={}, **BY)
        engine = raw(book_path)
        with engine.begin() as connection:
            connection.execute(
                text(
                    "INSERT INTO entry (job, number, text, prev_hash, hash) "
                    "VALUES ('J-1', 3, :text, :prev_hash, :hash)"
                ),
                {"text": other.text, "prev_hash": other.prev_hash, "hash": other.hash},
            )
        engine.dispose()

        with pytest.raises(NewerEntriesError) as caught:
            store.append("J-1", 2, [note("three")], **BY)

        assert [entry.line for entry in caught.value.newer] == [other.line]
        assert len(store.entries("J-1")) == 3
        assert store.append("J-1", 3, [note("four")], **BY)[0].prev_hash == other.hash


def test_an_entry_changed_behind_the_database_s_back_is_named_on_reading(where):
    guard = "entry_no_update" if "://" not in str(where) else "entry_no_change"
    drop = f"DROP TRIGGER {guard}" + (" ON entry" if "://" in str(where) else "")
    with open_store(where) as store:
        store.append("J-1", 0, [note("a"), note("b"), note("c")], **BY)
        engine = raw(where)
        with engine.begin() as connection:
            connection.execute(text(drop))
            connection.execute(
                text("UPDATE entry SET text = replace(text, '\"b\"', '\"x\"') WHERE number = 2")
            )
        engine.dispose()

        with pytest.raises(ChainError, match="entry 2 is not what was written"):
            store.entries("J-1")


def test_a_damaged_job_is_shown_in_the_list_and_hides_no_other(book_path):
    with open_store(book_path) as store:
        store.append("J-1", 0, [note("a")], summary={"vehicle": "Crane"}, **BY)
        store.append("J-2", 0, [note("b")], summary={"vehicle": "Truck"}, **BY)
        engine = raw(book_path)
        with engine.begin() as connection:
            connection.execute(text("DROP TRIGGER entry_no_update"))
            connection.execute(text("UPDATE entry SET text = '{' WHERE job = 'J-1'"))
        engine.dispose()

        heads = store.heads()

        assert [(head.job, head.problem is None) for head in heads] == [
            ("J-2", True),
            ("J-1", False),
        ]
        assert Book(store).faults() == {
            "J-1": "entry 1 is not what was written: its hash does not match"
        }


def test_adopting_adds_what_is_new_and_refuses_a_fork(store, jpeg):
    entries = store.append("J-1", 0, [note("a"), note("b"), note("c")], **BY)
    lines = [entry.line._replace() for entry in entries]

    assert store.adopt("J-1", lines, {}, summary={}) == 0
    text_of_4 = canonical_json({**_record(entries[2].text), "number": 4})
    longer = [*lines, (4, text_of_4, lines[2].hash, digest(lines[2].hash, text_of_4))]
    assert store.adopt("J-1", [type(lines[0])(*line) for line in longer], {}, summary={}) == 1
    store.append("J-1", 4, [note("mine")], **BY)
    text_of_5 = canonical_json({**_record(entries[2].text), "number": 5})
    fork = [*longer, (5, text_of_5, longer[3][3], digest(longer[3][3], text_of_5))]
    with pytest.raises(ConflictError, match="entry 5 is another one in this book"):
        store.adopt("J-1", [type(lines[0])(*line) for line in fork], {}, summary={})
    assert len(store.entries("J-1")) == 5


def _record(entry_text):
    import json

    return json.loads(entry_text)
