"""A thread that owns a source, and the bounded queues in which it delivers."""

import threading
from collections import deque
from collections.abc import Callable, Iterator
from enum import StrEnum
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from gaugewright.errors import SourceError, SourceTimeoutError
from gaugewright.instruments.events import Event, Reading, Trouble, TroubleKind
from gaugewright.instruments.source import POLL_S, Source

T = TypeVar("T")


class RingBuffer(Generic[T]):
    """The last items put in; when it is full the oldest goes and is counted.

    >>> ring = RingBuffer[int](3)
    >>> for n in range(5):
    ...     ring.put(n)
    >>> ring.items(), ring.dropped
    ((2, 3, 4), 2)
    """

    def __init__(self, size: int) -> None:
        if size < 1:
            raise ValueError(f"a ring buffer holds at least 1 item, not {size}")
        self._items: deque[T] = deque(maxlen=size)
        self._changed = threading.Condition()
        self._is_ended = False
        self.dropped = 0

    def put(self, item: T) -> None:
        """Add an item; never blocks."""
        with self._changed:
            self._add(item)

    def put_waiting(self, item: T, gives_up: Callable[[], bool]) -> None:
        """Add an item once there is room, or at once when nobody wants to wait any more."""
        with self._changed:
            while len(self._items) == self._items.maxlen and not self._is_ended:
                if gives_up():
                    break
                self._changed.wait(POLL_S)
            self._add(item)

    def _add(self, item: T) -> None:
        if len(self._items) == self._items.maxlen:
            self.dropped += 1
        self._items.append(item)
        self._changed.notify_all()

    def end(self) -> None:
        """Say that nothing more will come; wakes everybody who waits."""
        with self._changed:
            self._is_ended = True
            self._changed.notify_all()

    def take(self, timeout_s: float) -> T:
        """Remove and return the oldest item.

        Raises `SourceTimeoutError` if none comes in time, `EOFError` if the buffer
        has ended and is empty.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._items or self._is_ended, timeout_s)
            if self._items:
                if len(self._items) == self._items.maxlen:
                    self._changed.notify_all()
                return self._items.popleft()
            if self._is_ended:
                raise EOFError("nothing more comes")
            raise SourceTimeoutError(f"nothing came within {timeout_s:g} s")

    def items(self) -> tuple[T, ...]:
        """Return what is in the buffer, oldest first, and leave it there."""
        with self._changed:
            return tuple(self._items)


class ReaderState(StrEnum):
    """How the reader is, in one word."""

    IDLE = "idle"
    """Not started."""
    WAITING = "waiting"
    """Connected; nothing has come yet."""
    LIVE = "live"
    TROUBLED = "troubled"
    """Something comes, but the last of it was not a reading."""
    SILENT = "silent"
    DISCONNECTED = "disconnected"
    ENDED = "ended"
    """The source has no more."""
    DEAD = "dead"
    """The reader failed; `ReaderThread.error` says why."""
    CLOSED = "closed"


class Subscription:
    """One listener's own bounded queue."""

    def __init__(self, reader: "ReaderThread", size: int, is_lossless: bool) -> None:
        self._reader = reader
        self.is_lossless = is_lossless
        self.ring: RingBuffer[Event] = RingBuffer(size)

    @property
    def missed(self) -> int:
        """Events that this listener was too slow for."""
        return self.ring.dropped

    def get(self, timeout_s: float) -> Event:
        """Return the next event.

        Raises `SourceTimeoutError` if none comes in time, `SourceError` if the
        reader has died or none will come any more.
        """
        try:
            return self.ring.take(timeout_s)
        except EOFError:
            raise self._reader.why_ended() from self._reader.error

    def events(self, timeout_s: float) -> Iterator[Event]:
        """Give events until the reader ends; errors as `get`, but an end just ends."""
        while True:
            try:
                yield self.ring.take(timeout_s)
            except EOFError:
                if self._reader.error is not None:
                    raise self._reader.why_ended() from self._reader.error
                return

    def cancel(self) -> None:
        """Stop listening."""
        self._reader.unsubscribe(self)


class ReaderThread:
    """Reads a source in a thread of its own and hands every event to all listeners.

    It owns the source: `start` opens it, `close` stops the thread, waits for it, then
    closes the port, in this order.
    """

    def __init__(self, source: Source[Any], *, size: int = 4096) -> None:
        self._source = source
        self._size = size
        self._lock = threading.Lock()
        self._subscriptions: tuple[Subscription, ...] = ()
        self._thread: threading.Thread | None = None
        self._closing = threading.Event()
        self._state = ReaderState.IDLE
        self.error: BaseException | None = None
        self.last_reading: Reading | None = None
        self.last_trouble: Trouble | None = None

    @property
    def state(self) -> ReaderState:
        """How the reader is now."""
        return self._state

    @property
    def settings_line(self) -> str:
        """The source's settings in one line."""
        return str(self._source.settings.describe())

    def start(self) -> Self:
        """Open the source and begin.  Raises `SourceError` if it cannot be opened."""
        if self._thread is not None:
            raise SourceError(f"the reader of {self.settings_line} was started before")
        self._source.open()
        self._state = ReaderState.WAITING
        name = f"reader {self._source.settings.source_id}"
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()
        return self

    def subscribe(self, size: int | None = None, *, is_lossless: bool = False) -> Subscription:
        """Return a new queue that gets every event from now on.

        A full queue loses its oldest events and counts them.  With ``is_lossless`` the
        reader waits for this listener instead: for recordings played faster than
        anybody can listen, never for a live line.
        """
        subscription = Subscription(self, size or self._size, is_lossless)
        with self._lock:
            self._subscriptions = (*self._subscriptions, subscription)
            if self._state in (ReaderState.ENDED, ReaderState.DEAD, ReaderState.CLOSED):
                subscription.ring.end()
        return subscription

    def unsubscribe(self, subscription: Subscription) -> None:
        """Give this queue nothing more."""
        with self._lock:
            self._subscriptions = tuple(s for s in self._subscriptions if s is not subscription)
        subscription.ring.end()

    def why_ended(self) -> SourceError:
        """Return the error that says why nothing more comes."""
        if self.error is not None:
            what = f"{type(self.error).__name__}: {self.error}"
            return SourceError(f"the reader of {self.settings_line} died: {what}")
        return SourceError(f"the reader of {self.settings_line} has {self._state}")

    def close(self, timeout_s: float = 5.0) -> None:
        """Stop, wait for the thread, release the port.  Safe to call twice."""
        self._closing.set()
        self._source.stop()
        if self._thread is not None:
            self._thread.join(timeout_s)
            if self._thread.is_alive():
                raise SourceError(
                    f"the reader of {self.settings_line} did not stop within {timeout_s:g} s"
                )
        self._source.close()
        self._finish(ReaderState.DEAD if self.error else ReaderState.CLOSED)

    def __enter__(self) -> Self:
        """Start."""
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()

    def _run(self) -> None:
        try:
            for event in self._source.readings():
                self._note(event)
                for subscription in self._subscriptions:
                    if subscription.is_lossless:
                        subscription.ring.put_waiting(event, self._closing.is_set)
                    else:
                        subscription.ring.put(event)
        except BaseException as error:  # noqa: BLE001 - kept and shown, see `why_ended`
            self.error = error
            self._finish(ReaderState.DEAD)
        else:
            self._finish(ReaderState.ENDED)

    def _note(self, event: Event) -> None:
        if isinstance(event, Reading):
            self.last_reading = event
            self._state = ReaderState.LIVE
            return
        self.last_trouble = event
        if event.kind is TroubleKind.SILENT:
            self._state = ReaderState.SILENT
        elif event.kind is TroubleKind.DISCONNECTED:
            self._state = ReaderState.DISCONNECTED
        elif event.kind is TroubleKind.RECONNECTED:
            self._state = ReaderState.WAITING
        elif event.kind not in (TroubleKind.CLOCK_JUMP, TroubleKind.FROZEN):
            self._state = ReaderState.TROUBLED

    def _finish(self, state: ReaderState) -> None:
        with self._lock:
            self._state = state
            subscriptions = self._subscriptions
        for subscription in subscriptions:
            subscription.ring.end()
