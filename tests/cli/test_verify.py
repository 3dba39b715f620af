"""``gaugewright verify`` on job files, books and tables."""

import json
from datetime import UTC, datetime

import psycopg
import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.errors import AwayError
from gaugewright.journal import exchange
from gaugewright.journal import kinds as k
from gaugewright.journal.book import Book, open_book


@pytest.fixture
def book_path(tmp_path):
    path = tmp_path / "yard.book"
    with open_book(path) as book:
        stamp = {"at": datetime(2026, 3, 2, 9, tzinfo=UTC), "person": "Kim Aldo", "device": "desk"}
        opened = k.JobOpened(customer="Halden Plant Hire", vehicle="Loader 14")
        book.record("HB-0001", 0, [opened], **stamp)
        book.record("HB-0001", 1, [k.NoteAdded("drained")], **stamp)
        (tmp_path / "job.zip").write_bytes(book.export_job("HB-0001"))
    return path


def run(*arguments):
    return CliRunner().invoke(app, ["verify", *map(str, arguments)])


def test_an_unaltered_job_file_is_told_in_one_line(book_path):
    done = run(book_path.parent / "job.zip")

    assert done.exit_code == 0
    assert done.stdout.count("\n") == 1
    assert "unaltered, job HB-0001, 2 entries" in done.stdout


def test_an_altered_job_file_names_what_is_wrong(book_path):
    path = book_path.parent / "job.zip"
    path.write_bytes(path.read_bytes().replace(b"drained", b"drainer"))
    done = run(path)

    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "job.zip" in done.stderr


def test_a_whole_book_is_checked(book_path):
    done = run(book_path)
    assert done.exit_code == 0
    assert "unaltered, 1 job," in done.stdout

    record = json.loads(run(book_path, "--json").stdout)
    assert (record["what"], record["is_unaltered"]) == ("job book", True)


def test_checking_a_book_leaves_nothing_beside_it(book_path):
    before = {each.name for each in book_path.parent.iterdir()}

    assert run(book_path).exit_code == 0

    assert {each.name for each in book_path.parent.iterdir()} == before


def test_an_altered_book_names_the_entry(book_path):
    content = book_path.read_bytes()
    for wal in book_path.parent.glob("yard.book-*"):
        wal.unlink()
    assert b"drained" in content
    book_path.write_bytes(content.replace(b"drained", b"drainer"))
    done = run(book_path)

    assert done.exit_code == 2
    assert "HB-0001" in done.stderr


def test_a_table_says_what_it_is_and_that_it_cannot_show_more(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("counts,litres,u_litres\n0,4.5,0.5\n4000,400,2\n")
    done = run(path)

    assert done.exit_code == 0
    assert "a sound table of 2 rows" in done.stdout
    assert "cannot show whether it was altered" in done.stdout


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04rubbish", b"hello", b"\x00\x01\x02"])
def test_anything_else_is_refused_in_one_line(tmp_path, content):
    path = tmp_path / "thing"
    path.write_bytes(content)
    done = run(path)

    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1
    assert run(tmp_path / "missing").exit_code == 2


@pytest.fixture
def address(postgresql_url, book_path):
    """The same book in a database, its address with a password that the server does not ask for."""
    with open_book(postgresql_url) as book:
        book.import_job((book_path.parent / "job.zip").read_bytes())
    return postgresql_url.replace("gauge@", "gauge:secret@")


def test_a_book_in_a_database_is_checked_and_its_password_never_shown(address):
    done = run(address)
    assert (done.exit_code, done.stderr) == (0, "")
    assert "unaltered, 1 job," in done.stdout

    record = json.loads(run(address, "--json").stdout)
    assert (record["what"], record["is_unaltered"]) == ("job book", True)
    assert "secret" not in done.stdout + json.dumps(record)


def test_an_altered_entry_in_a_database_is_named(address, postgresql_url):
    with psycopg.connect(postgresql_url, autocommit=True) as connection:
        connection.execute("SET session_replication_role = replica")  # as its keeper can
        connection.execute("UPDATE entry SET text = replace(text, 'drained', 'drainer')")
    done = run(address)

    assert (done.exit_code, done.stdout) == (2, "")
    assert "job HB-0001: entry 2" in done.stderr
    assert "secret" not in done.stderr


def test_a_table_is_held_against_a_book_in_a_database(address, tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("counts,litres,u_litres\n0,4.5,0.5\n4000,400,2\n")
    done = run(path, "--against", address)

    assert done.exit_code == 2
    assert "no table accepted in the book postgres at" in done.stderr
    assert "secret" not in done.stderr


def test_a_database_that_goes_away_in_the_midst_is_not_taken_for_an_altered_book(
    address, monkeypatch
):
    def away(*_):
        raise AwayError("the database does not answer")

    monkeypatch.setattr(Book, "photo", away)
    monkeypatch.setattr(exchange, "photos_named_in", lambda _: ("0" * 64,))
    done = run(address, "--json")

    assert done.exit_code == 2
    assert "is_unaltered" not in done.stdout
