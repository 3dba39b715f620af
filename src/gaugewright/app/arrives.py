"""Before leaving: gather readings at the probe and records at the other end, and judge them."""

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gaugewright.app.handover_values import ArrivalStatus
from gaugewright.app.instruments import SettingAsked, as_asked, read_live, settings_asked
from gaugewright.app.proving import journal_table
from gaugewright.app.recipes import AS_IT_IS, chosen_recipe, setting_of
from gaugewright.app.yard import NotThereError, Stamp, Yard
from gaugewright.errors import InputError, SourceError, SourceTimeoutError, StateError
from gaugewright.instruments.events import Reading, Trouble
from gaugewright.instruments.reader import ReaderThread
from gaugewright.instruments.records import RecordsSettings
from gaugewright.instruments.records_catalog import WAYS, records_settings_of, records_source_of
from gaugewright.journal.book import Recorded
from gaugewright.journal.handover_kinds import ArrivalChecked, ArrivalItem
from gaugewright.journal.state import TankState
from gaugewright.pours.arrives.series import Check, Far, Near, Off
from gaugewright.pours.arrives.verdict import Arrival, Item, judge
from gaugewright.table.handover import ScaleMap, Zeroed, scale_map, zeroed
from gaugewright.table.recipe import OUR_FULL_SCALE, Recipe
from gaugewright.table.table import Table
from gaugewright.units import from_litres, to_litres

LOOK_EVERY_S: Final = 0.1
"""How often the live reading is taken down. [s]"""
MOST_READINGS, MOST_RECORDS = 200_000, 50_000
"""A check that runs on keeps the newest: above five hours of readings."""
LONGEST_S: Final = 4 * 3600.0
"""A check that nobody ends stops asking after this. [s]"""
JUDGE_EVERY_S: Final = 2.0
"""A verdict takes a tenth of a second; it is made again no sooner than this. [s]"""

Floats = npt.NDArray[np.float64]
Values = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is checked: what the records show, and what was promised."""

    shows: str = "counts"
    """``counts``: the probe's figure on the recipe's scale; ``fuel``: volume by the table."""
    hz: float | None = None
    every_s: float | None = None
    is_off_wanted: bool = True

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        if self.shows not in ("counts", "fuel"):
            raise InputError(f"must be counts or fuel, found {self.shows!r}", field="shows")
        for name in ("hz", "every_s"):
            value = getattr(self, name)
            if value is not None and not 0 < value < 1e5:
                raise InputError(f"must be above 0, found {value:g}", field=name)


@dataclass(frozen=True, slots=True)
class Expected:
    """How a reading should look at the other end."""

    values: Values
    full_scale: float
    unit: str
    least_step: float


def expected_of(
    table: Table | None, recipe: Recipe, mapped: ScaleMap, zero: Zeroed, shows: str
) -> Expected:
    """Return how counts should look at the other end, by the recipe and the table.

    >>> plain = expected_of(None, AS_IT_IS, ScaleMap(1.0, 0.0), Zeroed(0.0, 0.0), "counts")
    >>> plain.values(np.array([7.0])).tolist(), plain.full_scale
    ([7.0], 4095.0)
    """
    if shows == "counts":
        top = float(mapped.theirs(OUR_FULL_SCALE[1]))
        if recipe.scale == "full_scale":
            top = recipe.scale_high
        step = 10.0**-recipe.counts_decimals
        unit = {"mm": "mm", "same": "counts", "full_scale": "of their scale"}[recipe.scale]
        return Expected(mapped.theirs, top, unit, step)
    if table is None:
        raise InputError("needs a table: fuel is told by it", field="shows")
    known = table

    def fuel(counts: Floats) -> Floats:
        litres = np.interp(counts, known.counts, known.litres) - zero.below_l
        shown: Floats = np.maximum(litres, 0.0) / to_litres(1.0, recipe.volume_unit)
        return shown

    top = from_litres(float(known.litres[-1]), recipe.volume_unit)
    return Expected(fuel, top, recipe.volume_unit, 10.0**-recipe.decimals)


def expected_for(tank: TankState, shows: str) -> Expected:
    """Return how a tank's readings should look at the other end."""
    recipe = chosen_recipe(tank) or AS_IT_IS
    table = None if tank.table is None else journal_table(tank)[0]
    setting = setting_of(tank)
    mapped = scale_map(recipe, setting.probe)
    zero = Zeroed(0.0, 0.0)
    if shows == "fuel" and table is not None:
        zero = zeroed(table, recipe, setting)
    return expected_of(table, recipe, mapped, zero, shows)


class ArrivalCheck:
    """Gathers until it is stopped.  Safe between threads."""

    def __init__(
        self, yard: Yard, job: str, tank_id: str, settings: RecordsSettings, wanted: Wanted
    ) -> None:
        self.settings, self.wanted = settings, wanted
        self.begun = yard.now()
        self._yard, self._job, self._tank_id = yard, job, tank_id
        self._expected = expected_for(yard.tank(job, tank_id)[1], wanted.shows)
        self._others = {
            name: expected_for(tank, "counts")
            for name, tank in yard.state(job).tanks.items()
            if name != tank_id and tank.removed is None and wanted.shows == "counts"
        }
        self._begun_s = time.monotonic()
        self._near: deque[tuple[float, float]] = deque(maxlen=MOST_READINGS)
        self._near_others: dict[str, deque[tuple[float, float]]] = {
            name: deque(maxlen=MOST_READINGS) for name in self._others
        }
        self._far: deque[tuple[float, float, float | None]] = deque(maxlen=MOST_RECORDS)
        self._off: list[list[float | None]] = []
        self._trouble = ""
        self._lock = threading.Lock()
        self._closing = threading.Event()
        self._judged: tuple[float, Arrival | None] = (-1e9, None)
        self._reader = ReaderThread(records_source_of(settings))
        self._heard = self._reader.subscribe()
        self._reader.start()
        self._threads = [
            threading.Thread(target=self._look, name=f"arrives {tank_id}", daemon=True),
            threading.Thread(target=self._hear, name=f"records {tank_id}", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def switch(self, *, is_off: bool) -> None:
        """Say that the ignition was switched off or on just now."""
        now_s = self._now_s()
        with self._lock:
            if is_off and (not self._off or self._off[-1][1] is not None):
                self._off.append([now_s, None])
            elif not is_off and self._off and self._off[-1][1] is None:
                self._off[-1][1] = now_s

    def status(self) -> ArrivalStatus:
        """Return how it stands, the verdict with it."""
        now_s = self._now_s()
        judged_s, arrival = self._judged
        if now_s - judged_s >= JUDGE_EVERY_S or arrival is None:
            arrival = judge(self.gathered())
            self._judged = (now_s, arrival)
        with self._lock:
            last_far = self._far[-1] if self._far else None
            return ArrivalStatus(
                not self._closing.is_set(),
                round(now_s, 1),
                len(self._near),
                len(self._far),
                self._near[-1][1] if self._near else None,
                None if last_far is None else last_far[1],
                self._expected.unit,
                None if last_far is None else round(now_s - last_far[0], 1),
                self._trouble,
                bool(self._off) and self._off[-1][1] is None,
                self.settings.place,
                arrival.is_safe,
                arrival.sentence,
                tuple(plain_item(item) for item in arrival.items),
            )

    def gathered(self) -> Check:
        """Return all that was gathered so far."""
        now_s = self._now_s()
        with self._lock:
            near, far = list(self._near), list(self._far)
            others = {name: list(found) for name, found in self._near_others.items()}
            off = [Off(float(a or 0.0), now_s if b is None else b) for a, b in self._off]
        stamps = [stamp for _, _, stamp in far]
        are_stamped = bool(far) and None not in stamps
        return Check(
            near=_near_of(near, self._expected),
            far=Far(
                np.array([seen for seen, _, _ in far]),
                np.array([value for _, value, _ in far]),
                np.array(stamps, dtype=np.float64) if are_stamped else None,
                are_polls=self.settings.are_polls,
            ),
            until_s=now_s,
            off=tuple(off),
            others={
                name: _near_of(found, self._others[name])
                for name, found in others.items()
                if len(found) > 1
            },
            full_scale=self._expected.full_scale,
            unit=self._expected.unit,
            least_step=self._expected.least_step,
            hz=self.wanted.hz,
            every_s=self.wanted.every_s,
            is_off_wanted=self.wanted.is_off_wanted,
        )

    def close(self) -> None:
        """Gather no more.  Safe to call twice."""
        self._closing.set()
        try:
            self._reader.close()
        except SourceError as error:
            self._trouble = str(error)
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join(5.0)

    def _now_s(self) -> float:
        return time.monotonic() - self._begun_s

    def _look(self) -> None:
        """Take down live readings, each once."""
        seen: dict[str, datetime | None] = {}
        while not self._closing.wait(LOOK_EVERY_S):
            if self._now_s() > LONGEST_S:
                self._trouble = f"ended by itself after {LONGEST_S / 3600:.0f} h"
                self.close()
            for live in self._yard.desk.of_job(self._job):
                shown = live.snapshot()
                if shown.counts is None or seen.get(live.tank_id) == shown.at:
                    continue
                seen[live.tank_id] = shown.at
                at_s = self._now_s() - (shown.age_s or 0.0)
                with self._lock:
                    if live.tank_id == self._tank_id:
                        _put(self._near, at_s, shown.counts)
                    elif live.tank_id in self._near_others:
                        _put(self._near_others[live.tank_id], at_s, shown.counts)

    def _hear(self) -> None:
        while not self._closing.is_set():
            try:
                event = self._heard.get(0.5)
            except SourceTimeoutError:
                continue
            except SourceError as error:
                if not self._closing.is_set():
                    self._trouble = str(error)
                return
            with self._lock:
                if isinstance(event, Trouble):
                    self._trouble = event.message
                    continue
                self._trouble = ""
                self._far.append(_record(event, self._begun_s, self.begun))


def _put(kept: deque[tuple[float, float]], at_s: float, counts: float) -> None:
    if not kept or at_s > kept[-1][0]:
        kept.append((at_s, counts))


def _record(event: Reading, begun_s: float, begun: datetime) -> tuple[float, float, float | None]:
    """Return when a record was seen, its figure and its own time, from the beginning on. [s]"""
    stamp = None if event.device_at is None else (event.device_at - begun).total_seconds()
    return event.monotonic_s - begun_s, event.counts, stamp


def _near_of(found: list[tuple[float, float]], expected: Expected) -> Near:
    times, counts = np.array([t for t, _ in found]), np.array([c for _, c in found])
    return Near(times, expected.values(counts))


def begin_check(
    yard: Yard, job: str, tank_id: str, mapping: Mapping[str, Any], wanted: Wanted
) -> ArrivalCheck:
    """Begin to gather; a check of this tank that runs is ended.

    Raises `InputError` for settings that cannot be, `SourceError` if the records cannot be
    reached.  Nothing is recorded.
    """
    yard.tank(job, tank_id)
    settings = records_settings_of(as_asked(mapping, WAYS.get(str(mapping.get("kind")))))
    read_live(yard, job, tank_id)
    check = ArrivalCheck(yard, job, tank_id, settings, wanted)
    yard.arrivals.put(job, tank_id, check)
    return check


def running_check(yard: Yard, job: str, tank_id: str) -> ArrivalCheck:
    """Return the check of a tank, `NotThereError` if none was begun."""
    yard.tank(job, tank_id)
    check = yard.arrivals.get(job, tank_id)
    if check is None:
        raise NotThereError(f"no check of tank {tank_id} was begun")
    return check


def record_check(yard: Yard, job: str, stamp: Stamp, tank_id: str) -> Recorded:
    """Record the verdict of the check that runs, and end it."""
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    check = running_check(yard, job, tank_id)
    _, tank = yard.tank(job, tank_id)
    if not len(check.gathered().near.times_s):
        raise StateError("no reading of the probe has come: there is nothing to judge yet")
    gathered = check.gathered()
    event = event_of(
        tank_id,
        judge(gathered),
        gathered,
        begun=check.begun,
        source=check.settings.place,
        settings=kept_settings(check.settings),
        digest=tank.table.event.digest if check.wanted.shows == "fuel" and tank.table else None,
    )
    recorded = yard.record(job, stamp, event)
    yard.arrivals.put(job, tank_id, None)
    return recorded


def kept_settings(settings: RecordsSettings) -> dict[str, Any]:
    """Return what an entry keeps of the settings: names in place of secrets, no path."""
    mapping = dict(settings.to_mapping())
    mapping.pop("path", None)
    return mapping


def event_of(
    tank_id: str,
    arrival: Arrival,
    gathered: Check,
    *,
    begun: datetime,
    source: str,
    settings: Mapping[str, Any],
    digest: str | None = None,
) -> ArrivalChecked:
    """Return the journal's entry of a verdict."""
    items = tuple(
        ArrivalItem(
            i.kind, i.state, i.message, _rounded(i.value), _rounded(i.low), _rounded(i.high), i.unit
        )
        for i in arrival.items
    )
    return ArrivalChecked(
        tank_id,
        arrival.is_safe,
        arrival.sentence,
        items,
        begun.astimezone(UTC).isoformat(timespec="seconds"),
        round(gathered.near.duration_s, 1),
        len(gathered.near.times_s),
        len(gathered.far.values),
        source,
        dict(settings),
        digest,
    )


def plain_item(item: Item) -> dict[str, Any]:
    """Return one thing that was looked at, for the screen."""
    kept = asdict(item)
    return kept | {name: _rounded(kept[name]) for name in ("value", "low", "high")}


def ways_offered() -> list[tuple[str, list[SettingAsked]]]:
    """Return every way to records that a person can set, and what it must be told.

    >>> [kind for kind, _ in ways_offered()]
    ['records_http', 'records_mqtt', 'records_file']
    """
    usual = ("records_http", "records_mqtt", "records_file")
    return [(kind, settings_asked(WAYS[kind])) for kind in usual]


def _rounded(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), 6)
