"""A job as one file: every byte of it is checked, and nothing from outside is trusted."""

import hashlib
import io
import json
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import ConflictError, FileError, JournalError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book
from gaugewright.journal.exchange import (
    pack_job,
    read_job,
    verify_job_bytes,
    verify_job_file,
)
from gaugewright.journal.stored_zip import pack, unpack


@pytest.fixture
def job_file(filling, jpeg):
    """The bytes of a job with a photo and a voided pour."""
    sha256 = filling.book.add_photo(jpeg)
    filling.record(k.PhotoAdded(sha256, caption="Rückseite", stage="Survey"))
    filling.record(fk.PourRecorded("A", step=1, added_l=54.0, counts=330.0))
    filling.record(fk.PourVoided(filling.number, "45.0 was meant"))
    return filling.book.export_job("J-1")


@pytest.fixture
def other_book(tmp_path):
    with open_book(tmp_path / "other.book") as book:
        yield book


def test_an_unaltered_file_is_said_to_be_so_in_one_line(job_file, book, tmp_path):
    path = tmp_path / "J-1.job"
    path.write_bytes(job_file)

    verdict = verify_job_file(path)

    last = book.entries("J-1")[-1]
    assert verdict.is_unaltered
    assert verdict.line == (
        f"J-1.job: unaltered, job J-1, 7 entries, 1 photo, last hash {last.hash}"
    )


def test_the_same_job_always_gives_the_same_bytes(job_file, book):
    assert book.export_job("J-1") == job_file


def test_any_zip_program_can_open_the_file(job_file, jpeg):
    with zipfile.ZipFile(io.BytesIO(job_file)) as opened:
        assert opened.testzip() is None
        names = opened.namelist()
        lines = opened.read("journal.jsonl").decode().splitlines()
        assert opened.read(names[2]) == jpeg

    assert names[:2] == ["manifest.json", "journal.jsonl"]
    assert json.loads(lines[0])["entry"]["kind"] == "job_opened"


@pytest.mark.parametrize("flip", [0x01, 0x80, 0xFF])
def test_a_change_of_any_single_byte_is_found(job_file, flip):
    for place in range(len(job_file)):
        altered = bytearray(job_file)
        altered[place] ^= flip

        assert not verify_job_bytes(bytes(altered), "x").is_unaltered, place


@settings(max_examples=300)
@given(data=st.data())
def test_cutting_adding_and_doubling_bytes_is_found(data):
    entry_file = _small_file()
    start = data.draw(st.integers(0, len(entry_file)))
    end = data.draw(st.integers(start, len(entry_file)))
    new = data.draw(st.binary(max_size=8) | st.just(entry_file[start:end] * 2))
    altered = entry_file[:start] + new + entry_file[end:]

    assert verify_job_bytes(altered, "x").is_unaltered == (altered == entry_file)


@given(st.binary(max_size=200) | st.binary(max_size=200).map(lambda tail: b"PK\x03\x04" + tail))
def test_bytes_that_are_no_job_file_are_refused_in_words(content):
    verdict = verify_job_bytes(content, "x.job")

    assert not verdict.is_unaltered
    assert verdict.line.startswith("x.job: ")


def _small_file():
    from datetime import UTC, datetime

    from gaugewright.journal.chain import START, next_entry

    entry = next_entry(
        START,
        job="J-1",
        at=datetime(2026, 5, 4, tzinfo=UTC),
        person="Ada",
        device="laptop",
        kind="note_added",
        payload={"text": "drained"},
    )
    return pack_job([entry], {})


@pytest.mark.parametrize("number", [1, 4, 7])
def test_the_first_altered_entry_is_named(job_file, number):
    members = dict(unpack(job_file))
    lines = members["journal.jsonl"].split(b"\n")
    lines[number - 1] = lines[number - 1].replace(b"laptop", b"lapdog")
    members["journal.jsonl"] = b"\n".join(lines)

    verdict = verify_job_bytes(pack(list(members.items())), "J-1.job")

    assert verdict.line == (
        f"J-1.job: entry {number} is not what was written: its hash does not match"
    )


def test_an_altered_photo_is_named(job_file, jpeg):
    members = dict(unpack(job_file))
    (name,) = (name for name in members if name.startswith("photos/"))
    members[name] = jpeg + b"x"

    assert "photo" in verify_job_bytes(pack(list(members.items())), "x").line


def test_a_photo_that_was_taken_out_or_put_in_is_found(job_file):
    read = read_job(job_file)
    foreign = {**read.photos, "0" * 64: b"x"}

    without = verify_job_bytes(pack_job(read.entries, {}), "x").line
    assert "was taken out" in without
    put_in = pack_job(read.entries, {hashlib.sha256(b"x").hexdigest(): b"x", **read.photos})
    assert "no entry speaks of photo" in verify_job_bytes(put_in, "x").line
    assert "is not what was written" in verify_job_bytes(pack_job(read.entries, foreign), "x").line


def test_a_file_repacked_by_another_program_is_not_as_it_was_written(job_file):
    repacked = io.BytesIO()
    with zipfile.ZipFile(repacked, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in unpack(job_file):
            target.writestr(name, content)

    verdict = verify_job_bytes(repacked.getvalue(), "x")

    assert not verdict.is_unaltered
    assert "packed by another program" in verdict.line


@pytest.mark.parametrize("name", ["../../etc/passwd", "photos/../x", "C:\\x", "photos/" + "A" * 64])
def test_a_path_from_outside_is_never_taken(job_file, name, other_book):
    smuggled = pack([*unpack(job_file), (name, b"x")])

    with pytest.raises(JournalError, match="does not belong into a job file"):
        other_book.import_job(smuggled)
    assert other_book.jobs() == ()


def test_a_file_that_cannot_be_read_is_an_error_not_a_verdict(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        verify_job_file(tmp_path / "nowhere.job")


def test_a_job_goes_into_another_book_and_is_the_same_there(job_file, book, other_book, jpeg):
    imported = other_book.import_job(job_file)

    assert (imported.job, imported.added, imported.already_there) == ("J-1", 7, 0)
    assert other_book.entries("J-1") == book.entries("J-1")
    assert other_book.state("J-1") == book.state("J-1")
    assert other_book.jobs()[0].summary == book.jobs()[0].summary
    (photo,) = other_book.state("J-1").photos
    assert other_book.photo(photo.event.sha256) == (jpeg, "image/jpeg")
    assert other_book.export_job("J-1") == job_file


def test_taking_a_file_in_again_adds_only_what_is_new(job_file, filling, other_book):
    other_book.import_job(job_file)
    filling.record(k.NoteAdded("vent cleaned"))

    again = other_book.import_job(filling.book.export_job("J-1"))
    older = other_book.import_job(job_file)

    assert (again.added, again.already_there) == (1, 7)
    assert (older.added, older.already_there) == (0, 7)
    assert other_book.state("J-1").notes[-1].event.text == "vent cleaned"
    assert other_book.jobs()[0].tip.number == 8


def test_a_file_that_contradicts_the_book_is_refused_and_changes_nothing(
    job_file, filling, other_book, happen
):
    other_book.import_job(job_file)
    here = happen.scribe(other_book, "J-1", person="Bob", device="phone")
    here.record(k.NoteAdded("on the phone"))
    filling.record(k.NoteAdded("on the laptop"))
    before = other_book.entries("J-1")

    with pytest.raises(ConflictError, match=r"entry 8 is another one in this book .* by Bob"):
        other_book.import_job(filling.book.export_job("J-1"))

    assert other_book.entries("J-1") == before


def test_an_altered_file_is_not_taken_in(job_file, other_book):
    altered = job_file.replace(b"Quarry", b"Quarrx")

    with pytest.raises(JournalError, match="entry 1 is not what was written"):
        other_book.import_job(altered)
    assert other_book.jobs() == ()


def test_what_a_job_file_says_is_what_the_job_was(job_file, book):
    read = read_job(job_file)

    assert read.entries == book.entries("J-1")
    assert len(read.photos) == 1
