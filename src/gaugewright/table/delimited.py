"""Reading rows of a text file whose fields are parted by a comma, a semicolon or a tab.

People type these files by hand and save them from spreadsheets in any language, so
the decimal mark may be a comma.  What can be read in two ways is refused, not guessed.
"""

import csv
import io
import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from statistics import median
from typing import NamedTuple

from gaugewright.errors import InputError
from gaugewright.words import said

SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
LARGEST = 1e12
"""No meter, gauge or tank shows more; beyond it sums of litres lose their decimals."""

_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_GROUPED = {mark: re.compile(rf"[+-]?\d{{1,3}}[{mark}]\d{{3}}", re.ASCII) for mark in ",."}
_MARKED = {mark: re.compile(rf"[+-]?\d*[{mark}]\d*", re.ASCII) for mark in ",."}
_NOT_A_NUMBER = {"nan", "na", "n/a", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity"}


class Row(NamedTuple):
    """One line: its number in the file, counted from 1, and its fields by name."""

    line: int
    fields: dict[str, str]


@dataclass(frozen=True, slots=True)
class Rows:
    """All rows of a file, with what the file's form says about its numbers."""

    names: tuple[str, ...]
    """The columns' names as `tidy_name` gives them."""
    header_line: int
    separator: str
    decimal_comma: bool | None
    """Whether figures carry a decimal comma; ``None`` if no figure has a mark."""
    rows: tuple[Row, ...]

    def number(self, row: Row, field: str) -> float:
        """Return the number in a field of a row; see `number`."""
        return number(
            row.fields[field], field=field, line=row.line, decimal_comma=self.decimal_comma
        )

    def maybe_number(self, row: Row, field: str) -> float | None:
        """Return the number in a field, or ``None`` if the field is empty or not there."""
        return self.number(row, field) if row.fields.get(field) else None


def number(
    text: str, *, field: str | None = None, line: int | None = None,
    decimal_comma: bool | None = None, example: float = 45.5,
) -> float:  # fmt: skip
    """Return the finite number that a person typed, with a decimal point or comma.

    Raises `InputError` for anything else, and for numbers beyond 1e12 either way.
    ``decimal_comma`` says which mark the rest of the file uses (``None``: either);
    a figure with the other mark is then refused, because its mark may part thousands.
    ``example`` is what a refusal shows as wanted.

    >>> number("45,5"), number("45.5"), number(" -7 ")
    (45.5, 45.5, -7.0)
    >>> number("1.234,5", field="added_l", line=4)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: line 4, added_l: '1.234,5' has both a point and a comma; \
write the number with one decimal mark and no thousands mark
    """

    def refuse(problem: str) -> InputError:
        return InputError(problem, field=field, line=line)

    found = text.strip().replace("\N{MINUS SIGN}", "-")
    if not found:
        raise refuse(said("is empty, wanted a number"))
    if found.lower() in _NOT_A_NUMBER:
        raise refuse(
            said(
                "'{found}' is not a finite number, wanted for example {example:g}",
                found=found,
                example=example,
            )
        )
    if not _NUMBER.fullmatch(found):
        raise refuse(_why_not_a_number(found, example))
    if decimal_comma is True and "." in found:
        raise refuse(
            said(
                "'{found}' has a point where other figures have a decimal comma; use one mark in "
                "the whole file and no thousands mark",
                found=found,
            )
        )
    if decimal_comma is False and "," in found:
        raise refuse(
            said(
                "'{found}' has a comma where other figures have a decimal point; use one mark in "
                "the whole file and no thousands mark",
                found=found,
            )
        )
    value = float(found.replace(",", "."))
    if abs(value) > LARGEST:
        raise refuse(said("'{found}' is too large for a number", found=found))
    return value


def whole_number(text: str, *, field: str | None = None, line: int | None = None) -> int:
    """Return the whole number that a person typed, `InputError` for anything else.

    >>> whole_number("12")
    12
    >>> whole_number("a dozen")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: 'a dozen' is not a number, wanted for example 12
    """
    value = number(text, field=field, line=line, example=12)
    if value != int(value):
        raise InputError(
            said("must be a whole number, found '{text}'", text=text.strip()),
            field=field,
            line=line,
        )
    return int(value)


def read_rows(
    text: str,
    *,
    text_fields: Collection[str] = ("note", "at"),
    separators: str = ";\t,",
) -> Rows:
    r"""Return the rows of a delimited text with a header line.

    Blank lines are passed over; header names are taken without regard to case, spaces
    and brackets (``Added (L)`` is ``added_l``).  ``text_fields`` hold free text and are
    not looked at for a decimal mark.  Raises `InputError` with the line.

    >>> rows = read_rows("Step;Added L\n0;0\n1;45,5\n")
    >>> rows.names, rows.decimal_comma, rows.number(rows.rows[1], "added_l")
    (('step', 'added_l'), True, 45.5)
    """
    # Two programs in a row may each have put a return before the feed; it is one line's end.
    text = text.removeprefix("\ufeff").replace("\r\r\n", "\r\n")
    lines = _records(text, separators)
    if not lines.records:
        raise InputError(said("is empty, wanted a header line and rows"))
    header_line, header = lines.records[0]
    names = _header(header, header_line)
    rows = tuple(
        Row(line, _fields(cells, names, line, lines.separator, text_fields))
        for line, cells in lines.records[1:]
    )
    looked_at = [name for name in names if name and name not in text_fields]
    decimal_comma = _decimal_comma(rows, looked_at)
    for name in looked_at:
        _refuse_thousands(rows, name, ",")
        if name == "counts":  # no probe is read off to a thousandth of a count
            _refuse_thousands(rows, name, ".")
    return Rows(tuple(n for n in names if n), header_line, lines.separator, decimal_comma, rows)


_UNIT_AGAIN = re.compile(
    r"(?:(?:(?<=litres)|(?<=_l))\s*[(\[](?:l|litres)"
    r"|(?<=counts)\s*[(\[](?:raw|counts)"
    r"|(?<=_c)\s*[(\[]°c)[)\]]$"
)


def require_fields(
    rows: Rows, *, required: Iterable[str], optional: Iterable[str] = ()
) -> tuple[str, ...]:
    r"""Check a file's columns and return the names of those nobody knows.

    Raises `InputError` for a missing column and for an unknown one that looks like a
    misspelt known one, with the name that is wanted.

    >>> rows = read_rows("step,addedl,counts,van\n0,0,3,x\n")
    >>> require_fields(rows, required=["step", "added_l", "counts"])
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: line 1, addedl: is not a known column; did you mean 'added_l'?
    """
    wanted, known = list(required), [*required, *optional]
    absent = [name for name in known if name not in rows.names]
    unknown = [name for name in rows.names if name not in known]
    for name in unknown:
        close = get_close_matches(name, absent, n=1, cutoff=0.75)
        if close:
            raise InputError(
                said("is not a known column; did you mean '{near}'?", near=close[0]),
                field=name, line=rows.header_line,
            )  # fmt: skip
    missing = [name for name in wanted if name in absent]
    if missing and all(_NUMBER.fullmatch(name.replace("_", ".")) for name in rows.names):
        raise InputError(
            said(
                "the first line must name the columns ({names}), found figures",
                names=", ".join(wanted),
            ),
            line=rows.header_line,
        )
    if missing:
        raise InputError(
            said(
                "the column '{name}' is missing; found {names}",
                name=missing[0],
                names=", ".join(rows.names),
            ),
            line=rows.header_line,
        )
    return tuple(unknown)


def tidy_name(text: str) -> str:
    """Return a column's name without regard to case, spaces and brackets.

    A unit that the name already has is left out.

    >>> tidy_name(" Added (L) "), tidy_name("added_l [L]"), tidy_name("Counts (raw)")
    ('added_l', 'added_l', 'counts')
    """
    name = _UNIT_AGAIN.sub("", text.strip().lower())
    return re.sub(r"[\W_]+", "_", name).strip("_")


def _why_not_a_number(found: str, example: float) -> str:
    shown = found if len(found) <= 40 else found[:37] + "..."
    if "." in found and "," in found and re.fullmatch(r"[+-]?[\d.,]+", found, re.ASCII):
        return said(
            "'{shown}' has both a point and a comma; "
            "write the number with one decimal mark and no thousands mark",
            shown=shown,
        )
    if re.fullmatch(r"[+-]?\d{1,3}(?:[\s.,'’]\d{3})+(?:[.,]\d+)?", found):
        return said(
            "'{shown}' seems to have a thousands mark; write the number without it", shown=shown
        )
    if re.match(r"[+-]?\d[\d.,]*\s*[^\W\d]+$", found):
        return said(
            "'{shown}' has text after the number; write the number alone, without its unit",
            shown=shown,
        )
    return said(
        "'{shown}' is not a number, wanted for example {example:g}", shown=shown, example=example
    )


class _Records(NamedTuple):
    separator: str
    records: list[tuple[int, list[str]]]


def _records(text: str, separators: str) -> _Records:
    stream = io.StringIO(text, newline="")
    first = ""
    for line, first in enumerate(stream, start=1):
        # Some spreadsheets write the separator itself as a line before the header.
        told = re.fullmatch(r'"?sep=(.)"?', first.strip("\r\n "))
        if told and told[1] in separators:
            return _split(text, told[1], lines_to_skip=line)
        if first.strip():
            break
    separator = max(separators, key=lambda mark: (first.count(mark), -separators.index(mark)))
    return _split(text, separator, lines_to_skip=0)


def _split(text: str, separator: str, lines_to_skip: int) -> _Records:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records: list[tuple[int, list[str]]] = []
    begin = 1
    try:
        for cells in reader:
            if begin > lines_to_skip and any(cell.strip() for cell in cells):
                records.append((begin, [cell.strip() for cell in cells]))
            begin = reader.line_num + 1
    except csv.Error as error:
        problem = "a quote is opened and not closed" if "end of data" in str(error) else str(error)
        raise InputError(problem, line=begin) from None
    return _Records(separator, records)


def _header(cells: list[str], line: int) -> list[str]:
    names = [tidy_name(cell) for cell in cells]
    if all(_NUMBER.fullmatch(cell) for cell in cells if cell):
        return names  # figures: who asks for columns says that the header is missing
    for place, name in enumerate(names):
        if name and name in names[:place]:
            raise InputError(said("is named twice"), field=name, line=line)
    return names


def _fields(
    cells: list[str], names: list[str], line: int, separator: str, text_fields: Collection[str]
) -> dict[str, str]:
    while len(cells) > len(names) and not cells[-1]:
        cells = cells[:-1]
    # Spreadsheets drop empty fields at the end of a line.  Not with commas: there a
    # short line plus a decimal comma would look like a full line.
    while len(cells) < len(names) and separator != "," and names[len(cells)] in text_fields:
        cells = [*cells, ""]
    if len(cells) != len(names):
        hint = said("leave an empty field where nothing was measured")
        if len(cells) > len(names):
            mark = SEPARATOR_NAMES[separator]
            hint = said("put text that holds a {mark} in double quotes", mark=mark)
            if separator == ",":
                hint = said("a decimal comma needs ; between fields")
        raise InputError(
            said(
                "{number} fields where {wanted} are named; {hint}",
                number=len(cells),
                wanted=len(names),
                hint=hint,
            ),
            line=line,
        )
    for place, (name, cell) in enumerate(zip(names, cells, strict=True), start=1):
        if cell and not name:
            raise InputError(
                said("column {place} holds '{cell}' but has no name", place=place, cell=cell[:40]),
                line=line,
            )
    return {name: cell for name, cell in zip(names, cells, strict=True) if name}


def _decimal_comma(rows: tuple[Row, ...], names: list[str]) -> bool | None:
    """Return the mark of the first figure that has one; `number` holds the rest to it."""
    for row in rows:
        for name in names:
            cell = row.fields[name]
            if _NUMBER.fullmatch(cell) and ("," in cell or "." in cell):
                return "," in cell
    return None


def _refuse_thousands(rows: tuple[Row, ...], name: str, mark: str) -> None:
    """Refuse ``1,234`` in a column where it is likelier to mean 1234 than 1.234.

    So it is when every such mark in the column stands before three digits, and read as
    decimals these figures are far below those without one: 412, 812, 1,234.
    """
    cells = [(row.line, row.fields[name]) for row in rows]
    marked = [(line, cell) for line, cell in cells if _MARKED[mark].fullmatch(cell)]
    if not marked or not all(_GROUPED[mark].fullmatch(cell) for _, cell in marked):
        return
    plain = [abs(float(c)) for _, c in cells if re.fullmatch(r"[+-]?\d+", c, re.ASCII)]
    plain = [value for value in plain if value > 0]
    for line, cell in marked:
        decimal = abs(float(cell.replace(",", ".")))
        if plain and decimal < median(plain) / 2:
            whole = cell.replace(mark, "")
            raise InputError(
                said(
                    "'{cell}' may mean {whole} or {smaller}; "
                    "write {whole}, or {cell}0 if the {mark} is a decimal {mark}",
                    cell=cell, whole=whole, smaller=cell.replace(",", "."),
                    mark=said("comma") if mark == "," else said("point"),
                ),
                field=name, line=line,
            )  # fmt: skip
