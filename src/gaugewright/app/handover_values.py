"""What a screen is shown of the hand-over: frozen values, the same for a page and for the API.

Figures are litres and counts, whatever the book is kept in; texts for a receiving system
stand in that system's own unit and scale.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class Question:
    """One plain question of a recipe, its answers, and the usual one."""

    field: str
    ask: str
    choices: tuple[tuple[str, str], ...] = ()
    """The answer as it is kept, and in words; empty: typed."""
    usual: str = ""
    hint: str = ""
    only_if: tuple[str, str] | None = None
    """Asked only where this field has this answer."""


@dataclass(frozen=True, slots=True)
class RecipesPicture:
    """The questions of a recipe and the recipes that are known."""

    questions: tuple[Question, ...]
    recipes: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class GivenRow:
    """One row as it is handed over."""

    counts: str
    litres: str
    loss_l: float
    u_l: float | None


@dataclass(frozen=True, slots=True)
class GivenPicture:
    """Exactly what the receiving system is given, and what that costs."""

    recipe: Mapping[str, Any]
    text: str
    sentence: str
    rows: tuple[GivenRow, ...]
    full_rows: int
    loss_l: float
    loss_at_counts: float
    step_l: float
    band_l: float | None
    total_l: float | None
    below_zero_l: float
    u_below_zero_l: float | None


@dataclass(frozen=True, slots=True)
class ShownPicture:
    """What differs in what their system shows."""

    is_clean: bool
    rows_read: int
    max_error_l: float | None
    differences: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class CopyPicture:
    """What was copied back once."""

    number: int
    is_clean: bool
    is_of_this_table: bool
    rows_read: int
    differences: tuple[Mapping[str, Any], ...]
    max_error_l: float | None
    way: str
    note: str
    shown_sha256: str
    recipe: str
    person: str
    at: datetime
    accepted_by: str | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class ArrivalPicture:
    """One verdict on whether the data arrives."""

    number: int
    is_safe: bool
    sentence: str
    items: tuple[Mapping[str, Any], ...]
    duration_s: float | None
    readings: int
    records: int
    source: str
    settings: Mapping[str, Any]
    person: str
    at: datetime


@dataclass(frozen=True, slots=True)
class HandOverPicture:
    """How the hand-over of a tank's table stands."""

    stands: str
    """``not_copied``, ``clean``, ``accepted`` or ``differs``."""
    recipe: Mapping[str, Any] | None
    recipe_by: str | None
    recipe_at: datetime | None
    copies: tuple[CopyPicture, ...]
    arrivals: tuple[ArrivalPicture, ...]


@dataclass(frozen=True, slots=True)
class ArrivalStatus:
    """How a check of arrival stands now."""

    is_running: bool
    seconds: float
    readings: int
    records: int
    last_reading: float | None
    """Counts."""
    last_record: float | None
    """As it came."""
    unit: str
    """Of the records as they should come."""
    record_age_s: float | None
    trouble: str
    is_off: bool
    """Whether the ignition was said to be off."""
    source: str
    is_safe: bool
    sentence: str
    items: tuple[Mapping[str, Any], ...]
