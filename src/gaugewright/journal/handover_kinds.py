"""The kinds of entry of the hand-over: the recipe, what was copied back, whether data arrives.

See `kinds` for the rules.  No secret ever stands here: what an address or a header needs is
kept in the environment of the program, and an entry holds only its name.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gaugewright.errors import InputError
from gaugewright.journal.demands import (
    Event,
    require_at_least,
    require_at_least_where_given,
    require_choice,
    require_name,
    require_sha256,
    require_text,
)

WAYS = ("pasted", "file", "typed")
"""How the table that their system shows came here."""


@dataclass(frozen=True, slots=True)
class RecipeChosen(Event):
    """How the system that receives this tank's table wants it, by the answers of a recipe.

    The answers stand here whole, so that they travel with the job.
    """

    tank_id: str
    recipe: Mapping[str, Any]

    def check(self) -> None:
        """Refuse a recipe without a name."""
        require_name("name", str(self.recipe.get("name", "")))


@dataclass(frozen=True, slots=True)
class CopiedBack(Event):
    """What their system shows, held against the table that was handed over."""

    tank_id: str
    digest: str
    """Of the table that was handed over."""
    recipe: Mapping[str, Any]
    """The answers by which it was handed over; empty: the table as it is."""
    shown_sha256: str
    """Of the text that was copied back."""
    rows_read: int
    is_clean: bool
    differences: tuple[Mapping[str, Any], ...] = ()
    max_error_l: float | None = None
    """Largest departure of their table from the one handed over; ``None``: no common range."""
    way: str = "pasted"
    shown: str = ""
    """The text itself; empty if it was too long to be kept."""
    photo_sha256: tuple[str, ...] = ()
    note: str = ""

    def check(self) -> None:
        """Refuse digests that are none and a clean copy with differences."""
        require_sha256("digest", self.digest)
        require_sha256("shown_sha256", self.shown_sha256)
        require_at_least("rows_read", self.rows_read, 0)
        require_choice("way", self.way, WAYS)
        for sha256 in self.photo_sha256:
            require_sha256("photo_sha256", sha256)
        require_text("shown", self.shown, may_be_empty=True)
        require_text("note", self.note, may_be_empty=True)
        if self.is_clean and self.differences:
            raise InputError(f"{len(self.differences)} differences are not clean", field="is_clean")


@dataclass(frozen=True, slots=True)
class CopyAccepted(Event):
    """A named person stands for a copy that differs, with the reason."""

    tank_id: str
    copy: int
    """The number of the entry that holds what was copied back."""
    accepted_by: str
    reason: str

    def check(self) -> None:
        """Refuse to accept without a name or a reason."""
        require_name("accepted_by", self.accepted_by)
        require_text("reason", self.reason)


@dataclass(frozen=True, slots=True)
class ArrivalItem:
    """One thing that was looked at: what was found, with its figure and band."""

    kind: str
    state: str
    """``good``, ``missing``, ``wrong`` or ``note``."""
    message: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    """The ends of the 95 % band; ``None``: why is said in the message."""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ArrivalChecked(Event):
    """Whether what the probe reads arrives at the other end, looked at before leaving."""

    tank_id: str
    is_safe: bool
    sentence: str
    items: tuple[ArrivalItem, ...] = ()
    begun_at: str = ""
    """ISO 8601, UTC."""
    duration_s: float | None = None
    readings: int = 0
    records: int = 0
    source: str = ""
    """Where the records came from, in words without any secret."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """What it was read with, to begin with next time; names in place of secrets."""
    digest: str | None = None
    """Of the table by which counts became litres, if they did."""

    def check(self) -> None:
        """Refuse a verdict without its sentence."""
        require_text("sentence", self.sentence)
        for item in self.items:
            require_name("kind", item.kind)
            require_choice("state", item.state, ("good", "missing", "wrong", "note"))
        if self.digest is not None:
            require_sha256("digest", self.digest)
        require_at_least_where_given(self, 0, "duration_s")
