"""Live readings: one thread listens to each instrument, screens look at what it heard last.

Nothing here is tied to a browser: a phone that sleeps takes nothing away, and a screen
that looks again sees the newest reading with its age, never an old one as if it were new.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from gaugewright.app.live_values import Heard, LiveNote, LiveReading, LiveTrouble
from gaugewright.app.scales import Scale
from gaugewright.errors import SourceError, SourceTimeoutError
from gaugewright.instruments.catalog import source_of
from gaugewright.instruments.events import Event, Reading, Trouble, TroubleKind
from gaugewright.instruments.reader import ReaderState, ReaderThread, Subscription
from gaugewright.instruments.settings import SourceSettings
from gaugewright.instruments.source import Source
from gaugewright.words import said

if TYPE_CHECKING:
    from gaugewright.pours.steady import Steadiness, SteadySettings

JUDGE_EVERY_S = 0.2
"""How often steadiness is judged: it takes some milliseconds. [s]"""
TROUBLE_SHOWN_S = 10.0
"""How long a trouble stays on the screen after readings have come back. [s]"""
STEADY = "steady"
"""The verdict of a reading that may be recorded."""
RAW_SHOWN = 20
"""Lines that are kept to be looked at, as they came."""
_LINE_GONE = (TroubleKind.SILENT, TroubleKind.DISCONNECTED, TroubleKind.RECONNECTED)

Open = Callable[[SourceSettings], Source[Any]]


class LiveInstrument:
    """Listens to one instrument until it is closed, coming back by itself."""

    def __init__(
        self,
        tank_id: str,
        settings: SourceSettings,
        scale: Scale | None = None,
        *,
        open_source: Open = source_of,
        steady: "SteadySettings | None" = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        from gaugewright.pours.steady import DEFAULTS, SteadyWatch  # its numerics load slowly

        self.tank_id = tank_id
        self.settings = settings
        self.scale = scale
        self._open = open_source
        self._monotonic_s = monotonic_s
        self._watch = SteadyWatch(steady or DEFAULTS)
        self._lock = threading.Lock()
        self._closing = threading.Event()
        self._seq = 0
        self._state = ReaderState.WAITING
        self._reading: Reading | None = None
        self._trouble: Trouble | None = None
        self._complaint: tuple[str, str, float] | None = None
        self._steadiness: Steadiness | None = None
        self._judged_s = 0.0
        self._raw: deque[bytes] = deque(maxlen=RAW_SHOWN)
        self._thread = threading.Thread(target=self._run, name=f"live {tank_id}", daemon=True)
        self._thread.start()

    def snapshot(self) -> LiveReading:
        """Return what there is to show now."""
        now_s = self._monotonic_s()
        with self._lock:
            reading, steadiness, state = self._reading, self._steadiness, self._state
            age_s = None if reading is None else max(now_s - reading.monotonic_s, 0.0)
            is_live = self._is_live(age_s)
            trouble = self._shown_trouble(now_s, is_live=is_live)
            seq = self._seq
        at = None if not is_live or self.scale is None else self._in_litres(reading)
        if not is_live and state in (ReaderState.LIVE, ReaderState.TROUBLED):
            state = ReaderState.SILENT if reading is not None else ReaderState.WAITING
        shown = steadiness if is_live else None
        noise = None if shown is None else shown.noise_sd_counts
        return LiveReading(
            tank_id=self.tank_id,
            seq=seq,
            is_live=is_live,
            state=str(state),
            age_s=None if age_s is None else round(age_s, 2),
            counts=reading.counts if is_live and reading else None,
            last_counts=None if reading is None else reading.counts,
            litres=None if at is None else at[0],
            u95_l=None if at is None else at[1],
            litres_from=None if at is None or self.scale is None else self.scale.comes_from,
            verdict=None if shown is None else str(shown.verdict),
            reason=shown.reason if shown else _why_not_live(state, age_s),
            seconds_more=None if shown is None else shown.seconds_more,
            mean_counts=None if shown is None else shown.mean_counts,
            noise_counts=noise,
            noise_l=None if at is None or noise is None else noise * abs(at[2]),
            notes=()
            if shown is None
            else tuple(LiveNote(str(note.kind), note.message) for note in shown.notes),
            trouble=trouble,
            at=None if reading is None else reading.at,
            source=self.settings.describe(),
            temperature_c=reading.temperature_c if is_live and reading else None,
        )

    def heard(self) -> Heard | None:
        """Return the reading to record now; ``None`` if none is live."""
        with self._lock:
            reading = self._reading
            age_s = None if reading is None else self._monotonic_s() - reading.monotonic_s
            if reading is None or not self._is_live(age_s):
                return None
            steadiness = self._watch.judge()
            is_steady = str(steadiness.verdict) == STEADY
            mean = steadiness.mean_counts if is_steady else None
            return Heard(
                counts=reading.counts if mean is None else round(mean, 2),
                counts_sd=steadiness.noise_sd_counts,
                is_steady=is_steady,
                steadiness=steadiness.reason,
                duration_s=self._watch.settings.window_s if is_steady else None,
                temperature_c=reading.temperature_c,
                source=self.settings.describe(),
            )

    def last_lines(self) -> tuple[str, ...]:
        """Return what came last, as it came, wrong lines too; the newest at the end."""
        with self._lock:
            raw = tuple(self._raw)
        return tuple(each.decode("utf-8", "backslashreplace").strip() for each in raw)

    def close(self) -> None:
        """Stop listening and release the line.  Safe to call twice."""
        self._closing.set()
        self._thread.join(10.0)

    # --- the listening thread ------------------------------------------------------

    def _run(self) -> None:
        wait_s = self.settings.retry_first_s
        while not self._closing.is_set():
            try:
                source = self._open(self.settings)
                reader = ReaderThread(source)
                subscription = reader.subscribe()
                reader.start()
            except SourceError as error:
                plain = error.problem if error.details else self._not_open()
                self._complain(ReaderState.DISCONNECTED, plain, str(error))
                self._closing.wait(wait_s)
                wait_s = min(2 * wait_s, self.settings.retry_most_s)
                continue
            wait_s = self.settings.retry_first_s
            try:
                self._listen(reader, subscription)
            except Exception as error:  # noqa: BLE001 - shown, and the line is opened anew
                self._complain(ReaderState.DEAD, f"{type(error).__name__}: {error}")
                self._release(reader)
            else:
                self._release(reader)
                if reader.error is None:
                    break
                self._complain(ReaderState.DEAD, str(reader.why_ended()))
            self._closing.wait(self.settings.retry_most_s)
        with self._lock:
            self._seq += 1
            self._state = ReaderState.CLOSED if self._closing.is_set() else ReaderState.ENDED

    def _listen(self, reader: ReaderThread, subscription: Subscription) -> None:
        while not self._closing.is_set():
            try:
                event = subscription.get(0.25)
            except SourceTimeoutError:
                continue
            except SourceError:
                return  # `reader.error` says why
            self._take(event, reader.state)

    def _release(self, reader: ReaderThread) -> None:
        try:
            reader.close()
        except SourceError as error:
            self._complain(ReaderState.DEAD, str(error))

    def _take(self, event: Event, state: ReaderState) -> None:
        with self._lock:
            self._seq += 1
            self._state = state
            if event.raw:
                self._raw.append(event.raw)
            if isinstance(event, Trouble):
                self._trouble = event
                if event.kind in _LINE_GONE:
                    self._watch.restart()
                    self._steadiness = None
                return
            self._reading = event
            self._complaint = None
            self._watch.add(event.monotonic_s, event.counts)
            if event.monotonic_s - self._judged_s >= JUDGE_EVERY_S or self._steadiness is None:
                self._judged_s = event.monotonic_s
                self._steadiness = self._watch.judge()

    def _not_open(self) -> str:
        return said(
            "the line to {name} cannot be opened, trying again", name=self.settings.source_id
        )

    def _complain(self, state: ReaderState, message: str, details: str = "") -> None:
        with self._lock:
            self._seq += 1
            self._state = state
            self._complaint = (message, details, self._monotonic_s())
            self._watch.restart()
            self._steadiness = None

    # --- what is shown ---------------------------------------------------------------

    def _is_live(self, age_s: float | None) -> bool:
        return (
            age_s is not None
            and age_s <= self.settings.silent_after_s
            and self._state in (ReaderState.LIVE, ReaderState.TROUBLED)
        )

    def _shown_trouble(self, now_s: float, *, is_live: bool) -> LiveTrouble | None:
        if self._complaint is not None:
            message, details, since_s = self._complaint
            return LiveTrouble("disconnected", message, round(now_s - since_s, 1), details)
        trouble = self._trouble
        if trouble is None:
            return None
        age_s = now_s - trouble.monotonic_s
        if is_live and age_s > TROUBLE_SHOWN_S:
            return None
        message, details = _in_short(trouble)
        return LiveTrouble(str(trouble.kind), message, round(age_s, 1), details)

    def _in_litres(self, reading: Reading | None) -> tuple[float, float | None, float] | None:
        if reading is None or self.scale is None:
            return None
        return self.scale.at(reading.counts)


def _in_short(trouble: Trouble) -> tuple[str, str]:
    """Return a trouble by the instrument's name alone, and what was said of its settings."""
    name = trouble.source_id
    match trouble.kind:
        case TroubleKind.DISCONNECTED:
            short = said("the line to {name} is gone, trying again", name=name)
            return short, trouble.message
        case TroubleKind.SILENT:
            return said("nothing comes from {name}", name=name), trouble.message
    return trouble.message, ""


def _why_not_live(state: ReaderState, age_s: float | None) -> str:
    if age_s is None:
        return said("nothing has come yet")
    return said("no reading for {age_s:.0f} s", age_s=age_s)
