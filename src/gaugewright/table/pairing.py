"""Rows of a copied table paired with ours, and a name for each thing that differs."""

from bisect import bisect_left
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from gaugewright.table.copied import PLAIN_FORM, Form, Typed
from gaugewright.table.difference import (
    Difference,
    figure_words,
    no_figure_words,
    order_difference,
    row_name,
    shifted_words,
)
from gaugewright.table.slips import slip
from gaugewright.table.table import Table
from gaugewright.words import Said, said

Floats = npt.NDArray[np.float64]


def differences(
    ours: Table, counts: Floats, litres: Floats, typed: Typed, form: Form = PLAIN_FORM
) -> tuple[Difference, ...]:
    """Return what differs between our rows and the typed ones, in the order of the text.

    ``counts`` and ``litres`` are ours on the scale of the typed figures; ``form`` says in
    which unit ``ours`` stands.
    """
    pairing = _Pairing(ours, counts, litres, typed, form)
    pairing.pair()
    return pairing.tell()


@dataclass(slots=True)
class _Pairing:
    """Which of our rows each typed row is; grows as the rounds pass."""

    ours: Table
    counts: Floats
    """Ours, on the scale of the typed figures, and so the litres."""
    litres: Floats
    typed: Typed
    form: Form = PLAIN_FORM
    ours_of: dict[int, int] = field(default_factory=dict)
    """Typed row → our row."""
    taken: set[int] = field(default_factory=set)
    repeats: dict[int, int] = field(default_factory=dict)
    passed: set[int] = field(default_factory=set)
    """Typed rows that another difference already speaks of."""
    found: list[Difference] = field(default_factory=list)

    def pair(self) -> None:
        """Pair the surest rows first."""
        rows = range(len(self.typed.rows))
        for t in rows:
            same = [i for i in self._by_counts(t) if self._same_litres(t, i)]
            free = [i for i in same if i not in self.taken]
            if free:
                self._take(t, free[0])
            elif same:
                self.repeats[t] = same[0]
        for step in (self._by_counts, self._by_litres, self._by_place):
            for t in rows:
                if t not in self.ours_of and t not in self.repeats:
                    free = [i for i in step(t) if i not in self.taken]
                    if free:
                        self._take(t, free[0])

    def _take(self, t: int, i: int) -> None:
        self.ours_of[t] = i
        self.taken.add(i)

    def _same_litres(self, t: int, i: int) -> bool:
        value = self.typed.rows[t].litres
        return value is not None and abs(value - self.litres[i]) <= self.typed.within

    def _same_counts(self, t: int, i: int) -> bool:
        value = self.typed.rows[t].counts
        return value is not None and abs(value - self.counts[i]) <= self.typed.counts_slack

    def _by_counts(self, t: int) -> list[int]:
        value = self.typed.rows[t].counts
        if value is None:
            return []
        near = np.flatnonzero(np.abs(self.counts - value) <= self.typed.counts_slack)
        return sorted(near.tolist(), key=lambda i: abs(float(self.counts[i]) - value))

    def _by_litres(self, t: int) -> list[int]:
        """Return rows of these litres whose counts were mistyped, the likeliest first.

        Litres alone are weak where the tank is flat: a slip of the fingers or the
        place between neighbours must speak for it too.
        """
        value = self.typed.rows[t].litres
        if value is None:
            return []
        rows = np.flatnonzero(np.abs(self.litres - value) <= self.typed.within).tolist()
        low, high = self._gap(t)
        likely = [i for i in rows if self._slip_counts(t, i) or low < i < high]
        return sorted(likely, key=lambda i: (not low < i < high, self._slip_counts(t, i) is None))

    def _by_place(self, t: int) -> list[int]:
        """Return the free row between the neighbours, if a slip in either figure tells it."""
        low, high = self._gap(t)
        between = [i for i in range(low + 1, high) if i not in self.taken]
        return [i for i in between if self._slip_counts(t, i) or self._slip_litres(t, i)]

    def _gap(self, t: int) -> tuple[int, int]:
        """Return our rows of the nearest typed neighbours that are paired."""
        end = len(self.typed.rows)
        before = next((self.ours_of[s] for s in range(t - 1, -1, -1) if s in self.ours_of), None)
        after = next((self.ours_of[s] for s in range(t + 1, end) if s in self.ours_of), None)
        if before is not None and after is not None:
            return min(before, after), max(before, after)
        if self._is_descending():
            before, after = after, before
        return -1 if before is None else before, len(self.counts) if after is None else after

    def _is_descending(self) -> bool:
        order = [self.ours_of[t] for t in sorted(self.ours_of)]
        return sum(b < a for a, b in pairwise(order)) > len(order) / 2

    def _slip_counts(self, t: int, i: int) -> str | None:
        value = self.typed.rows[t].counts
        if value is None:
            return None
        decimals = self.form.counts_decimals
        return slip(float(np.round(self.counts[i], decimals)), value, decimals)

    def _slip_litres(self, t: int, i: int) -> str | None:
        value = self.typed.rows[t].litres
        return None if value is None else slip(float(self.litres[i]), value, self.typed.decimals)

    def tell(self) -> tuple[Difference, ...]:
        """Name everything that is not the same."""
        off = {t for t, i in self.ours_of.items() if not self._same_litres(t, i)}
        off -= self._tell_shifts(off)
        off -= self._tell_exchanged(off)
        off -= self._tell_cut_off(off)
        for t in sorted(off):
            self._tell_figure(t, self.ours_of[t], "litres")
        for t, i in sorted(self.ours_of.items()):
            if not self._same_counts(t, i):
                self._tell_figure(t, i, "counts")
        for t, i in self.repeats.items():
            told = said("{row} stands in the text before: delete it.", row=self._name(t, i))
            self._add("repeated_row", t, i, told)
        for t in range(len(self.typed.rows)):
            if not (t in self.ours_of or t in self.repeats or t in self.passed):
                told = said("{row} is in no row of ours: delete it.", row=self._name(t, None))
                self._add("extra_row", t, None, told)
        self._tell_missing()
        self._tell_order()
        end = len(self.typed.rows) + 1e9
        return tuple(sorted(self.found, key=lambda d: (d.line or end, d.row or 0)))

    def _tell_shifts(self, off: set[int]) -> set[int]:
        """Name runs of litres that stand one row too high or too low; return their rows."""
        told: set[int] = set()
        row_of = {i: t for t, i in self.ours_of.items()}
        last = len(self.counts) - 1
        for by in (1, -1):
            fits = [
                i in row_of and 0 <= i + by <= last and self._same_litres(row_of[i], i + by)
                for i in range(last + 1)
            ]
            i = 0
            while i <= last:
                end = i
                while end <= last and fits[end]:
                    end += 1
                run = [row_of[j] for j in range(i, end)]
                if sum(t in off for t in run) >= 3:
                    told |= self._tell_shift(i, end - 1, by, row_of)
                i = max(end, i + 1)
        return told

    def _tell_shift(self, first: int, final: int, by: int, row_of: dict[int, int]) -> set[int]:
        # The row at the open end has the litres of no row, or none at all: it belongs to it.
        last = len(self.counts) - 1
        if by == 1 and final == last - 1:
            final = last
        if by == -1 and first == 1:
            first = 0
        rows = {row_of[i] for i in range(first, final + 1) if i in row_of}
        self.taken |= {i for i in (first, final) if i not in row_of}
        beyond = max(rows) + 1 if by == 1 else min(rows) - 1
        if (final if by == 1 else first) not in row_of and 0 <= beyond < len(self.typed.rows):
            self.passed.add(beyond)
        told = shifted_words(first + 1, final + 1, is_up=by == 1)
        line = min(self.typed.rows[t].line for t in rows)
        self.found.append(
            Difference("litres_shifted", told, row=first + 1, line=line, column="litres")
        )
        return rows

    def _tell_exchanged(self, off: set[int]) -> set[int]:
        told: set[int] = set()
        for t in sorted(off):
            for u in sorted(off):
                i, j = self.ours_of[t], self.ours_of[u]
                is_pair = t < u and not {t, u} & told
                if is_pair and self._same_litres(t, j) and self._same_litres(u, i):
                    told |= {t, u}
                    message = said(
                        "{row} has the litres of line {line} and the other way round: exchange "
                        "them.",
                        row=self._name(t, i),
                        line=self.typed.rows[u].line,
                    )
                    self._add("figures_exchanged", t, i, message, column="litres")
        return told

    def _tell_cut_off(self, off: set[int]) -> set[int]:
        """Name decimals that were left out instead of rounded, in many rows; return these."""
        step = 10.0**-self.typed.decimals
        told = set()
        for t in off:
            value = self.typed.rows[t].litres
            if value is not None and 0 < self.litres[self.ours_of[t]] - value < step:
                told.add(t)
        if len(told) < max(3, 0.2 * len(self.ours_of)):
            return set()
        message = said(
            "In {rows} rows decimals were cut off, not rounded: enter rounded litres.",
            rows=len(told),
        )
        self.found.append(Difference("decimals_cut_off", message, column="litres"))
        return told

    def _tell_figure(self, t: int, i: int, column: str) -> None:
        row = self.typed.rows[t]
        value = row.counts if column == "counts" else row.litres
        text = row.counts_text if column == "counts" else row.litres_text
        meant = float(self.counts[i] if column == "counts" else self.litres[i])
        decimals = self.form.counts_decimals if column == "counts" else self.typed.decimals
        unit: str = said("counts") if column == "counts" else self.form.unit
        if not np.array_equal(self.litres, self.ours.litres) and column == "litres":
            unit = said("on their scale")
        shown = f"{round(meant, decimals):.{decimals}f}"
        shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
        shown = self.form.figure(shown)
        name = self._name(t, i)
        if value is None:
            told = no_figure_words(name, text, shown, unit)
            self._add("not_a_number", t, i, told, column=column)
            return
        found = self._slip_counts(t, i) if column == "counts" else self._slip_litres(t, i)
        told = figure_words(name, self.form.figure(f"{value:.10g}"), shown, unit, found)
        self._add(found or f"{column}_differ", t, i, told, column=column)

    def _tell_missing(self) -> None:
        missing = [i for i in range(len(self.counts)) if i not in self.taken]
        if len(missing) > max(5, len(self.counts) // 2):
            message = said(
                "{missing} of our {rows} rows are missing: add them, or compare with the thinned "
                "table that was entered.",
                missing=len(missing),
                rows=len(self.counts),
            )
            self.found.append(Difference("row_missing", message))
            return
        for i in missing:
            c, v = float(self.ours.counts[i]), float(self.ours.litres[i])
            message = said(
                "Row {row} is missing: add {counts} counts, {volume} {unit}.",
                row=i + 1,
                counts=self.form.figure(f"{c:.10g}"),
                volume=self.form.figure(f"{round(v, self.typed.decimals):.10g}"),
                unit=self.form.unit,
            )
            self.found.append(
                Difference("row_missing", message, row=i + 1, ours_counts=c, ours_l=v)
            )

    def _tell_order(self) -> None:
        order = [(t, self.ours_of[t]) for t in sorted(self.ours_of)]
        is_falling = self._is_descending()
        if len(order) == 2 and self.form.is_falling:  # two rows show no order by number
            is_falling = order[0][1] > order[1][1]
        if len(order) > 2 and is_falling != self.form.is_falling:
            self.found.append(order_difference(is_falling=is_falling))
        if is_falling and len(order) >= 2:
            order.reverse()
        ranks = [i for _, i in order]
        moved = [place for place, i in enumerate(sorted(ranks)) if ranks[place] != i]
        if len(moved) == 2:
            (t, i), (u, j) = order[moved[0]], order[moved[1]]
            told = said(
                "{row} and row {other} (line {line}) stand in each other's place: exchange them.",
                row=self._name(t, i),
                other=j + 1,
                line=self.typed.rows[u].line,
            )
            self._add("rows_exchanged", t, i, told)
        elif moved:
            stays = _longest_rising(ranks)
            for place in range(len(ranks)):
                if place not in stays:
                    t, i = order[place]
                    told = said("{row} stands out of order: move it.", row=self._name(t, i))
                    self._add("row_out_of_place", t, i, told)

    def _name(self, t: int, i: int | None) -> Said:
        """Return what a row is called: ours by its number, theirs by its line."""
        return row_name(None if i is None else i + 1, self.typed.rows[t].line)

    def _add(
        self, kind: str, t: int, i: int | None, message: Said, *, column: str | None = None
    ) -> None:
        row = self.typed.rows[t]
        self.found.append(
            Difference(
                kind,
                message,
                None if i is None else i + 1,
                row.line,
                column,
                None if i is None else float(self.ours.counts[i]),
                None if i is None else float(self.ours.litres[i]),
                row.counts,
                row.litres,
            )
        )


def _longest_rising(ranks: list[int]) -> set[int]:
    """Return the places of one longest rising subsequence."""
    tails: list[int] = []
    places: list[int] = []
    before: list[int] = []
    for place, rank in enumerate(ranks):
        at = bisect_left(tails, rank)
        tails[at : at + 1], places[at : at + 1] = [rank], [place]
        before.append(places[at - 1] if at else -1)
    stays = set()
    place = places[-1] if places else -1
    while place >= 0:
        stays.add(place)
        place = before[place]
    return stays
