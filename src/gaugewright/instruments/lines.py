r"""Bytes to whole lines: a pure splitter that says what is half, endless or garbage."""

import re

from gaugewright.errors import FrameError
from gaugewright.instruments.events import Fault, Sample, Signal, TroubleKind
from gaugewright.instruments.pattern import Matcher
from gaugewright.words import said

LINE_LIMIT = 256
"""Bytes in a line; more without a line end is not text."""

_LINE_END = re.compile(rb"[\r\n]+")


class LineReader:
    r"""Collects bytes and gives a signal for each line.

    The first line after connecting is not used: nobody knows whether its beginning
    was missed, and the tail of ``counts=2512`` reads as a good ``512``.

    >>> from gaugewright.instruments.pattern import compile_pattern
    >>> lines = LineReader(compile_pattern("counts={counts}"))
    >>> [type(s).__name__ for s in lines.feed(b"12\ncounts=7\ncou", 0.0)]
    ['Fault', 'Sample']
    >>> lines.feed(b"nts=8\n", 0.1)[0].counts
    8.0
    """

    def __init__(self, matcher: Matcher, half_line_after_s: float = 1.0) -> None:
        self._matcher = matcher
        self._half_line_after_s = half_line_after_s
        self._pending = b""
        self._pending_since_s = 0.0
        self._is_first = True
        self._is_overlong = False
        self.last_lines: tuple[str, ...] = ()
        """The last lines as text, for the pattern tester."""

    def feed(self, data: bytes, now_s: float) -> list[Signal]:
        """Take bytes that came at ``now_s`` and return what they complete."""
        signals: list[Signal] = []
        if data and not self._pending:
            self._pending_since_s = now_s
        self._pending += data
        *whole, rest = _LINE_END.split(self._pending)
        for line in whole:
            signals += self._line(line)
        if whole:
            self._pending_since_s = now_s
        self._pending = rest
        signals += self._overlong() if len(rest) > LINE_LIMIT else []
        if self._pending and now_s - self._pending_since_s >= self._half_line_after_s:
            signals += self.end(said("the line stopped in the middle"))
        return signals

    def end(self, why: str) -> list[Signal]:
        """Give up what is pending."""
        pending, self._pending = self._pending, b""
        was_overlong, self._is_overlong = self._is_overlong, False
        if not pending or was_overlong:
            return []
        # What is left of this line may still come: it has lost its beginning.
        self._is_first = True
        return [
            Fault(
                TroubleKind.HALF_LINE,
                said("{why}: {pending}", why=why, pending=_shown(pending)),
                pending,
            )
        ]

    def _overlong(self) -> list[Signal]:
        pending, self._pending = self._pending, b""
        already, self._is_overlong = self._is_overlong, True
        if already:
            return []
        message = said(
            "more than {line_limit} bytes without a line end: {pending}",
            line_limit=LINE_LIMIT,
            pending=_shown(pending),
        )
        return [Fault(TroubleKind.GARBAGE, message, pending)]

    def _line(self, raw: bytes) -> list[Signal]:
        if self._is_overlong:
            self._is_overlong = False
            self._is_first = False
            return []
        is_first, self._is_first = self._is_first, False
        if not raw.strip():
            return []
        if is_first:
            message = said(
                "joined in the middle, the first line is not used: {raw}", raw=_shown(raw)
            )
            return [Fault(TroubleKind.HALF_LINE, message, raw)]
        if len(raw) > LINE_LIMIT:
            message = said(
                "a line of {number} bytes, at most {line_limit} are read: {raw}",
                number=len(raw),
                line_limit=LINE_LIMIT,
                raw=_shown(raw),
            )
            return [Fault(TroubleKind.GARBAGE, message, raw)]
        return [self._decode(raw)]

    def _decode(self, raw: bytes) -> Signal:
        try:
            text = raw.decode("ascii")
        except UnicodeDecodeError:
            return Fault(TroubleKind.GARBAGE, said("not text: {raw}", raw=_shown(raw)), raw)
        self.last_lines = (*self.last_lines[-19:], text)
        try:
            found = self._matcher.find(text)
        except FrameError as error:
            return Fault(
                TroubleKind.GARBAGE, said("{error}: {raw}", error=error, raw=_shown(raw)), raw
            )
        if found is None:
            return Fault(
                TroubleKind.GARBAGE, said("does not fit the pattern: {raw}", raw=_shown(raw)), raw
            )
        return Sample(found.counts, found.temperature_c, raw)


def _shown(raw: bytes) -> str:
    r"""Return at most 40 bytes in a form that can be read.

    >>> _shown(b"a\x00b")
    "'a\\x00b'"
    """
    text = repr(raw[:40])[1:]
    return text if len(raw) <= 40 else text + " …"
