"""What was told of logs: found again by the header, named where it is used, kept after success."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from gaugewright.app.log_columns import (
    SETTINGS,
    SPELLED,
    Columns,
    ColumnsMissingError,
    matched,
    remember,
    remembered,
)
from gaugewright.errors import InputError


@dataclass
class Memory:
    """What is told now, and what was told before of logs with the same header.

    ``places`` are the files that remember.  Nothing is written until `keep`, which is called
    when the whole run has succeeded.
    """

    told: Columns = field(default_factory=Columns)
    places: Sequence[Path] = ()
    lent: str = ""
    """What was remembered of the log that was asked for last, as it would be told."""
    _found: dict[tuple[str, ...], tuple[Columns, Path]] = field(default_factory=dict)
    _known: dict[tuple[str, ...], Columns] = field(default_factory=dict)
    _used: dict[tuple[str, ...], str] = field(default_factory=dict)
    _last: str = ""

    def matched(self, header: Sequence[str], *, file: str, has_vehicle: bool = False) -> Columns:
        """Return which column is which in a log with this header; see `log_columns.matched`."""
        self.lent = self._last = ""
        before, place = self._before(header)
        known = before | self.told
        columns = matched(header, known, file=file, has_vehicle=has_vehicle)
        self._known[tuple(header)] = replace(known, vehicle=None)
        self.lent = said_of(before, but=self.told)
        self._last = f"read with {self.lent}, as remembered in {place}" if self.lent else ""
        self._used[tuple(header)] = self._last
        return columns

    @property
    def used(self) -> list[str]:
        """Return a sentence for each file that remembered something of use."""
        return list(dict.fromkeys(said for said in self._used.values() if said))

    @property
    def zone(self) -> str | None:
        """Return the zone that was told, now or before, of times that have none."""
        zones = (known.zone for known in self._known.values())
        return self.told.zone or next((zone for zone in zones if zone), None)

    def _before(self, header: Sequence[str]) -> tuple[Columns, Path]:
        """Return what was told before, and where that stands; asked once for each header."""
        if tuple(header) not in self._found:
            each = ((remembered(header, [place]), place) for place in self.places)
            found = next((pair for pair in each if not pair[0].is_empty), (Columns(), Path()))
            self._found[tuple(header)] = found
        return self._found[tuple(header)]

    @contextmanager
    def naming(self) -> Iterator[None]:
        """Name the file that remembers in a refusal of a log that was read with its help."""
        try:
            yield
        except ColumnsMissingError:
            raise
        except InputError as error:
            if not self._last:
                raise
            raise InputError(
                f"{error.problem}; {self._last}",
                field=error.field, line=error.line, file=error.file,
            ) from None  # fmt: skip

    def keep(self) -> None:
        """Remember what was told now, for the next log with the same header."""
        if replace(self.told, vehicle=None).is_empty:
            return
        for header, known in self._known.items():
            if known != self._before(header)[0]:
                remember(header, known, self.places)


def said_of(columns: Columns, *, but: Columns) -> str:
    """Return what is told beyond what ``but`` tells, and beyond our own names.

    >>> said_of(Columns({"counts": "Fuel", "time": "time"}, zone="UTC"), but=Columns())
    'counts=Fuel, zone=UTC'
    """
    told = {
        ours: theirs
        for ours, theirs in columns.names.items()
        if ours not in but.names and ours != theirs
    }
    for name in SETTINGS:
        if (value := getattr(columns, name)) is not None and getattr(but, name) is None:
            told[name] = {mark: word for word, mark in SPELLED.items()}.get(value, value)
    return ", ".join(f"{name}={value}" for name, value in told.items())
