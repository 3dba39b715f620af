"""What a journal keeps beside its sentences, and what may not come out of one from elsewhere."""

import json

import pytest

from gaugewright.journal.kept_words import heard, sentence_of, with_words
from gaugewright.words import Length, Said, Speech, Volume, said

INNER = said("{value:.1f} ± {u:.1f} mm", value=8.25, u=3.0)
SENTENCE = said(
    "{name}: {by}, {dead} of {of} in {n}",
    name="tip", by=INNER, dead=Volume(3.785), of=Length(254.0), n=4,
)  # fmt: skip


def test_a_sentence_comes_out_of_the_journal_as_it_went_in() -> None:
    record = json.loads(json.dumps(with_words(sentence=SENTENCE)))
    found = sentence_of(record, "sentence")

    assert record["sentence"] == found == "tip: 8.2 ± 3.0 mm, 3.8 L of 254 mm in 4"
    assert isinstance(found, Said)
    american = Speech(str, ",", "US gal", "in").says(found)
    assert american == "tip: 8,2 ± 3,0 mm, 1,0 US gal of 10,00 in in 4"


def test_a_record_without_its_template_keeps_its_english() -> None:
    record = {"sentence": "as it was said then", "listed": [{"sentence": "and this"}], "n": 2}

    assert heard(record) == record


@pytest.mark.parametrize(
    "made",
    [
        {"template": "{a.__class__}", "figures": {"a": 1}},
        {"template": "{a[0]}", "figures": {"a": "x"}},
        {"template": "{a!r}", "figures": {"a": "x"}},
        {"template": "{a:999999999}", "figures": {"a": 1}},
        {"template": "{a:{b}}", "figures": {"a": 1, "b": "9"}},
        {"template": "{a:.1f}", "figures": {"a": "no figure"}},
        {"template": "{a", "figures": {"a": 1}},
        {"template": "{b}", "figures": {"a": 1}},
        {"template": "{a}", "figures": {"a": [1]}},
        {"template": "{a}", "figures": {"a": None}},
        {"template": "{a}", "figures": {"a": {"template": "{b.real}", "figures": {"b": 1}}}},
        {"template": 7, "figures": {}},
        {"template": "no figures"},
        "a text",
        None,
    ],
)
def test_what_is_no_record_of_a_sentence_is_not_said(made: object) -> None:
    record = {"sentence": "plain", "sentence_said": made}

    assert heard(record) == {"sentence": "plain"}


def test_sentences_one_in_another_without_end_are_not_followed() -> None:
    made: dict[str, object] = {"template": "end", "figures": {}}
    for _ in range(40):
        made = {"template": "{a}", "figures": {"a": made}}

    assert heard({"sentence": "plain", "sentence_said": made}) == {"sentence": "plain"}


def test_a_volume_that_was_written_in_another_unit_is_heard_in_the_readers():
    record = with_words(sentence=said("pour {volume} again", volume="18.5 ± 1.8 US gal"))

    assert record["sentence"] == "pour 18.5 ± 1.8 US gal again"
    assert str(heard(record)["sentence"]) == record["sentence"]
    assert Speech(str, ",").all_of(heard(record)) == {"sentence": "pour 70,0 ± 6,8 L again"}
    gallons = Speech(str, volume_unit="US gal").all_of(heard(record))
    assert gallons == {"sentence": record["sentence"]}


def test_what_a_person_typed_is_shown_as_it_was_typed():
    typed = said("'{text}' has text after the number", text="20 L")
    assert Speech(str, volume_unit="US gal").says(typed) == typed
