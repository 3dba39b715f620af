"""The zero of the dry probe, read again with pours made after a table."""

from gaugewright.errors import InputError
from gaugewright.journal import later_kinds as lk
from gaugewright.journal.kinds import BenchZeroRecorded
from gaugewright.journal.state import Kept, LaterState, TankState
from gaugewright.probe import Probe
from gaugewright.table.records import counts_scale
from gaugewright.words import said

ZeroRead = Kept[BenchZeroRecorded]


def zero_again(tank: TankState, later: LaterState) -> tuple[ZeroRead, ZeroRead | None] | None:
    """Return the zero that was read since a re-check began, and the one before it.

    What was read after a newer table was made of these pours, or after others began, is none
    of theirs.  A new probe has no zero from before: its exchange takes none.
    """
    if later.begun.event.purpose == "exchange":
        return None
    since = later.begun.number
    ends = [each.begun.number for each in tank.later if each.begun.number > since]
    ends += [
        kept.number
        for kept in tank.tables
        if isinstance(kept.event, lk.TableCarried) and kept.event.begun == since
    ]
    standing = [kept for kept in tank.zeros if kept.voided is None]
    again = [kept for kept in standing if kept.number > since]
    again = [kept for kept in again if not ends or kept.number < min(ends)]
    if not again:
        return None
    before = [kept for kept in standing if kept.number < since]
    return again[-1], before[-1] if before else None


def require_on_scale(counts: float, probe: Probe, field: str) -> None:
    """Refuse counts that a probe cannot send: a slip of the thumb, not a drift."""
    low, high = counts_scale(probe.counts_empty, probe.counts_full)
    if not low <= counts <= high:
        raise InputError(
            said(
                "{counts:g} counts is no reading of this probe, wanted {low:g} to {high:g}",
                counts=counts,
                low=low,
                high=high,
            ),
            field=field,
        )
