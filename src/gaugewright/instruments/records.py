"""Records at the other end: the settings that all ways share, and where secrets live.

A secret is never a setting.  An address or a header may name one in braces,
``Authorization: Bearer {GAUGEWRIGHT_SECRET_DEPOT}``, and it is taken from the environment of
this program when it is used.  Only names that begin with `SECRETS` are looked up, so that
no setting from outside can read anything else.
"""

import os
import re
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import Sample, Signal
from gaugewright.instruments.settings import SourceSettings

SECRETS: Final = "GAUGEWRIGHT_SECRET_"
_NAMED: Final = re.compile(r"\{([^{}]*)\}")
_TOLD_KEPT: Final = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsSettings(SourceSettings):
    """What every way to records has.

    ``value_path`` and ``time_path`` are JSONPath queries into one record.
    """

    source_id: str = "records"
    counts_min: float = -1e9
    counts_max: float = 1e9
    silent_after_s: float = 300.0
    frozen_after_s: float = 86_400.0
    value_path: str = "$"
    time_path: str = ""
    records_path: str = ""

    @property
    def place(self) -> str:
        """Where the records come from, without anything secret."""
        return self.describe()

    @property
    def are_polls(self) -> bool:
        """Whether a record is what stood there when it was asked for."""
        return False


def secret_names(text: str) -> tuple[str, ...]:
    """Return the names of the secrets that a text asks for.

    >>> secret_names("Bearer {GAUGEWRIGHT_SECRET_DEPOT}")
    ('GAUGEWRIGHT_SECRET_DEPOT',)
    """
    return tuple(_NAMED.findall(text))


def require_no_secret(text: str, field: str) -> None:
    """Refuse names of secrets that are none of ours, and what looks like a secret itself."""
    for name in secret_names(text):
        if not re.fullmatch(SECRETS + r"[A-Z0-9_]{1,60}", name):
            raise InputError(
                f"{{{name[:60]}}} is no name of a secret; it must begin with {SECRETS}", field=field
            )


def with_secrets(text: str, field: str, environment: Mapping[str, str] | None = None) -> str:
    """Return a text with its secrets put in, from the environment of this program.

    >>> with_secrets("k={GAUGEWRIGHT_SECRET_A}", "url", {"GAUGEWRIGHT_SECRET_A": "x"})
    'k=x'
    """
    known = os.environ if environment is None else environment
    require_no_secret(text, field)
    for name in secret_names(text):
        if not known.get(name):
            raise SourceError(
                f"{field} asks for {name}, which is not in the environment of this program; set it "
                "there and start again"
            )
    return _NAMED.sub(lambda found: known[found[1]], text)


class Once:
    """Lets each record pass once, by its own time and value."""

    def __init__(self) -> None:
        self._told: set[tuple[object, float]] = set()
        self._order: deque[tuple[object, float]] = deque()

    def new(self, signals: Sequence[Signal]) -> list[Signal]:
        """Return what was not there before; records without a time of their own all pass."""
        fresh: list[Signal] = []
        for signal in signals:
            if not isinstance(signal, Sample) or signal.device_at is None:
                fresh.append(signal)
                continue
            key = (signal.device_at, signal.counts)
            if key in self._told:
                continue
            self._told.add(key)
            self._order.append(key)
            if len(self._order) > _TOLD_KEPT:
                self._told.discard(self._order.popleft())
            fresh.append(signal)
        return fresh
