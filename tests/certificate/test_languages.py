"""A certificate in another language: recorded with it, proved by itself, English unchanged."""

import io
import json
import re
from dataclasses import replace

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from pypdf import PdfReader

from gaugewright.app import language, survey
from gaugewright.app.certified import files_in, verify_certificate
from gaugewright.app.yard import Stamp
from gaugewright.certificate.attachments import ISSUE
from gaugewright.certificate.building import statement_of
from gaugewright.certificate.document import document_of
from gaugewright.certificate.fixed_words import fixed_words
from gaugewright.certificate.issue import Issue, issue_from
from gaugewright.errors import InputError
from gaugewright.testing.certified import LATER
from gaugewright.words import Speech

GERMAN = {
    "Tank calibration certificate": "Tankkalibrierschein",
    "Page {page} of {pages}": "Seite {page} von {pages}",
    "Signed": "Unterschrieben",
    "by {name}": "von {name}",
    "Results at a glance": "Ergebnisse auf einen Blick",
    "The whole job": "Der ganze Auftrag",
    "tip {length} clear": "Spitze {length} frei",
    "Copied back": "Zurückgelesen",
    "End of certificate {number}": "Ende des Scheins {number}",
}


def written(folder, words):
    """Write the catalogue of a made-up team of translators."""
    (folder / "de" / "LC_MESSAGES").mkdir(parents=True, exist_ok=True)
    made = Catalog(locale="de")
    for english, german in words.items():
        made.add(english, german)
    with (folder / "de" / "LC_MESSAGES" / "workbench.mo").open("wb") as file:
        write_mo(file, made)
    language.catalogue.cache_clear()


@pytest.fixture
def german(tmp_path, monkeypatch):
    """A catalogue in German; gone again afterwards."""
    monkeypatch.setattr(language, "LOCALES", tmp_path)
    written(tmp_path, GERMAN)
    yield tmp_path
    language.catalogue.cache_clear()


def text_of(content):
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def test_a_certificate_is_issued_in_the_books_language_and_proves_itself(work, german):
    settings = {"language": "de"}
    survey.change_settings(work.yard, Stamp("Kim Aldo", "laptop", 0), settings)
    kept = work.issue("C-1").state.certificate.event
    content = work.document().content
    verdict = verify_certificate(content)
    words = text_of(content)

    assert kept.issue["language"] == "de"
    assert json.loads(files_in(content)[ISSUE])["language"] == "de"
    assert "Tankkalibrierschein" in words
    assert re.search(r"Seite 1 von \d", words)
    assert re.search(r"\d,\d\d", words)
    assert not re.search(r"\d\.\d+\s(L|V|°C)", words)
    assert verdict.is_unaltered
    assert verdict.checks[-1].said == "the pages set again are the same bytes"


def test_it_stays_in_its_language_whatever_the_book_is_kept_in_later(work, german):
    work.issue("C-1", language="de")
    first = work.document()

    assert first.is_as_issued
    assert "Ergebnisse auf einen Blick" in text_of(work.document(units="us").content)
    work.issue("C-2", language="en", reason="the customer asked for English")
    assert "Tank calibration certificate" in text_of(work.document().content)
    assert work.document(number="C-1").content == first.content


def test_with_other_words_than_it_was_issued_in_it_is_read_instead_of_set_again(work, german):
    work.issue("C-1", language="de")
    content = work.document().content
    written(german, GERMAN | {"Signed": "Gezeichnet"})

    verdict = verify_certificate(content)

    assert verdict.is_unaltered
    assert verdict.checks[-1].is_right is None
    assert "every row of the tables stands on them" in verdict.checks[-1].said


def test_a_language_that_nobody_has_translated_into_is_refused_or_stays_english(work, pdf):
    with pytest.raises(InputError, match="nobody has translated into fi") as refused:
        work.issue("C-1", language="fi")
    with pytest.raises(InputError, match="language"):
        work.issue("C-1", language="../de")
    survey.change_settings(work.yard, Stamp("Kim Aldo", "laptop", 0), {"language": "fi"})
    kept = work.issue("C-1").state.certificate.event

    assert refused.value.field == "language"
    assert "language" not in kept.issue
    assert "language" not in json.loads(files_in(pdf)[ISSUE])


def test_a_certificate_from_before_there_were_languages_is_english_and_proves_itself(pdf):
    record = json.loads(files_in(pdf)[ISSUE])
    assert "language" not in record
    issue = issue_from(record)
    assert (issue.language, issue.as_json()) == ("en", record)
    assert verify_certificate(pdf).checks[-1].said == "the pages set again are the same bytes"


def test_no_word_of_the_program_on_it_is_kept_from_translators(finished):
    """Every text is said in the language, or is a person's, a figure, a number or a hash."""
    speech = Speech(lambda text: f"«{text}»", ",")
    issue = Issue("C-1", LATER, "Kim Aldo", strokes=((1, 2, 3, 4),), language="de")
    statement = statement_of(finished.state, issue, speech)
    said = speech.all_of(statement).as_json() | {"words": speech.all_of(fixed_words(statement))}
    recorded = json.dumps([entry.text for entry in finished.yard.book.entries(finished.job)])

    def walk(value, path=""):
        if isinstance(value, str):
            figure = re.fullmatch(r"[\d,.:±–\s-]*(L|mm|°C|V|UTC)?", value)
            if "«" not in value and not figure:
                yield path, value
        elif isinstance(value, dict):
            for key, each in value.items():
                if key not in ("svg", "sha256"):
                    yield from walk(each, f"{path}.{key}")
        elif isinstance(value, list | tuple):
            for each in value:
                yield from walk(each, path)

    left = {
        path: text
        for path, text in walk(said)
        if json.dumps(json.dumps(text))[3:-3] not in recorded and text != "C-1"
    }
    assert set(left) <= {
        ".qr.alt",  # what the code says to machines
        ".tanks.heading", ".glance.rows", ".driver.told.label",  # names that people gave
        ".tanks.parts.grid.rows", ".parts.grid.rows", ".parts.sentences",  # people's words
    }, left  # fmt: skip


def test_the_same_words_in_english_make_the_same_bytes_with_and_without_a_language(finished, pdf):
    found = verify_certificate(pdf).attached
    again = document_of(found.entries, found.issue, found.photos, Speech(str))
    named = document_of(found.entries, replace(found.issue, language="en"), found.photos)
    assert again == pdf == named
