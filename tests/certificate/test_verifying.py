"""A changed byte is found: in a certificate, its attachments, a table, a book, a job file."""

import io
import json
import re
import sqlite3
from dataclasses import replace

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from gaugewright.app.certified import held_against, verify_certificate
from gaugewright.app.certify import small_photos
from gaugewright.app.survey import withdraw
from gaugewright.app.verify import verify_file
from gaugewright.certificate.attachments import JOURNAL
from gaugewright.certificate.document import document_of
from gaugewright.certificate.sealed import PLACE, PREFIX, is_sealed, seal
from gaugewright.cli.main import app
from gaugewright.errors import GaugewrightError, InputError
from gaugewright.journal import kinds as k
from gaugewright.journal.book import open_book
from gaugewright.journal.chain import START, next_entry
from gaugewright.journal.fold import fold
from gaugewright.table.export import export_csv

OWN_SEAL = re.compile(rb"gaugewright-sha256-[0-9a-f]{64}")


def resealed(content):
    """Return an altered certificate with a seal of its own, as a forger would make it."""
    blank = OWN_SEAL.sub(PLACE.encode(), content)
    if blank.count(PLACE.encode()) != 2:
        raise AssertionError("the forger lost the seal's places")
    return seal(blank)


def said_wrong(verdict):
    return [check.what for check in verdict.checks if check.is_right is False]


def test_an_unaltered_certificate_is_proved_by_itself(pdf):
    verdict = verify_certificate(pdf)
    assert verdict.is_unaltered
    assert [check.is_right for check in verdict.checks] == [True] * 5
    assert "made again agrees within 0.01 L" in verdict.line
    assert "the pages set again are the same bytes" in verdict.line


@pytest.mark.parametrize("more", [{"paper": "letter", "units": "us"}, {"form": "summary"}])
def test_every_other_printing_is_proved_too(finished, more):
    assert verify_certificate(finished.document(**more).content).is_unaltered


def test_a_draft_is_proved_to_be_a_draft(work):
    verdict = verify_certificate(work.document().content)
    assert verdict.is_unaltered
    assert "draft (not issued)" in verdict.line


@settings(max_examples=400, deadline=None)
@given(data=st.data())
def test_any_changed_byte_breaks_the_seal(pdf, data):
    place = data.draw(st.integers(0, len(pdf) - 1))
    altered = bytearray(pdf)
    altered[place] ^= data.draw(st.integers(1, 255))
    assert not is_sealed(bytes(altered))


@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_cutting_adding_and_doubling_bytes_is_found(pdf, data):
    place = data.draw(st.integers(0, len(pdf)))
    length = data.draw(st.integers(1, 200))
    way = data.draw(st.sampled_from(["cut", "add", "double"]))
    if way == "cut":
        altered = pdf[:place] + pdf[place + length :]
    elif way == "add":
        altered = pdf[:place] + data.draw(st.binary(min_size=1, max_size=40)) + pdf[place:]
    else:
        altered = pdf[:place] + pdf[place : place + length] + pdf[place:]
    if altered != pdf:
        assert is_found(altered)


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_a_changed_byte_is_said_in_one_line_and_never_a_fault(pdf, data):
    place = data.draw(st.integers(0, len(pdf) - 1))
    altered = bytearray(pdf)
    altered[place] ^= data.draw(st.integers(1, 255))
    assert is_found(bytes(altered))


def is_found(content):
    """Tell whether a file is refused or said to be altered; anything else is a fault."""
    try:
        verdict = verify_certificate(content)
    except GaugewrightError as error:
        return "\n" not in str(error)
    return not verdict.is_unaltered and "\n" not in verdict.line


def attached(pdf, name, change):
    """Return a certificate with one attached file changed, and sealed anew."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        spec = next(each for each in opened.Root.AF if str(each.UF) == name)
        old = spec.EF.F.read_bytes()
        spec.EF.F.write(change(old), type_check=False)
        out = io.BytesIO()
        opened.save(out, static_id=True, compress_streams=False, preserve_pdfa=True)
    return resealed(out.getvalue())


def flipped(place, flip):
    def change(content):
        altered = bytearray(content)
        altered[place % len(altered)] ^= flip
        return bytes(altered)

    return change


@settings(max_examples=25, deadline=None)
@given(place=st.integers(0, 10**7), flip=st.integers(1, 255))
def test_a_changed_byte_of_the_attached_journal_is_found_under_a_new_seal(pdf, place, flip):
    assert is_found(attached(pdf, JOURNAL, flipped(place, flip)))


@settings(max_examples=10, deadline=None)
@given(place=st.integers(0, 10**7), flip=st.integers(1, 255))
def test_a_changed_byte_of_the_attached_table_is_found_under_a_new_seal(pdf, place, flip):
    verdict = verify_certificate(attached(pdf, "table-main.csv", flipped(place, flip)))
    assert "tables" in said_wrong(verdict)


def test_a_changed_photo_is_found_under_a_new_seal(pdf, finished):
    name = f"photo-{finished.state.photos[0].event.sha256}.jpg"
    verdict = verify_certificate(attached(pdf, name, flipped(400, 1)))
    assert said_wrong(verdict) == ["pages"]


def test_changed_words_on_a_page_are_found_under_a_new_seal(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        page = opened.pages[0]
        page.contents_add(b"BT /F0 9 Tf 100 100 Td (0.1 L) Tj ET")
        out = io.BytesIO()
        opened.save(out, static_id=True)
    assert said_wrong(verify_certificate(resealed(out.getvalue()))) == ["pages"]


def rechained(entries, change):
    """Return a journal told anew: every payload through ``change``, every hash made again."""
    told, tip = [], START
    for entry in entries:
        payload = change(entry.kind, dict(entry.payload))
        made = next_entry(
            tip, job=entry.job, at=entry.at, person=entry.person, device=entry.device,
            kind=entry.kind, payload=payload,
        )  # fmt: skip
        told.append(made)
        tip = made.tip
    return told


def forged(finished, change):
    """Return the certificate of a journal told anew, made by this very program."""
    event = finished.state.certificate.event
    entries = finished.yard.book.entries(finished.job)[: event.upto_number]
    told = rechained(entries, change)
    issue = verify_certificate(finished.document().content).attached.issue
    state = fold(finished.job, told)
    return told, document_of(told, issue, small_photos(finished.yard.book, state))


def test_litres_changed_in_a_journal_told_anew_do_not_make_its_table(finished):
    def more_fuel(kind, payload):
        if kind == "pour_recorded" and payload["step"] == 3:
            payload["added_l"] = 27.0
        return payload

    _, content = forged(finished, more_fuel)
    assert said_wrong(verify_certificate(content)) == ["table of main"]


def test_a_journal_told_anew_has_another_last_hash_than_the_book(finished, pdf):
    def other_seal(kind, payload):
        if kind == "seal_set":
            payload["seal_number"] = "999999"
        return payload

    told, content = forged(finished, other_seal)
    verdict = verify_certificate(content)
    assert verdict.is_unaltered  # by itself it cannot be known: paper and book can tell
    assert verdict.state.tip.hash != verify_certificate(pdf).state.tip.hash
    entries = finished.yard.book.entries(finished.job)
    against = held_against(verdict, entries, content, "yard.book")
    assert said_wrong(against) == ["against"]
    assert "is another one than in yard.book" in against.line
    assert told[-1].number == finished.state.certificate.event.upto_number


def test_a_certificate_is_held_against_the_book_it_came_from(work):
    work.issue("C-1")
    content = work.document().content
    verdict = verify_certificate(content)

    def against(entries, of=content):
        return held_against(verdict, entries, of, "book")

    entries = work.yard.book.entries(work.job)
    assert against(entries).is_unaltered
    assert "the one whose hash the journal holds" in against(entries).line
    assert said_wrong(against(entries[:-1])) == ["issued"]
    assert said_wrong(against(entries[:4])) == ["against"]
    assert said_wrong(against(())) == ["against"]
    assert against(()).line == (
        f"NOT SHOWN: book does not hold job {work.job}; by itself it is unaltered"
    )
    work.record(k.NoteAdded("later"))
    work.issue("C-2", reason="a note more")
    replaced = against(work.yard.book.entries(work.job))
    assert replaced.is_unaltered
    assert "it was replaced by C-2" in replaced.line
    withdraw(work.yard, work.job, work.stamp, "C-1", "wrong plate")
    gone = against(work.yard.book.entries(work.job))
    assert said_wrong(gone) == ["in force"]
    assert "wrong plate" in gone.line


def test_a_certificate_of_another_version_is_read_instead_of_set_again(finished, pdf):
    found = verify_certificate(pdf).attached
    older = replace(found.issue, versions={"gaugewright": "0.0.9", "typst": "0.1"})
    content = document_of(found.entries, older, found.photos)
    verdict = verify_certificate(content)
    assert verdict.is_unaltered
    assert verdict.checks[-1].is_right is None
    assert "every row of the tables stands on them" in verdict.line


def test_a_figure_changed_on_the_page_of_another_version_is_found(pdf, monkeypatch):
    found = verify_certificate(pdf).attached
    older = replace(found.issue, versions={"gaugewright": "0.0.9", "typst": "0.1"})
    from gaugewright.certificate import tank_part

    true_grid = tank_part.rows_grid

    def lying_grid(table, write):
        grid = true_grid(table, write)
        first, *rest = grid.rows
        return replace(grid, rows=((first[0], "399.99", *first[2:]), *rest))

    monkeypatch.setattr(tank_part, "rows_grid", lying_grid)
    content = document_of(found.entries, older, found.photos)
    monkeypatch.undo()
    assert said_wrong(verify_certificate(content)) == ["pages"]


@pytest.mark.parametrize("content", [b"%PDF-1.7\n", b"%PDF-1.7\n" + b"\x00" * 500])
def test_another_pdf_is_no_certificate(content):
    with pytest.raises(InputError, match="without a certificate"):
        verify_certificate(content)


def test_a_photo_is_told_to_be_no_pdf():
    with pytest.raises(InputError, match="is not a PDF"):
        verify_certificate(b"\xff\xd8\xff\xe0" + b"\x00" * 500)


def test_rubbish_with_a_seal_is_told_apart_without_a_fault():
    content = b"%PDF-1.7\n" + PLACE.encode() + b" rubbish " + PLACE.encode()
    verdict = verify_certificate(seal(content))
    assert said_wrong(verdict) == ["attachments"]
    assert PREFIX in seal(content).decode()


# Tables, job files and books by the command


@pytest.fixture(scope="session")
def files(finished, pdf, tmp_path_factory):
    """The certificate, its table, its job file and a copy of its book."""
    folder = tmp_path_factory.mktemp("files")
    (folder / "c.pdf").write_bytes(pdf)
    (folder / "job.zip").write_bytes(finished.yard.book.export_job(finished.job))
    tank = finished.state.tanks["main"]
    from gaugewright.certificate.tank_part import table_of

    csv = export_csv(table_of(tank.accepted_table.event.rows))
    (folder / "table.csv").write_text(csv, newline="")
    copy = sqlite3.connect(folder / "yard.book")
    with sqlite3.connect(finished.path) as source:
        source.backup(copy)
    source.close()
    copy.execute("PRAGMA journal_mode=DELETE")
    copy.close()
    return folder


def run(*arguments):
    return CliRunner().invoke(app, ["verify", *map(str, arguments)])


@pytest.mark.parametrize("against", ["c.pdf", "job.zip", "yard.book"])
def test_a_table_is_proved_by_a_certificate_a_job_file_or_a_book(files, against):
    done = run(files / "table.csv", "--against", files / against)
    assert done.exit_code == 0, done.stderr
    assert "byte for byte the table of tank main" in done.stdout


@pytest.mark.parametrize("against", ["job.zip", "yard.book"])
def test_a_certificate_is_proved_by_a_job_file_or_a_book(files, against):
    done = run(files / "c.pdf", "--against", files / against, "--json")
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["is_unaltered"] is True
    assert {check["what"] for check in record["checks"]} >= {"seal", "pages", "against"}


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_changed_byte_of_a_table_is_found(files, data):
    content = bytearray((files / "table.csv").read_bytes())
    content[data.draw(st.integers(0, len(content) - 1))] ^= data.draw(st.integers(1, 255))
    altered = files / "altered.csv"
    altered.write_bytes(bytes(content))
    try:
        is_found = verify_file(str(altered), str(files / "job.zip")).is_unaltered is False
    except InputError as error:
        is_found = "\n" not in str(error)
    assert is_found


def told_by(path):
    """Return everything that a book says of its jobs, `GaugewrightError` if it cannot."""
    with open_book(path, create=False, read_only=True) as book:
        jobs = {job: [entry.line for entry in book.entries(job)] for job in book.store.jobs()}
        photos = [book.photo(kept.event.sha256) for job in jobs for kept in book.state(job).photos]
        listed = [(head.job, head.tip, dict(head.summary)) for head in book.jobs()]
    return jobs, photos, listed


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_a_changed_byte_of_a_book_is_found_or_changes_nothing_that_it_says(files, data):
    true = told_by(files / "yard.book")
    content = bytearray((files / "yard.book").read_bytes())
    content[data.draw(st.integers(0, len(content) - 1))] ^= data.draw(st.integers(1, 255))
    altered = files / "altered.book"
    altered.write_bytes(bytes(content))
    try:
        is_found = verify_file(str(altered)).is_unaltered is False
    except GaugewrightError as error:
        is_found = "\n" not in str(error)
    if not is_found:
        assert told_by(altered) == true


def test_a_changed_name_in_the_list_of_jobs_is_found(files):
    content = (files / "yard.book").read_bytes()
    at = content.rindex(b'"tanks":1,"vehicle":')
    altered = files / "altered.book"
    altered.write_bytes(content[: at + 1] + b"w" + content[at + 2 :])

    verified = verify_file(str(altered))

    assert not verified.is_unaltered
    assert "the list of jobs says tanks otherwise" in verified.line


def parts_of(path):
    """Return all that a book holds of its jobs, each as the bytes that stand in the file."""
    with sqlite3.connect(path) as opened:
        rows = opened.execute("SELECT text, prev_hash, hash FROM entry").fetchall()
        rows += opened.execute("SELECT summary FROM job").fetchall()
        # The zeros before the first entry stand in the guards' own text too, and first there.
        parts = [text.encode() for row in rows for text in row if text.strip("0")]
        parts += [content for (content,) in opened.execute("SELECT bytes FROM photo")]
    opened.close()
    return parts


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_a_changed_byte_of_anything_that_a_book_holds_of_a_job_is_always_found(files, data):
    content = bytearray((files / "yard.book").read_bytes())
    part = data.draw(st.sampled_from(parts_of(files / "yard.book")))
    place = data.draw(st.integers(0, len(part) - 1))
    start = max(min(place, len(part) - 16), 0)  # fewer than sixteen may stand elsewhere first
    end = start + 16
    while start > 0 and content.count(part[start:end]) > 1:  # as a picture's zeros do
        start = max(start - 16, 0)
    at = content.find(part[start:end]) + place - start
    if at < place - start:  # these stand on two pages of the file
        return
    content[at] ^= data.draw(st.integers(1, 255))
    altered = files / "altered.book"
    altered.write_bytes(bytes(content))
    try:
        is_found = verify_file(str(altered)).is_unaltered is False
    except GaugewrightError as error:
        is_found = "\n" not in str(error)
    assert is_found


def test_a_job_file_or_a_book_needs_nothing_to_be_held_against(files):
    done = run(files / "job.zip", "--against", files / "c.pdf")
    assert done.exit_code == 2
    assert "--against" in done.stderr
