"""A table copied back from another system, held against ours: what differs, and how.

First the form is settled: which way to read the text, which columns, and whether the whole of
a column is on another scale.  Then rows are paired and what is left is named.
"""

from dataclasses import asdict, dataclass
from itertools import permutations
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.table.copied import PLAIN_FORM, Form, Typed, readings
from gaugewright.table.difference import Difference
from gaugewright.table.other_scales import (
    counts_scale_differs,
    counts_scales,
    litres_scale_differs,
    litres_scales,
    offset_differs,
)
from gaugewright.table.pairing import differences
from gaugewright.table.table import Table
from gaugewright.words import said

Floats = npt.NDArray[np.float64]

_LEAST_FIT = 0.3
"""Share of the best possible score under which no two columns are this table."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """What another system's table differs in, and what that does to its litres."""

    differences: tuple[Difference, ...]
    rows_read: int
    """Rows with figures in the other text."""
    counts_column: int
    """The column taken as counts, the first being 1."""
    litres_column: int
    max_error_l: float | None
    """Largest departure from our litres where both tables have rows; ``None`` if they share
    no range.  Their figures count as they stand, as litres over counts. [L]"""
    at_counts: float | None
    """Where that is. [counts]"""
    from_counts: float | None
    """The range of ours that theirs covers. [counts]"""
    to_counts: float | None

    @property
    def is_clean(self) -> bool:
        """Whether nothing differs beyond the rounding of the figures typed."""
        return not self.differences

    def as_json(self) -> dict[str, Any]:
        """Return it as lists and dictionaries."""
        return {"is_clean": self.is_clean, **asdict(self)} | {
            "differences": [asdict(d) for d in self.differences]
        }


def compare(ours: Table, other_text: str, form: Form = PLAIN_FORM) -> Comparison:
    r"""Return in what a table copied back from another system differs from ours.

    Any separator, decimal mark, heading, unit word, further column and order of columns is
    read; the columns are found by how well they fit.  Figures that differ only by the
    rounding to the decimals typed are the same.  ``form`` tells in which unit and on which
    scale ``ours`` stands; volumes of the result are in that unit.

    Raises `InputError` if the text has no two columns of figures.

    >>> ours = Table(np.array([0, 800, 1600, 2400]), np.array([3.0, 60.5, 150.0, 212.0]), None)
    >>> result = compare(ours, "Litres;Value\n3;0\n60,5;800\n105;1600\n212;2400\n")
    >>> [(d.kind, d.row, d.line) for d in result.differences], result.max_error_l
    ([('swapped_digits', 3, 4)], 45.0)
    >>> print(result.differences[0].message)
    Row 3 (line 4) has 105 L where ours has 150 L: two digits are swapped; type 150.
    """
    fit = _best_fit(ours, other_text, form)
    if fit is None:
        raise InputError(said("no two columns of figures found, wanted counts and litres in rows"))
    found: tuple[Difference, ...]
    if fit.score < _LEAST_FIT * fit.best_score:
        message = said(
            "Hardly any row fits ours: this looks like another tank's table; check which."
        )
        found = (Difference("another_table", message),)
    else:
        rows = differences(ours, fit.counts, fit.litres, fit.typed, form)
        found = (*fit.scale_differences, *rows)
    a, b = fit.columns
    return Comparison(found, len(fit.typed.whole), a + 1, b + 1, *_error(ours, fit.typed))


@dataclass(frozen=True, slots=True)
class _Fit:
    """One way to read the text, and how well our table on some scale fits it."""

    score: float
    best_score: float
    columns: tuple[int, int]
    typed: Typed
    counts: Floats
    """Ours, on their scale. [counts]"""
    litres: Floats
    """Ours, on their scale and datum. [their unit]"""
    scale_differences: tuple[Difference, ...]


def _best_fit(ours: Table, other_text: str, form: Form) -> _Fit | None:
    """Return how our table fits two columns best, as it is or on the likeliest scales.

    Another scale is only tried where it could win; of two that fit alike the first counts.
    """
    plain = [
        _fit(ours, typed, (a, b), 1.0, 1.0, form)
        for reading in readings(other_text)
        for a, b in permutations(reading.columns, 2)
        if len((typed := Typed.of(reading, a, b, ours_exact=_is_exact(ours))).whole) >= 2
    ]
    best = max((fit.score for fit in plain), default=0.0)
    fits = []
    for fit in plain:
        fits.append(fit)
        most = fit.best_score - _least_cost(len(fit.typed.whole))
        is_poor = fit.score < 0.8 * fit.best_score and best <= most
        if is_poor and not _are_row_numbers(fit.typed.whole[:, 0]):
            fits += _scaled_fits(ours, fit.typed, fit.columns, form)
    return max(fits, key=lambda fit: fit.score, default=None)


def _least_cost(rows: int) -> float:
    """Return what a usual factor costs in the score: of two that fit alike the plainer counts."""
    return 1.0 + 0.3 * rows


MOST_DECIMALS: Final = 3
"""Litres of a table that is handed over have no more."""


def _is_exact(ours: Table) -> bool:
    return bool(np.abs(ours.litres - np.round(ours.litres, MOST_DECIMALS)).max() < 1e-9)


def _scaled_fits(ours: Table, typed: Typed, columns: tuple[int, int], form: Form) -> list[_Fit]:
    counts, litres = typed.whole[:, 0], typed.whole[:, 1]
    known_k, known_m = counts_scales(form), {*litres_scales(form)}
    by_counts = (known_k | _ratio(ours.counts, counts, known_k)) - {1.0}
    by_litres = known_m | _ratio(ours.litres, litres, known_m)

    def hits(ours: Floats, theirs: Floats, within: float) -> tuple[int, float]:
        near, _ = _nearest(ours, theirs)
        apart = np.abs(near - theirs)
        return -int((apart <= within).sum()), float(np.minimum(apart, within).sum())

    # The two factors can be judged apart: each is told by its own column.
    best_k = sorted(by_counts, key=lambda k: hits(k * ours.counts, counts, _slack(k, form)))[:2]
    best_m = sorted(by_litres, key=lambda m: hits(m * ours.litres, litres, typed.within))[:2]
    fits = [
        _fit(ours, typed, columns, k, m, form)
        for k in (1.0, *best_k)
        for m in (1.0, *best_m)
        if (k, m) != (1.0, 1.0)
    ]
    offset = _offset(ours, typed)
    if abs(offset) > 2 * typed.within:
        fits.append(_fit(ours, typed, columns, 1.0, 1.0, form, offset=offset))
    return fits


def _ratio(ours: Floats, theirs: Floats, known: set[float]) -> set[float]:
    """Return by how much their column is larger, unless a known factor says as much.

    The middle of the upper half tells it roughly, then all rows that this brings together.
    """
    a, b = np.sort(ours)[len(ours) // 2 :], np.sort(theirs)[len(theirs) // 2 :]
    below, above = float(np.median(a)), float(np.median(b))
    if not (below > 0 and above > 0):
        return set()
    near, at = _nearest(ours, theirs * below / above)
    pairs = np.abs(near * above / below - theirs) <= 0.01 * above
    squares = float(ours[at[pairs]] @ ours[at[pairs]])
    ratio = float(theirs[pairs] @ ours[at[pairs]]) / squares if squares > 0 else above / below
    if ratio <= 0 or any(abs(ratio / factor - 1) < 0.002 for factor in known):
        return set()
    return {ratio}


def _are_row_numbers(column: Floats) -> bool:
    """Whether a column only numbers the rows; it would fit counts in even steps."""
    return bool((np.diff(column) == 1).all() and column[0] in (0, 1))


def _offset(ours: Table, typed: Typed) -> float:
    """Return the departure of their litres that most rows of equal counts share. [L]

    Rounding spreads it evenly over a span, so the middle of the span is the figure.
    """
    near, at = _nearest(ours.counts, typed.whole[:, 0])
    same = near == typed.whole[:, 0]
    if not same.any():
        return 0.0
    apart = typed.whole[same, 1] - ours.litres[at[same]]
    bulk = apart[np.abs(apart - np.median(apart)) <= 2 * typed.within]
    tries = [float(np.median(apart)), 0.5 * float(bulk.min() + bulk.max())] if len(bulk) else [0.0]
    return max(tries, key=lambda d: int((np.abs(apart - d) <= typed.within).sum()))


def _slack(factor: float, form: Form) -> float:
    """Return how far counts may lie off: none on our scale, rounding on another. [counts]"""
    return 0.0 if factor == 1.0 else 1.001 * form.counts_step


def _nearest(sorted_values: Floats, at: Floats) -> tuple[Floats, npt.NDArray[np.intp]]:
    above = np.searchsorted(sorted_values, at)
    above = np.minimum(np.maximum(above, 1), len(sorted_values) - 1)  # faster than np.clip
    is_below = at - sorted_values[above - 1] < sorted_values[above] - at
    place = np.where(is_below, above - 1, above)
    return sorted_values[place], place


def _fit(
    ours: Table, typed: Typed, columns: tuple[int, int],
    k: float, m: float, form: Form, *, offset: float = 0.0,
) -> _Fit:  # fmt: skip
    counts, litres = k * ours.counts, m * ours.litres + offset
    their_counts, their_litres = typed.whole[:, 0], typed.whole[:, 1]
    near_counts, at = _nearest(counts, their_counts)
    hit_counts = np.abs(near_counts - their_counts) <= _slack(k, form)
    hit_litres = np.abs(_nearest(litres, their_litres)[0] - their_litres) <= typed.within

    def both(shift: int) -> int:
        place = at + shift
        inside = hit_counts & (place >= 0) & (place < len(litres))
        apart = np.abs(litres[place[inside]] - their_litres[inside])
        return int((apart <= typed.within).sum())

    n = len(typed.whole)
    # A column moved by a row is told here only so that nothing odder explains it.
    together = max(both(0), both(-1) - 0.2 * n, both(1) - 0.2 * n)
    score = hit_counts.sum() + hit_litres.sum() + 2.0 * together
    # Of two explanations that fit alike the plainer one counts; a factor that nobody
    # uses is the least plain, because another column of the same rows may have it.
    for factor, known in ((k, counts_scales(form)), (m, {*litres_scales(form)})):
        if factor != 1.0:
            score -= _least_cost(n) if factor in known else 2.0 + 0.8 * n
    if offset != 0.0:
        score -= 2.0 + 0.3 * n
    told = (
        *(() if k == 1.0 else (counts_scale_differs(k, form),)),
        *(() if m == 1.0 else (litres_scale_differs(m, form),)),
        *(() if offset == 0.0 else (offset_differs(offset, form),)),
    )
    return _Fit(
        float(score), 4.0 * n, columns, typed.with_slack(_slack(k, form)), counts, litres, told
    )


def _error(
    ours: Table, typed: Typed
) -> tuple[float | None, float | None, float | None, float | None]:
    """Return the largest error of their table as it stands, where, and the shared range."""
    rows = typed.whole[np.lexsort((typed.whole[:, 1], typed.whole[:, 0]))]
    first = max(rows[0, 0], ours.counts[0])
    last = min(rows[-1, 0], ours.counts[-1])
    if first > last:
        return None, None, None, None
    at = np.unique(np.concatenate([ours.counts, rows[:, 0], [first, last]]))
    at = at[(at >= first) & (at <= last)]
    # Where a count stands twice, either litres may be read: take each in turn.
    _, lowest = np.unique(rows[:, 0], return_index=True)
    highest = np.append(lowest[1:], len(rows)) - 1
    apart = np.max(
        [np.abs(np.interp(at, *rows[pick].T) - ours.litres_at(at)) for pick in (lowest, highest)],
        axis=0,
    )
    worst = int(np.argmax(apart))
    return float(apart[worst]), float(at[worst]), float(first), float(last)
