"""One thing in which a copied table differs, and the sentence that says so.

Figures stand as they are typed in the other system: in its unit, with its decimal mark.
"""

from dataclasses import dataclass

from gaugewright.words import Said, said

_SLIPS = {
    "wrong_sign": said("the sign is wrong"),
    "decimal_slip": said("the decimal mark has slipped"),
    "swapped_digits": said("two digits are swapped"),
    "wrong_digit": said("one digit is wrong"),
    "digit_missing": said("a digit is missing"),
    "digit_extra": said("there is a digit too many"),
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs, and what to do about it.

    ``row`` counts our rows from 1, ``line`` the lines of the other text; ``None`` where
    there is no such row, or where the whole table is meant.
    """

    kind: str
    message: str
    row: int | None = None
    line: int | None = None
    column: str | None = None
    """``counts`` or ``litres``, ``None`` for a whole row."""
    ours_counts: float | None = None
    ours_l: float | None = None
    theirs_counts: float | None = None
    theirs_l: float | None = None


def row_name(row: int | None, line: int) -> Said:
    """Return what a row is called: ours by its number, theirs by its line.

    >>> row_name(3, 4), row_name(None, 9)
    ('Row 3 (line 4)', 'Line 9')
    """
    if row is None:
        return said("Line {line}", line=line)
    return said("Row {row} (line {line})", row=row, line=line)


def shifted_words(first: int, last: int, *, is_up: bool) -> Said:
    """Return that the litres of some rows stand one row too high or too low."""
    if is_up:
        return said(
            "From row {first} to row {last} the litres stand one row too far up against the "
            "counts: move them down by one row.",
            first=first,
            last=last,
        )
    return said(
        "From row {first} to row {last} the litres stand one row too far down against the "
        "counts: move them up by one row.",
        first=first,
        last=last,
    )


def figure_words(row: Said, has: str, meant: str, unit: str, slip: str | None) -> Said:
    """Return that a figure is another than ours, and which slip of the fingers made it so."""
    if slip is None:
        return said(
            "{row} has {has} {unit} where ours has {meant} {unit}; type {meant}.",
            row=row,
            has=has,
            meant=meant,
            unit=unit,
        )
    return said(
        "{row} has {has} {unit} where ours has {meant} {unit}: {why}; type {meant}.",
        row=row,
        has=has,
        meant=meant,
        unit=unit,
        why=_SLIPS[slip],
    )


def no_figure_words(row: Said, text: str, meant: str, unit: str) -> Said:
    """Return that there is no figure where ours has one."""
    if not text:
        return said(
            "{row} has nothing where ours has {meant} {unit}; type {meant}.",
            row=row,
            meant=meant,
            unit=unit,
        )
    found = f"'{text[:30]}'"
    return said(
        "{row} has {found} where ours has {meant} {unit}; type {meant}.",
        row=row,
        found=found,
        meant=meant,
        unit=unit,
    )


def order_difference(*, is_falling: bool) -> Difference:
    """Return that the rows run the other way."""
    if is_falling:
        told = said("The rows run from full to empty: enter them with rising counts.")
        return Difference("descending_order", told)
    told = said("The rows run from empty to full: enter them with falling counts.")
    return Difference("ascending_order", told)
