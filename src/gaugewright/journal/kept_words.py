r"""Sentences that are recorded in plain English and can still be said otherwise when shown.

Beside a recorded sentence stands what it was made of, its template and its figures, under
the same name with ``_said`` behind it.  A journal from elsewhere may hold anything there:
what is not exactly such a record is not said, and the recorded English stands.

>>> record = with_words(sentence=said("it hangs {by:.1f} mm lower", by=4.5))
>>> record["sentence"]
'it hangs 4.5 mm lower'
>>> from gaugewright.words import Speech
>>> Speech(lambda t: t.replace("it hangs", "hängt"), ",").all_of(heard(record))
{'sentence': 'hängt 4,5 mm lower'}
"""

import re
from collections.abc import Mapping
from string import Formatter
from typing import Any

from gaugewright.words import Length, Said, Volume, Written, is_written_volume, said

_SUFFIX = "_said"
_SPEC = re.compile(r"|g|\.\d[fg]")
_DEEPEST = 8


def with_words(**sentences: Said) -> dict[str, Any]:
    """Return sentences for the journal: plain English, and what each was made of."""
    plain = {name: str(text) for name, text in sentences.items()}
    return {**plain, **{f"{name}{_SUFFIX}": _kept(text) for name, text in sentences.items()}}


def kept(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a record for the journal with, beside each sentence, what it was made of.

    >>> list(kept({"step": 3, "message": said("it hangs lower"), "suggestion": None}))
    ['step', 'message', 'suggestion', 'message_said']
    """
    sentences = {name: text for name, text in record.items() if isinstance(text, Said)}
    return {**record, **with_words(**sentences)}


def heard(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a record from the journal with its sentences ready to be said."""
    return {
        name: sentence_of(record, name) if f"{name}{_SUFFIX}" in record else _inside(value)
        for name, value in record.items()
        if not name.endswith(_SUFFIX)
    }


def sentence_of(record: Mapping[str, Any], name: str, otherwise: str = "") -> str:
    """Return one sentence of a record, ready to be said; ``otherwise`` where it has none."""
    plain = str(record.get(name, otherwise))
    found = _said(record.get(f"{name}{_SUFFIX}"), _DEEPEST)
    return plain if found is None else found


def _inside(value: Any) -> Any:
    if isinstance(value, Mapping):
        return heard(value)
    if isinstance(value, list | tuple):
        return type(value)(_inside(each) for each in value)
    return value


def _kept(text: Said) -> dict[str, Any]:
    return {
        "template": text.template,
        "figures": {name: _kept_figure(value) for name, value in text.figures.items()},
    }


def _kept_figure(value: Any) -> Any:
    match value:
        case Said():
            return _kept(value)
        case Volume(litres):
            return {"litres": float(litres)}
        case Length(mm):
            return {"mm": float(mm)}
        case Written(text):
            return text
        case int() | str():
            return value
        case _:
            return float(value)


def _said(record: Any, deepest: int) -> Said | None:
    match record:
        case {"template": str(template), "figures": Mapping() as figures} if deepest:
            made = {name: _figure(value, deepest) for name, value in figures.items()}
        case _:
            return None
    if None in made.values() or not _is_plain(template, made):
        return None
    return said(template, **made)


def _figure(value: Any, deepest: int) -> Any:
    match value:
        case {"litres": int() | float() as litres}:
            return Volume(litres)
        case {"mm": int() | float() as mm}:
            return Length(mm)
        case Mapping():
            return _said(value, deepest - 1)
        case str() if is_written_volume(value):
            return Written(value)
        case int() | float() | str():
            return value
        case _:
            return None


def _is_plain(template: str, figures: Mapping[str, Any]) -> bool:
    """Tell whether a template asks for nothing but its own figures, plainly written."""
    try:
        parts = list(Formatter().parse(template))
    except ValueError:
        return False
    for _, name, spec, conversion in parts:
        if name is None:
            continue
        if name not in figures or conversion or not _SPEC.fullmatch(spec or ""):
            return False
        if spec and isinstance(figures[name], str | Written):
            return False
    return True
