"""What a person wants of a plan, as a page or a program sends it."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from difflib import get_close_matches
from typing import Any

from gaugewright.app.plan_cut import Wishes
from gaugewright.errors import InputError
from gaugewright.planning.cautions import Circumstances
from gaugewright.planning.misread import Slope, slope_of_text
from gaugewright.planning.zones import keep_out_from_mapping
from gaugewright.tank.description import number
from gaugewright.words import said

_APART = ("slope", "zones", "circumstances")
_NUMBERS = tuple(each.name for each in fields(Wishes) if each.name not in _APART)
_OTHERS = (
    "slope_along",
    "slope_across",
    "keep_out",
    "contents",
    "ever_held",
    "is_dangerous_goods",
    "licensed_person",
)


def wishes_from_mapping(mapping: Mapping[str, Any]) -> Wishes:
    """Read wishes from the fields of a form or a JSON object; what is left out has its default.

    Numbers may come as text, with a decimal comma too; an empty text is left out.  Slopes
    are per cent or degrees as text.  ``keep_out`` is a list of zones.

    Raises `InputError` for a field that is misspelt or wrong.

    >>> wishes = wishes_from_mapping({"slope_along": "4%", "headroom_mm": "350,5", "depth_mm": ""})
    >>> wishes.slope.along, wishes.headroom_mm, wishes.depth_mm
    (0.04, 350.5, None)
    >>> wishes_from_mapping({"headrom_mm": 350})
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: headrom_mm: no such field, did you mean headroom_mm?
    """
    known = (*_NUMBERS, *_OTHERS)
    for name in mapping:
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"wanted {', '.join(known)}"
            raise InputError(said("no such field, {hint}", hint=hint), field=name)
    given = {name: value for name, value in mapping.items() if value not in ("", None)}
    numbers = {name: number(name, given[name]) for name in _NUMBERS if name in given}
    slope = Slope()
    return Wishes(
        slope=Slope(
            _slope(given, "slope_along", slope.along), _slope(given, "slope_across", slope.across)
        ),
        zones=tuple(keep_out_from_mapping(each) for each in _objects(given, "keep_out")),
        circumstances=Circumstances(
            _text(given, "contents", Circumstances().contents),
            tuple(_texts(given, "ever_held")),
            _flag(given, "is_dangerous_goods"),
            _text(given, "licensed_person", ""),
        ),
        **numbers,
    )


def _slope(given: Mapping[str, Any], name: str, default: float) -> float:
    if name not in given:
        return default
    value = given[name]
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise InputError(
            said("{value!r} is not a slope, wanted for example 5%", value=value), field=name
        )
    return slope_of_text(str(value), name)


def _text(given: Mapping[str, Any], name: str, default: str) -> str:
    value = given.get(name, default)
    if not isinstance(value, str):
        raise InputError(said("must be text, found {value!r}", value=value), field=name)
    return value


def _flag(given: Mapping[str, Any], name: str) -> bool:
    value = given.get(name, False)
    if not isinstance(value, bool):
        raise InputError(said("must be true or false, found {value!r}", value=value), field=name)
    return value


def _list(given: Mapping[str, Any], name: str) -> Sequence[Any]:
    value = given.get(name, ())
    if isinstance(value, str) or not isinstance(value, Sequence):
        raise InputError(said("must be a list, found {value!r}", value=value), field=name)
    return value


def _objects(given: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    found = list(_list(given, name))
    for each in found:
        if not isinstance(each, Mapping):
            raise InputError(
                said("must hold objects with a name and corners_mm, found {each!r}", each=each),
                field=name,
            )
    return found


def _texts(given: Mapping[str, Any], name: str) -> list[str]:
    found = list(_list(given, name))
    for each in found:
        if not isinstance(each, str):
            raise InputError(said("must be a list of texts, found {each!r}", each=each), field=name)
    return found
