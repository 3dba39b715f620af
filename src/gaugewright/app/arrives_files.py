"""The check before leaving from files: two recordings, or a setup that is read for a while."""

import threading
import time
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, TextIO

import numpy as np

from gaugewright.app.arrives import Expected, Wanted, expected_of
from gaugewright.app.files import naming_file, read_text
from gaugewright.app.recipes import AS_IT_IS, read_recipe_file
from gaugewright.app.tank_file import read_tank_file
from gaugewright.errors import InputError, SourceError, SourceTimeoutError
from gaugewright.instruments.catalog import settings_of, source_of
from gaugewright.instruments.events import Reading
from gaugewright.instruments.reader import ReaderThread, Subscription
from gaugewright.instruments.records import RecordsSettings
from gaugewright.instruments.records_catalog import records_settings_of, records_source_of
from gaugewright.pours.arrives.series import Check, Far, Near, Off
from gaugewright.table.delimited import Row, Rows, read_rows, require_fields
from gaugewright.table.files import read_table
from gaugewright.table.handover import Setting, Zeroed, scale_map, zeroed

SECONDS: Final = 600.0
"""A check that is not told otherwise lasts so long. [s]"""


@dataclass(frozen=True, slots=True)
class Told:
    """Files that say how a reading should look at the other end."""

    table_file: str | None = None
    recipe_file: str | None = None
    tank_file: str | None = None
    drained_l: float | None = None


def expected_from(told: Told, shows: str) -> Expected:
    """Return how readings should look at the other end; every `InputError` names its file."""
    recipe = AS_IT_IS if told.recipe_file is None else read_recipe_file(told.recipe_file)
    probe = None if told.tank_file is None else read_tank_file(told.tank_file).probe
    table = None
    if told.table_file is not None:
        with naming_file(told.table_file):
            table = read_table(read_text(told.table_file))
    with naming_file(told.recipe_file or "the recipe"):
        setting = Setting(probe, told.drained_l)
        mapped = scale_map(recipe, probe)
        zero = zeroed(table, recipe, setting) if shows == "fuel" and table is not None else None
    return expected_of(table, recipe, mapped, zero or Zeroed(0.0, 0.0), shows)


def check_of_files(
    readings_file: str,
    records_file: str,
    expected: Expected,
    wanted: Wanted,
    off: Sequence[tuple[datetime, datetime]] = (),
) -> Check:
    """Return what two recordings hold.

    Readings: ``time,counts``.  Records: ``time,value`` and, where it is known when each was
    seen, ``seen``; without it a record counts as seen at its own time.  Times are ISO 8601
    with a zone.
    """
    near = _columns(readings_file, ["time", "counts"])
    far = _columns(records_file, ["time", "value"], optional=["seen"])
    begun = float(near["time"][0]) if len(near["time"]) else 0.0
    order = np.argsort(near["time"], kind="stable")
    times, first = np.unique(near["time"][order] - begun, return_index=True)
    counts = near["counts"][order][first]
    seen = far.get("seen")
    stamped = far["time"] - begun
    return Check(
        near=Near(times, expected.values(counts)),
        far=Far(
            stamped if seen is None else seen - begun,
            far["value"],
            None if seen is None else stamped,
        ),
        until_s=float(max([*times[-1:], *(stamped if seen is None else seen - begun)[-1:]] or [0])),
        off=tuple(Off(a.timestamp() - begun, b.timestamp() - begun) for a, b in off),
        full_scale=expected.full_scale,
        unit=expected.unit,
        least_step=expected.least_step,
        hz=wanted.hz,
        every_s=wanted.every_s,
        is_off_wanted=wanted.is_off_wanted,
    )


def _columns(
    path: str, required: list[str], optional: Iterable[str] = ()
) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    with naming_file(path):
        rows = read_rows(read_text(path), text_fields=("time", "seen", "note"))
        require_fields(rows, required=required, optional=optional)
        names = [*required, *(name for name in optional if name in rows.names)]
        found = {name: [_cell(rows, row, name) for row in rows.rows] for name in names}
    return {name: np.array(values, dtype=np.float64) for name, values in found.items()}


def _cell(rows: Rows, row: Row, name: str) -> float:
    if name not in ("time", "seen"):
        return rows.number(row, name)
    return iso_time(row.fields[name], field=name, line=row.line).timestamp()


def iso_time(text: str, *, field: str, line: int | None = None) -> datetime:
    """Return a time with its zone.

    >>> iso_time("2026-05-04T09:30:00Z", field="time").hour
    9
    """
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise InputError(
            f"'{text[:60]}' is no time; wanted ISO 8601 with a zone, such as 2026-05-04T09:30:00Z",
            field=field,
            line=line,
        )
    return at.astimezone(UTC)


@dataclass(frozen=True, slots=True)
class Setup:
    """What is read on both ends."""

    probe: Any
    records: RecordsSettings


def read_setup(path: str) -> Setup:
    """Return the setup of a TOML file with the tables ``probe`` and ``records``.

    Raises `InputError` naming the file and the field.
    """
    text = read_text(path)
    with naming_file(path):
        try:
            found = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"is not TOML: {error}") from None
        for name in ("probe", "records"):
            if not isinstance(found.get(name), dict):
                raise InputError("is missing: wanted a table of settings", field=name)
        unknown = sorted(set(found) - {"probe", "records"})
        if unknown:
            raise InputError("is not known; there are probe and records", field=unknown[0])
        return Setup(
            _of("probe", lambda: settings_of(found["probe"])),
            _of("records", lambda: records_settings_of(found["records"])),
        )


def _of(table: str, make: Callable[[], Any]) -> Any:
    try:
        return make()
    except InputError as error:
        raise InputError(error.problem, field=f"{table}.{error.field}") from None


class Watch:
    """Reads both ends for a while; ``off`` and ``on`` come as lines."""

    def __init__(self, setup: Setup, expected: Expected, wanted: Wanted) -> None:
        self._expected, self._wanted, self._setup = expected, wanted, setup
        self.begun = datetime.now(UTC)
        self._begun_s = time.monotonic()
        self._near: list[tuple[float, float]] = []
        self._far: list[tuple[float, float, float | None]] = []
        self._off: list[list[float | None]] = []
        self._ended = threading.Event()

    def run(self, seconds: float, orders: TextIO | None, tell: Callable[[str], None]) -> Check:
        """Gather for so long, or until it is told to end, and return what there is."""
        if orders is not None:
            threading.Thread(target=self._listen, args=(orders, tell), daemon=True).start()
        near = ReaderThread(source_of(self._setup.probe))
        far = ReaderThread(records_source_of(self._setup.records))
        near_heard, far_heard = near.subscribe(), far.subscribe()
        with near, far:
            until_s = self._begun_s + seconds
            while time.monotonic() < until_s and not self._ended.is_set():
                for event in _waiting(near_heard, 0.2):
                    if not self._near or event.monotonic_s - self._begun_s > self._near[-1][0]:
                        self._near.append((event.monotonic_s - self._begun_s, event.counts))
                for event in _waiting(far_heard, 0.0):
                    at = event.device_at
                    stamp = None if at is None else (at - self.begun).total_seconds()
                    self._far.append((event.monotonic_s - self._begun_s, event.counts, stamp))
        return self.gathered()

    def gathered(self) -> Check:
        """Return what was gathered so far."""
        now_s = time.monotonic() - self._begun_s
        stamps = [stamp for _, _, stamp in self._far]
        is_stamped = bool(stamps) and None not in stamps
        counts = np.array([c for _, c in self._near])
        return Check(
            near=Near(np.array([t for t, _ in self._near]), self._expected.values(counts)),
            far=Far(
                np.array([seen for seen, _, _ in self._far]),
                np.array([value for _, value, _ in self._far]),
                np.array(stamps, dtype=np.float64) if is_stamped else None,
                are_polls=self._setup.records.are_polls,
            ),
            until_s=now_s,
            off=tuple(Off(float(a or 0.0), now_s if b is None else b) for a, b in self._off),
            full_scale=self._expected.full_scale,
            unit=self._expected.unit,
            least_step=self._expected.least_step,
            hz=self._wanted.hz,
            every_s=self._wanted.every_s,
            is_off_wanted=self._wanted.is_off_wanted,
        )

    def _listen(self, orders: TextIO, tell: Callable[[str], None]) -> None:
        for line in orders:
            now_s = time.monotonic() - self._begun_s
            word = line.strip().lower()
            if word == "off" and (not self._off or self._off[-1][1] is not None):
                self._off.append([now_s, None])
                tell("ignition off")
            elif word == "on" and self._off and self._off[-1][1] is None:
                self._off[-1][1] = now_s
                tell("ignition on")
            elif word in ("end", "quit"):
                self._ended.set()
                return
            elif word:
                tell("orders are: off, on, end")


def _waiting(heard: Subscription, timeout_s: float) -> list[Reading]:
    """Return the readings that wait in a queue."""
    found: list[Reading] = []
    try:
        event = heard.get(timeout_s)
        while True:
            if isinstance(event, Reading):
                found.append(event)
            event = heard.get(0.0)
    except SourceTimeoutError:
        return found
    except SourceError:
        if found:
            return found
        # A recording that has ended gives no more; the other end goes on.
        time.sleep(timeout_s)
        return found
