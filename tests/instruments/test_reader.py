"""The reader thread, its queues, and what time alone can show."""

import threading
import time
import tracemalloc
from datetime import UTC, datetime, timedelta

import pytest

from gaugewright.errors import SourceError, SourceTimeoutError
from gaugewright.instruments.events import Clock, Reading, Sample, TroubleKind
from gaugewright.instruments.reader import ReaderState, ReaderThread, RingBuffer
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source


class Scripted(Source[SourceSettings]):
    """Plays a list of batches; an exception in it is raised, None ends it."""

    def __init__(self, script, settings=None, clock=None):
        super().__init__(settings or SourceSettings(), *([clock] if clock else []))
        self.script = iter(script)
        self.connections = 0

    def _connect(self):
        self.connections += 1

    def _receive(self, timeout_s):
        step = next(self.script, None)
        if isinstance(step, Exception):
            raise step
        if callable(step):
            return step()
        return step

    def _disconnect(self):
        self.connections -= 1


def sample(counts):
    return Sample(counts, None, b"")


def wait_for(condition):
    end_s = time.monotonic() + 60
    while not condition() and time.monotonic() < end_s:
        time.sleep(0.005)
    assert condition()


def test_every_listener_gets_every_event():
    reader = ReaderThread(Scripted([[sample(n)] for n in range(5)]))
    one, two = reader.subscribe(), reader.subscribe()
    with reader:
        assert [e.counts for e in one.events(1)] == list(range(5))
        assert [e.counts for e in two.events(1)] == list(range(5))


def test_a_slow_listener_loses_the_oldest_and_is_told_how_many():
    reader = ReaderThread(Scripted([[sample(n)] for n in range(100)]))
    slow = reader.subscribe(10)
    with reader:
        wait_for(lambda: reader.state is ReaderState.ENDED)
        assert [e.counts for e in slow.events(1)] == list(range(90, 100))
        assert slow.missed == 90


def test_a_lossless_listener_holds_the_reader_up_and_misses_nothing():
    reader = ReaderThread(Scripted([[sample(n) for n in range(100)]] * 20))
    events = reader.subscribe(10, is_lossless=True)
    with reader:
        assert [e.counts for e in events.events(1)] == list(range(100)) * 20
        assert events.missed == 0


def test_a_reader_held_up_by_a_lossless_listener_can_be_closed():
    reader = ReaderThread(Scripted([[sample(n)] for n in range(1000)]))
    events = reader.subscribe(10, is_lossless=True)
    with reader:
        wait_for(lambda: len(events.ring.items()) == 10)
    assert reader.state is ReaderState.CLOSED


def test_a_dead_reader_is_seen_by_its_state_and_by_everyone_who_listens():
    reader = ReaderThread(Scripted([[sample(1)], RuntimeError("a bug")]))
    events = reader.subscribe()
    with reader:
        assert events.get(1).counts == 1
        with pytest.raises(SourceError, match="died: RuntimeError: a bug"):
            events.get(1)
        assert reader.state is ReaderState.DEAD
        with pytest.raises(SourceError, match="died"):
            reader.subscribe().get(1)
    assert reader.state is ReaderState.DEAD


def test_the_state_follows_what_happens():
    gate = threading.Event()
    settings = SourceSettings(silent_after_s=0.05, retry_first_s=0.01)
    silence = [lambda: time.sleep(0.02) or []] * 5
    script = [[sample(1)], *silence, SourceError("cable"), lambda: gate.wait(5) and []]
    reader = ReaderThread(Scripted(script, settings))
    events = reader.subscribe()
    assert reader.state is ReaderState.IDLE
    with reader:
        kinds = [getattr(events.get(2), "kind", "reading") for _ in range(4)]
        assert kinds == ["reading", "silent", "disconnected", "reconnected"]
        assert reader.state is ReaderState.WAITING
        gate.set()
    assert reader.state is ReaderState.CLOSED


def test_closing_stops_the_thread_and_then_the_port():
    source = Scripted([lambda: time.sleep(0.01) or [sample(1)]] * 100_000)
    reader = ReaderThread(source).start()
    assert source.connections == 1
    reader.close()
    reader.close()
    assert source.connections == 0
    assert not any(t.name == "reader probe" for t in threading.enumerate())


def test_a_thread_that_does_not_stop_is_an_error_and_the_port_stays_its_own():
    gate = threading.Event()
    source = Scripted([lambda: gate.wait(10) and []])
    reader = ReaderThread(source).start()
    with pytest.raises(SourceError, match="did not stop within"):
        reader.close(timeout_s=0.05)
    assert source.connections == 1
    gate.set()
    reader.close()
    assert source.connections == 0


def test_waiting_for_nothing_is_a_timeout_and_not_none():
    reader = ReaderThread(Scripted([lambda: time.sleep(0.01) or []] * 1000))
    events = reader.subscribe()
    with reader, pytest.raises(SourceTimeoutError, match=r"nothing came within 0\.05 s"):
        events.get(0.05)


def test_a_cancelled_listener_gets_an_end():
    reader = ReaderThread(Scripted([lambda: time.sleep(0.01) or []] * 1000))
    events = reader.subscribe()
    with reader:
        events.cancel()
        assert list(events.events(1)) == []


@pytest.mark.parametrize(("jump_s", "said"), [(3600, "forward by 3600.0 s"), (-60, "back by 60.")])
def test_a_wall_clock_that_jumps_is_shown_and_durations_stay(jump_s, said):
    now = [0.0, 0.0]
    clock = Clock(
        lambda: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=now[1]), lambda: now[0]
    )

    def tick(wall_s):
        def step():
            now[0] += 1
            now[1] += wall_s
            return [sample(now[0])]

        return step

    with Scripted([tick(1), tick(1 + jump_s), tick(1), tick(1.5)], clock=clock) as source:
        events = list(source.readings())
    jumps = [e for e in events if not isinstance(e, Reading)]
    assert [j.kind for j in jumps] == [TroubleKind.CLOCK_JUMP]
    assert said in jumps[0].message
    assert [e.monotonic_s for e in events if isinstance(e, Reading)] == [1, 2, 3, 4]


def test_attempts_to_reconnect_wait_longer_each_time(monkeypatch):
    settings = SourceSettings(retry_first_s=0.1, retry_most_s=0.5)
    source = Scripted([SourceError("cable"), [sample(1)]], settings).open()
    waits, fails = [], [SourceError("no port")] * 4 + [None]

    def connect():
        if (error := fails.pop(0)) is not None:
            raise error

    monkeypatch.setattr(source, "_connect", connect)
    monkeypatch.setattr(source._stop, "wait", lambda s: waits.append(s))  # noqa: SLF001
    events = list(source.readings())
    assert waits == [0.1, 0.2, 0.4, 0.5, 0.5]
    assert "after 5 attempts" in events[1].message


def test_fifty_thousand_readings_pass_with_flat_memory():
    batch = [sample(float(n % 7)) for n in range(500)]
    reader = ReaderThread(Scripted([batch] * 100), size=256)
    events = reader.subscribe()
    tracemalloc.start()
    try:
        with reader:
            wait_for(lambda: reader.state is ReaderState.ENDED)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert events.missed == 50_000 - 256
    assert peak < 500_000


def test_a_ring_holds_at_least_one():
    with pytest.raises(ValueError, match="at least 1"):
        RingBuffer(0)
