"""The certificate as a file: opened by readers that are not the program that wrote it."""

import io
import shutil
import subprocess

import pikepdf
import pypdf
import pytest
from lxml import etree

from gaugewright.certificate.attachments import ISSUE, JOURNAL
from gaugewright.certificate.pictures import code_text
from gaugewright.testing.certified import NASTY

PDFAID = "{http://www.aiim.org/pdfa/ns/id/}"
POINTS = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}


def text_of(content):
    """Return the words of a PDF, spaces as one."""
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def objects_of(opened):
    """Return every dictionary of a PDF."""
    return [
        each for each in opened.objects if isinstance(each, pikepdf.Dictionary | pikepdf.Stream)
    ]


def test_it_says_in_its_metadata_that_it_is_pdf_a_3b(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        metadata = opened.Root.Metadata
        assert "/Filter" not in metadata  # readers that know no PDF must find it
        found = etree.fromstring(metadata.read_bytes())
    said = {each.tag: each.text for each in found.iter() if str(each.tag).startswith(PDFAID)}
    for each in found.iter():
        said |= {k: v for k, v in each.attrib.items() if k.startswith(PDFAID)}
    assert (said[f"{PDFAID}part"], said[f"{PDFAID}conformance"]) == ("3", "B")


def test_it_has_what_an_archive_needs_and_nothing_that_acts(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.pdf_version == "1.7"
        assert not opened.is_encrypted
        assert len(opened.trailer.ID) == 2
        (intent,) = opened.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1"
        assert intent.DestOutputProfile.read_bytes()[36:40] == b"acsp"  # an ICC profile
        assert opened.Root.MarkInfo.Marked
        assert "/OpenAction" not in opened.Root
        for each in objects_of(opened):
            for forbidden in ("/JS", "/JavaScript", "/AA", "/Launch", "/URI", "/XFA", "/Encrypt"):
                assert forbidden not in each


def test_files_and_streams_are_as_iso_19005_3_asks(pdf):
    """ISO 19005-3, 6.1.7 (no LZW, no Crypt), 6.8 (F, UF, Subtype, AFRelationship); from memory."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for each in objects_of(opened):
            used = str(each.get("/Filter", ""))
            assert "LZW" not in used
            assert "Crypt" not in used
            assert each.get("/F") is None or each.get("/Type") == "/Filespec"
        for spec in opened.Root.AF:
            assert {"/F", "/UF", "/EF", "/AFRelationship", "/Desc"} <= set(spec.keys())
            assert str(spec.F) == str(spec.UF)
            assert "/ModDate" in spec.EF.F.Params
        names = opened.Root.Names.EmbeddedFiles
        assert len(names.Names) == 2 * len(opened.Root.AF)


def test_information_and_metadata_say_the_same(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        xmp = opened.Root.Metadata.read_bytes().decode()
        assert str(opened.docinfo.Title) in xmp
        assert str(opened.docinfo.Keywords) in xmp
        assert str(opened.docinfo.Title) == "Tank calibration certificate C-1"
        assert "2026-05-04" in xmp


def test_every_font_is_embedded_with_its_map_to_unicode(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        every = objects_of(opened)
        descriptors = [each for each in every if each.get("/Type") == "/FontDescriptor"]
        fonts = [each for each in every if each.get("/Subtype") == "/Type0"]
        assert len(descriptors) >= 3
        assert all({"/FontFile2", "/FontFile3"} & set(each.keys()) for each in descriptors)
        assert all("/ToUnicode" in each for each in fonts)
        assert not [each for each in every if each.get("/Subtype") == "/Type3"]


def test_journal_table_and_photo_are_embedded_with_what_they_are_to_the_document(pdf, finished):
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        files = {str(each.UF): each for each in opened.Root.AF}
        assert {str(name): str(f.AFRelationship) for name, f in files.items()} == {
            JOURNAL: "/Source",
            ISSUE: "/Supplement",
            "table-main.csv": "/Data",
            **{f"photo-{kept.event.sha256}.jpg": "/Supplement" for kept in finished.state.photos},
        }
        for each in files.values():
            assert each.Desc
            assert each.EF.F.Type == "/EmbeddedFile"
            assert each.EF.F.Subtype
        lines = files[JOURNAL].EF.F.read_bytes().decode().splitlines()
    upto = finished.state.certificate.event.upto_number
    assert len(lines) == upto
    assert finished.yard.book.entries(finished.job)[upto - 1].hash in lines[-1]


def test_its_text_can_be_taken_out_and_says_what_it_must(pdf, finished):
    text = text_of(pdf)
    for said in (
        "It is not an accredited calibration certificate",
        "relate only to the tank",
        "C-1",
        finished.job,
        "P-17",
        "T-9",
        "Ærø & Łódź Gauges",
        "Halden, bay 3",
        "meter not reset",
        "140172",
        "Pump 2",
        "1.0015",
        "En",
        "Smallest visible change",
        "for each degree along the vehicle",
        "was not copied back",
        "End of certificate C-1",
        "Page 1 of",
        finished.state.certificate.event.upto_hash[:16],
    ):
        assert said in text, said


def test_every_row_of_the_table_stands_on_its_pages(pdf, finished):
    text = text_of(pdf)
    rows = finished.state.tanks["main"].accepted_table.event.rows
    for row in rows:
        assert f"{row.counts:g} {row.litres:.2f} {row.u_litres:.2f}" in text


def test_words_of_people_are_shown_as_they_were_typed_and_never_read_as_markup(pdf):
    text = text_of(pdf)
    assert text.count(" ".join(NASTY.split())) >= 2  # the customer and a fact


def test_words_that_no_font_has_are_spelled_and_the_journal_keeps_them(pdf):
    assert "strap [U+6CB9] replaced" in text_of(pdf)
    files = pypdf.PdfReader(io.BytesIO(pdf)).attachments
    assert "油" in files[JOURNAL][0].decode()


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_it_has_two_to_four_pages_of_the_paper_asked_for(finished, paper, units):
    content = finished.document(paper=paper, units=units).content
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    assert 2 <= len(pages) <= 4
    for page in pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx(POINTS[paper], abs=0.1)
    assert ("US gal" in text_of(content)) == (units == "us")


def test_gallons_are_the_same_litres(finished):
    text = text_of(finished.document(units="us").content)
    top = finished.state.tanks["main"].accepted_table.event.rows[-1]
    # NIST Handbook 44, appendix C: 1 US gallon is 231 cubic inches, 3.785 411 784 L.
    assert f"{top.counts:g} {top.litres / 3.785411784:.2f}" in text
    assert "another printing of the same certificate" in text


def test_the_summary_is_one_page_in_plain_words(finished):
    content = finished.document(form="summary").content
    text = text_of(content)
    assert len(pypdf.PdfReader(io.BytesIO(content)).pages) == 1
    assert "what the fuel gauge tells now" in text
    assert "was not read back" in text
    assert "no proof of anything" in text


@pytest.mark.parametrize("form", ["certificate", "summary"])
def test_in_gallons_nobody_is_told_to_read_litres(finished, form):
    in_gallons, in_litres = (
        text_of(finished.document(form=form, units=units).content) for units in ("us", "metric")
    )
    assert "gallons" in in_gallons
    assert "litres" not in in_gallons
    assert "gallons" not in in_litres


def test_the_same_certificate_is_the_same_bytes(finished, pdf):
    assert finished.document().content == pdf
    letters = [finished.document(paper="letter").content for _ in range(2)]
    assert letters[0] == letters[1]


def test_photos_are_shown_small_and_keep_nothing_of_where_they_were_taken(pdf):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    names = [name for name in reader.attachments if name.startswith("photo-")]
    assert len(names) == 1
    small = reader.attachments[names[0]][0]
    assert small.startswith(b"\xff\xd8")
    assert b"Exif" not in small
    assert len(small) < 40_000


def test_the_code_to_scan_names_job_and_last_hash(finished):
    event = finished.state.certificate.event
    entry = finished.yard.book.entries(finished.job)[event.upto_number - 1]
    text = code_text(finished.job, "C-1", entry.tip)
    assert text.splitlines()[1:] == [
        f"JOB {finished.job}",
        f"ENTRY {event.upto_number}",
        f"SHA-256 {event.upto_hash}",
    ]


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler is another program")
def test_poppler_reads_the_same_words_and_finds_every_font_embedded(pdf, tmp_path):
    path = tmp_path / "c.pdf"
    path.write_bytes(pdf)
    run = {"capture_output": True, "text": True, "check": True}
    text = subprocess.run(["pdftotext", "-layout", path, "-"], **run).stdout
    assert "not an accredited calibration certificate" in " ".join(text.split())
    fonts = subprocess.run(["pdffonts", path], **run).stdout.splitlines()[2:]
    assert len(fonts) >= 3
    assert all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)
