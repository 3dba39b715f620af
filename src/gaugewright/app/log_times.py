"""Times as logs write them: counted seconds, ISO 8601, or days and clock of a place."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from gaugewright.app.log_columns import Columns
from gaugewright.errors import InputError
from gaugewright.watch.order import SET_BACK_S, TWICE_S

if TYPE_CHECKING:
    import pyarrow as pa

Floats = npt.NDArray[np.float64]
BadTime = tuple[int, str]
"""The place of a time that cannot be read, and what is wrong with it."""

_WHOLE = re.compile(r"\d{9,19}(?:\.\d+)?")
_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:?\d\d(?::?\d\d(?:[.,]\d+)?)?")
_ISO_ZONE = re.compile(r"(?:Z|[+-]\d\d(?::?\d\d)?)$", re.IGNORECASE)
_DATE = re.compile(
    r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})(T|\s+)\d{1,2}:\d\d(:\d\d)?(\s*[AaPp][Mm])?"
)


class Times:
    """Reads the times of one file; how they are written is settled by the first that are met."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self._per_s = 0.0
        self._parse: Callable[[pa.Array], Floats] | None = None
        self._wanted = ""

    def counted(self, counted: npt.NDArray[np.floating[Any]]) -> Floats:
        """Return seconds from seconds, milli-, micro- or nanoseconds since 1970.

        The size says which: from 1973 on they cannot be mistaken for each other before the
        year 5138.  [s]

        >>> Times(Columns()).counted(np.array([1.7e12, 1.7e12 + 10_000])).tolist()
        [1700000000.0, 1700000010.0]
        """
        if not self._per_s:
            here = np.abs(counted[np.isfinite(counted)])
            usual = float(np.median(here)) if here.size else 0.0
            self._per_s = (
                1e9 if usual >= 1e17 else 1e6 if usual >= 1e14 else 1e3 if usual >= 1e11 else 1.0
            )
        return np.asarray(counted, dtype=np.float64) / self._per_s

    def written(self, texts: "pa.Array") -> tuple[Floats, BadTime | None]:
        """Return the times in texts in seconds since 1970-01-01 UTC, and the first that is none.

        An empty text is no time (NaN), nor is an hour that a place's clock never showed; of one
        that it showed twice, see `watch.order.settled`.  The first text is to blame if the texts
        have no zone and none was told, or can be read in two ways.  [s]
        """
        import pyarrow as pa
        import pyarrow.compute as pc

        texts = pc.utf8_trim_whitespace(texts)
        texts = pc.if_else(pc.equal(texts, ""), pa.scalar(None, texts.type), texts)
        if self._parse is None:
            sample = pc.drop_null(texts).to_pylist()
            if not sample:
                return np.full(len(texts), np.nan), None
            try:
                self._settle(sample)
            except InputError as error:
                first: int = pc.index(pc.is_valid(texts), True).as_py()
                return np.empty(0), (first, error.problem)
        assert self._parse is not None
        return _by(self._parse, texts, self._wanted)

    def _settle(self, sample: list[str]) -> None:
        import pyarrow as pa
        import pyarrow.compute as pc

        form, first = self._columns.time_format, sample[0]
        if form is not None and _is_whole_iso(first) and not _fits(first, form):
            form = None  # says itself what it is, whatever another log of this header needed
        if form is None and _WHOLE.fullmatch(first):
            self._wanted = "seconds since 1970"
            self._parse = lambda part: self.counted(_seconds(part))
        elif form is None and _ISO.match(first):
            has_zone = _ISO_ZONE.search(first[10:]) is not None
            zone = "UTC" if has_zone else _zone(self._columns, first)
            kind = pa.timestamp("us", "UTC") if has_zone else pa.timestamp("us")
            self._wanted = "ISO 8601 " + (
                "with a zone, such as 2026-11-26T15:30:00Z"
                if has_zone
                else "without a zone, as the rows before"
            )
            self._parse = lambda part: _local(_to_microseconds(part).cast(kind), zone)
        else:
            form = form or _form(sample)
            zone = "UTC" if "%z" in form else _zone(self._columns, first)
            self._wanted = f"a time like {form}"
            self._parse = lambda part: _local(pc.strptime(part, format=form, unit="us"), zone)


def _is_whole_iso(text: str) -> bool:
    return _ISO.match(text) is not None and _ISO_ZONE.search(text[10:]) is not None


def _fits(text: str, form: str) -> bool:
    import pyarrow as pa
    import pyarrow.compute as pc

    try:
        pc.strptime(pa.array([text]), format=form, unit="us")
    except pa.ArrowInvalid:
        return False
    return True


def _to_microseconds(texts: "pa.Array") -> "pa.Array":
    """Return ISO 8601 texts with a decimal point and at most six digits after it."""
    import pyarrow.compute as pc

    points = pc.replace_substring(texts, ",", ".")
    return pc.replace_substring_regex(points, r"(\.\d{6})\d+", r"\1")


def _by(
    parse: Callable[["pa.Array"], Floats], texts: "pa.Array", wanted: str
) -> tuple[Floats, BadTime | None]:
    """Parse all at once; where that fails, find the text that is to blame by halving."""
    import pyarrow as pa

    try:
        return parse(texts), None
    except pa.ArrowInvalid:
        low, high = 0, len(texts)
        while high - low > 1:
            middle = (low + high) // 2
            try:
                parse(texts[low:middle])
            except pa.ArrowInvalid:
                high = middle
            else:
                low = middle
        return np.empty(0), (low, f"'{texts[low].as_py()}' is no time, wanted {wanted}")


def _seconds(texts: "pa.Array") -> Floats:
    import pyarrow as pa

    found: Floats = texts.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return found


def _stamps(stamps: "pa.Array") -> Floats:
    import pyarrow as pa

    whole: Floats = stamps.cast(pa.int64()).to_numpy(zero_copy_only=False) / 1e6
    return whole


def _local(stamps: "pa.Array", zone: str) -> Floats:
    """Return the seconds of a place's clock, NaN for an hour that it never showed.

    A time that it showed twice is the earlier moment plus `TWICE_S`.
    """
    import pyarrow.compute as pc

    if zone == "UTC":
        return _stamps(stamps)
    first = pc.assume_timezone(stamps, zone, ambiguous="earliest", nonexistent="earliest")
    last = pc.assume_timezone(stamps, zone, ambiguous="latest", nonexistent="latest")
    one, other = _stamps(first), _stamps(last)
    is_once = one == other
    if is_once.all():
        return one
    return np.where(is_once, one, np.where(other - one == SET_BACK_S, one + TWICE_S, np.nan))


def _zone(columns: Columns, example: str) -> str:
    if columns.zone is None:
        raise InputError(
            f"times such as '{example}' have no zone; say it with --zone Europe/Berlin (or UTC)",
        )
    return columns.zone


def _form(sample: list[str]) -> str:
    """Return the format of dates in figures, refused where day and month can be swapped."""
    parts = [found for text in sample if (found := _DATE.fullmatch(text))]
    if not parts:
        raise InputError(
            f"'{sample[0]}' is no time that is known; say how to read it with --time-format "
            "'%d.%m.%Y %H:%M:%S'"
        )
    first = parts[0]
    mark = first[2]
    clock = ("T" if first[5] == "T" else " ") + ("%I" if first[7] else "%H")
    clock += (":%M:%S" if first[6] else ":%M") + (" %p" if first[7] else "")
    if len(first[1]) == 4:
        date = mark.join(("%Y", "%m", "%d"))
    else:
        year = "%Y" if len(first[4]) == 4 else "%y"
        firsts = max(int(found[1]) for found in parts)
        seconds = max(int(found[3]) for found in parts)
        # With points between them the day stands first wherever dates are written so.
        if mark == "." or firsts > 12:
            date = mark.join(("%d", "%m", year))
        elif seconds > 12:
            date = mark.join(("%m", "%d", year))
        else:
            raise InputError(
                f"'{sample[0]}' may have the day first or the month; say which with "
                f"--time-format '%d{mark}%m{mark}{year}{clock}' or "
                f"'%m{mark}%d{mark}{year}{clock}'"
            )
    return date + clock
