"""Every book that was ever written opens, and its jobs are what they were."""

import json
import shutil
import sqlite3
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gaugewright.app.verify import verify_file
from gaugewright.journal import schema
from gaugewright.journal.book import open_book
from gaugewright.journal.codec import KINDS
from gaugewright.journal.exchange import verify_job_file
from gaugewright.journal.kinds import NoteAdded

BOOKS = Path(__file__).parents[1] / "reference" / "books"


@dataclass(frozen=True)
class Written:
    """What was written into a book when it was made."""

    schema: str
    job: str
    """The job whose file and state lie beside the book."""
    jobs: tuple[str, ...]
    """Newest first."""
    volume_unit: str


WRITTEN = {
    "schema-0001": Written("0001", "2026-014", ("2026-015", "2026-014"), "us_gallons"),
    "schema-0001-service": Written(
        "0001", "2026-031", ("2026-031", "2026-030"), "imperial_gallons"
    ),
    "schema-0002": Written("0002", "2026-014", ("2026-052", "2026-014"), "imperial_gallons"),
    "schema-0002-voided": Written("0002", "2026-014", ("2026-014",), "litres"),
}


def plain(value):
    if is_dataclass(value):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    return value


def missing_from(found, expected, path="state"):
    """Return where something that was expected is not there or is another; more may be there."""
    if isinstance(expected, dict) and isinstance(found, dict):
        return [
            place
            for key, value in expected.items()
            for place in (
                missing_from(found[key], value, f"{path}.{key}") if key in found else [path + key]
            )
        ]
    if isinstance(expected, list) and isinstance(found, list) and len(found) == len(expected):
        return [
            place
            for number, value in enumerate(expected)
            for place in missing_from(found[number], value, f"{path}[{number}]")
        ]
    return [] if found == expected else [f"{path}: {found!r} is not {expected!r}"]


@pytest.fixture(params=WRITTEN)
def old(request, tmp_path):
    """The name of an old book, and a copy of it."""
    path = tmp_path / "old.book"
    shutil.copy(BOOKS / f"{request.param}.book", path)
    return request.param, path


def test_there_is_a_book_of_every_schema():
    for suffix in (".book", ".job", ".json"):
        assert {path.stem for path in BOOKS.glob(f"*{suffix}")} == set(WRITTEN)
    assert {written.schema for written in WRITTEN.values()} == set(schema.KNOWN)


def test_an_old_book_opens_and_its_job_is_what_it_was(old):
    name, path = old
    written = WRITTEN[name]
    expected = json.loads((BOOKS / f"{name}.json").read_text(encoding="utf-8"))

    with open_book(path) as book:
        state = book.state(written.job)
        photo = state.photos[0].event.sha256
        assert missing_from(plain(state), expected) == []
        assert [head.job for head in book.jobs()] == list(written.jobs)
        assert book.photo(photo)[1] == "image/jpeg"
        assert book.settings().volume_unit == written.volume_unit

    connection = sqlite3.connect(path)
    assert connection.execute("SELECT version_num FROM gaugewright_schema").fetchall() == [
        (schema.HEAD,)
    ]
    connection.close()


def test_an_old_book_is_looked_at_as_it_is(old):
    name, path = old
    before = path.read_bytes()

    with open_book(path, read_only=True) as book:
        assert [head.job for head in book.jobs()] == list(WRITTEN[name].jobs)
    assert verify_file(str(path)).is_unaltered

    assert path.read_bytes() == before


def test_a_guard_taken_out_of_an_old_book_is_missed(old):
    _, path = old
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER entry_follows")
    connection.close()

    assert "refuse changes is not as it was made" in verify_file(str(path)).line


def test_an_old_book_can_be_written_on(old):
    name, path = old
    job = WRITTEN[name].job
    with open_book(path) as book:
        number = book.state(job).tip.number
        recorded = book.record(
            job,
            number,
            [NoteAdded("years later")],
            at=datetime(2031, 5, 4, tzinfo=UTC),
            person="Eve",
            device="laptop",
        )

    assert recorded.state.tip.number == number + 1


def test_an_old_job_file_is_unaltered_and_can_be_taken_in(old, tmp_path):
    name, copy = old
    job = WRITTEN[name].job
    path = BOOKS / f"{name}.job"
    verdict = verify_job_file(path)

    assert verdict.is_unaltered, verdict.line
    with open_book(tmp_path / "new.book") as book, open_book(copy) as origin:
        book.import_job(path.read_bytes())
        assert book.entries(job) == origin.entries(job)


def test_the_old_books_hold_every_kind_of_entry_between_them(tmp_path):
    kinds = set()
    for name, written in WRITTEN.items():
        shutil.copy(BOOKS / f"{name}.book", tmp_path / f"{name}.book")
        with open_book(tmp_path / f"{name}.book", read_only=True) as book:
            kinds |= {entry.kind for entry in book.entries(written.job)}

    assert kinds >= set(KINDS)


def test_the_comparison_sees_a_value_that_is_no_longer_what_it_was():
    expected = {"tanks": [{"litres": 1.0}], "stage": "Pour"}

    assert missing_from({"tanks": [{"litres": 1.0}], "stage": "Pour", "new": 1}, expected) == []
    assert missing_from({"tanks": [{"litres": 1.5}], "stage": "Pour"}, expected)
    assert missing_from({"tanks": [], "stage": "Pour"}, expected)
    assert missing_from({"tanks": [{"litres": 1.0}]}, expected)
