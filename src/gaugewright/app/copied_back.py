"""What the receiving system shows, held against what it was given, until it is clean."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gaugewright.app.proving import journal_table
from gaugewright.app.recipes import chosen_recipe, handed_over
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError
from gaugewright.journal.book import Recorded
from gaugewright.journal.demands import MAX_WORDS
from gaugewright.journal.handover_kinds import CopiedBack, CopyAccepted
from gaugewright.journal.kept_words import kept
from gaugewright.journal.state import TankState
from gaugewright.table.recipe import Recipe
from gaugewright.table.shown import Shown, held_against
from gaugewright.words import said

MOST_SHOWN = 400_000
"""Longest text that is taken as a copied table. [characters]"""
MOST_DIFFERENCES = 500
"""Differences that one entry keeps; a table with more is another table."""


@dataclass(frozen=True, slots=True)
class Copy:
    """A text that was copied back, and how it came."""

    text: str
    way: str = "pasted"
    photo_sha256: tuple[str, ...] = ()
    note: str = ""


def look_at_copy(tank: TankState, text: str) -> Shown:
    """Return every difference between what their system shows and what it was given.

    Raises `NotThereError` if there is no table yet, `InputError` if the text holds no two
    columns of figures.
    """
    return _look(tank, text, chosen_recipe(tank))


def record_copy(yard: Yard, job: str, stamp: Stamp, tank_id: str, copy: Copy) -> Recorded:
    """Hold what their system shows against what it was given, and record what differs."""
    _, tank = yard.tank(job, tank_id)
    _, digest = journal_table(tank)
    recipe = chosen_recipe(tank)
    shown = _look(tank, copy.text, recipe, field="rows" if copy.way == "typed" else "text")
    told = [kept(each) for each in shown.as_json()["differences"][:MOST_DIFFERENCES]]
    event = CopiedBack(
        tank_id,
        digest,
        {} if recipe is None else recipe.to_mapping(),
        hashlib.sha256(copy.text.encode("utf-8", "surrogatepass")).hexdigest(),
        shown.comparison.rows_read,
        shown.is_clean,
        tuple(told),
        None if shown.max_error_l is None else round(shown.max_error_l, 4),
        copy.way,
        copy.text if len(copy.text) <= MAX_WORDS else "",
        copy.photo_sha256,
        copy.note,
    )
    return yard.record(job, stamp, event)


def accept_copy(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, copy: int, accepted_by: str, reason: str
) -> Recorded:
    """Put a named person's word to a copy that differs, with the reason."""
    return yard.record(
        job, stamp, CopyAccepted(tank_id, copy, accepted_by.strip() or stamp.person, reason)
    )


def typed_rows(rows: Sequence[tuple[str, str]]) -> str:
    r"""Return rows that were typed one by one as a text, as if it had been pasted.

    >>> typed_rows([("0", "3,5"), ("800", "60")])
    '0;3,5\n800;60\n'
    """
    return "".join(f"{a.strip()};{b.strip()}\n" for a, b in rows)


def _look(tank: TankState, text: str, recipe: Recipe | None, field: str = "text") -> Shown:
    if not text.strip():
        raise InputError(said("is empty, wanted the rows that their system shows"), field=field)
    if len(text) > MOST_SHOWN:
        raise InputError(
            said(
                "{found} characters are no calibration table, at most {most}",
                found=len(text),
                most=MOST_SHOWN,
            ),
            field=field,
        )
    try:
        shown = held_against(handed_over(tank, recipe), text)
    except InputError as error:
        if error.field is not None:
            raise
        raise InputError(error.problem, field=field, line=error.line) from None
    return _plain(shown)


def _plain(shown: Shown) -> Shown:
    """Return the same without a departure that is only the arithmetic's."""
    if shown.max_error_l is not None and shown.max_error_l < 1e-6:
        return replace(shown, max_error_l=0.0)
    return shown
