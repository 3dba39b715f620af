"""What the journal takes of a watched log, and what it refuses."""

import pytest

from gaugewright.errors import InputError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import kinds as k
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.fills import table_digest

ROWS = (fk.TableRow(0, 4.0, 0.8), fk.TableRow(4095, 400.0, 2.0))
DIGEST = table_digest(ROWS)
LOG = "ab" * 32
DRAIN = wk.SeenEvent("drain", 20.0, 40.0, 30.0, 1.5, 90.0, 60.0, 9.5, "fell and stayed", 1, 2)


@pytest.fixture
def job(book, happen):
    scribe = happen.scribe(book, "J-1")
    scribe.record(k.JobOpened("Yard", "Tipper 4"))
    scribe.record(k.TankDescribed("A", {"shape": "box"}), fk.FillBegun("A"))
    scribe.record(fk.PourRecorded("A", 0, 0.0, 30.0))
    scribe.record(fk.TableMade("A", ROWS, DIGEST, pours=(scribe.number,)))
    return scribe


def watched(**changes):
    whole = {"events": (DRAIN,), **changes}
    return wk.LogWatched(
        "A", whole.pop("digest", DIGEST), LOG, "march.csv", 900, "T-7", 3, 1.0, 61.5, **whole
    )


def test_a_log_and_what_is_said_to_it_stand_at_their_tank(job):
    job.record(watched())
    number = job.number
    state = job.record(wk.SeenEventExplained("A", number, 1, "workshop")).state
    assert state.tanks["A"].watches[-1].event.events == (DRAIN,)
    assert state.tanks["A"].explained[-1].event.reason == "workshop"
    state = job.record(wk.ExplanationWithdrawn("A", number, 1, "another truck")).state
    assert state.tanks["A"].explained[-1].voided.reason == "another truck"
    state = job.record(wk.SeenEventExplained("A", number, 1, "the neighbour")).state
    assert state.tanks["A"].explained[-1].voided is None


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (lambda n: wk.SeenEventExplained("A", n, 2, "why"), "holds 1 events, not 2"),
        (lambda n: wk.SeenEventExplained("A", n - 1, 1, "why"), "is not a log of tank A"),
        (lambda n: wk.ExplanationWithdrawn("A", n, 1, "why"), "has no explanation to withdraw"),
        (lambda n: watched(digest="cd" * 32), "has no table with digest"),
    ],
)
def test_what_speaks_of_nothing_that_is_there_is_refused(job, event, words):
    job.record(watched())
    number = job.number
    with pytest.raises(StateError, match=words):
        job.record(event(number))


def test_an_event_is_explained_once_until_it_is_withdrawn(job):
    job.record(watched())
    number = job.number
    job.record(wk.SeenEventExplained("A", number, 1, "workshop"))
    with pytest.raises(StateError, match="already explained by Ada: workshop"):
        job.record(wk.SeenEventExplained("A", number, 1, "again"))


@pytest.mark.parametrize(
    "event",
    [
        wk.SeenEventExplained("A", 1, 1, " "),
        wk.ExplanationWithdrawn("A", 1, 0, "why"),
        wk.LogWatched("A", DIGEST, "short", "m", 9, "T", 3, 0.0, 1.0),
        wk.LogWatched("A", DIGEST, LOG, "m", 9, "T", 0, 0.0, 1.0),
        watched(events=(wk.SeenEvent("loss", 0, 1, 1, 1, 1, 1, 1, "", 0, 1),)),
    ],
)
def test_an_entry_that_says_nothing_is_refused(event):
    with pytest.raises(InputError):
        event.check()
