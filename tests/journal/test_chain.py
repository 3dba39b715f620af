"""The hash chain: every change inside it shows, and shows where it is."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import ChainError, InputError
from gaugewright.journal.chain import (
    GENESIS,
    START,
    Line,
    canonical_json,
    checked,
    clock_set_back,
    digest,
    next_entry,
    read_line,
    read_lines,
)

AT = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


def entry_after(tip, number_of_minutes=0, **changes):
    words = {
        "job": "J-1",
        "at": AT + timedelta(minutes=number_of_minutes),
        "person": "Ada",
        "device": "laptop",
        "kind": "note_added",
        "payload": {"text": f"number {tip.number + 1}"},
    }
    return next_entry(tip, **{**words, **changes})


def chain_of(length):
    entries, tip = [], START
    for minute in range(length):
        entries.append(entry_after(tip, minute))
        tip = entries[-1].tip
    return entries


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), JSON, max_size=4))
def test_whatever_json_holds_comes_back_the_same_and_has_one_text(payload):
    entry = entry_after(START, payload=payload)

    again = read_line("J-1", entry.line)

    assert again.payload == payload
    assert canonical_json(again.payload) == canonical_json(payload)
    assert again == entry


def test_numbers_stay_as_they_were_written():
    assert canonical_json([45.0, 45, 0.1, 1e21, -0.0]) == "[45.0,45,0.1,1e+21,-0.0]"


def test_the_order_of_keys_does_not_matter():
    assert canonical_json({"b": 1, "a": 2}) == canonical_json({"a": 2, "b": 1})


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_none_is_refused_with_its_place(number):
    with pytest.raises(InputError, match=r"pours\[1\]\.added_l"):
        canonical_json({"pours": [{"added_l": 1.0}, {"added_l": number}]})


@pytest.mark.parametrize("value", [{1: "x"}, {"deep": [{2.5: "x"}]}, b"bytes", {"a": {1, 2}}])
def test_what_json_cannot_hold_is_refused(value):
    with pytest.raises(InputError):
        canonical_json(value)


def test_half_a_character_is_refused():
    with pytest.raises(InputError, match="surrogate"):
        canonical_json({"note": "\ud83d"})


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(InputError, match="time zone"):
        entry_after(START, at=datetime(2026, 5, 4, 9, 30))  # noqa: DTZ001


def test_times_are_kept_in_utc():
    entry = entry_after(START, at=AT.astimezone(timezone(timedelta(hours=5, minutes=30))))

    assert '"at":"2026-05-04T09:30:00.000000+00:00"' in entry.text


@pytest.mark.parametrize("word", ["", " Ada", "A\nda", "x" * 201, "\x00"])
@pytest.mark.parametrize("field", ["job", "person", "device", "kind"])
def test_names_are_one_printable_line(field, word):
    with pytest.raises(InputError, match=field):
        entry_after(START, **{field: word})


def test_the_first_entry_builds_on_the_beginning():
    entry = chain_of(1)[0]

    assert (entry.number, entry.prev_hash) == (1, GENESIS)
    assert entry.hash == digest(GENESIS, entry.text)


def test_an_unaltered_chain_passes():
    entries = chain_of(5)

    assert list(checked(entries)) == entries
    assert list(read_lines("J-1", (entry.line for entry in entries))) == entries


@given(st.integers(0, 7), st.data())
def test_the_first_altered_entry_is_named(place, data):
    entries = chain_of(8)
    lines = [entry.line for entry in entries]
    text = lines[place].text
    where = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.characters(exclude_categories=["Cs"]).filter(lambda c: c != text[where]))
    lines[place] = lines[place]._replace(text=text[:where] + other + text[where + 1 :])

    with pytest.raises(ChainError, match=rf"^entry {place + 1} is not what was written"):
        list(read_lines("J-1", lines))


def test_an_entry_altered_with_its_hash_made_to_fit_shows_at_the_next():
    entries = chain_of(4)
    lines = [entry.line for entry in entries]
    forged = entries[1].text.replace("number 2", "number 9")
    lines[1] = Line(2, forged, lines[1].prev_hash, digest(lines[1].prev_hash, forged))

    with pytest.raises(ChainError, match=r"^entry 3 is not what was written"):
        list(read_lines("J-1", lines))


def test_a_missing_entry_is_named():
    entries = chain_of(4)

    with pytest.raises(ChainError, match="entry 2 is missing: entry 3 comes after entry 1"):
        list(checked([entries[0], *entries[2:]]))


def test_two_entries_in_the_wrong_order_are_named():
    a, b, c = chain_of(3)

    with pytest.raises(ChainError, match="entry 2 is missing"):
        list(checked([a, c, b]))


def test_an_entry_that_says_something_else_than_its_text_is_named():
    entries = chain_of(3)
    entries[1] = entries[1]._replace(person="Bob")

    with pytest.raises(ChainError, match="entry 2 does not say what its text says"):
        list(checked(entries))


def test_an_entry_of_another_job_is_refused():
    stranger = entry_after(START, job="J-2")

    with pytest.raises(ChainError, match="entry 1 of job J-2"):
        list(read_lines("J-1", [stranger.line]))


@pytest.mark.parametrize(
    "text",
    [
        "not json",
        "[]",
        "{}",
        '{"at":"2026-05-04","device":"d","job":"J-1","kind":"k","number":1,"payload":{},'
        '"person":"p"}',
        '{"at":"2026-05-04T09:30:00+00:00","device":"d","job":"J-1","kind":"k","number":1,'
        '"payload":{"x":NaN},"person":"p"}',
        '{"at":"2026-05-04T09:30:00+00:00","device":"d","job":"J-1","kind":"k","number":1,'
        '"payload":{"x":1e999},"person":"p"}',
        '{"at":"2026-05-04T09:30:00+00:00","device":"d","job":"J-1","kind":"k","number":1,'
        '"payload":{"x":1,"x":2},"person":"p"}',
        '{"at":"2026-05-04T09:30:00+00:00","device":"d","job":"J-1","kind":"k","number":true,'
        '"payload":{},"person":"p"}',
        "[" * 100_000,
    ],
)
def test_a_text_with_a_right_hash_that_is_no_entry_is_refused(text):
    with pytest.raises(ChainError, match="entry 1"):
        list(read_lines("J-1", [Line(1, text, GENESIS, digest(GENESIS, text))]))


def test_a_clock_that_was_set_back_is_flagged_and_order_stays_by_number():
    first = entry_after(START, 10)
    second = entry_after(first.tip, 5)
    third = entry_after(second.tip, 11)

    assert clock_set_back(checked([first, second, third])) == (2,)
