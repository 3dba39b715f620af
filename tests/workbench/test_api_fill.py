"""A fill over the API: each pour judged at once, a mistake caught, the table proven."""

import csv
import io

import openpyxl
import pytest

from gaugewright.app.yard import Stamp
from gaugewright.journal import fill_kinds as fk
from gaugewright.testing.hand import PROBE, TANK, Hand, counts_at


@pytest.fixture
def filled(hand, pour_at_once):
    """A fill of eight pours that fit."""
    pour_at_once(hand, 25.0, 8)
    return hand


def tank_of(hand):
    return hand.state()["tanks"][0]


def test_pours_recorded_in_one_go_are_those_of_so_many_presses(workbench, pour_at_once, hand):
    other = Hand(workbench.url)
    other.open_job()
    other.begin()
    for step in range(4):
        other.pour(25.0 if step else 0, 25.0 * step)
    pour_at_once(hand, 25.0, 3)

    def kept(by):
        entries = by.client.get(f"/api/jobs/{by.job}/entries").json()
        return [(e["number"], e["kind"], e["person"], e["device"], e["payload"]) for e in entries]

    assert kept(hand)[1:] == kept(other)[1:]
    assert hand.number == other.number
    other.client.close()


def test_a_pour_is_recorded_and_judged_in_one_answer(filled):
    answer = filled.pour("25,0", 225.0)
    verdict = answer["verdict"]
    assert [entry["kind"] for entry in answer["entries"]] == ["pour_recorded"]
    assert verdict["state"] == "clear"
    assert verdict["sentence"].startswith("It fits: ")
    assert verdict["took_ms"] > 0


def test_the_next_landing_is_where_the_next_pour_lands(filled):
    verdict = filled.client.get(f"/api/jobs/{filled.job}/tanks/main/verdict").json()
    landing = verdict["next"]
    pour = filled.pour(25.0, 225.0)["job"]["tanks"][0]["fill"]["pours"][-1]
    assert landing["added_l"] == 25.0
    assert abs(landing["counts"] - pour["counts"]) <= landing["u95_counts"]
    assert pour["expected_counts"] == pytest.approx(landing["counts"], abs=1.0)


def test_litres_with_their_digits_exchanged_stop_the_flow_until_they_are_answered(filled):
    stopped = filled.pour(52.0, 225.0)["verdict"]
    finding = stopped["findings"][0]
    assert (stopped["state"], stopped["blocks"]) == ("stop", True)
    assert (finding["kind"], finding["step"], finding["value"]) == ("litres_mistyped", 9, 25.0)

    refused = filled.send("/tanks/main/pours", added_l=25, counts=3700)
    assert refused.status_code == 409
    assert "answer this before the next pour" in refused.json()["error"]

    answered = filled.record(
        "/tanks/main/answers",
        pour=finding["pour"],
        finding=finding["kind"],
        answer="corrected",
        added_l=finding["value"],
        reason="read the meter again",
    )
    assert [e["kind"] for e in answered["entries"]] == [
        "finding_answered",
        "pour_voided",
        "pour_recorded",
    ]
    assert (answered["verdict"]["state"], answered["verdict"]["blocks"]) == ("clear", False)
    old, new = tank_of(filled)["fill"]["pours"][-2:]
    assert (old["added_l"], old["voided"]["reason"]) == (52.0, "read the meter again")
    assert (new["added_l"], new["step"], new["replaces"]) == (25.0, 9, old["number"])


@pytest.mark.parametrize("litres", [0, "0,0", -5])
def test_a_pour_of_nothing_is_refused_by_name_and_nothing_is_recorded(filled, litres):
    before = filled.state()["number"]

    refused = filled.send("/tanks/main/pours", added_l=litres, counts=3700)

    assert (refused.status_code, refused.json()["field"]) == (422, "added_l")
    assert "a pour adds fuel, so this must be above 0, found" in refused.json()["error"]
    assert filled.state()["number"] == before


def test_a_pour_is_not_put_right_to_nothing(filled):
    finding = filled.pour(52.0, 225.0)["verdict"]["findings"][0]

    refused = filled.send(
        "/tanks/main/answers", pour=finding["pour"], finding=finding["kind"], answer="corrected",
        added_l=0, reason="typed by mistake",
    )  # fmt: skip

    assert (refused.status_code, refused.json()["field"]) == (422, "added_l")


def test_an_older_book_with_a_pour_of_nothing_still_opens_and_goes_on(filled, workbench):
    yard = workbench.yard
    number = filled.state()["number"]
    old = fk.PourRecorded("main", 9, 0.0, counts_at(200.0))
    yard.record(filled.job, Stamp("Kim Aldo", "old", number), old)

    assert tank_of(filled)["fill"]["pours"][-1]["added_l"] == 0.0
    assert filled.client.get(f"/jobs/{filled.job}/pour").status_code == 200
    filled.number = number + 1
    assert filled.pour(25.0, 225.0)["verdict"]["state"] == "clear"


def test_a_pour_left_out_is_placed_between_and_its_finding_goes(filled):
    stopped = filled.pour(25.0, 255.0)["verdict"]
    finding = stopped["findings"][0]
    assert (finding["kind"], stopped["blocks"]) == ("pour_missing", True)

    placed = filled.record(
        "/tanks/main/pours/placed",
        before=finding["pour"],
        added_l="30",
        counts=counts_at(230.0),
        reason="it stands on the slip",
    )

    assert placed["entries"][0]["kind"] == "pour_placed"
    assert (placed["verdict"]["state"], placed["verdict"]["blocks"]) == ("clear", False)
    pours = tank_of(filled)["fill"]["pours"]
    assert [(p["step"], p["added_l"]) for p in pours if p["step"] >= 9] == [(10, 25), (9, 30)]
    assert pours[-1]["placed_because"] == "it stands on the slip"
    filled.pour(25.0, 280.0)


@pytest.mark.parametrize(
    ("body", "status"),
    [({"before": 1}, 409), ({"before": 999}, 409), ({"reason": ""}, 422), ({"added_l": -3}, 422)],
)
def test_a_pour_is_not_placed_without_its_place_and_its_reason(filled, body, status):
    last = tank_of(filled)["fill"]["pours"][-1]["number"]
    whole = {"before": last, "added_l": 5, "counts": 100, "reason": "left out", **body}

    assert filled.send("/tanks/main/pours/placed", **whole).status_code == status


def test_a_placed_pour_is_put_right_like_any_other(filled):
    follows = filled.pour(25.0, 255.0)["verdict"]["findings"][0]["pour"]
    finding = filled.record(
        "/tanks/main/pours/placed",
        before=follows, added_l=3, counts=counts_at(230.0), reason="it stands on the slip",
    )["verdict"]["findings"][0]  # fmt: skip
    assert finding["step"] == 9

    answered = filled.record(
        "/tanks/main/answers",
        pour=finding["pour"], finding=finding["kind"], answer="corrected", added_l=30,
        reason="read the slip again",
    )  # fmt: skip

    assert [e["kind"] for e in answered["entries"]][1:] == ["pour_voided", "pour_recorded"]
    assert answered["job"]["unknown"] == []
    assert answered["verdict"]["blocks"] is False


def test_what_was_kept_on_a_device_records_the_reading_shown_then(filled):
    then = {"counts": counts_at(225.0), "is_steady": True, "steadiness": "steady: 3178 counts"}

    recorded = filled.record(
        "/tanks/main/pours", added_l=25, typed_at="2026-05-04T10:02:11+02:00", shown=then
    )

    pour = recorded["job"]["tanks"][0]["fill"]["pours"][-1]
    assert (pour["counts"], pour["is_steady"]) == (counts_at(225.0), True)
    assert pour["typed_at"] == "2026-05-04T10:02:11+02:00"


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (None, "without a live reading"),
        ({"counts": 3178, "is_steady": False, "steadiness": "still rising"}, "still rising"),
    ],
)
def test_what_was_kept_without_a_reading_to_go_by_is_not_given_that_of_now(filled, shown, words):
    answer = filled.send(
        "/tanks/main/pours", added_l=25, typed_at="2026-05-04T10:02:11Z", shown=shown
    )

    assert (answer.status_code, answer.json()["field"]) == (409, "counts")
    assert words in answer.json()["error"]


def test_a_reading_that_does_not_fit_is_repeated(filled):
    finding = filled.record("/tanks/main/pours", added_l=25, counts=3000)["verdict"]["findings"][0]
    assert finding["field"] == "counts"
    answered = filled.record(
        "/tanks/main/answers",
        pour=finding["pour"],
        finding=finding["kind"],
        answer="repeated",
        counts=3178,
        reason="it was still rising",
    )
    assert answered["verdict"]["state"] == "clear"
    assert tank_of(filled)["fill"]["pours"][-1]["added_l"] == 25


def test_a_finding_kept_with_a_reason_lets_the_work_go_on(filled):
    finding = filled.pour(52.0, 225.0)["verdict"]["findings"][0]
    kept = filled.record(
        "/tanks/main/answers",
        pour=finding["pour"],
        finding=finding["kind"],
        answer="kept",
        reason="the slip says 52 L",
    )["verdict"]
    assert kept["blocks"] is False
    assert kept["findings"][0]["answer"]["reason"] == "the slip says 52 L"
    assert kept["findings"][0]["is_open"] is False
    filled.pour(25.0, 250.0)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"answer": "kept", "reason": ""}, 422),
        ({"answer": "shrugged", "reason": "x"}, 422),
        ({"answer": "corrected", "reason": "x"}, 422),
        ({"answer": "kept", "reason": "x", "finding": "not_rising"}, 409),
    ],
)
def test_an_answer_without_what_it_needs_is_refused(filled, body, status):
    finding = filled.pour(52.0, 225.0)["verdict"]["findings"][0]
    whole = {"pour": finding["pour"], "finding": finding["kind"], **body}
    before = filled.number
    assert filled.send("/tanks/main/answers", **whole).status_code == status
    assert filled.state()["number"] == before


def test_undo_strikes_a_pour_through_and_the_next_one_stands_in_for_it(filled):
    last = tank_of(filled)["fill"]["pours"][-1]
    filled.record(f"/pours/{last['number']}/void", reason="undo")
    fill = tank_of(filled)["fill"]
    assert fill["next_step"] == last["step"]
    assert fill["pours"][-1]["voided"]["reason"] == "undo"
    assert fill["total_l"] == 175.0
    filled.pour(25.0, 200.0)
    again = tank_of(filled)["fill"]["pours"][-1]
    assert (again["step"], again["replaces"]) == (last["step"], last["number"])


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("/tanks/main/pours", {"added_l": 25, "counts": "-2065"}, "counts"),
        ("/tanks/main/pours", {"added_l": 25, "counts": 20650}, "counts"),
        ("/tanks/main/pours", {"added_l": 25, "counts": "inf"}, "counts"),
        ("/tanks/main/pours", {"added_l": "-25", "counts": 2065}, "added_l"),
        ("/tanks/main/pours", {"added_l": "nan", "counts": 2065}, "added_l"),
    ],
)
def test_figures_that_no_probe_or_meter_can_show_are_not_recorded(filled, path, body, field):
    before = filled.state()["number"]
    refused = filled.send(path, **body)
    assert (refused.status_code, refused.json()["field"]) == (422, field)
    found = str(body[field]).lstrip("-")
    assert found in refused.json()["error"]
    assert filled.state()["number"] == before


def test_counts_below_zero_are_named_with_what_is_wanted(filled):
    said = filled.send("/tanks/main/pours", added_l=25, counts="-12").json()["error"]
    assert "found -12 counts, wanted 0 or more" in said


@pytest.mark.parametrize(
    "knows",
    [
        lambda hand: hand.record("/tanks/main/bench/zero", counts=-120),
        lambda hand: hand.record(
            "/tanks/main", "PUT", tank=TANK, probe={**PROBE, "counts_empty": -120}
        ),
    ],
    ids=["bench", "plan"],
)
def test_a_signed_probe_may_read_below_zero_as_far_as_it_can(hand, knows):
    hand.begin()
    refused = hand.send("/tanks/main/pours", added_l=0, counts=-80)
    assert refused.status_code == 422
    knows(hand)
    hand.record("/tanks/main/pours", added_l=0, counts=-80)
    refused = hand.send("/tanks/main/pours", added_l=25, counts=-130)
    assert "wanted -120 or more" in refused.json()["error"]


@pytest.mark.parametrize(
    ("beside", "field", "says"),
    [
        ({"residual_l": 5000}, "residual_l", "more than the"),
        ({"dip_empty_mm": 900}, "dip_empty_mm", "more than the"),
        ({"pitch_deg": 95}, "pitch_deg", "must be -45 to 45 °, found 95"),
        ({"meter_checks": [{"indicated_l": 100, "true_l": 1}]}, "meter_checks", "than a meter can"),
    ],
    ids=["residue", "dip", "slope", "meter"],
)
def test_checks_beside_the_pours_that_cannot_be_are_refused_with_their_field(
    filled, beside, field, says
):
    refused = filled.send("/tanks/main/fill/checks", reason="checked again", **beside)
    assert refused.status_code == 422
    assert refused.json()["field"] == field
    assert says in refused.json()["error"]


def test_a_residue_that_the_tank_cannot_hold_is_refused_before_the_fill_begins(hand):
    hand.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
    refused = hand.send("/tanks/main/fill", residual_l=5000)
    assert "5000.0 L of fuel in the drained tank is more than" in refused.json()["error"]


def test_a_pour_of_more_than_the_tank_holds_is_a_slip_that_is_not_recorded(filled):
    refused = filled.send("/tanks/main/pours", added_l="99999", counts=3700)
    assert (refused.status_code, refused.json()["field"]) == (422, "added_l")
    assert "more than the whole tank holds, 300.0 L" in refused.json()["error"]


def test_a_plate_that_the_sizes_contradict_is_told(hand):
    def told(litres):
        described = hand.record("/tanks/main", "PUT", tank={**TANK, "rated_capacity_l": litres})
        return described["job"]["tanks"][0]["plate_problem"]

    assert told(285) is None
    assert told(40).startswith("The plate says 40.0 L, the sizes give 300.0 L")


def test_a_tank_that_is_not_drained_is_asked_what_is_left_in_it(hand):
    hand.begin()
    refused = hand.send("/tanks/main/pours", added_l=0, counts=counts_at(60.0))
    assert refused.status_code == 409
    assert "the tank is not drained" in refused.json()["error"]
    hand.record("/tanks/main/fill/checks", reason="cannot be drained", residual_l=60)
    hand.record("/tanks/main/pours", added_l=0, counts=counts_at(60.0))


def test_a_pour_is_voided_once(filled):
    number = tank_of(filled)["fill"]["pours"][-1]["number"]
    filled.record(f"/pours/{number}/void", reason="undo")
    assert filled.send(f"/pours/{number}/void", reason="undo").status_code == 409
    assert filled.send("/pours/2/void", reason="undo").status_code == 404


def test_litres_of_a_voided_pour_that_was_not_repeated_are_unknown_not_missing(filled):
    """Its fuel is in the tank: the fill after it must not be found fault with."""
    number = tank_of(filled)["fill"]["pours"][4]["number"]
    verdict = filled.record(f"/pours/{number}/void", reason="nobody read the meter")["verdict"]
    assert verdict["findings"] == []
    verdict = filled.pour(25.0, 225.0)["verdict"]
    assert verdict["state"] == "clear"
    filled.record("/tanks/main/table")
    with_gap = tank_of(filled)["table"]
    litres = {row[0]: row[1:] for row in with_gap["rows"]}
    counts = min(litres, key=lambda c: abs(c - 2807))
    wanted = (counts / 4095 * 460 + 20) * 0.6
    assert abs(litres[counts][0] - wanted) < litres[counts][1]


def test_volumes_are_typed_in_gallons(filled):
    filled.record("/tanks/main/pours", added_l="6,604 US gal", counts=3178)
    assert tank_of(filled)["fill"]["pours"][-1]["added_l"] == pytest.approx(25.0, abs=0.01)


@pytest.mark.parametrize(
    "added_l", ["", "abc", "1.234,5", "45,5,5", "-3", "NaN", "inf", "1e9", "12 gal", "١٢"]
)
def test_litres_that_are_no_litres_are_refused_by_field(filled, added_l):
    answer = filled.send("/tanks/main/pours", added_l=added_l, counts=3178)
    assert answer.status_code == 422
    assert answer.json()["field"] == "added_l"


def test_a_fill_is_begun_anew_only_with_a_reason(filled):
    assert filled.send("/tanks/main/fill").status_code == 409
    filled.record("/tanks/main/fill", reason="the vehicle was moved")
    assert tank_of(filled)["fill"]["earlier_fills"] == 1


def test_what_was_checked_beside_the_pours_is_put_right_with_a_reason(filled):
    checks = {"meter_checks": [{"indicated_l": "20,0", "true_l": "19,9"}], "reason": "read again"}
    filled.record("/tanks/main/fill/checks", **checks)
    assert tank_of(filled)["fill"]["meter_checks"] == [{"indicated_l": 20.0, "true_l": 19.9}]


@pytest.fixture
def tabled(filled):
    """The fill with its table accepted."""
    filled.record("/tanks/main/table")
    filled.record("/tanks/main/table/accept", digest=tank_of(filled)["table"]["digest"])
    return filled


def test_the_table_holds_the_truth_within_its_band(tabled):
    for counts, litres, u_litres in tank_of(tabled)["table"]["rows"]:
        if counts <= 2807:
            truth = (counts / 4095 * 460 + 20) * 0.6
            assert abs(litres - truth) <= u_litres


def test_a_table_is_stale_once_another_pour_is_recorded(tabled):
    assert tank_of(tabled)["table"]["is_accepted"]
    assert not tank_of(tabled)["table"]["is_stale"]
    tabled.pour(25.0, 225.0)
    assert tank_of(tabled)["table"]["is_stale"]


def test_no_table_is_made_while_a_finding_is_open(filled):
    filled.pour(52.0, 225.0)
    answer = filled.send("/tanks/main/table")
    assert answer.status_code == 409
    assert "before the table is made" in answer.json()["error"]


def test_a_check_pour_agrees_or_does_not(tabled):
    right = {"added_l": 40, "counts_before": 1323, "counts_after": 1917}
    tabled.record("/tanks/main/check-pours", **right)
    wrong = {"added_l": 60, "counts_before": 1323, "counts_after": 1917}
    tabled.record("/tanks/main/check-pours", **wrong)
    first, second = tank_of(tabled)["check_pours"]
    assert (first["agrees"], second["agrees"]) == (True, False)
    assert first["sentence"].endswith("they agree.")


def test_a_check_is_voided_once_with_a_reason_and_stays_in_sight(tabled):
    wrong = {"added_l": 60, "counts_before": 1323, "counts_after": 1917}
    tabled.record("/tanks/main/check-pours", **wrong)
    tabled.record("/tanks/main/back-office", shown_l=201, counts=2065)
    pour, shown = (tank_of(tabled)[name][0] for name in ("check_pours", "comparisons"))

    blank = tabled.send(f"/checks/{pour['number']}/void", reason="")
    assert (blank.status_code, blank.json()["field"]) == (422, "reason")
    assert blank.json()["error"] == "is empty, wanted a few words"
    on = tabled.number
    for _ in range(2):  # a phone that heard no answer sends the same again
        answer = tabled.send(
            f"/checks/{pour['number']}/void", reason="meter not reset", request_id="one", on=on
        )
        assert answer.status_code == 200
        tabled.number = answer.json()["number"]
    assert tabled.number == on + 1
    assert tabled.send(f"/checks/{pour['number']}/void", reason="again").status_code == 409
    tabled.record(f"/checks/{shown['number']}/void", reason="another vehicle")
    tank = tank_of(tabled)
    assert tank["check_pours"][0]["voided"]["reason"] == "meter not reset"
    assert tank["comparisons"][0]["voided"]["reason"] == "another vehicle"
    other = tabled.send(f"/checks/{tank['fill']['pours'][0]['number']}/void", reason="no check")
    assert "is not a check against the table" in other.json()["error"]


def test_a_check_is_not_voided_behind_a_stage_that_is_finished(tabled):
    tabled.record("/tanks/main/check-pours", added_l=40, counts_before=1323, counts_after=1917)
    number = tank_of(tabled)["check_pours"][0]["number"]
    tabled.record("/stages/Prove/finish")
    refused = tabled.send(f"/checks/{number}/void", reason="meter not reset")
    assert refused.status_code == 409
    assert "reopen it" in refused.json()["error"]
    tabled.record("/stages/Prove/reopen", reason="the meter was not reset")
    tabled.record(f"/checks/{number}/void", reason="meter not reset")


def test_what_the_back_office_shows_is_held_against_the_table(tabled):
    tabled.record("/tanks/main/back-office", shown_l="150,8", counts=2065)
    tabled.record("/tanks/main/back-office", shown_l=201, counts=2065)
    assert [each["agrees"] for each in tank_of(tabled)["comparisons"]] == [True, False]
    outside = tabled.send("/tanks/main/back-office", shown_l=201, counts=99999)
    assert (outside.status_code, outside.json()["field"]) == (422, "counts")


def test_a_certificate_states_the_journal_and_the_accepted_table(tabled):
    before = tabled.number
    tabled.record("/certificate", certificate_number="C-7")
    certificate = tabled.state()["certificate"]
    assert certificate["upto_number"] == before
    assert certificate["tables"] == {"main": tank_of(tabled)["table"]["digest"]}
    tabled.record("/certificate/withdraw", certificate_number="C-7", reason="wrong plate")
    assert tabled.state()["certificate"] is None


def test_nothing_is_signed_without_an_accepted_table(filled):
    assert filled.send("/certificate", certificate_number="C-8").status_code == 409


def test_the_table_is_handed_over_and_no_cell_of_it_is_a_formula(tabled):
    facts = {"facts": {"vehicle": "=HYPERLINK(0)"}, "reason": "typed anew"}
    tabled.record("/facts", **facts)
    base = f"/api/jobs/{tabled.job}/tanks/main/table"
    rows = list(csv.reader(io.StringIO(tabled.client.get(f"{base}.csv").text)))
    assert rows[0] == ["counts", "litres", "u_litres"]
    book = openpyxl.load_workbook(io.BytesIO(tabled.client.get(f"{base}.xlsx").content))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    assert tabled.client.get(f"{base}.json").json()["format"] == "calibration table"
    assert tabled.client.get(f"{base}.exe").status_code == 422
