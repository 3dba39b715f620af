"""What pours made later say, as records: for programs, for the journal, for a screen."""

from typing import Any

from gaugewright.journal.kept_words import with_words
from gaugewright.pours.later.changes import DENT, SPAN, TIP, ZERO
from gaugewright.pours.later.compare import Comparison
from gaugewright.pours.later.hold import Held
from gaugewright.pours.later.sentences import (
    LaterWords,
    could_show_sentence,
    listed,
    possible_sentence,
)

UNITS = {TIP: "mm", ZERO: "counts", SPAN: "counts", DENT: "L"}


def held_record(held: Held) -> dict[str, Any]:
    """Return what pours made later say, for programs."""
    return {
        "verdict": str(held.verdict),
        "agrees": held.agrees,
        "comparisons": comparison_records(held.comparisons),
        "possible": [
            {
                "kind": each.kind,
                "probability": round(each.probability, 4),
                "log_likelihood": round(each.log_likelihood, 2),
                "size": None if each.size is None else round(each.size, 2),
                "u_size": None if each.u95_size is None else round(each.u95_size, 2),
                "unit": UNITS.get(each.kind),
            }
            for each in held.possible
        ],
        "named": list(held.named),
        "risk": round(held.risk, 4),
        "is_zero_open": held.is_zero_open,
        "dry_counts": None if held.dry is None else held.dry.counts,
        "could_show": {
            kind: None if least is None else round(least, 2)
            for kind, least in held.could_show.items()
        },
    }


def comparison_records(comparisons: tuple[Comparison, ...]) -> list[dict[str, Any]]:
    """Return pours by the meter and by the table, for programs."""
    return [
        {
            "step": each.step,
            "metered_l": round(each.metered_l, 2),
            "expanded_u_metered_l": round(each.expanded_u_metered_l, 2),
            "table_l": round(each.table_l, 2),
            "expanded_u_table_l": round(each.expanded_u_table_l, 2),
            "en": round(each.en, 2),
            "agrees": each.agrees,
        }
        for each in comparisons
    ]


def held_in_words(held: Held, words: LaterWords) -> dict[str, Any]:
    """Return the record with the sentences that a person saw, for the journal."""
    return {
        **held_record(held),
        "listed": [
            {
                "kind": each.kind,
                "probability": round(each.probability, 4),
                "log_likelihood": round(each.log_likelihood, 2),
                **with_words(sentence=possible_sentence(each, words)),
            }
            for each in listed(held)
        ],
        **with_words(could_show_sentence=could_show_sentence(held, words)),
    }
