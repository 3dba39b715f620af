"""``gaugewright verify`` on job files, books and tables."""

import json
from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book


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
