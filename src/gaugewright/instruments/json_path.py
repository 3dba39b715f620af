"""One value out of a JSON document: the singular queries of RFC 9535 (JSONPath).

``$.vehicle['fuel level'][-1]``: names and places, no wildcards and no filters, so a query
means one value or none.
"""

import re
from typing import Any, Final

from gaugewright.errors import InputError

Step = str | int

_STEP: Final = re.compile(
    r"\.(?P<name>[^\W\d]\w*)"
    r"|\[\s*(?:(?P<place>-?(?:0|[1-9]\d*))"
    r"|'(?P<one>(?:[^'\\]|\\.)*)'"
    r'|"(?P<two>(?:[^"\\]|\\.)*)")\s*\]'
)
_LONGEST: Final = 500


class NotThere:
    """What stands for a value that the document does not have."""


NOT_THERE: Final = NotThere()


def parse_path(text: str, field: str = "path") -> tuple[Step, ...]:
    """Return the names and places of a query.

    >>> parse_path("$.data[0]['fuel level']")
    ('data', 0, 'fuel level')
    >>> parse_path("data.fuel")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: path: must begin with $, such as $.data[0].fuel, found \
'data.fuel'
    """
    plain = text.strip()
    if not plain.startswith("$"):
        raise InputError(
            f"must begin with $, such as $.data[0].fuel, found '{text[:60]}'", field=field
        )
    if len(plain) > _LONGEST:
        raise InputError(f"at most {_LONGEST} characters, found {len(plain)}", field=field)
    steps: list[Step] = []
    at = 1
    while at < len(plain):
        found = _STEP.match(plain, at)
        if found is None:
            raise InputError(
                f"cannot be read from '{plain[at : at + 20]}' on; wanted .name, ['name'] or [0]",
                field=field,
            )
        if found["place"] is not None:
            steps.append(int(found["place"]))
        elif found["name"] is not None:
            steps.append(found["name"])
        else:
            quoted = found["one"] if found["one"] is not None else found["two"]
            steps.append(re.sub(r"\\(['\"\\/])", r"\1", quoted))
        at = found.end()
    return tuple(steps)


def value_at(document: Any, steps: tuple[Step, ...]) -> Any:
    """Return the value that a query means, `NOT_THERE` if there is none.

    >>> value_at({"a": [1, {"b": 7}]}, parse_path("$.a[-1].b"))
    7
    """
    here = document
    for step in steps:
        if isinstance(step, int) and isinstance(here, list):
            if not -len(here) <= step < len(here):
                return NOT_THERE
            here = here[step]
        elif isinstance(step, str) and isinstance(here, dict) and step in here:
            here = here[step]
        else:
            return NOT_THERE
    return here
