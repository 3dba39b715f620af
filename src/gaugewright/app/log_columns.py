"""Which column of a log is which: matched by name, told once, and remembered.

A log whose columns bear our names needs nothing.  For any other the person says once which
column is which; the answer is kept in a small TOML file beside the log, or in the home folder
where the log's folder cannot be written, and found again by the log's header.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from gaugewright.app.files import read_text, write_text
from gaugewright.errors import FileError, InputError
from gaugewright.table.delimited import tidy_name
from gaugewright.watch.values import COLUMNS as EXTRA_COLUMNS

NEEDED = ("vehicle", "time", "counts")
HELPFUL = ("speed_kmh", "ignition")
"""Columns without which the bands are wide."""
KNOWN = (*NEEDED, *HELPFUL, *EXTRA_COLUMNS)
SETTINGS = ("zone", "time_format", "separator", "decimal", "on", "off")
SPELLED = {"tab": "\t", "comma": ",", "semicolon": ";", "bar": "|", "space": " "}
"""Words for separators."""
REMEMBERED = "watch-columns.toml"
"""The file beside the log that remembers; in the home folder it is `HOME_REMEMBERED`."""
HOME_REMEMBERED = Path(".gaugewright") / REMEMBERED

ALSO_KNOWN = {"speed_km_h": "speed_kmh", "speed_kph": "speed_kmh", "speed": "speed_kmh"}
"""Other names that say the same; a speed without a unit is taken only to tell rest from motion."""

_SECOND_PROBE = re.compile(r"counts_[2-9]")
_HEAD = "# Which column of a log is which, as told to 'gaugewright watch'. It may be edited.\n"


@dataclass(frozen=True)
class Columns:
    """Our columns by the names that a log has for them, and what must be known to read it.

    ``names`` is ours → theirs; a time in two columns is ``"Date+Time"``.  ``vehicle`` is set
    where the log is of one vehicle and has no column for it.  ``zone`` is that of times which
    have none (``Europe/Berlin``), ``time_format`` as in ``%d.%m.%Y %H:%M:%S``; ``separator``
    and ``decimal`` (``comma`` or ``point``) are looked for in the file where not told.  ``on``
    and ``off`` are the log's own words for the ignition.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    vehicle: str | None = None
    zone: str | None = None
    time_format: str | None = None
    separator: str | None = None
    decimal: str | None = None
    on: str | None = None
    off: str | None = None

    def __or__(self, later: "Columns") -> "Columns":
        """Return both; what ``later`` says stands."""
        told = {name: getattr(later, name) for name in ("vehicle", *SETTINGS)}
        told = {name: value for name, value in told.items() if value is not None}
        return replace(self, names={**self.names, **later.names}, **told)

    @property
    def is_empty(self) -> bool:
        """Return whether nothing was told."""
        return self == Columns()


class ColumnsMissingError(InputError):
    """Needed columns are not in the log under our names; the person can say which they are."""

    def __init__(
        self, header: Sequence[str], missing: Sequence[str], *, file: str, found: Iterable[str] = ()
    ) -> None:
        self.header = tuple(header)
        self.missing = tuple(missing)
        self.found = frozenset(found)
        """Our columns that are known."""
        shown = ", ".join(header) if header else "none"
        super().__init__(
            f"which column is {' and which '.join(missing)}? found {shown}; say it once with "
            f"--columns {','.join(f'{name}=NAME' for name in missing)}"
            + (" (or --vehicle NAME for a log of one vehicle)" if "vehicle" in missing else "")
            + "; speed_kmh=NAME and ignition=NAME in the same way",
            file=file,
        )


def parse_columns(texts: Iterable[str]) -> Columns:
    """Return what ``--columns`` says: ours=theirs, separated by commas.

    >>> parse_columns(["counts=Fuel,time=Date+Time", "zone=Europe/Berlin"]).names["time"]
    'Date+Time'
    >>> parse_columns(["fuel=Fuel"])
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: --columns: 'fuel' is no column of a log; wanted vehicle, time, \
counts, speed_kmh, ignition, fuel_c, supply_v, pitch_deg, roll_deg, engine_fuel_l, counts_2 and \
so on, or zone, time_format, separator, decimal, on, off
    """
    told: dict[str, str] = {}
    for text in texts:
        # A comma parts two columns only where the next one is named: formats may hold commas.
        for item in re.split(r",(?=\s*\w+\s*=)", text):
            name, equals, value = item.partition("=")
            name, value = name.strip(), value.strip()
            if not equals or not name or not value:
                raise InputError(
                    f"found '{item}', wanted OURS=THEIRS such as counts=Fuel", field="--columns"
                )
            if name in told:
                raise InputError(f"'{name}' is given twice", field="--columns")
            told[name] = value
    return columns_from(told, field="--columns")


def columns_from(told: Mapping[str, object], *, field: str) -> Columns:
    """Return the columns that a mapping says, `InputError` for a name or value of no use."""
    names: dict[str, str] = {}
    others: dict[str, str] = {}
    for name, value in told.items():
        if not isinstance(value, str):
            raise InputError(f"{name} must be text, found {value!r}", field=field)
        if name in KNOWN or _SECOND_PROBE.fullmatch(name):
            names[name] = value
        elif name in SETTINGS:
            others[name] = value
        else:
            raise InputError(
                f"'{name}' is no column of a log; wanted {', '.join(KNOWN)}, counts_2 and so on, "
                f"or {', '.join(SETTINGS)}",
                field=field,
            )
    if others.get("decimal") not in (None, "comma", "point"):
        raise InputError(f"decimal is 'comma' or 'point', found '{others['decimal']}'", field=field)
    if "zone" in others:
        require_zone(others["zone"], field=field)
    if "separator" in others:
        others["separator"] = SPELLED.get(others["separator"], others["separator"])
        if len(others["separator"]) != 1:
            raise InputError("separator must be one character or its name", field=field)
    return Columns(names, **others)


def require_zone(zone: str, *, field: str) -> ZoneInfo:
    """Return a time zone by its name, `InputError` for one that there is not.

    >>> require_zone("Mars", field="--zone")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: --zone: there is no zone 'Mars'; wanted one like Europe/Oslo
    """
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"there is no zone '{zone}'; wanted one like Europe/Oslo", field=field
        ) from None


def matched(
    header: Sequence[str], told: Columns, *, file: str, has_vehicle: bool = False
) -> Columns:
    """Return the columns as they stand in a log with this header.

    What was told is taken; the rest is matched by name, without regard to case, spaces and
    brackets.  ``has_vehicle``: the vehicle is known from the folder's name.  Raises
    `ColumnsMissingError` for a needed column, `InputError` for a told one that is not there.
    """
    found = {tidy_name(name): name for name in reversed(header)}
    names = {}
    for ours, theirs in told.names.items():
        for part in [theirs] if theirs in header or ours != "time" else theirs.split("+"):
            if part not in header:
                raise InputError(
                    f"the log has no column '{part}'; found {', '.join(header)}",
                    field=ours, file=file,
                )  # fmt: skip
        names[ours] = theirs
    taken = set(names.values())
    for spelled, theirs in found.items():
        tidy = ALSO_KNOWN.get(spelled, spelled)
        known = tidy in KNOWN or _SECOND_PROBE.fullmatch(tidy)
        if known and tidy not in names and theirs not in taken:
            names[tidy] = theirs
    if told.vehicle is not None or has_vehicle:
        names.pop("vehicle", None)
    missing = [
        name
        for name in NEEDED
        if name not in names and not (name == "vehicle" and (told.vehicle or has_vehicle))
    ]
    if missing:
        raise ColumnsMissingError(header, missing, file=file, found=names)
    return replace(told, names=names)


def remembered(header: Sequence[str], places: Iterable[Path]) -> Columns:
    """Return what was told before about logs with this header, nothing if nothing was.

    ``places`` are the files to look in, the first that knows the header stands.
    """
    for place in places:
        for entry in _entries(place):
            if entry.get("header") == list(header):
                told = {name: value for name, value in entry.items() if name != "header"}
                return columns_from(told, field=str(place))
    return Columns()


def remember(header: Sequence[str], columns: Columns, places: Iterable[Path]) -> Path | None:
    """Keep what was told in the first of the files that can be written, and return it.

    The vehicle's own name is not kept: the next log is likely another's.
    """
    told: dict[str, object] = {"header": list(header), **columns.names}
    told |= {name: value for name in SETTINGS if (value := getattr(columns, name)) is not None}
    for place in places:
        try:
            entries = [entry for entry in _entries(place) if entry.get("header") != list(header)]
            if not place.parent.exists():
                place.parent.mkdir(parents=True)
            write_text(str(place), _HEAD + "".join(map(_as_toml, [*entries, told])))
        except OSError:  # FileError is one too: a folder without leave to write; try the next
            continue
        return place
    return None


def places_beside(log: str, home: Path | None = None) -> list[Path]:
    """Return the files that remember columns: beside the log, then in the home folder."""
    at_home = (Path.home() if home is None else home) / HOME_REMEMBERED
    if log == "-":
        return [at_home]
    path = Path(log)
    return [(path if path.is_dir() else path.parent) / REMEMBERED, at_home]


def _entries(place: Path) -> list[dict[str, object]]:
    if not place.is_file():
        return []
    try:
        logs = tomllib.loads(read_text(str(place))).get("log", [])
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML: {error}", file=str(place)) from None
    except FileError:
        raise
    if not isinstance(logs, list) or not all(isinstance(entry, dict) for entry in logs):
        raise InputError("wanted a list of [[log]]", file=str(place))
    return logs


def _as_toml(entry: Mapping[str, object]) -> str:
    lines = ["\n[[log]]"]
    for name, value in entry.items():
        shown = (
            "[" + ", ".join(_quoted(str(item)) for item in value) + "]"
            if isinstance(value, list)
            else _quoted(str(value))
        )
        lines.append(f"{name} = {shown}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
