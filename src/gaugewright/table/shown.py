"""What a receiving system shows, held against what its recipe gave it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from gaugewright.table.compare import Comparison, compare
from gaugewright.table.copied import PLAIN_FORM, Form
from gaugewright.table.difference import Difference
from gaugewright.table.handover import HandedOver, to_litres_of
from gaugewright.table.recipe import OUR_FULL_SCALE, Recipe
from gaugewright.words import said


@dataclass(frozen=True, slots=True)
class Shown:
    """Every difference between what was handed over and what their system shows."""

    comparison: Comparison
    """In the recipe's unit and scale."""
    max_error_l: float | None
    """Largest departure of their table from the table handed over; ``None`` if the two
    share no range. [L]"""
    at_counts: float | None
    """Where that is, on our scale. [counts]"""

    @property
    def is_clean(self) -> bool:
        """Whether nothing differs beyond the rounding of the figures."""
        return self.comparison.is_clean

    def as_json(self) -> dict[str, Any]:
        """Return it as lists and dictionaries; litres in litres."""
        found = self.comparison.as_json()
        found |= {"max_error_l": self.max_error_l, "at_counts": self.at_counts}
        ends = {k: found.pop(k) for k in ("from_counts", "to_counts")}
        return found | {"their_from": ends["from_counts"], "their_to": ends["to_counts"]}


def held_against(handed: HandedOver, text: str) -> Shown:
    r"""Return in what the table their system shows differs from what it was given.

    Raises `InputError` if the text has no two columns of figures.

    >>> from gaugewright.table.handover import hand_over
    >>> from gaugewright.table.table import Table
    >>> full = Table(np.array([0, 800, 1600, 2400]), np.array([3.0, 60.5, 150.0, 212.0]), None)
    >>> mille = Recipe(name="a", scale="full_scale", scale_high=1000, volume_unit="US gal")
    >>> given = hand_over(full, mille)
    >>> given.text
    '0;0.8\n195;16.0\n391;39.6\n586;56.0\n'
    >>> shown = held_against(given, given.text.replace("39.6", "36.9"))
    >>> print(shown.comparison.differences[0].message)
    Row 3 (line 3) has 36.9 US gal where ours has 39.6 US gal: two digits are swapped; type 39.6.
    >>> round(shown.max_error_l, 1)
    10.2
    """
    found = compare(handed.table, text, form_of(handed.recipe))
    if any(each.kind == "another_table" for each in found.differences):
        found = _whole(handed, text) or found
    error_l = at = None
    if found.max_error_l is not None and found.at_counts is not None:
        error_l = float(to_litres_of(np.array(found.max_error_l), handed.recipe))
        at = float(handed.map.ours(found.at_counts))
    return Shown(found, error_l, at)


def _whole(handed: HandedOver, text: str) -> Comparison | None:
    """Tell the whole table, entered as it is instead of what the recipe gave."""
    plain = compare(handed.full, text)
    if not plain.is_clean:
        return None
    message = said(
        "This is the whole table of {rows} rows in litres and counts, not what the recipe gave: "
        "enter the {wanted} rows of the recipe.",
        rows=handed.full_rows,
        wanted=len(handed.rows),
    )
    return replace(
        plain,
        differences=(Difference("whole_table", message),),
        max_error_l=None,
        at_counts=None,
    )


def form_of(recipe: Recipe) -> Form:
    """Return the form in which a recipe's table stands."""
    top = recipe.scale_high if recipe.scale == "full_scale" else OUR_FULL_SCALE[1]
    return Form(
        unit=recipe.volume_unit,
        counts_decimals=recipe.counts_decimals if recipe.scale != "same" else 0,
        full_scale=top if top > 0 else PLAIN_FORM.full_scale,
        is_falling=recipe.order == "falling",
        decimal_mark="," if recipe.decimal_mark == "comma" else ".",
    )
