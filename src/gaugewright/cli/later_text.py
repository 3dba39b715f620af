"""A re-check, a carried table and a sister's say, as text for people and records for programs."""

from textwrap import wrap
from typing import Any

from gaugewright.app.later import Carried, Rechecked
from gaugewright.app.later_records import comparison_records, held_record
from gaugewright.app.sister import SisterSays
from gaugewright.cli.calibrate_text import some_rows
from gaugewright.cli.table_text import table_lines, table_record
from gaugewright.pours.later.changes import TIP
from gaugewright.pours.later.compare import Comparison
from gaugewright.pours.later.hold import Held
from gaugewright.pours.later.sentences import (
    LaterWords,
    could_show_sentence,
    listed,
    possible_sentence,
    verdict_sentence,
)
from gaugewright.table.table import Table


def recheck_record(done: Rechecked) -> dict[str, Any]:
    """Return a re-check for programs."""
    record = held_record(done.held)
    if not done.words.is_mm:
        record = _tip_in_counts(record, done.words.mm_per_count)
    return {**record, "notes": list(done.notes), **table_record(done.table)}


def _tip_in_counts(record: dict[str, Any], mm_per_count: float) -> dict[str, Any]:
    """Without a described probe nothing is known of mm."""

    def counts(value: float | None) -> float | None:
        return None if value is None else round(value / mm_per_count, 1)

    for each in record["possible"]:
        if each["kind"] == TIP:
            each |= {
                "size": counts(each["size"]),
                "u_size": counts(each["u_size"]),
                "unit": "counts",
            }
    record["could_show"][TIP] = counts(record["could_show"][TIP])
    return record


def recheck_text(done: Rechecked) -> str:
    """Return a re-check for people: the verdict first, then what it stands on."""
    lines = wrap(verdict_sentence(done.held), 78)
    lines += ["", *held_lines(done.held, done.words)]
    lines += [f"({note})" for note in done.notes]
    return "\n".join(lines)


def held_lines(held: Held, said: LaterWords) -> list[str]:
    """Return the comparisons and what may be so."""
    lines = comparison_lines(held.comparisons)
    lines += ["", "What may be so, and how probable it is:"]
    for possible in listed(held):
        words = possible_sentence(possible, said)
        lines += wrap(
            f"{100 * possible.probability:5.1f} %  {words} "
            f"(log likelihood {possible.log_likelihood:+.1f})",
            78,
            initial_indent="  ",
            subsequent_indent="           ",
        )
    return [*lines, "", *wrap(could_show_sentence(held, said), 78)]


def comparison_lines(comparisons: tuple[Comparison, ...]) -> list[str]:
    """Return pours by the meter and by the table, for people."""
    lines = [f"{'step':>6}{'by the meter':>18}{'by the table':>18}{'E_n':>8}"]
    for each in comparisons:
        lines.append(
            f"{each.step:>6}{each.metered_l:>9.1f} ±{each.expanded_u_metered_l:>5.1f} L"
            f"{each.table_l:>9.1f} ±{each.expanded_u_table_l:>5.1f} L{each.en:>8.2f}"
            + ("" if each.agrees else "  ■ does not agree")
        )
    return lines


def sister_record(says: SisterSays) -> dict[str, Any]:
    """Return what a fill says about a sister's table, for programs."""
    return {
        "verdict": str(says.verdict).replace(" ", "_"),
        "probability": round(says.both.agreement, 4),
        "log_likelihood": round(says.both.log_likelihood, 2),
        "comparisons": comparison_records(says.comparisons),
        "band_share": round(says.both.narrower, 3),
        "largest_band_l": _largest(says.table),
        "largest_band_alone_l": _largest(says.alone),
        "proposed": table_record(says.proposed)["table"],
    }


def sister_text(says: SisterSays) -> str:
    """Return what a fill says about a sister's table, for people."""
    lines = ["", *wrap(says.sentence, 78)]
    return "\n".join([*lines, "", *comparison_lines(says.comparisons)])


def carried_record(done: Carried) -> dict[str, Any]:
    """Return a carried table for programs."""
    held = {"check": None if done.held is None else held_record(done.held)}
    return {
        "is_confirmed": done.is_confirmed,
        **held,
        "largest_band_before_l": _largest(done.source.table),
        "largest_band_l": _largest(done.table),
        **table_record(done.table),
    }


def carried_text(done: Carried) -> str:
    """Return a carried table for people."""
    old, now = _largest(done.source.table), _largest(done.unconfirmed)
    was = "" if old is None else f"; it was ±{old:.1f} L on the old probe"
    lines = [f"Carried: largest band ±{now:.1f} L{was}.", ""]
    if done.held is None:
        lines += wrap("Not confirmed yet: make two check pours and give them with --pours.", 78)
    else:
        lines += wrap(verdict_sentence(done.held, is_carried=True), 78)
        lines += ["", *held_lines(done.held, LaterWords(mm_per_count=done.probe.mm_per_count))]
        lines += ["", "With the check pours learnt, and what may have changed since the old table"]
        lines += [f"allowed for: largest band ±{_largest(done.table):.1f} L."]
    return "\n".join([*lines, "", *table_lines(some_rows(done.table))])


def _largest(table: Table) -> float | None:
    return None if table.u_litres is None else round(float(table.u_litres.max()), 2)
