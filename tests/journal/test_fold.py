"""What the entries of a job mean, and what a job allows next."""

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import handover_kinds as hk
from gaugewright.journal import kinds as k
from gaugewright.journal import later_kinds as lk
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.chain import START, canonical_json, next_entry
from gaugewright.journal.codec import KINDS, Unknown, kind_of, to_event, to_payload
from gaugewright.journal.fills import fill_of, table_digest
from gaugewright.journal.fold import apply, fold
from gaugewright.journal.rules import may_follow
from gaugewright.journal.state import JobState

AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
SHA = "a" * 64
ROWS = (fk.TableRow(0, 4.0, 0.8), fk.TableRow(4095, 400.0))
EXAMPLES = [
    k.JobOpened("Yard", "Tipper", 24.0),
    k.FactsChanged({"odometer_km": 120_000, "registration": None}, "seen"),
    k.FactsCorrected({"supply_v": 27.8}, "misread"),
    k.TankDescribed("A", {"shape": "box"}, {"x_mm": 5.5}, "left", "measured again"),
    k.TankRemoved("A", "was an air tank"),
    k.TanksLinked("L", ("A", "B"), "25 mm pipe"),
    k.TanksUnlinked("L", "valve shut"),
    k.CautionAcknowledged("hot_work", "Ada", "Do not drill.", "Mount"),
    k.PhotoAdded(SHA, "rear", "Survey", "A", "cable"),
    k.NoteAdded("drained", "Pour", "A"),
    k.WiringRecorded("A", {"supply": "24 V"}, {"verdict": "open"}),
    k.PlanRecorded("A", {"pours": [{"step": 1, "add_l": 40.0}]}, {"gaugewright": "0.1.0"}),
    k.BenchZeroRecorded("A", 31.5, 0.6, 15.0, 150),
    k.BenchSpanRecorded("A", 3600.0, "diesel", 0.7, 15.0, 150, 18.5),
    k.BenchRepeatRecorded("A", "zero", 31.0),
    k.BenchReadingVoided(7, "dripping"),
    k.MountItemDone("seal", "A", (SHA,), "S-1", "by hand"),
    k.MountItemReopened("seal", "broken", "A"),
    fk.FillBegun("A", True, "bowser", "diesel", (fk.CanCheck(20.0, 19.96),), 1.5, 0.5, 3.0, "x"),
    fk.FillChecksChanged("A", "can found", (fk.CanCheck(20.0, 19.96),)),
    fk.PourRecorded("A", 1, 45.5, 412.25, 0.8, 18.0, 19.0, 0.5, -0.5, 45.0, True, "steady", 9.0),
    fk.PourPlaced("A", 9, 20.0, 300.0, "on the slip", 18.0, 19.0, 0.5, -0.5, "slip", "n"),
    fk.PourVoided(9, "typo"),
    fk.FindingAnswered("A", 1, "litres_mistyped", "kept", "dispenser printout agrees", "m", 9),
    fk.TableMade("A", ROWS, SHA, (4, 5), {"gaugewright": "0.1.0"}, ({"kind": "not_settled"},)),
    fk.TableAccepted("A", SHA, "fine"),
    fk.CheckPourRecorded("A", SHA, 20.0, 1000.0, 1200.0, 19.8, 0.9, True, "by the can"),
    fk.BackOfficeCompared("A", SHA, 180.0, 1000.0, 179.5, None, None),
    fk.CheckVoided(9, "the meter was not reset"),
    fk.SealSet("S-1", "flange", "A", SHA),
    fk.SealRemoved("S-1", "cut for repair"),
    fk.CertificateIssued("C-1", 12, SHA, SHA, {"A": SHA}),
    fk.CertificateWithdrawn("C-1", "wrong vehicle"),
    hk.RecipeChosen("A", {"name": "depot", "most_rows": 20}),
    hk.CopiedBack("A", SHA, {"name": "depot"}, SHA, 9, False, ({"kind": "row_missing"},), 3.5),
    hk.CopyAccepted("A", 30, "Ada", "the last row is above the fill cap"),
    hk.ArrivalChecked(
        "A",
        False,
        "Not yet: nothing arrives.",
        (hk.ArrivalItem("delay", "good", "41 s", 41.0, 39.0, 43.0, "s"),),
        "2026-05-04T09:30:00+00:00",
        600.0,
        6000,
        60,
        "file",
        {"kind": "far_file"},
        SHA,
    ),
    lk.LaterBegun("A", SHA, "exchange", True, {"x_mm": 5.5}, {"u_tip_mm": 1.0}, "P-7", "struck"),
    lk.LaterPourRecorded("A", 40, 1, 60.0, 512.0, 0.8, 18.0, 19.0, 0.5, -0.5, True, "live", "n"),
    lk.LaterPourVoided(41, "spilt"),
    lk.LaterConcluded("A", 40, "good", "Still good.", (41, 42), {"agrees": True}, {"numpy": "2"}),
    lk.SisterProposed(
        "A", "J-0", "B", SHA, ROWS, {"shape": "box"}, {"x_mm": 5.5}, (lk.SisterPour(0, 0.0, 3.0),)
    ),
    lk.TableCarried("A", ROWS, SHA, (4,), {}, (), SHA, "exchange", 40, {"x_mm": 5.5}, "new probe"),
    wk.LogWatched(
        "A",
        SHA,
        SHA,
        "march.csv",
        900,
        "T-7",
        3,
        1.0,
        61.5,
        (wk.SeenEvent("drain", 20.0, 40.5, 30.0, 1.5, 90.0, 60.0, 9.5, "fell", 1, 2),),
        (wk.SeenUndecided(50.0, 55.0, -4.0, 3.0, "a hole"),),
        {"still_l": 0.2, "lag_s": None},
        3.5,
        None,
        SHA,
        "receipts.csv",
        (wk.SeenReceipt(1, 30.0, "short", 60.0, 50.5, -9.5, 1.5, "why"),),
        (wk.SeenHealth("frozen", 1.0, 9.0, "stood still", "look"),),
        {"late": 2},
        {"names": {"counts": "Fuel"}},
        ("note",),
        {"gaugewright": "0.1.0"},
    ),
    wk.SeenEventExplained("A", 40, 1, "drained for repair"),
    wk.ExplanationWithdrawn("A", 40, 1, "another truck"),
    fk.StageFinished("Pour", "all in"),
    fk.StageReopened("Pour", "one more pour"),
]


def state_after(happen, *events):
    """Fold events as they stand, whether they may follow each other or not."""
    entries, tip = [], START
    for event in events:
        entry = next_entry(
            tip,
            job="J-1",
            at=happen.start_at + timedelta(minutes=tip.number),
            person="Ada",
            device="laptop",
            kind=kind_of(event),
            payload=to_payload(event),
        )
        entries.append(entry)
        tip = entry.tip
    return fold("J-1", entries)


@pytest.mark.parametrize("event", EXAMPLES, ids=kind_of)
def test_every_kind_comes_back_from_its_json_as_it_was(event):
    event.check()

    assert to_event(kind_of(event), json.loads(canonical_json(to_payload(event)))) == event


def test_there_is_an_example_of_every_kind():
    assert {kind_of(event) for event in EXAMPLES} == set(KINDS)


@pytest.mark.parametrize("event", EXAMPLES, ids=kind_of)
def test_every_kind_can_be_folded_anywhere_and_is_never_dropped(event, happen):
    state = state_after(happen, event)

    assert state.tip.number == 1
    assert state == state_after(happen, event)
    assert state != JobState("J-1", tip=state.tip, last_at=state.last_at)


@given(st.lists(st.sampled_from(EXAMPLES), max_size=12), st.integers(0, 12))
def test_folding_in_two_parts_is_folding_at_once(events, cut):
    from types import SimpleNamespace

    from gaugewright.journal.chain import read_line

    happen = SimpleNamespace(start_at=AT)
    entries, tip = [], START
    for event in events:
        entry = next_entry(
            tip, job="J-1", at=happen.start_at, person="Ada", device="laptop",
            kind=kind_of(event), payload=to_payload(event),
        )  # fmt: skip
        entries.append(read_line("J-1", entry.line))
        tip = entry.tip
    half = fold("J-1", entries[:cut])
    for entry in entries[cut:]:
        half = apply(half, entry)

    assert half == fold("J-1", entries)


def test_a_kind_of_a_later_version_is_kept_and_shown(happen):
    entry = next_entry(
        START, job="J-1", at=happen.start_at, person="Ada", device="laptop",
        kind="drone_sent", payload={"height_m": 12},
    )  # fmt: skip

    state = fold("J-1", [entry])

    (unknown,) = state.unknown
    assert unknown.event == Unknown(
        "drone_sent", {"height_m": 12}, "this version does not know the kind"
    )
    with pytest.raises(InputError, match="drone_sent"):
        unknown.event.check()


@pytest.mark.parametrize(
    ("payload", "problem"),
    [
        ({"tank_id": "A", "step": 1, "added_l": "45", "counts": 5.0}, "added_l: wanted a finite"),
        ({"tank_id": "A", "step": 1.0, "added_l": 45, "counts": 5.0}, "step: wanted int"),
        ({"tank_id": "A", "step": True, "added_l": 45, "counts": 5.0}, "step: wanted int"),
        ({"tank_id": "A", "step": 1, "added_l": 10**400, "counts": 5.0}, "added_l: wanted"),
        ({"tank_id": "A", "step": 1, "counts": 5.0}, "added_l: is missing"),
    ],
)
def test_a_payload_that_cannot_be_read_is_kept_with_what_is_wrong(payload, problem):
    event = to_event("pour_recorded", payload)

    assert isinstance(event, Unknown)
    assert event.problem.startswith(problem)


def test_a_field_of_a_later_version_does_not_stop_the_reading():
    event = to_event("note_added", {"text": "drained", "mood": "fine"})

    assert event == k.NoteAdded("drained")


def test_voided_pours_stay_in_sight_and_out_of_the_fill(filling, happen):
    filling.record(happen.pour(1, added_l=54.0))
    wrong = filling.number
    filling.record(
        fk.FindingAnswered("A", 1, "litres_mistyped", "corrected", "digits swapped"),
        fk.PourVoided(wrong, "45.0 was meant"),
        happen.pour(1, added_l=45.0, replaces=wrong),
    )

    fill = filling.book.state("J-1").tanks["A"].fill

    assert [pour.event.added_l for pour in fill.pours] == [0.0, 54.0, 45.0]
    assert fill.pours[1].voided.reason == "45.0 was meant"
    assert fill.pours[1].voided.mark.person == "Ada"
    assert [pour.event.added_l for pour in fill.standing] == [0.0, 45.0]
    assert fill.next_step == 2
    assert fill.answers[0].event.answer == "corrected"


def test_a_pour_that_was_left_out_is_placed_where_it_was_poured(filling, happen):
    filling.record(happen.pour(1, added_l=45.0))
    filling.record(happen.pour(2, added_l=30.0))
    second = filling.number
    filling.record(fk.PourPlaced("A", second, 20.0, 300.0, "found on the slip"))
    filling.record(happen.pour(4, added_l=10.0))

    fill = filling.book.state("J-1").tanks["A"].fill

    assert [(p.event.step, p.event.added_l) for p in fill.standing] == [
        (0, 0.0), (1, 45.0), (2, 20.0), (3, 30.0), (4, 10.0)
    ]  # fmt: skip
    assert fill.standing[2].event.placed_because == "found on the slip"
    assert filling.book.entries("J-1")[second - 1].payload["step"] == 2  # as it was recorded


def test_a_pour_is_placed_where_a_voided_one_left_a_gap(filling, happen):
    filling.record(happen.pour(1, added_l=45.0))
    first = filling.number
    filling.record(happen.pour(2, added_l=30.0))
    second = filling.number
    filling.record(fk.PourVoided(first, "another tank"))
    filling.record(fk.PourPlaced("A", second, 20.0, 300.0, "found on the slip"))

    fill = filling.book.state("J-1").tanks["A"].fill

    assert [(p.event.step, p.event.added_l) for p in fill.standing] == [
        (0, 0.0), (1, 20.0), (2, 30.0)
    ]  # fmt: skip


def test_the_fill_for_the_fit_has_the_standing_pours_and_the_last_checks(filling, happen):
    filling.record(happen.pour(1, added_l=45.0, fuel_c=18.0, planned_l=45.0))
    filling.record(
        fk.FillChecksChanged("A", "can found", (fk.CanCheck(20.0, 19.96),), dip_empty_mm=3.0)
    )

    fill = fill_of(filling.book.state("J-1").tanks["A"].fill)

    assert [(pour.step, pour.added_l) for pour in fill.pours] == [(0, 0.0), (1, 45.0)]
    assert (fill.pours[1].fuel_c, fill.pours[1].planned_l) == (18.0, 45.0)
    assert fill.meter_checks[0].true_l == 19.96
    assert (fill.dip_empty_mm, fill.residual_l, fill.is_draining) == (3.0, None, False)


def test_a_corrected_fact_shows_what_stood_there_before(scribe, happen):
    scribe.record(happen.opened())
    scribe.record(k.FactsCorrected({"vehicle": "Tipper 5"}, "wrong plate read"))

    fact = scribe.book.state("J-1").facts["vehicle"]

    assert (fact.value, fact.reason) == ("Tipper 5", "wrong plate read")
    assert [before.value for before in fact.before] == ["Tipper 4"]


def test_linked_tanks_are_filled_as_one(filling, happen):
    filling.record(happen.described("B"))
    filling.record(k.TanksLinked("AB", ("A", "B")))
    state = filling.book.state("J-1")

    assert [tank.tank_id for tank in state.standing_tanks] == ["AB"]
    with pytest.raises(StateError, match="linked into AB, which is filled as one"):
        filling.record(happen.pour(1))
    filling.record(fk.FillBegun("AB"))
    filling.record(happen.pour(0, tank_id="AB"))
    filling.record(k.TanksUnlinked("AB", "valve is shut"))
    assert [tank.tank_id for tank in filling.book.state("J-1").standing_tanks] == ["A", "B"]


def test_an_accepted_table_is_no_longer_accepted_when_another_is_made(filling, happen):
    filling.record(happen.pour(1))
    digest, other = table_digest(ROWS), table_digest(ROWS[:1] * 2)
    pours = tuple(p.number for p in filling.book.state("J-1").tanks["A"].fill.standing)
    filling.record(fk.TableMade("A", ROWS, digest, pours))
    filling.record(fk.TableAccepted("A", digest))
    assert filling.book.state("J-1").tanks["A"].accepted_table.event.rows == ROWS
    filling.record(fk.TableMade("A", ROWS, other, pours))

    assert filling.book.state("J-1").tanks["A"].accepted_table is None
    with pytest.raises(StateError, match="only the last table"):
        filling.record(fk.TableAccepted("A", digest))


def test_a_clock_set_back_is_flagged_in_the_state(filling, happen):
    filling.at -= timedelta(hours=2)
    filling.record(happen.pour(1))

    assert filling.book.state("J-1").clock_set_back == (filling.number,)


def test_a_bench_reading_that_was_voided_gives_way_to_the_one_before(filling):
    filling.record(k.BenchZeroRecorded("A", 31.5))
    filling.record(k.BenchZeroRecorded("A", 80.0))
    filling.record(k.BenchReadingVoided(filling.number, "was still dripping"))

    tank = filling.book.state("J-1").tanks["A"]

    assert tank.zero.event.counts == 31.5
    assert len(tank.zeros) == 2


def test_stages_are_finished_reopened_and_finished_again(filling):
    assert filling.book.state("J-1").stage == "Survey"
    filling.record(fk.StageFinished("Survey"))
    assert filling.book.state("J-1").stage == "Plan"
    filling.record(fk.StageReopened("Survey", "a second tank"))
    assert filling.book.state("J-1").stage == "Survey"
    filling.record(fk.StageFinished("Survey"))
    assert filling.book.state("J-1").stage == "Plan"


REFUSED = [
    (k.JobOpened("a", "b"), "already open"),
    (fk.FillBegun("Z"), "there is no tank Z in this job; described so far: A"),
    (fk.FillBegun("A", reason=" "), None),
    (fk.PourRecorded("A", 0, 10.0, 400.0), "step 0 is already recorded .entry 4."),
    (fk.PourRecorded("A", 3, 10.0, 400.0), "the next step is 1, not 3"),
    (fk.PourRecorded("A", 1, 10.0, 400.0, replaces=3), "entry 3 is not a voided pour"),
    (fk.PourVoided(3, "typo"), "entry 3 is not a pour"),
    (fk.PourPlaced("A", 3, 10.0, 200.0, "left out"), "entry 3 is not a pour of this fill"),
    (fk.PourPlaced("A", 4, 10.0, 200.0, "left out"), "before the drained tank"),
    (k.BenchReadingVoided(4, "typo"), "entry 4 is not a bench reading"),
    (fk.FindingAnswered("A", 7, "x", "kept", "so"), "no step 7"),
    (fk.TableMade("A", ROWS, SHA, (3,)), "entry 3 is not a pour that counts"),
    (fk.TableAccepted("A", SHA), "only the last table"),
    (fk.CheckPourRecorded("A", SHA, 20.0, 1.0, 2.0, 19.0, 0.5, True), "no table with digest"),
    (fk.SealRemoved("S-1", "cut"), "not set"),
    (fk.CertificateIssued("C-1", 2, SHA), "the journal is at entry 4"),
    (fk.CertificateWithdrawn("C-1", "x"), "not in force"),
    (fk.StageReopened("Pour", "x"), "not finished"),
    (k.MountItemReopened("seal", "x"), "not done"),
    (k.MountItemDone("seal", photo_sha256=(SHA,)), "add it first"),
    (k.TanksLinked("A", ("A", "B")), "a link needs a name of its own"),
    (k.TanksUnlinked("A", "x"), "not a link"),
]


@pytest.mark.parametrize(("event", "words"), [pair for pair in REFUSED if pair[1]])
def test_what_cannot_follow_is_refused_and_says_why(filling, event, words):
    before = filling.number

    with pytest.raises(StateError, match=words):
        filling.record(event)

    assert filling.number == before


def test_nothing_can_be_recorded_before_the_job_is_open(scribe):
    with pytest.raises(StateError, match="there is no job J-1 yet"):
        scribe.record(k.NoteAdded("drained"))


def test_a_pour_after_the_stage_was_finished_needs_it_reopened(filling, happen):
    filling.record(fk.StageFinished("Pour"))

    with pytest.raises(StateError, match="stage Pour is finished; reopen it"):
        filling.record(happen.pour(1))
    filling.record(fk.StageReopened("Pour", "one more"))
    filling.record(happen.pour(1))


def test_a_fill_with_pours_is_begun_anew_only_with_a_reason(filling):
    with pytest.raises(StateError, match="to begin anew, say why"):
        filling.record(fk.FillBegun("A"))
    filling.record(fk.FillBegun("A", reason="vehicle moved"))

    tank = filling.book.state("J-1").tanks["A"]
    assert len(tank.fills) == 2
    assert tank.fill.pours == ()


def test_a_pour_is_voided_once(filling, happen):
    filling.record(happen.pour(1))
    filling.record(fk.PourVoided(filling.number, "typo"))

    with pytest.raises(StateError, match="already voided by Ada: typo"):
        filling.record(fk.PourVoided(filling.number - 1, "typo"))


def test_a_certificate_states_the_journal_and_the_accepted_table(filling, happen):
    filling.record(happen.pour(1))
    digest = table_digest(ROWS)
    filling.record(fk.TableMade("A", ROWS, digest))
    tip = filling.book.state("J-1").tip
    with pytest.raises(StateError, match="table of tank A on the certificate is not accepted"):
        filling.record(fk.CertificateIssued("C-1", *tip, tables={"A": digest}))
    filling.record(fk.TableAccepted("A", digest))
    tip = filling.book.state("J-1").tip
    filling.record(fk.CertificateIssued("C-1", *tip, tables={"A": digest}))

    state = filling.book.state("J-1")
    assert state.certificate.event.upto_hash == tip.hash
    assert filling.book.jobs()[0].summary["certificate"] == "C-1"


WRONG = [
    (k.JobOpened("", "Tipper"), "customer"),
    (k.JobOpened("Yard", "Tipper", 0.0), "supply_v"),
    (k.FactsChanged({}), "facts"),
    (k.FactsCorrected({"a": 1}, " "), "reason"),
    (k.TanksLinked("L", ("A", "A")), "tank_ids"),
    (k.PhotoAdded("xyz"), "sha256"),
    (k.NoteAdded("x", stage="Lunch"), "stage"),
    (k.BenchRepeatRecorded("A", "middle", 5.0), "point"),
    (fk.PourRecorded("A", -1, 5.0, 5.0), "step"),
    (fk.PourRecorded("A", 1, -5.0, 5.0), "added_l"),
    (fk.PourRecorded("A", 1, 5.0, float("nan")), "counts"),
    (fk.PourRecorded("A", 1, 5.0, 5.0, fuel_c=float("inf")), "fuel_c"),
    (fk.FillBegun("A", meter_checks=(fk.CanCheck(0.0, 1.0),)), "meter_checks 1 indicated_l"),
    (fk.FindingAnswered("A", 1, "x", "shrugged", "so"), "answer"),
    (fk.TableMade("A", ROWS[:1], SHA), "rows"),
]


@pytest.mark.parametrize(("event", "field"), WRONG)
def test_an_event_that_may_not_be_recorded_names_its_field(filling, event, field):
    with pytest.raises(InputError) as caught:
        filling.record(event)

    assert caught.value.field == field


def test_rules_are_asked_on_recording_only(happen):
    events = [event for event, words in REFUSED if words]

    state = state_after(happen, *events)

    assert state.tip.number == len(events)
    assert state.out_of_place
    for kept in state.out_of_place:
        assert kept.number


def test_a_digest_stands_for_the_rows_and_nothing_else():
    assert table_digest(ROWS) == table_digest(list(ROWS))
    assert table_digest(ROWS) != table_digest([ROWS[0], fk.TableRow(4095, 400.0, 0.0)])
    assert table_digest([fk.TableRow(0, 4)]) == table_digest([fk.TableRow(0.0, 4.0)])
    expected = hashlib.sha256(b"[[0.0,4.0,0.8],[4095.0,400.0,null]]").hexdigest()
    assert table_digest(ROWS) == expected


def test_may_follow_lets_the_usual_course_pass(happen):
    state = JobState("J-1")
    for event in (happen.opened(), happen.described(), fk.FillBegun("A"), happen.pour(0)):
        may_follow(state, event)
        entry = next_entry(
            state.tip, job="J-1", at=happen.start_at, person="Ada", device="laptop",
            kind=kind_of(event), payload=to_payload(event),
        )  # fmt: skip
        state = apply(state, entry)
    assert state.out_of_place == ()
