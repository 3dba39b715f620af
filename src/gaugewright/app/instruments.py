"""Which instrument reads which tank: settings in the journal, readings on the screen."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any, get_args, get_type_hints

from gaugewright.app.lists import INSTRUMENTS_FACT
from gaugewright.app.live import LiveInstrument
from gaugewright.app.live_values import Heard, LiveReading
from gaugewright.app.scales import scales_of
from gaugewright.app.yard import Stamp, UnsteadyError, Yard
from gaugewright.errors import InputError
from gaugewright.instruments.catalog import KINDS, settings_of
from gaugewright.instruments.pattern import Trial, try_pattern
from gaugewright.instruments.settings import Plain, SourceSettings
from gaugewright.journal.book import Recorded
from gaugewright.journal.kinds import FactsChanged
from gaugewright.journal.state import JobState
from gaugewright.table.delimited import number, whole_number
from gaugewright.words import said

TYPED_BY_HAND = "typed by hand"
NOT_OFFERED = ("replay", "manual")
TRIED_FOR_S = 2.0
"""How long settings are tried before it is said what they gave. [s]"""


@dataclass(frozen=True, slots=True)
class SettingAsked:
    """One setting of a kind of instrument."""

    name: str
    type: str
    default: Plain
    is_required: bool


@dataclass(frozen=True, slots=True)
class KindOffered:
    """A kind of instrument and what it must be told."""

    kind: str
    settings: tuple[SettingAsked, ...]


@dataclass(frozen=True, slots=True)
class Tried:
    """What an instrument gave when its settings were tried."""

    reading: LiveReading
    lines: tuple[str, ...]
    """The last lines as they came."""


def kinds_offered() -> tuple[KindOffered, ...]:
    """Return every kind of instrument that a person can set.

    A recording is not among them: it is a file, and no name of a file is taken from outside.
    Nor is typing by hand: typed counts are sent along with what they are recorded for.

    >>> [kind.kind for kind in kinds_offered()]
    ['serial_text', 'modbus_tcp', 'modbus_rtu', 'j1939']
    """
    return tuple(
        KindOffered(name, tuple(settings_asked(settings)))
        for name, settings in KINDS.items()
        if name not in NOT_OFFERED
    )


def set_instrument(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, mapping: Mapping[str, Plain]
) -> Recorded:
    """Record which instrument reads a tank, and read it from now on."""
    state, _ = yard.tank(job, tank_id)
    settings = _settings_of({**mapping, "source_id": mapping.get("source_id", tank_id)})
    known = dict(state.fact(INSTRUMENTS_FACT) or {})
    known[tank_id] = settings.to_mapping()
    recorded = yard.record(job, stamp, FactsChanged({INSTRUMENTS_FACT: known}))
    read_live(yard, job, tank_id)
    return recorded


def read_live(yard: Yard, job: str, tank_id: str) -> None:
    """See that a tank's instrument is read.  Raises `InputError` if none is set."""
    state = yard.state(job)
    settings = settings_for(state, tank_id)
    if settings is None:
        raise InputError(
            said(
                "no instrument is set for tank {tank_id}; set one or type the counts",
                tank_id=tank_id,
            ),
            field="counts",
        )
    yard.desk.start(job, tank_id, settings, scales_of(state).get(tank_id))


def settings_for(state: JobState, tank_id: str) -> SourceSettings | None:
    """Return the settings of a tank's instrument, ``None`` if none is set.

    Linked tanks are read by the instrument of the link, or of their first member.
    """
    known = state.fact(INSTRUMENTS_FACT) or {}
    tank = state.tanks.get(tank_id)
    for each in (tank_id, *(tank.members if tank else ())):
        if each in known:
            return _settings_of(known[each])
    return None


def start_all(yard: Yard, job: str) -> None:
    """Read every instrument of a job's standing tanks that was not stopped by hand."""
    state = yard.state(job)
    for tank in state.standing_tanks:
        is_stopped = yard.desk.is_stopped(job, tank.tank_id)
        if settings_for(state, tank.tank_id) is not None and not is_stopped:
            read_live(yard, job, tank.tank_id)


def heard(yard: Yard, job: str, tank_id: str, *, is_unsteady_kept: bool = False) -> Heard:
    """Return the steady reading of a tank's instrument, to be recorded.

    Raises `UnsteadyError`, saying why and for how long, if it may not be recorded now;
    with ``is_unsteady_kept`` an unsteady one is given, marked as such.
    """
    live = yard.desk.get(job, tank_id)
    if live is None:
        read_live(yard, job, tank_id)
        live = yard.desk.get(job, tank_id)
    found = None if live is None else live.heard()
    if found is None:
        why = "nothing is read" if live is None else live.snapshot().reason
        raise UnsteadyError(
            said("there is no live reading: {why}; wait for it or type the counts", why=why)
        )
    if not (found.is_steady or is_unsteady_kept):
        raise UnsteadyError(
            said("the reading is not steady: {steadiness}", steadiness=found.steadiness)
        )
    return found


def try_settings(
    yard: Yard, job: str, tank_id: str, mapping: Mapping[str, Plain], wait_s: float = TRIED_FOR_S
) -> Tried:
    """Read an instrument for a moment without recording anything, and say what came.

    Ends as soon as a reading has come.  The tank's own instrument is let go meanwhile, so
    that the line is free, and is read again afterwards.
    """
    yard.tank(job, tank_id)
    settings = _settings_of({**mapping, "source_id": mapping.get("source_id", tank_id)})
    had = yard.desk.get(job, tank_id)
    yard.desk.stop(job, tank_id)
    live = LiveInstrument(tank_id, settings, scales_of(yard.state(job)).get(tank_id))
    try:
        until_s = time.monotonic() + wait_s
        while not (shown := live.snapshot()).is_live and time.monotonic() < until_s:
            time.sleep(0.02)
        return Tried(shown, live.last_lines())
    finally:
        live.close()
        if had is not None:
            read_live(yard, job, tank_id)


def last_lines(yard: Yard, job: str, tank_id: str) -> tuple[str, ...]:
    """Return the last lines that came from a tank's instrument, as they came."""
    yard.tank(job, tank_id)
    live = yard.desk.get(job, tank_id)
    return () if live is None else live.last_lines()


def tried(pattern: str, lines: Sequence[str]) -> tuple[Trial, ...]:
    """Return what a pattern finds in the last lines of an instrument."""
    return try_pattern(pattern, lines)


def _settings_of(mapping: Mapping[str, Any]) -> SourceSettings:
    if mapping.get("kind") == "replay":
        mapping = {"kind": "replay: not offered here"}
    return settings_of(as_asked(mapping, KINDS.get(str(mapping.get("kind")))))


def as_asked(mapping: Mapping[str, Any], kind: type[SourceSettings] | None) -> dict[str, Any]:
    """Return settings with figures that came as text as the numbers that are asked for."""
    hints = {} if kind is None else get_type_hints(kind)
    return {name: _as_asked(name, value, hints.get(name)) for name, value in mapping.items()}


def _as_asked(name: str, value: Any, hint: Any) -> Any:
    """Return a figure that came as text, as a form sends it, as the number that is asked for.

    >>> _as_asked("timeout_s", "0,5", float), _as_asked("address", "", int | None)
    (0.5, None)
    """
    wanted = set(get_args(hint)) or {hint}
    if not isinstance(value, str) or str in wanted or hint is None:
        return value
    if not value.strip() and type(None) in wanted:
        return None
    if int in wanted or all(isinstance(each, int) for each in wanted):
        return whole_number(value, field=name)
    return number(value, field=name) if float in wanted else value


def settings_asked(settings: type[SourceSettings]) -> list[SettingAsked]:
    """Return what a kind of source must be told."""
    hints = get_type_hints(settings)
    asked = []
    for each in fields(settings):
        if each.name == "source_id":
            continue
        hint = hints[each.name]
        default = None if each.default is MISSING else each.default
        name = hint.__name__ if isinstance(hint, type) else str(hint).removeprefix("typing.")
        asked.append(SettingAsked(each.name, name, default, each.default is MISSING))
    return asked
