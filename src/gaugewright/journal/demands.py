"""What is asked of an entry when it is recorded, said so that the person can put it right."""

from collections.abc import Sequence
from math import isfinite

from gaugewright.errors import InputError
from gaugewright.words import said

MAX_WORDS = 20_000
"""Longest free text in one field. [characters]"""
_HEX = frozenset("0123456789abcdef")


class Event:
    """One thing that happened to a job; the kinds of entry derive from it."""

    __slots__ = ()

    def check(self) -> None:
        """Raise `InputError` if this may not be recorded as it stands."""


def require_text(field: str, text: str, *, may_be_empty: bool = False) -> None:
    """Refuse missing or endless words.

    >>> require_text("reason", "  ")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: reason: must not be empty
    """
    if not may_be_empty and not text.strip():
        raise InputError(said("must not be empty"), field=field)
    if len(text) > MAX_WORDS:
        raise InputError(
            said(
                "at most {max_words} characters, found {number}",
                max_words=MAX_WORDS,
                number=len(text),
            ),
            field=field,
        )


def require_name(field: str, name: str, longest: int = 200) -> None:
    """Refuse a name that is empty, long or not printable on one line."""
    require_text(field, name)
    if len(name) > longest:
        raise InputError(
            said("at most {longest} characters, found {number}", longest=longest, number=len(name)),
            field=field,
        )
    if not name.isprintable():
        raise InputError(
            said("must be one line of printable text, found {name!r}", name=name), field=field
        )


def require_positive(field: str, value: float) -> None:
    """Refuse a number that is not above zero, or not finite."""
    require_finite(field, value)
    if value <= 0:
        raise InputError(said("must be above 0, found {value:g}", value=value), field=field)


def require_finite(field: str, value: float) -> None:
    """Refuse NaN and infinity."""
    if not isfinite(value):
        raise InputError(said("must be a finite number, found {value}", value=value), field=field)


def require_at_least(field: str, value: float, least: float) -> None:
    """Refuse a number below ``least``, or not finite."""
    require_finite(field, value)
    if value < least:
        raise InputError(
            said("must be at least {least:g}, found {value:g}", least=least, value=value),
            field=field,
        )


def require_finite_where_given(entry: object, *fields: str) -> None:
    """Refuse NaN and infinity in the named fields of an entry; ``None`` is not measured."""
    for name in fields:
        value = getattr(entry, name)
        if value is not None:
            require_finite(name, value)


def require_at_least_where_given(entry: object, least: float, *fields: str) -> None:
    """Refuse a number below ``least`` in the named fields; ``None`` is not measured.

    >>> from types import SimpleNamespace
    >>> require_at_least_where_given(SimpleNamespace(a=None, b=-1.0), 0, "a", "b")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: b: must be at least 0, found -1
    """
    for name in fields:
        value = getattr(entry, name)
        if value is not None:
            require_at_least(name, value, least)


def require_choice(field: str, value: str, choices: Sequence[str]) -> None:
    """Refuse a word that is not among the choices."""
    if value not in choices:
        raise InputError(
            said(
                "must be one of {choices}, found {value!r}", choices=", ".join(choices), value=value
            ),
            field=field,
        )


def require_sha256(field: str, digest: str) -> None:
    """Refuse what is not 64 lower-case hexadecimal digits."""
    if len(digest) != 64 or not _HEX.issuperset(digest):
        raise InputError(
            said("must be 64 lower-case hexadecimal digits, found {digest!r}", digest=digest[:80]),
            field=field,
        )
