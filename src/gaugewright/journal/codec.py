"""Kinds of entry to and from the payload of a journal line.

What this version does not know is kept, never dropped: an entry of a kind from a
later version, or one whose payload cannot be read, comes back as `Unknown`.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from gaugewright.errors import InputError
from gaugewright.journal import fill_kinds, handover_kinds, kinds, later_kinds, watch_kinds
from gaugewright.journal.demands import Event


@dataclass(frozen=True, slots=True)
class Unknown(Event):
    """An entry that this version cannot read; it counts for the chain and is shown as it is."""

    kind: str
    payload: Mapping[str, Any]
    problem: str

    def check(self) -> None:
        """Refuse to record what is not understood."""
        raise InputError(f"{self.kind!r} is not a kind of entry: {self.problem}", field="kind")


def kind_of(event: Event | type[Event]) -> str:
    """Return the ``kind`` under which an event stands in the journal.

    >>> kind_of(kinds.JobOpened)
    'job_opened'
    """
    name = event.__name__ if isinstance(event, type) else type(event).__name__
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


KINDS: Mapping[str, type[Event]] = {
    kind_of(value): value
    for room in (kinds, fill_kinds, handover_kinds, watch_kinds, later_kinds)
    for value in vars(room).values()
    if isinstance(value, type) and issubclass(value, Event) and value is not Event
}
"""Every kind of entry that this version can record, by its name in the journal."""


def to_payload(event: Event) -> dict[str, Any]:
    """Return the payload of an event; every field is written, unknown ones as null.

    >>> to_payload(fill_kinds.PourVoided(pour=12, reason="meter not reset"))
    {'pour': 12, 'reason': 'meter not reset'}
    """
    cls: Any = type(event)
    return {name: _written(getattr(event, name)) for name in _names(cls)}


def to_event(kind: str, payload: Mapping[str, Any]) -> Event:
    """Return the event of a payload, or `Unknown`, which says why.

    >>> to_event("pour_voided", {"pour": 12, "reason": "meter not reset"})
    PourVoided(pour=12, reason='meter not reset')
    >>> to_event("pour_blessed", {}).problem
    'this version does not know the kind'
    >>> to_event("pour_voided", {"pour": "twelve", "reason": ""}).problem
    'pour: wanted int, found str'
    """
    cls = KINDS.get(kind)
    if cls is None:
        return Unknown(kind, payload, "this version does not know the kind")
    try:
        event: Event = _read(cls, payload)
        return event
    except InputError as error:
        return Unknown(kind, payload, str(error))


def _written(value: Any) -> Any:
    if type(value) in _AS_THEY_ARE:
        return value
    if is_dataclass(value) and not isinstance(value, type):
        cls: Any = type(value)
        return {name: _written(getattr(value, name)) for name in _names(cls)}
    if isinstance(value, tuple | list):
        return [_written(item) for item in value]
    # A sentence that can still be said otherwise is kept as the words that stand there.
    return str(value) if isinstance(value, str) else value


_AS_THEY_ARE = frozenset((str, float, int, bool, NoneType))

Reader = Callable[[Any, str], Any]


@cache
def _names(cls: Any) -> tuple[str, ...]:
    """Return the names of a dataclass's fields in the order that the journal's text has."""
    return tuple(sorted(each.name for each in fields(cls)))


@cache
def _readers(cls: Any) -> dict[str, tuple[Reader, bool]]:
    hints = get_type_hints(cls)
    return {
        each.name: (
            _reader(hints[each.name]),
            each.default is MISSING and each.default_factory is MISSING,
        )
        for each in fields(cls)
    }


def _read(cls: type, payload: Any, path: str = "") -> Any:
    if not isinstance(payload, Mapping):
        raise InputError(f"wanted an object, found {type(payload).__name__}", field=path or None)
    values = {}
    for name, (reader, is_required) in _readers(cls).items():
        if name in payload:
            values[name] = reader(payload[name], f"{path}{name}")
        elif is_required:
            raise InputError("is missing", field=f"{path}{name}")
    return cls(**values)


def _reader(hint: Any) -> Reader:
    """Return what reads one JSON value of the annotated type, or raises `InputError`."""
    if get_origin(hint) in (UnionType, Union):
        (inner,) = (each for each in get_args(hint) if each is not NoneType)
        read = _reader(inner)
        return lambda value, path: None if value is None else read(value, path)
    if get_origin(hint) is tuple:
        item = _reader(get_args(hint)[0])
        return lambda value, path: tuple(
            item(each, f"{path}[{place}].") for place, each in enumerate(_of(list, value, path))
        )
    if get_origin(hint) is Mapping:
        return lambda value, path: _of(dict, value, path)
    if hint is float:
        return _float
    if is_dataclass(hint):
        # mypy takes a dataclass for an instance or a type; a hint is the type.
        return lambda value, path: _read(hint, value, path)  # type: ignore[arg-type]
    if hint in (str, int, bool):
        return lambda value, path: _of(hint, value, path)
    raise TypeError(f"no reader for a field of type {hint}")


def _of(cls: type, value: Any, path: str) -> Any:
    if type(value) is not cls:
        raise InputError(
            f"wanted {cls.__name__}, found {type(value).__name__}", field=path.rstrip(".")
        )
    return value


def _float(value: Any, path: str) -> float:
    if type(value) is int:
        try:
            value = float(value)
        except OverflowError:
            value = float("inf")
    if type(value) is not float or not isfinite(value):
        raise InputError(f"wanted a finite number, found {value!r:.60}", field=path)
    return value
