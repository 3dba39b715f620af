"""Pour records: from the text of a file to a `Fill`.

What can be read in one way only is read; everything else is an `InputError` that
names the line, the field, what was found and what is wanted.  Whether the figures make
sense together is for the pour check, not for this module.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from math import isfinite

from gaugewright.errors import InputError
from gaugewright.table.delimited import (
    Row,
    Rows,
    number,
    read_rows,
    require_fields,
    whole_number,
)
from gaugewright.table.fill import METER_FACTORS, STEEPEST_DEG, Fill, MeterCheck, Pour

REQUIRED_FIELDS = ("step", "added_l", "counts")
OPTIONAL_FIELDS = (
    "counts_sd", "fuel_c", "meter_c", "pitch_deg", "roll_deg", "at", "note", "planned_l",
)  # fmt: skip

MOST_POURS = 1000
"""More lines than this are a log of a vehicle, not a pour record."""

_RANGES = {  # what a person can have meant: a figure outside is a slip or another unit
    "fuel_c": (-60.0, 100.0, "°C"),
    "meter_c": (-60.0, 100.0, "°C"),
    "pitch_deg": (-STEEPEST_DEG, STEEPEST_DEG, "°"),
    "roll_deg": (-STEEPEST_DEG, STEEPEST_DEG, "°"),
}


def fill_from_csv(
    text: str,
    *,
    counts_range: tuple[float, float] | None = None,
    counts_rise: bool = True,
) -> Fill:
    r"""Return the fill that a pour record tells of.

    Fields are parted by a comma, a semicolon or a tab, the decimal mark is a point or,
    with a semicolon or a tab, a comma.  ``counts_range`` is the lowest and highest count
    that the probe can send.  ``counts_rise`` is false for a probe whose counts fall as
    the level rises.

    The record is one of draining if every litre figure is negative, or if the counts
    run against the direction of a fill almost everywhere; the second is a decision, and
    `Fill.notes` tells of it.

    >>> fill = fill_from_csv("step;added_l;counts\n0;0;3\n1;45,5;3\n2;45,5;402\n")
    >>> [pour.added_l for pour in fill.pours], fill.is_draining
    ([0.0, 45.5, 45.5], False)
    >>> fill_from_csv("step,added_l,counts\n0,0,3\n1,45,5,3\n")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: line 3: 4 fields where 3 are named; a decimal comma needs ; ...
    """
    rows = read_rows(text)
    unused = require_fields(rows, required=REQUIRED_FIELDS, optional=OPTIONAL_FIELDS)
    _require_enough(rows)
    pours = [_pour(rows, row, counts_range) for row in rows.rows]
    lines = [row.line for row in rows.rows]
    _require_steps_in_order(pours, lines)
    _require_counts_that_move(pours)
    notes = [f"the column '{name}' is not used" for name in unused]
    notes += _notes_on_order(pours)
    pours, is_signed = _unsigned(pours, lines)
    is_draining = is_signed
    if not is_signed and _counts_run_backwards(pours, counts_rise):
        is_draining = True
        notes.append(
            f"read as a draining record: the counts {'fall' if counts_rise else 'rise'} from "
            f"{pours[0].counts:g} to {pours[-1].counts:g}, so added_l is taken as litres drawn off"
        )
    return Fill(pours=tuple(pours), is_draining=is_draining, notes=tuple(notes))


def counts_scale(counts_empty: float, counts_full: float) -> tuple[float, float]:
    """Return the lowest and highest count that a probe can send, for ``counts_range``.

    A probe's zero and span lie inside the scale of its converter, and a reading may go a
    little beyond them.  The scale is the smallest of 8, 10, 12, 14, 16, 20 and 24 bits
    that holds both (common practice, no source), or the span itself if none does; below 0
    it goes as far as they do.

    >>> counts_scale(42, 3610), counts_scale(4095, 0), counts_scale(-12, 3610)
    ((0.0, 4095.0), (0.0, 4095.0), (-12, 4095.0))
    """
    most = max(counts_empty, counts_full)
    fitting = (2.0**bits - 1 for bits in (8, 10, 12, 14, 16, 20, 24) if 2.0**bits - 1 >= most)
    return min(0.0, counts_empty, counts_full), next(fitting, most)


def parse_meter_check(text: str) -> MeterCheck:
    """Return the meter check written as ``INDICATED=TRUE`` in litres.

    >>> parse_meter_check("20,0=19,94")
    MeterCheck(indicated_l=20.0, true_l=19.94)
    """
    field = "--meter-check"
    indicated_text, equals, true_text = text.partition("=")
    if not equals:
        raise InputError(f"wanted INDICATED=TRUE, such as 20=19.94, found '{text}'", field=field)
    check = MeterCheck(number(indicated_text, field=field), number(true_text, field=field))
    for name, litres in (("INDICATED", check.indicated_l), ("TRUE", check.true_l)):
        if litres <= 0:
            raise InputError(f"{name} must be above 0 L, found {litres:g} L", field=field)
    if not METER_FACTORS[0] <= check.true_l / check.indicated_l <= METER_FACTORS[1]:
        raise InputError(
            f"{check.indicated_l:g} L shown and {check.true_l:g} L true differ by more than a "
            "meter can; wanted the same delivery twice, by the meter and by the can",
            field=field,
        )
    return check


def with_checks(
    fill: Fill,
    *,
    meter_checks: Iterable[MeterCheck] = (),
    residual_l: float | None = None,
    u_residual_l: float | None = None,
    dip_empty_mm: float | None = None,
) -> Fill:
    """Return the fill with what was checked beside the pours.

    >>> from gaugewright.table.fill import Fill
    >>> with_checks(Fill(pours=()), residual_l=1.5, u_residual_l=0.5).residual_l
    1.5
    """
    given = {
        "--residual": (residual_l, "L"),
        "--u-residual": (u_residual_l, "L"),
        "--dip-empty": (dip_empty_mm, "mm"),
    }
    for field, (value, unit) in given.items():
        if value is not None and not (isfinite(value) and value >= 0):
            raise InputError(f"must be 0 {unit} or more, found {value:g}", field=field)
    if u_residual_l is not None and residual_l is None:
        raise InputError("needs --residual, the litres it belongs to", field="--u-residual")
    return replace(
        fill,
        meter_checks=tuple(meter_checks),
        residual_l=residual_l,
        u_residual_l=u_residual_l,
        dip_empty_mm=dip_empty_mm,
    )


def _require_enough(rows: Rows) -> None:
    if not rows.rows:
        raise InputError(
            "holds a header line only; wanted step 0 (the drained tank) and at least 2 pours"
        )
    if len(rows.rows) < 3:
        raise InputError(
            f"holds {len(rows.rows)} line{'s' if len(rows.rows) > 1 else ''} of readings; "
            "wanted step 0 (the drained tank) and at least 2 pours",
            line=rows.rows[-1].line,
        )
    if len(rows.rows) > MOST_POURS + 1:
        raise InputError(
            f"holds {len(rows.rows)} lines; a pour record has at most {MOST_POURS} pours"
        )


def _pour(rows: Rows, row: Row, counts_range: tuple[float, float] | None) -> Pour:
    step = whole_number(row.fields["step"], field="step", line=row.line)
    if step < 0:
        raise InputError(f"must be 0 or more, found {step}", field="step", line=row.line)
    counts = rows.number(row, "counts")
    least = 0.0 if counts_range is None else counts_range[0]
    if counts < least:
        problem = f"must be {least:g} or more, found {counts:g}"
        raise InputError(problem, field="counts", line=row.line)
    if counts_range is not None and counts > counts_range[1]:
        raise InputError(
            f"is beyond the scale of {counts_range[0]:g} to {counts_range[1]:g} counts, "
            f"found {counts:g}",
            field="counts", line=row.line,
        )  # fmt: skip
    return Pour(
        step=step,
        added_l=rows.number(row, "added_l"),
        counts=counts,
        counts_sd=_not_negative(rows, row, "counts_sd"),
        fuel_c=_within(rows, row, "fuel_c"),
        meter_c=_within(rows, row, "meter_c"),
        pitch_deg=_within(rows, row, "pitch_deg"),
        roll_deg=_within(rows, row, "roll_deg"),
        at=_time(row),
        note=row.fields.get("note", ""),
        planned_l=rows.maybe_number(row, "planned_l"),
    )


def _not_negative(rows: Rows, row: Row, field: str) -> float | None:
    value = rows.maybe_number(row, field)
    if value is not None and value < 0:
        raise InputError(f"must be 0 or more, found {value:g}", field=field, line=row.line)
    return value


def _within(rows: Rows, row: Row, field: str) -> float | None:
    value = rows.maybe_number(row, field)
    low, high, unit = _RANGES[field]
    if value is not None and not low <= value <= high:
        raise InputError(
            f"must be {low:g} to {high:g} {unit}, found {value:g}", field=field, line=row.line
        )
    return value


def _time(row: Row) -> datetime | None:
    text = row.fields.get("at", "")
    if not text:
        return None
    wanted = "wanted a time with its zone, such as 2026-05-04T10:15:00+02:00"
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"'{text[:40]}' is not a time; {wanted}", field="at", line=row.line
        ) from None
    if at.tzinfo is None:
        raise InputError(f"'{text}' has no zone; {wanted}", field="at", line=row.line)
    return at


def _require_steps_in_order(pours: Sequence[Pour], lines: Sequence[int]) -> None:
    if pours[0].step != 0:
        raise InputError(
            f"the first step must be 0, the tank before the first pour, found {pours[0].step}",
            field="step", line=lines[0],
        )  # fmt: skip
    if pours[0].added_l != 0:
        raise InputError(
            f"must be 0 L at step 0, found {pours[0].added_l:g} L; "
            "fuel known to be left in the tank is given as --residual",
            field="added_l", line=lines[0],
        )  # fmt: skip
    seen: dict[int, int] = {}
    for pour, line in zip(pours, lines, strict=True):
        if pour.step in seen:
            raise InputError(
                f"step {pour.step} stands in line {seen[pour.step]} already",
                field="step", line=line,
            )  # fmt: skip
        if seen and pour.step < max(seen):
            raise InputError(
                f"steps must be in the order they were poured, {pour.step} follows {max(seen)}",
                field="step", line=line,
            )  # fmt: skip
        seen[pour.step] = line


def _require_counts_that_move(pours: Sequence[Pour]) -> None:
    if len({pour.counts for pour in pours}) == 1:
        raise InputError(
            f"all {len(pours)} readings are {pours[0].counts:g}: the probe did not see the fuel; "
            "wanted counts that follow the level",
            field="counts",
        )


def _notes_on_order(pours: Sequence[Pour]) -> list[str]:
    notes = []
    steps = {pour.step for pour in pours}
    gaps = [step for step in range(pours[-1].step) if step not in steps]
    if gaps:
        shown = ", ".join(str(step) for step in gaps[:5]) + (", …" if len(gaps) > 5 else "")
        notes.append(f"step{'s' if len(gaps) > 1 else ''} {shown} not in the record")
    timed = [pour for pour in pours if pour.at is not None]
    for before, after in pairwise(timed):
        if before.at is not None and after.at is not None and after.at < before.at:
            notes.append(f"step {after.step} is timed before step {before.step}")
    return notes


def _unsigned(pours: Sequence[Pour], lines: Sequence[int]) -> tuple[list[Pour], bool]:
    """Return the pours with positive litres, and whether all of them were negative."""
    negative = [place for place, pour in enumerate(pours) if pour.added_l < 0]
    if negative and all(pour.added_l <= 0 for pour in pours):
        _require_fuel_moved(pours, lines)
        return [_turned(pour) for pour in pours], True
    if negative:
        place = negative[0]
        raise InputError(
            f"must not be negative, found {pours[place].added_l:g} L "
            "(in a draining record all litres after step 0 are negative)",
            field="added_l", line=lines[place],
        )  # fmt: skip
    for pour, line in zip(pours, lines, strict=True):
        if pour.planned_l is not None and pour.planned_l < 0:
            raise InputError(
                f"must not be negative, found {pour.planned_l:g} L", field="planned_l", line=line
            )
    if all(pour.added_l == 0 for pour in pours):
        raise InputError("is 0 L in every line; wanted what each pour added", field="added_l")
    _require_fuel_moved(pours, lines)
    return list(pours), False


def _require_fuel_moved(pours: Sequence[Pour], lines: Sequence[int]) -> None:
    for pour, line in zip(pours, lines, strict=True):
        if pour.step > 0 and pour.added_l == 0:
            raise InputError(
                f"is 0 L at step {pour.step}: every line after step 0 is a pour; leave a line "
                "out where the probe was only read again",
                field="added_l", line=line,
            )  # fmt: skip


def _turned(pour: Pour) -> Pour:
    planned_l = None if pour.planned_l is None else abs(pour.planned_l)
    return replace(pour, added_l=abs(pour.added_l), planned_l=planned_l)


def _counts_run_backwards(pours: Sequence[Pour], counts_rise: bool) -> bool:
    """Tell whether four of five changes, and the whole, run against a fill.

    One mistyped reading makes one change of the wrong sign, so not all can be asked for.
    """
    counts = [pour.counts if counts_rise else -pour.counts for pour in pours]
    changes = [after - before for before, after in pairwise(counts)]
    changes = [change for change in changes if change != 0]
    falls = sum(change < 0 for change in changes)
    return falls >= 0.8 * len(changes) and counts[-1] < counts[0]
