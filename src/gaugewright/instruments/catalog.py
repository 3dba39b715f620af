"""Every kind of source by its name, for settings that are kept in a job book."""

from collections.abc import Callable, Mapping
from typing import Any

from gaugewright.errors import InputError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock
from gaugewright.instruments.j1939 import J1939Settings, J1939Source
from gaugewright.instruments.manual import ManualSettings, ManualSource
from gaugewright.instruments.modbus import (
    ModbusRtuSettings,
    ModbusRtuSource,
    ModbusTcpSettings,
    ModbusTcpSource,
)
from gaugewright.instruments.replay import ReplaySettings, ReplaySource
from gaugewright.instruments.serial_text import SerialTextSettings, SerialTextSource
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said

_SOURCES: dict[type[SourceSettings], Callable[[Any, Clock], Source[Any]]] = {
    SerialTextSettings: SerialTextSource,
    ModbusTcpSettings: ModbusTcpSource,
    ModbusRtuSettings: ModbusRtuSource,
    J1939Settings: J1939Source,
    ReplaySettings: ReplaySource,
    ManualSettings: ManualSource,
}

KINDS: dict[str, type[SourceSettings]] = {settings.kind: settings for settings in _SOURCES}
"""The settings of each kind, by the kind's name.

The rig is not among them: it lives in this process and is given a source directly.
"""


def settings_of(mapping: Mapping[str, object]) -> SourceSettings:
    """Return the settings that `SourceSettings.to_mapping` gave.

    Raises `InputError` for an unknown kind, an unknown name or a wrong value.

    >>> settings_of({"kind": "manual", "counts_max": 1023})
    ManualSettings(source_id='probe', counts_min=0.0, counts_max=1023.0, silent_after_s=3600.0, \
frozen_after_s=3600.0, retry_first_s=0.2, retry_most_s=5.0)
    """
    kind = mapping.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise InputError(
            said("must be one of {kinds}, found {kind!r}", kinds=", ".join(KINDS), kind=kind),
            field="kind",
        )
    return KINDS[kind].from_mapping(mapping)


def source_of(settings: SourceSettings, clock: Clock = SYSTEM_CLOCK) -> Source[Any]:
    """Return the source for the settings, not yet open.

    >>> source_of(ManualSettings()).is_open
    False
    """
    return _SOURCES[type(settings)](settings, clock)
