"""``gaugewright certificate``: drafts, issuing, printing again, and what is refused."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.journal.book import open_book
from gaugewright.testing.certified import JOB, begin, pour_and_accept


@pytest.fixture
def book(tmp_path):
    """A book with one job whose table is accepted, closed again."""
    work = begin(tmp_path / "yard.book")
    pour_and_accept(work)
    work.yard.close()
    return work.path


def run(*arguments, command="certificate"):
    return CliRunner().invoke(app, [command, *map(str, arguments)])


def test_a_draft_is_written_where_nothing_was_issued(book, tmp_path):
    done = run(book, JOB, "--out", tmp_path / "d.pdf", "--json")
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert (record["is_draft"], record["certificate"]) == (True, f"C-{JOB}")
    assert (tmp_path / "d.pdf").read_bytes().startswith(b"%PDF-1.7")
    assert "a draft of C-" in run(book, JOB, "--out", tmp_path / "d.pdf").stdout


def test_issue_then_print_again_then_verify(book, tmp_path):
    issued = run(
        book, JOB, "--issue", "--person", "Kim Aldo", "--place", "Bay 3",
        "--paper", "letter", "--units", "us", "--out", tmp_path / "c.pdf",
    )  # fmt: skip
    assert issued.exit_code == 0, issued.stderr
    assert "certificate C-HB-0231" in issued.stdout
    again = run(book, JOB, "--out", tmp_path / "again.pdf", "--json")
    assert json.loads(again.stdout)["is_as_issued"] is True
    assert (tmp_path / "again.pdf").read_bytes() == (tmp_path / "c.pdf").read_bytes()
    proved = run(tmp_path / "c.pdf", "--against", book, command="verify")
    assert proved.exit_code == 0, proved.stderr
    assert "unaltered, certificate C-HB-0231" in proved.stdout
    with open_book(book, read_only=True) as opened:
        event = opened.state(JOB).certificate.event
    assert (event.signed_by, event.issue["place"], event.issue["paper"]) == (
        "Kim Aldo",
        "Bay 3",
        "letter",
    )


def test_the_summary_goes_to_standard_output(book):
    done = run(book, JOB, "--summary", "--out", "-")
    assert done.exit_code == 0
    assert done.stdout_bytes.startswith(b"%PDF-1.7")


def test_without_a_name_the_file_is_named_after_the_certificate(book, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(book, JOB).exit_code == 0
    assert Path(f"C-{JOB}.pdf").is_file()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--issue"], "--person"),
        (["--paper", "a3"], "paper: must be a4 or letter"),
        (["--units", "pints"], "units: must be metric, us, imperial"),
        (["--place", "here"], "--place"),
        (["--number", "C-9"], "has no certificate C-9"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_and_nothing_is_written(book, tmp_path, more, said):
    before = book.read_bytes()
    done = run(book, JOB, "--out", tmp_path / "c.pdf", *more)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "c.pdf").exists()
    assert book.read_bytes() == before


def test_another_job_or_book_is_refused(book, tmp_path):
    assert "there is no job X-1" in run(book, "X-1", "--out", tmp_path / "c.pdf").stderr
    missing = run(tmp_path / "none.book", JOB, "--out", tmp_path / "c.pdf")
    assert (missing.exit_code, missing.stderr.count("\n")) == (2, 1)
    over = run(book, JOB, "--out", book)
    assert "would overwrite" in over.stderr


def test_a_certificate_that_is_made_anew_needs_its_reason(book, tmp_path):
    first = ["--issue", "--person", "Kim Aldo", "--out", tmp_path / "c.pdf"]
    assert run(book, JOB, *first).exit_code == 0
    again = run(book, JOB, *first)
    assert again.exit_code == 2
    assert "say why it is made anew" in again.stderr
    assert run(book, JOB, *first, "--reason", "plate was wrong").exit_code == 0
    old = run(book, JOB, "--number", f"C-{JOB}", "--out", tmp_path / "old.pdf", "--json")
    assert json.loads(old.stdout)["is_as_issued"] is True
