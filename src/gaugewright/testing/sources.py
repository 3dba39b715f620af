"""What every source must keep to, as test classes that a driver's tests inherit.

Needs pytest.  A driver's test gives a `FarEnd`: the instrument at the other end of
the line, real or simulated, that can be told what to send.
"""

import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from gaugewright.errors import SourceError, SourceTimeoutError
from gaugewright.instruments.catalog import settings_of
from gaugewright.instruments.events import Event, Reading, Trouble, TroubleKind
from gaugewright.instruments.reader import ReaderThread, Subscription
from gaugewright.instruments.source import Source

PATIENCE_S = 5.0
"""How long a test waits for something that must happen. [s]"""


class FarEnd(ABC):
    """The instrument at the other end."""

    @abstractmethod
    def source(self, **settings: Any) -> Source[Any]:
        """Return a new source set up to listen to this far end."""

    @abstractmethod
    def send(self, counts: float) -> None:
        """Make a listener get this value soon, again and again or once."""

    @abstractmethod
    def close(self) -> None:
        """Take everything down."""


class Line(FarEnd):
    """A far end whose line can fail."""

    wrong_kind: TroubleKind
    """What `send_wrong` must be shown as."""

    @abstractmethod
    def send_wrong(self) -> None:
        """Send something that is not a value."""

    @abstractmethod
    def be_silent(self) -> None:
        """Send nothing until the next `send`."""

    @abstractmethod
    def cut(self) -> None:
        """Pull the cable."""

    @abstractmethod
    def restore(self) -> None:
        """Put the cable back."""


def first(events: Subscription, wanted: type[Reading] | TroubleKind | float) -> Event:
    """Return the first event of a kind, or the first reading of so many counts.

    Fails if it does not come in time or the stream ends.
    """
    seen: list[str] = []
    end_s = time.monotonic() + PATIENCE_S
    while (left_s := end_s - time.monotonic()) > 0:
        try:
            event = events.get(left_s)
        except SourceTimeoutError:
            break
        if isinstance(event, Reading):
            if wanted is Reading or event.counts == wanted:
                return event
            seen.append(f"{event.counts:g} counts")
        else:
            if event.kind is wanted:
                return event
            seen.append(f"{event.kind}: {event.message}")
    raise AssertionError(f"{wanted} did not come within {PATIENCE_S:g} s; came: {seen[-8:]}")


@contextmanager
def listening(source: Source[Any]) -> Iterator[Subscription]:
    """Open the source, read it in a thread of its own and give what comes."""
    reader = ReaderThread(source)
    events = reader.subscribe()
    with reader:
        yield events


class SourceContract:
    """What holds for every source.  A subclass gives the fixture ``far``."""

    def test_reading_a_source_that_is_not_open_is_an_error(self, far: FarEnd) -> None:
        with pytest.raises(SourceError, match="not open"):
            next(far.source().readings())

    def test_a_value_arrives_with_its_times_and_its_bytes(self, far: FarEnd) -> None:
        before_s = time.monotonic()
        source = far.source()
        with listening(source) as events:
            far.send(40)
            reading = first(events, 40.0)
        assert isinstance(reading, Reading)
        assert reading.source_id == source.settings.source_id
        assert reading.at.tzinfo is UTC
        assert abs(datetime.now(UTC) - reading.at) < timedelta(seconds=PATIENCE_S)
        assert before_s <= reading.monotonic_s <= time.monotonic()
        assert reading.raw != b""

    def test_opening_twice_is_an_error_and_closing_twice_is_not(self, far: FarEnd) -> None:
        source = far.source()
        source.open()
        with pytest.raises(SourceError, match="open already"):
            source.open()
        source.close()
        source.close()
        assert not source.is_open

    def test_the_port_is_free_after_closing(self, far: FarEnd) -> None:
        with far.source():
            pass
        with listening(far.source()) as events:
            far.send(41)
            assert first(events, 41.0)

    def test_stopping_from_another_thread_ends_the_stream(self, far: FarEnd) -> None:
        with far.source() as source:
            thread = threading.Thread(target=lambda: list(source.readings()))
            thread.start()
            source.stop()
            thread.join(PATIENCE_S)
            assert not thread.is_alive()

    def test_settings_come_back_from_the_mapping_they_are_kept_as(self, far: FarEnd) -> None:
        settings = far.source().settings
        assert settings_of(settings.to_mapping()) == settings


class LineContract(SourceContract):
    """What holds for every source at the end of a line.  ``far`` is a `Line`."""

    def test_a_value_outside_the_scale_is_shown_and_not_given(self, far: Line) -> None:
        with listening(far.source(counts_max=50.0)) as events:
            far.send(60)
            trouble = first(events, TroubleKind.OUT_OF_SCALE)
            assert isinstance(trouble, Trouble)
            assert "60 counts is outside the scale of 0 to 50 counts" in trouble.message
            far.send(42)
            assert first(events, 42.0)

    def test_silence_is_shown_and_ends_with_the_next_value(self, far: Line) -> None:
        with listening(far.source(silent_after_s=0.3)) as events:
            far.send(43)
            first(events, 43.0)
            far.be_silent()
            first(events, TroubleKind.SILENT)
            far.send(44)
            assert first(events, 44.0)

    def test_what_is_not_a_value_is_shown_with_its_bytes(self, far: Line) -> None:
        with listening(far.source()) as events:
            far.send(45)
            first(events, 45.0)
            far.send_wrong()
            trouble = first(events, far.wrong_kind)
            assert isinstance(trouble, Trouble)
            assert trouble.raw != b""
            far.send(46)
            assert first(events, 46.0)

    def test_a_value_that_never_flickers_is_shown_as_frozen(self, far: Line) -> None:
        with listening(far.source(frozen_after_s=0.2)) as events:
            far.send(47)
            first(events, 47.0)
            time.sleep(0.3)
            far.send(47)
            assert first(events, TroubleKind.FROZEN)

    def test_a_pulled_cable_is_shown_and_readings_go_on_when_it_is_back(self, far: Line) -> None:
        with listening(far.source(retry_first_s=0.05, retry_most_s=0.1)) as events:
            far.send(48)
            first(events, 48.0)
            far.cut()
            first(events, TroubleKind.DISCONNECTED)
            far.restore()
            first(events, TroubleKind.RECONNECTED)
            far.send(49)
            assert first(events, 49.0)

    def test_a_port_that_is_not_there_is_an_error_that_prints_the_settings(self, far: Line) -> None:
        source = far.source()
        far.close()
        with pytest.raises(SourceError, match=source.settings.kind):
            source.open()
