"""Reading a table that was copied back from another system, in whatever form it comes.

What a text means is not settled by its form alone: ``1,234`` is one figure or two, and
either column may be the counts.  So every way to read it is offered, and `compare`
keeps the one that fits.
"""

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from math import ceil

import numpy as np
import numpy.typing as npt

from gaugewright.errors import InputError
from gaugewright.units import VolumeUnit, to_litres
from gaugewright.words import Said, said

Floats = npt.NDArray[np.float64]

_SPLITS = {
    "tab": re.compile(r"\t"),
    "semicolon": re.compile(r";"),
    "bar": re.compile(r"\|"),
    "comma": re.compile(r","),
    "comma and space": re.compile(r",\s+"),
    "wide space": re.compile(r"\s{2,}"),
    "space": re.compile(r"\s+"),
}
_QUOTED = {"tab": "\t", "semicolon": ";", "comma": ","}
_CELL = re.compile(
    r"(?:[^\W\d]{1,12}\s*[:=])?[^\w+.,-]*"  # counts=, ≈
    r"(?P<figure>[+-]?(?:\d[\d.,'’\s]*\d|\d|[.,]\d+))[.,]?"
    r"\s*[^\w]*(?:[^\d]{1,20}|[dcm]?m3)?"  # litres, dm3, (full)
)
_MARKS = {".": ",", ",": "."}
_MOST_COLUMNS = 16
_MOST_LINES = 20_000
_MOST_DIGITS = 15


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its text and the figure in it, if there is one."""

    text: str
    value: float | None
    decimals: int


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the text, counted from 1, with its cells."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the text."""

    separator: str
    mark: str
    lines: tuple[Line, ...]
    columns: tuple[int, ...]
    """Those that hold figures in most lines."""


def readings(text: str) -> Iterator[Reading]:
    r"""Give every way to read the text that finds two columns of figures.

    Raises `InputError` if the text is far too long for a table.

    >>> ways = list(readings("Litres;Counts\n45,5;1.200\n60,0;1.400\n"))
    >>> [(w.separator, w.mark, [c.value for c in w.lines[1].cells]) for w in ways][-1]
    ('semicolon', ',', [45.5, 1200.0])
    """
    plain = text.removeprefix("\ufeff").replace("\N{MINUS SIGN}", "-")
    plain = re.sub("[\N{NO-BREAK SPACE}\u202f\u2009]", " ", plain.replace("│", "|"))
    numbered = [
        (number, line.strip(" \r\n"))
        for number, line in enumerate(plain.split("\n"), start=1)
        if re.search(r"\w", line)
    ]
    if len(numbered) > _MOST_LINES:
        raise InputError(
            said(
                "{lines} lines are no calibration table, wanted at most {most}",
                lines=len(numbered),
                most=_MOST_LINES,
            )
        )
    for separator in _SPLITS:
        rows = [(number, _split(line, separator)) for number, line in numbered]
        if sum(len(cells) > 1 for _, cells in rows) < 2:
            continue
        for mark in _MARKS:
            lines = tuple(
                Line(number, tuple(_cell(cell, mark) for cell in cells)) for number, cells in rows
            )
            columns = _figure_columns(lines)
            if len(columns) > 1:
                yield Reading(separator, mark, lines, columns)


def _split(line: str, separator: str) -> list[str]:
    if separator == "bar" and line.startswith("|"):
        line = line.removeprefix("|").removesuffix("|")
    if separator in _QUOTED and '"' in line:
        cells = next(csv.reader([line], delimiter=_QUOTED[separator]))
    else:
        cells = _SPLITS[separator].split(line)
    return [cell.strip().strip('"').strip() for cell in cells[:_MOST_COLUMNS]]


def _cell(text: str, mark: str) -> Cell:
    value, decimals = _figure(text, mark)
    return Cell(text, value, decimals)


def _figure(text: str, mark: str) -> tuple[float | None, int]:
    """Return the one figure in a cell and its decimals, ``None`` if it holds no such."""
    found = _CELL.fullmatch(text)
    if not found:
        return None, 0
    figure = found["figure"]
    plain, grouped, groups = _figures_with(mark)
    if not plain.fullmatch(figure):
        if not grouped.fullmatch(figure):
            return None, 0
        figure = groups.sub("", figure)
    if len(figure) > _MOST_DIGITS:
        return None, 0
    whole, _, decimals = figure.partition(mark)
    return float(f"{whole or '0'}.{decimals or '0'}"), len(decimals)


@cache
def _figures_with(mark: str) -> tuple[re.Pattern[str], re.Pattern[str], re.Pattern[str]]:
    """Return what a figure of that mark looks like, one with its thousands parted, and by what."""
    groups, rest = rf"[{re.escape(_MARKS[mark])}'’ ]", rf"(?:{re.escape(mark)}\d+)?"
    grouped = rf"[+-]?\d{{1,3}}(?:({groups})\d{{3}})(?:\1\d{{3}})*{rest}"
    return (
        re.compile(rf"[+-]?\d*{rest}", re.ASCII),
        re.compile(grouped, re.ASCII),
        re.compile(groups),
    )


def _figure_columns(lines: tuple[Line, ...]) -> tuple[int, ...]:
    filled = Counter(
        place for line in lines for place, cell in enumerate(line.cells) if cell.value is not None
    )
    most = max(filled.values(), default=0)
    return tuple(sorted(place for place, n in filled.items() if n >= 2 and n >= 0.5 * most))


_NO_CELL = Cell("", None, 0)

UNIT_WORDS: dict[VolumeUnit, Said] = {
    "L": said("litres"),
    "US gal": said("US gallons"),
    "imp gal": said("imperial gallons"),
}


@dataclass(frozen=True, slots=True)
class Form:
    """In which form the table stands that the other text is held against."""

    unit: VolumeUnit = "L"
    counts_decimals: int = 0
    full_scale: float = 4095.0
    """The figure at the top of the scale of the counts."""
    is_falling: bool = False
    """Whether the rows belong from full to empty."""
    decimal_mark: str = "."
    """The mark that is typed there."""

    def figure(self, text: str) -> str:
        """Return a figure as it is typed there."""
        return text.replace(".", self.decimal_mark)

    @property
    def counts_step(self) -> float:
        """Return the least step of the counts' figures."""
        return float(10.0**-self.counts_decimals)

    @property
    def litres_per_unit(self) -> float:
        """Return the litres of one unit of volume. [L]"""
        return to_litres(1.0, self.unit)

    def scales_to(self) -> dict[float, Said]:
        """Return the factors to the other units that somebody may have typed in.

        >>> sorted((round(k, 4), v) for k, v in Form("US gal").scales_to().items())[-1]
        (3.7854, 'litres')
        """
        return {
            self.litres_per_unit / to_litres(1.0, unit): name
            for unit, name in UNIT_WORDS.items()
            if unit != self.unit
        }


PLAIN_FORM = Form()


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One row of the other text; ``None`` where a cell holds no figure."""

    line: int
    counts: float | None
    litres: float | None
    counts_text: str
    litres_text: str

    @property
    def is_whole(self) -> bool:
        """Whether both figures are there."""
        return self.counts is not None and self.litres is not None


@dataclass(frozen=True, slots=True)
class Typed:
    """The rows of the other text in two columns, and how closely they tell litres."""

    rows: tuple[TypedRow, ...]
    whole: Floats
    """Rows with both figures: counts, litres."""
    decimals: int
    """Those that the column of litres is typed with."""
    within: float
    """How far litres may lie off by rounding. [their unit]"""
    counts_slack: float = 0.0

    @classmethod
    def of(cls, reading: Reading, counts: int, litres: int, *, ours_exact: bool) -> "Typed":
        """Return two columns of a reading."""
        # A title or a footer with a figure in it has fewer cells than a row.
        least = int(np.median([len(line.cells) for line in reading.lines]))
        rows = []
        cells_decimals = []
        for line in reading.lines:
            pair = [line.cells[i] if i < len(line.cells) else None for i in (counts, litres)]
            a, b = (_NO_CELL if cell is None else cell for cell in pair)
            is_whole = a.value is not None and b.value is not None
            if (a.value is None and b.value is None) or not (is_whole or len(line.cells) >= least):
                continue
            rows.append(TypedRow(line.number, a.value, b.value, a.text, b.text))
            if b.value is not None:
                cells_decimals.append(b.decimals)
        decimals = _usual_decimals(cells_decimals)
        whole = np.array([(r.counts, r.litres) for r in rows if r.is_whole]).reshape(-1, 2)
        # Our litres may have been rounded to a file's decimals before they were rounded again.
        twice = 0.0 if ours_exact else 0.005
        within = 0.5 * 10.0**-decimals + twice + 1e-9
        return cls(tuple(rows), whole, decimals, within)

    def with_slack(self, counts_slack: float) -> "Typed":
        """Return the same with counts that may lie off by so much."""
        return replace(self, counts_slack=counts_slack)


def _usual_decimals(found: list[int]) -> int:
    """Return the decimals that a column shows; a slip alone does not add one.

    Two cells have that many or more, and 15 % of all.
    """
    enough = max(2, ceil(0.15 * len(found)))
    return sorted(found, reverse=True)[enough - 1] if len(found) >= enough else 0
