"""A recipe: how a receiving system wants its table, told by answers to plain questions.

A recipe names no product.  It is a set of answers that a person keeps: how many rows,
which marks, which units, on which scale the counts stand and where 0 litres lies.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from difflib import get_close_matches
from math import isfinite
from typing import Any, Final, Literal, get_args

from gaugewright.errors import InputError
from gaugewright.units import VolumeUnit
from gaugewright.words import said

Separator = Literal["comma", "semicolon", "tab", "space", "bar"]
Mark = Literal["point", "comma"]
Scale = Literal["same", "full_scale", "mm"]
Zero = Literal["bottom", "drained", "tip"]
Order = Literal["rising", "falling"]
Columns = Literal["counts_litres", "litres_counts"]
LineEnd = Literal["newline", "return_newline"]

SEPARATORS: Final[dict[Separator, str]] = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "space": " ",
    "bar": "|",
}
LINE_ENDS: Final[dict[LineEnd, str]] = {"newline": "\n", "return_newline": "\r\n"}
MOST_DECIMALS: Final = 3
MOST_ROWS: Final = 10_000
LONGEST_NAME, LONGEST_HEADER = 60, 200
OUR_FULL_SCALE: Final = (0.0, 4095.0)
"""Counts empty and full where no probe is described: 12 bits. [counts]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """The answers for one receiving system.

    >>> Recipe(name="north depot", most_rows=20, decimal_mark="comma").separator
    'semicolon'
    >>> Recipe(name="north depot", separator="comma", decimal_mark="comma")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: decimal_mark: a decimal comma and commas between fields \
cannot be told apart; choose another separator
    """

    name: str
    """What the person calls it."""
    most_rows: int | None = None
    """Most rows that the system takes; ``None``: as many as there are."""
    decimals: int = 1
    """Decimals of the litres."""
    separator: Separator = "semicolon"
    decimal_mark: Mark = "point"
    volume_unit: VolumeUnit = "L"
    scale: Scale = "same"
    """``same``: our counts.  ``full_scale``: ``scale_low`` where the probe's scale begins,
    ``scale_high`` where it ends, such as 0 to 1023 or 0 to 1000 for per mille.  ``mm``: the
    wetted length of the probe."""
    scale_low: float = 0.0
    scale_high: float = 1000.0
    counts_decimals: int = 0
    """Decimals of the figures on their scale."""
    order: Order = "rising"
    columns: Columns = "counts_litres"
    header: str = ""
    """The line above the rows, as it must stand; empty: none."""
    zero: Zero = "bottom"
    """Where their 0 litres lies: the tank's bottom, the drained state, the probe's tip."""
    line_end: LineEnd = "newline"

    def __post_init__(self) -> None:
        """Refuse answers that make no file."""
        if not self.name.strip():
            raise InputError(said("must not be empty"), field="name")
        _require_line("name", self.name, LONGEST_NAME)
        _require_line("header", self.header, LONGEST_HEADER)
        if self.most_rows is not None and not 2 <= self.most_rows <= MOST_ROWS:
            raise _outside("most_rows", 2, MOST_ROWS, self.most_rows)
        for name in ("decimals", "counts_decimals"):
            value = getattr(self, name)
            if not 0 <= value <= MOST_DECIMALS:
                raise _outside(name, 0, MOST_DECIMALS, value)
        for name, choices in CHOICES.items():
            value = getattr(self, name)
            if value not in choices:
                raise InputError(
                    said(
                        "must be one of {choices}, found {value!r}",
                        choices=", ".join(choices),
                        value=value,
                    ),
                    field=name,
                )
        if self.scale == "full_scale":
            self._require_scale()
        is_comma = (self.separator, self.decimal_mark) == ("comma", "comma")
        if is_comma and (self.decimals or self.counts_decimals):
            raise InputError(
                said(
                    "a decimal comma and commas between fields cannot be told apart; "
                    "choose another separator"
                ),
                field="decimal_mark",
            )

    def _require_scale(self) -> None:
        for name in ("scale_low", "scale_high"):
            value = getattr(self, name)
            if not (isfinite(value) and abs(value) <= 2.0**32):
                raise InputError(
                    said("must be a figure that a scale has, found {value}", value=value),
                    field=name,
                )
        steps = (self.scale_high - self.scale_low) * 10**self.counts_decimals
        if steps < 2:
            raise InputError(
                said(
                    "must be at least 2 steps above scale_low ({low:g}), found {high:g}: a "
                    "table's counts rise with its litres",
                    low=float(self.scale_low),
                    high=float(self.scale_high),
                ),
                field="scale_high",
            )

    def to_mapping(self) -> dict[str, Any]:
        """Return plain values that `recipe_from_mapping` reads back."""
        return {each.name: getattr(self, each.name) for each in fields(self)}


CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "separator": get_args(Separator),
    "decimal_mark": get_args(Mark),
    "volume_unit": get_args(VolumeUnit),
    "scale": get_args(Scale),
    "order": get_args(Order),
    "columns": get_args(Columns),
    "zero": get_args(Zero),
    "line_end": get_args(LineEnd),
}
"""The answers that can be chosen, by field."""
WHOLE: Final = ("most_rows", "decimals", "counts_decimals")
FIGURES: Final = ("scale_low", "scale_high")


def recipe_from_mapping(mapping: Mapping[str, Any]) -> Recipe:
    """Return the recipe of a file or of a journal entry.

    Raises `InputError` naming the field: unknown names, wrong types, answers that make no
    file.

    >>> recipe_from_mapping({"name": "depot", "most_row": 20})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: most_row: is no answer of a recipe; did you mean most_rows?
    """
    known = [each.name for each in fields(Recipe)]
    given: dict[str, Any] = {}
    for name, value in mapping.items():
        if name not in known:
            near = get_close_matches(name, known, n=1)
            hint = said("there are {names}", names=", ".join(known))
            if near:
                hint = said("did you mean {near}?", near=near[0])
            raise InputError(
                said("is no answer of a recipe; {hint}", hint=hint), field=str(name)[:60]
            )
        given[name] = _of_kind(name, value)
    if "name" not in given:
        raise InputError(said("is missing"), field="name")
    return Recipe(**given)


def recipe_to_toml(recipe: Recipe) -> str:
    """Return the text of a recipe's file.

    >>> recipe_to_toml(Recipe(name="depot")).splitlines()[:2]
    ['name = "depot"', 'decimals = 1']
    """
    lines = []
    for name, value in recipe.to_mapping().items():
        if value is None:
            continue  # TOML has no word for it; without the line it is not limited
        # A JSON text of printable letters is a TOML basic string too.
        lines.append(f"{name} = {json.dumps(value, ensure_ascii=False)}")
    return "\n".join(lines) + "\n"


def _outside(name: str, least: int, most: int, found: int) -> InputError:
    return InputError(
        said("must be {least} to {most}, found {found}", least=least, most=most, found=found),
        field=name,
    )


def _of_kind(name: str, value: Any) -> Any:
    if name in WHOLE:
        if value is None and name == "most_rows":
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            raise InputError(
                said("must be a whole number, found {value!r}", value=value), field=name
            )
        return value
    if name in FIGURES:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(said("must be a number, found {value!r}", value=value), field=name)
        return float(value)
    if not isinstance(value, str):
        raise InputError(said("must be text, found {value!r}", value=value), field=name)
    return value


def _require_line(name: str, text: str, longest: int) -> None:
    if len(text) > longest:
        raise InputError(
            said("at most {longest} characters, found {number}", longest=longest, number=len(text)),
            field=name,
        )
    if not text.replace("\t", "").isprintable():
        raise InputError(said("must be one line of printable text"), field=name)
