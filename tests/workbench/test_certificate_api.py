"""The API of the Certificate stage."""

import pytest

from gaugewright.testing.hand import Hand


@pytest.fixture
def tabled(hand: Hand, pour_at_once) -> Hand:
    """A job whose table is accepted."""
    pour_at_once(hand, 30.0, 7)
    hand.record("/tanks/main/table")
    digest = hand.state()["tanks"][0]["table"]["digest"]
    hand.record("/tanks/main/table/accept", digest=digest)
    return hand


def document(hand: Hand, **query: str):
    return hand.client.get(f"/api/jobs/{hand.job}/certificate.pdf", params=query)


def test_a_draft_then_the_signed_certificate_are_given_as_pdf(tabled):
    draft = document(tabled)
    assert draft.status_code == 200
    tabled.record(
        "/certificate",
        certificate_number="C-7",
        signed_by="Kim Aldo",
        strokes=[[10, 20, 400, 250], [500, 100]],
        place="Bay 3",
        paper="letter",
    )
    found = tabled.state()["certificate"]
    assert (found["signed_by"], found["is_drawn"], found["place"]) == ("Kim Aldo", True, "Bay 3")
    pdf = document(tabled)
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.headers["content-disposition"] == 'inline; filename="C-7.pdf"'
    assert pdf.content != draft.content
    checked = tabled.client.post("/api/verify", content=pdf.content).json()
    assert (checked["is_unaltered"], checked["certificate"]) == (True, "C-7")
    assert [check["is_right"] for check in checked["checks"]] == [True] * 5
    summary = document(tabled, form="summary", units="us", paper="a4")
    assert "C-7-summary.pdf" in summary.headers["content-disposition"]


def test_an_altered_certificate_is_told(tabled):
    content = bytearray(document(tabled).content)
    content[len(content) // 2] ^= 1
    checked = tabled.client.post("/api/verify", content=bytes(content)).json()
    assert checked["is_unaltered"] is False
    assert checked["checks"][0] == {
        "what": "seal",
        "is_right": False,
        "said": "its bytes are not those that were sealed",
    }
    other = tabled.client.post("/api/verify", content=b"no pdf")
    assert (other.status_code, other.json()["field"]) == (422, None)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"strokes": [[1]]}, "strokes.0"),
        ({"strokes": [[1, 2, 3]]}, "strokes"),
        ({"strokes": [[5, 900]]}, "strokes"),
        ({"strokes": [[5, 2000]]}, "strokes.0.1"),
        ({"paper": "a3"}, "paper"),
        ({"units": "pints"}, "units"),
    ],
)
def test_what_cannot_be_issued_is_named_by_its_field(tabled, body, field):
    answer = tabled.send("/certificate", certificate_number="C-7", **body)
    assert answer.status_code == 422
    assert answer.json()["field"] == field
    assert tabled.state()["certificates"] == []


def test_the_one_before_stays_and_is_given_by_its_number(tabled):
    tabled.record("/certificate", certificate_number="C-7")
    old = document(tabled).content
    refused = tabled.send("/certificate", certificate_number="C-8")
    assert (refused.status_code, refused.json()["field"]) == (422, "reason")
    tabled.record("/certificate", certificate_number="C-8", reason="the plate was wrong")
    assert document(tabled, number="C-7").content == old
    assert document(tabled, number="C-9").status_code == 404
    listed = tabled.state()["certificates"]
    assert [(c["certificate_number"], c["replaces"]) for c in listed] == [
        ("C-7", ""),
        ("C-8", "C-7"),
    ]
    assert tabled.state()["next_certificate"] == f"C-{tabled.job}"


def test_without_an_accepted_table_there_is_no_draft(hand):
    hand.begin()
    answer = document(hand)
    assert answer.status_code == 409
    assert "accept one before the certificate" in answer.json()["error"]
