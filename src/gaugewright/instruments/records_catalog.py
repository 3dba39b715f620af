"""Every way to records at the other end, by its name."""

from collections.abc import Callable, Mapping
from typing import Any

from gaugewright.errors import InputError
from gaugewright.instruments.events import SYSTEM_CLOCK, Clock
from gaugewright.instruments.records import RecordsSettings
from gaugewright.instruments.records_file import RecordsFileSettings, RecordsFileSource
from gaugewright.instruments.records_http import RecordsHttpSettings, RecordsHttpSource
from gaugewright.instruments.records_mqtt import RecordsMqttSettings, RecordsMqttSource
from gaugewright.instruments.source import Source

_SOURCES: dict[type[RecordsSettings], Callable[[Any, Clock], Source[Any]]] = {
    RecordsFileSettings: RecordsFileSource,
    RecordsHttpSettings: RecordsHttpSource,
    RecordsMqttSettings: RecordsMqttSource,
}

WAYS: dict[str, type[RecordsSettings]] = {settings.kind: settings for settings in _SOURCES}
"""The settings of each way, by its name."""


def records_settings_of(mapping: Mapping[str, object]) -> RecordsSettings:
    """Return the settings that a mapping holds.

    >>> records_settings_of({"kind": "records_file", "path": "far.csv"}).place
    'the file far.csv'
    """
    kind = mapping.get("kind")
    if not isinstance(kind, str) or kind not in WAYS:
        raise InputError(f"must be one of {', '.join(WAYS)}, found {kind!r}", field="kind")
    return WAYS[kind].from_mapping(mapping)


def records_source_of(settings: RecordsSettings, clock: Clock = SYSTEM_CLOCK) -> Source[Any]:
    """Return the source of records, not yet open."""
    return _SOURCES[type(settings)](settings, clock)
