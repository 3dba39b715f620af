"""Issuing: what is asked for, what is kept, and what a certificate states."""

import hashlib

import pytest

from gaugewright.app import proving, survey
from gaugewright.app.bench import Taken
from gaugewright.app.certify import next_number
from gaugewright.app.yard import NotThereError, Stamp
from gaugewright.certificate.building import statement_of
from gaugewright.certificate.glyphs import FILES, letters_of
from gaugewright.certificate.issue import Issue, paper_of, units_of
from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import handover_kinds as hk
from gaugewright.journal import kinds as k
from gaugewright.journal.store import NewerEntriesError
from gaugewright.testing.certified import LATER, SIGNED, begin, pour_and_accept
from gaugewright.testing.hand import counts_at

ISSUE = Issue("C-1", LATER, "Kim Aldo", workshop="W")


def sentences(work, **more):
    """Return every sentence that the certificate of the job states now."""
    found = statement_of(work.state, Issue("C-1", LATER, "Kim Aldo", **more)).as_json()

    def walk(value):
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            for key, each in value.items():
                if key != "svg":
                    yield from walk(each)
        elif isinstance(value, list | tuple):
            for each in value:
                yield from walk(each)

    return " | ".join(walk(found))


def test_an_issue_keeps_signature_hash_and_document(work):
    before = work.state.tip
    recorded = work.issue("C-1", signed_by="Ada Okoro", strokes=SIGNED, place="Bay 3")
    event = recorded.state.certificate.event
    assert (event.upto_number, event.upto_hash) == before
    assert (event.signed_by, event.strokes) == ("Ada Okoro", SIGNED)
    assert event.issue["place"] == "Bay 3"
    stored = work.yard.book.document(event.document_sha256)
    assert hashlib.sha256(stored).hexdigest() == event.document_sha256
    found = work.document()
    assert (found.content, found.is_as_issued, found.later_entries) == (stored, True, 0)


def test_without_an_accepted_table_nothing_is_issued(tmp_path):
    work = begin(tmp_path / "b.book")
    with pytest.raises(StateError, match="no table is accepted"):
        work.issue()
    with pytest.raises(StateError, match="no accepted table"):
        work.document()
    work.yard.close()


def test_a_draft_says_so_and_records_nothing(work):
    before = work.state.tip
    found = work.document()
    assert found.is_draft
    assert found.number == f"C-{work.job}"
    assert work.state.tip == before
    said = sentences(work, is_draft=True)
    assert "Draft: not issued, not signed" in said
    assert "I stand for" not in said


def test_another_certificate_needs_a_reason_and_the_old_one_stays(work):
    work.issue("C-1")
    old = work.document().content
    work.record(k.NoteAdded("strap replaced"))
    with pytest.raises(InputError, match="C-1 is in force") as refused:
        work.issue("C-2")
    assert refused.value.field == "reason"
    work.issue("C-2", reason="strap replaced")
    assert work.document().number == "C-2"
    assert work.document(number="C-1").content == old
    numbers = [kept.event.certificate_number for kept in work.state.certificates]
    assert numbers == ["C-1", "C-2"]
    assert "C-1" in sentences(work, replaces="C-1", reason="strap replaced")
    with pytest.raises(StateError, match="already issued"):
        work.issue("C-2", reason="again")


def test_a_withdrawn_certificate_needs_no_reason_for_the_next(work):
    work.issue("C-1")
    survey.withdraw(work.yard, work.job, work.stamp, "C-1", "wrong plate")
    assert work.document().is_draft
    work.issue("C-2")
    assert work.state.certificate.event.replaces == ""


def test_the_same_press_sent_twice_issues_once(work):
    stamp = Stamp("Kim Aldo", "phone", work.state.tip.number, request_id="press-1")
    from gaugewright.app.certify import issue_certificate

    first = issue_certificate(work.yard, work.job, stamp, "C-1")
    again = issue_certificate(work.yard, work.job, stamp, "C-1")
    assert first.entries == again.entries
    assert len(work.state.certificates) == 1


def test_who_saw_an_older_journal_does_not_sign_a_newer_one(work):
    stamp = work.stamp
    work.record(k.NoteAdded("somebody else was here"))
    from gaugewright.app.certify import issue_certificate

    with pytest.raises(NewerEntriesError):
        issue_certificate(work.yard, work.job, stamp, "C-1")
    assert work.state.certificates == ()


@pytest.mark.parametrize(
    "strokes", [((1,),), ((1, 2, 3),), ((-1, 5),), ((1001, 5),), ((5, 301),), ((0, 0),) * 201]
)
def test_a_signature_that_is_no_drawing_is_refused(work, strokes):
    with pytest.raises(InputError, match="strok") as refused:
        work.issue("C-1", strokes=strokes)
    assert refused.value.field == "strokes"
    assert work.state.certificates == ()


def test_numbers_are_never_used_twice(work):
    assert next_number(work.state) == f"C-{work.job}"
    work.issue(f"C-{work.job}")
    assert next_number(work.state) == f"C-{work.job}-2"
    with pytest.raises(NotThereError, match="has no certificate C-9"):
        work.document(number="C-9")


@pytest.mark.parametrize(
    ("field", "facts"),
    [("customer", {"customer": "油 Hire"}), ("vehicle", {"vehicle": "Loader \U0001f69c"})],
)
def test_a_name_that_no_font_has_is_refused_by_its_field(work, field, facts):
    work.record(k.FactsCorrected(facts, "typed anew"))
    before = work.state.tip
    with pytest.raises(InputError, match=r"U\+") as refused:
        work.issue("C-1")
    assert refused.value.field == field
    assert work.state.tip == before


def test_letters_are_known_as_another_reader_of_fonts_knows_them():
    tools = pytest.importorskip("fontTools.ttLib", reason="a reader of fonts, for comparison")
    from gaugewright.certificate.glyphs import FONTS

    for file in FILES:
        with tools.TTFont(FONTS / file) as font:
            assert letters_of(file) == frozenset(font.getBestCmap())


def test_paper_and_units_are_named_when_they_are_wrong():
    with pytest.raises(InputError, match="a4 or letter"):
        paper_of("A3")
    with pytest.raises(InputError, match="metric, us, imperial"):
        units_of("furlongs")


def copied(work, **more):
    digest = work.state.tanks["main"].table.event.digest
    known = {"recipe": {"name": "blue box"}, "shown_sha256": "0" * 64, "rows_read": 20}
    return hk.CopiedBack("main", digest, **(known | more))


def test_it_says_that_nothing_was_copied_back(work):
    assert "was not copied back" in sentences(work)
    assert "not done" in sentences(work)


def test_it_says_that_the_copy_is_clean(work):
    work.record(copied(work, is_clean=True, max_error_l=0.0))
    said = sentences(work)
    assert "no difference to what was handed over" in said
    assert "it holds this table" in said


def test_it_says_that_the_copy_differs_and_whether_that_was_accepted(work):
    differs = ({"kind": "row_missing", "message": "row 4 is missing"},)
    work.record(copied(work, is_clean=False, differences=differs, max_error_l=3.2))
    said = sentences(work)
    assert "DIFFERS" in said
    assert "row 4 is missing" in said
    assert "3.20" in said
    assert "neither put right nor accepted" in said
    assert "does NOT hold this table" in said
    number = work.state.tanks["main"].copied_back.number
    work.record(hk.CopyAccepted("main", number, "Kim Aldo", "their limit of 20 rows"))
    said = sentences(work)
    assert "Accepted as it is by Kim Aldo" in said
    assert "their limit of 20 rows" in said
    assert "neither put right" not in said


def test_it_says_whether_data_arrives(work):
    assert "was not checked before leaving" in sentences(work)
    item = hk.ArrivalItem("delay", "wrong", "records come 40 minutes late")
    work.record(hk.ArrivalChecked("main", False, "Records are late.", items=(item,), readings=30))
    said = sentences(work)
    assert "not safe to leave" in said
    assert "records come 40 minutes late" in said


def test_it_tells_of_a_table_that_was_replaced_and_of_pours_after_it(work):
    first = work.state.tanks["main"].table.event
    pour = next(kept for kept in reversed(work.state.tanks["main"].fill.standing))
    work.record(fk.PourVoided(pour.number, "nozzle dripped"))
    assert "recorded or voided after this table was made" in sentences(work)
    proving.make_table(work.yard, work.job, work.stamp, "main")
    digest = work.state.tanks["main"].table.event.digest
    proving.accept_table(work.yard, work.job, work.stamp, "main", digest)
    said = sentences(work)
    assert first.digest[:12] in said
    assert "nozzle dripped" in said
    assert "after this table was made" not in said


def test_what_was_not_measured_is_said_with_what_it_costs(work):
    said = sentences(work)
    assert "not measured; ± 1.7° is in the band" in said
    assert "not recorded" in said


def test_two_tanks_stand_on_one_certificate(work):
    twin = begin(work.path.with_name("two.book"))
    pour_and_accept(twin)
    event = twin.state.tanks["main"].described.event
    twin.record(k.TankDescribed("right", event.tank, probe=event.probe, name="Right tank"))
    rows = twin.state.tanks["main"].table.event.rows
    made = fk.TableMade("right", rows, twin.state.tanks["main"].table.event.digest)
    twin.yard.record(
        twin.job, twin.stamp, fk.FillBegun("right"), made, fk.TableAccepted("right", made.digest)
    )
    said = sentences(twin)
    assert "Right tank (right)" in said
    assert "Left tank (main)" in said
    assert twin.document().content.startswith(b"%PDF")
    twin.yard.close()


def test_a_voided_check_pour_is_told_and_counts_no_more(work):
    check = {"added_l": 40.0, "counts_before": float(counts_at(100))}
    wrong = Taken(float(counts_at(180)))
    proving.check_pour(work.yard, work.job, work.stamp, "main", **check, taken=wrong)
    assert "does not agree" in sentences(work)
    number = work.state.tip.number
    proving.void_check(work.yard, work.job, work.stamp, number, "meter not reset")
    said = sentences(work)
    assert "does not agree" not in said
    assert "No check pour stands against this table." in said
    assert "meter not reset" in said
    right = Taken(float(counts_at(140)))
    proving.check_pour(work.yard, work.job, work.stamp, "main", **check, taken=right)
    said = sentences(work)
    assert "| agrees |" in said
    assert "was voided by Kim Aldo: meter not reset." in said
