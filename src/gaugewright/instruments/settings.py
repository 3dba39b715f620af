"""Settings of a source: frozen, checked, printable, and to and from a plain mapping."""

import types
from collections.abc import Mapping
from dataclasses import dataclass, fields
from difflib import get_close_matches
from math import isfinite
from typing import Any, ClassVar, Literal, Self, Union, get_args, get_origin, get_type_hints

from gaugewright.errors import InputError
from gaugewright.words import said

Plain = str | int | float | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceSettings:
    """What every source has; each kind adds its own.

    Raises `InputError` naming the field when a value cannot be.

    >>> SourceSettings(counts_min=0, counts_max=1023).to_mapping()["counts_max"]
    1023
    """

    kind: ClassVar[str] = ""

    source_id: str = "probe"
    counts_min: float = 0.0
    """The least value that the scale allows. [counts]"""
    counts_max: float = 4095.0
    """The greatest value that the scale allows. [counts]"""
    silent_after_s: float = 3.0
    """Silence is shown after this time. [s]"""
    frozen_after_s: float = 120.0
    """The same value to the last digit for this long is shown as frozen. [s]"""
    retry_first_s: float = 0.2
    """Wait before the first attempt to reconnect; each next one waits twice as long. [s]"""
    retry_most_s: float = 5.0
    """The longest wait between attempts to reconnect. [s]"""

    def __post_init__(self) -> None:
        """Refuse what cannot be; a kind adds its checks in `_check`."""
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, float) and not isfinite(value):
                raise InputError(said("{value} is not a finite number", value=value), field=f.name)
        if not self.source_id:
            raise InputError(said("must not be empty"), field="source_id")
        if self.counts_max <= self.counts_min:
            raise InputError(
                said(
                    "must be above counts_min ({counts_min:g}), found {counts_max:g}",
                    counts_min=self.counts_min,
                    counts_max=self.counts_max,
                ),
                field="counts_max",
            )
        for name in ("silent_after_s", "frozen_after_s", "retry_first_s", "retry_most_s"):
            self._require_positive(name)
        self._check()

    def _check(self) -> None:
        """Check what only this kind has."""

    def _require_positive(self, name: str) -> None:
        if not getattr(self, name) > 0:
            raise InputError(
                said("must be above 0, found {value:g}", value=getattr(self, name)), field=name
            )

    def _require_within(self, name: str, least: int, most: int) -> None:
        value = getattr(self, name)
        if not least <= value <= most:
            raise InputError(
                said(
                    "must be {least} to {most}, found {value}", least=least, most=most, value=value
                ),
                field=name,
            )

    def _require_text(self, name: str) -> None:
        if not getattr(self, name).strip():
            raise InputError(said("must not be empty"), field=name)

    def to_mapping(self) -> dict[str, Plain]:
        """Return plain values that `from_mapping` reads back, the kind among them."""
        return {"kind": self.kind} | {f.name: getattr(self, f.name) for f in fields(self)}

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, object]) -> Self:
        """Build the settings, refusing unknown names and wrong types.

        >>> SourceSettings.from_mapping({"conts_max": 1023})
        Traceback (most recent call last):
            ...
        gaugewright.errors.InputError: conts_max: is not a setting of a source; did you mean \
counts_max?
        """
        hints = get_type_hints(cls)
        known = [f.name for f in fields(cls)]
        given: dict[str, Any] = {}
        for name, value in mapping.items():
            if name == "kind":
                continue
            if name not in known:
                near = get_close_matches(name, known, n=1)
                hint = f"; did you mean {near[0]}?" if near else f"; there are {', '.join(known)}"
                noun = f"a {cls.kind} source" if cls.kind else "a source"
                raise InputError(
                    said("is not a setting of {noun}{hint}", noun=noun, hint=hint), field=name
                )
            given[name] = _of_type(name, value, hints[name])
        required = [n for n in known if n not in given and _is_required(cls, n)]
        if required:
            raise InputError(
                said("is missing for a {kind} source", kind=cls.kind), field=required[0]
            )
        return cls(**given)

    def describe(self) -> str:
        """Return one line with the kind and its own settings, for error messages."""
        common = {f.name for f in fields(SourceSettings)}
        own = [
            f"{f.name}={getattr(self, f.name)}"
            for f in fields(self)
            if f.name not in common and getattr(self, f.name) is not None
        ]
        return " ".join([f"{self.source_id} ({self.kind}", *own]) + ")"


def _is_required(cls: type[SourceSettings], name: str) -> bool:
    from dataclasses import MISSING

    found = next(f for f in fields(cls) if f.name == name)
    return found.default is MISSING and found.default_factory is MISSING


def _of_type(name: str, value: object, hint: Any) -> Any:
    """Return ``value`` as ``hint`` asks, or say what was wanted."""
    if get_origin(hint) in (Union, types.UnionType):
        if value is None and type(None) in get_args(hint):
            return None
        return _of_type(name, value, next(a for a in get_args(hint) if a is not type(None)))
    if get_origin(hint) is Literal:
        if value in get_args(hint):
            return value
        raise InputError(
            said(
                "must be one of {str}, found {value!r}",
                str=", ".join(map(str, get_args(hint))),
                value=value,
            ),
            field=name,
        )
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    # bool is an int to Python; a switch is not a number to anybody else.
    if isinstance(value, hint) and (hint is bool or not isinstance(value, bool)):
        return value
    wanted = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}[hint]
    raise InputError(
        said("must be {wanted}, found {value!r}", wanted=wanted, value=value), field=name
    )
