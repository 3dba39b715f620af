"""Tank files, TOML or JSON: the tank and, where it is described, its probe."""

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from gaugewright.app.files import naming_file, read_text, shown_name
from gaugewright.errors import InputError
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.tank.description import Tank, tank_from_mapping
from gaugewright.words import said


@dataclass(frozen=True, slots=True)
class TankFile:
    """What a tank file describes."""

    name: str
    """What messages call the file."""
    tank: Tank
    probe: Probe | None
    """``None`` if the file has no probe."""


def read_tank_file(path: str, text: str | None = None) -> TankFile:
    """Return the tank and the probe of a tank file, ``-`` for standard input.

    A ``mesh_file`` in it is looked for beside the tank file.  Raises `InputError` with
    the file, and the line where the form is wrong or the field where a value is.  ``text``
    is what stands in it, where that was read already.
    """
    text = read_text(path) if text is None else text
    folder = Path() if path == "-" else Path(path).parent
    with naming_file(path):
        mapping = parse_tank_text(text, is_json=_is_json(path, text))
        has_probe = any(field == "probe" or field.startswith("probe.") for field in mapping)
        try:
            tank = tank_from_mapping(mapping, folder=folder)
            probe = probe_from_mapping(mapping) if has_probe else None
        except OverflowError:  # a whole number of hundreds of digits
            raise InputError(said("a number in it is too large")) from None
    return TankFile(shown_name(path), tank, probe)


def parse_tank_text(text: str, *, is_json: bool, what: str = "a tank") -> Mapping[str, Any]:
    r"""Return the fields of a tank file, or of another described thing, as they are written.

    >>> parse_tank_text('shape = "box"\nprobe.x_mm = 300', is_json=False)
    {'shape': 'box', 'probe': {'x_mm': 300}}
    >>> parse_tank_text('length_mm = 45,5', is_json=False)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: line 1: 'length_mm = 45,5' is not TOML; a decimal comma must ...
    """
    if not text.strip():
        raise InputError(said("is empty, wanted {what}'s description", what=what))
    try:
        mapping = _parse_json(text) if is_json else tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _toml_error(str(error), text) from None
    except json.JSONDecodeError as error:
        raise InputError(
            said("is not JSON: {lower}", lower=error.msg.lower()), line=error.lineno
        ) from None
    except InputError:
        raise
    except RecursionError:
        raise InputError(said("is nested too deeply for {what}'s description", what=what)) from None
    except ValueError as error:  # a whole number of thousands of digits
        raise InputError(said("cannot be read: {error}", error=error)) from None
    if not isinstance(mapping, dict):
        raise InputError(said("must be one object with {what}'s fields", what=what))
    return mapping


def _is_json(path: str, text: str) -> bool:
    suffix = Path(path).suffix.lower()
    if suffix in (".json", ".toml"):
        return suffix == ".json"
    return text.lstrip().startswith("{")


def _parse_json(text: str) -> Any:
    return json.loads(text, object_pairs_hook=_no_doubles, parse_constant=_no_constant)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise InputError(said("is given twice"), field=name)
        found[name] = value
    return found


def _no_constant(name: str) -> NoReturn:
    raise InputError(said("{name} is not a finite number", name=name))


def _toml_error(message: str, text: str) -> InputError:
    place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
    problem = message[: place.start()] if place else message
    lines = text.splitlines()
    line = int(place[1]) if place and place[1] else len(lines)
    written = lines[line - 1].strip()[:60] if 0 < line <= len(lines) else ""
    comma = re.match(r"[\w.\-]+\s*=\s*([+-]?\d+,\d+)\s*(?:#.*)?$", written)
    if comma:
        hint = f'a decimal comma must be a point or stand in quotes: "{comma[1]}"'
    else:
        hint = problem[:1].lower() + problem[1:]
    return InputError(f"'{written}' is not TOML; {hint}" if written else hint, line=line)
