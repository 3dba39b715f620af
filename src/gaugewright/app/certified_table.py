"""A certificate's table worked out again from the journal that is attached to it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugewright import __version__
from gaugewright.app.calibrate import table_of
from gaugewright.certificate.attachments import Attached
from gaugewright.errors import GaugewrightError, StateError
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal.fold import fold
from gaugewright.journal.later_kinds import TableCarried
from gaugewright.journal.state import TankState
from gaugewright.table.fit import Fit

AGREE_L = 0.011
"""Recorded tables are rounded to 0.01 L; more than that is another table. [L]"""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was checked."""

    what: str
    is_right: bool | None
    """``None`` where it could not be told."""
    said: str


def table_again(attached: Attached, tank: TankState) -> Check:
    """Work a table out again from the pours that the journal says it was made from."""
    made = tank.accepted_table
    assert made is not None
    what = f"table of {tank.tank_id}"
    if not made.event.pours and not isinstance(made.event, TableCarried):
        return Check(what, None, f"the {what} was not made from pours")
    if isinstance(made.event, TableCarried) and made.event.way == "service":
        said = "was refined from records in service, which the certificate does not carry"
        return Check(what, None, f"the {what} {said}")
    before = fold(attached.entries[0].job, attached.entries[: made.number - 1])
    try:
        rows = _rows_again(before.tanks[tank.tank_id], made.event, attached.issue.volume_unit)
    except GaugewrightError as error:
        return Check(what, False, f"the {what} cannot be made again: {error}")
    stated = made.event.rows
    apart = _apart_l([(r.counts, r.litres, r.u_litres) for r in stated], rows)
    if apart is not None and apart <= AGREE_L:
        return Check(what, True, f"the {what} made again agrees within {AGREE_L:.2f} L")
    by = made.event.versions.get("gaugewright")
    told = "has other rows" if apart is None else f"differs by {apart:.2f} L"
    if by != __version__ or made.event.versions.get("numpy") != np.__version__:
        said = f"the {what} was made by version {by}; made again by {__version__} it {told}"
        return Check(what, None, said)
    return Check(what, False, f"the {what} made again {told}")


def _rows_again(
    tank: TankState, made: fk.TableMade, unit: str
) -> list[tuple[float, float, float | None]]:
    """Return the rows that the journal gives for a table, as they were then."""
    from gaugewright.app.later_known import held_of, known_before
    from gaugewright.app.later_sister import sister_of
    from gaugewright.app.proving import rows_of

    if not isinstance(made, TableCarried):
        table = table_of(_fit_of_fill(tank, unit))
    elif made.way == "sister":
        if tank.sister is None:
            raise StateError("no sister was proposed")
        table = sister_of(tank, tank.sister.event).table
    else:
        later = next((each for each in tank.later if each.begun.number == made.begun), None)
        if later is None:
            raise StateError("the pours that it came from are not there")
        if len(later.standing) > 1:
            table = table_of(held_of(tank, later).after)
        else:
            table = table_of(known_before(tank, later).table_fit())
    return [(r.counts, r.litres, r.u_litres) for r in rows_of(table)]


def _fit_of_fill(tank: TankState, unit: str) -> Fit:
    from gaugewright.app.verdicts import look
    from gaugewright.app.yard import VOLUME_UNITS

    looked = look(tank, VOLUME_UNITS.get(unit, "L"))
    if looked is None or looked.checked is None:
        raise StateError("no fill" if looked is None else str(looked.why_not))
    return looked.checked.fit


def _apart_l(
    stated: Sequence[tuple[float, float, float | None]],
    again: Sequence[tuple[float, float, float | None]],
) -> float | None:
    """Return the largest difference of two tables' litres and bands, ``None`` for other rows."""
    if len(stated) != len(again):
        return None
    largest = 0.0
    for (counts, litres, band), (counts_again, litres_again, band_again) in zip(
        stated, again, strict=True
    ):
        if counts != counts_again or (band is None) != (band_again is None):
            return None
        largest = max(largest, abs(litres - litres_again), abs((band or 0) - (band_again or 0)))
    return largest
