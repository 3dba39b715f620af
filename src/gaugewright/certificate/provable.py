"""The smallest drain that this vehicle's own records in service can prove."""

from datetime import UTC, datetime

from gaugewright.certificate.writing import NOT_RECORDED, Writer, free
from gaugewright.journal.state import Kept, TankState
from gaugewright.journal.watch_kinds import LogWatched
from gaugewright.words import Said, said, together

UNSEEN = said(
    "How small a drain can be proved in service is a matter of this vehicle’s own records. No log "
    "of it in service was looked through in this job, so that no figure is stated."
)


def last_watch(tank: TankState) -> Kept[LogWatched] | None:
    """Return the log in service that was looked through last."""
    return tank.watches[-1] if tank.watches else None


def smallest_provable_drain(tank: TankState, write: Writer) -> Said:
    """Return the sentence on the certificate, with the log that the figures come from."""
    kept = last_watch(tank)
    if kept is None:
        return UNSEEN
    seen, accepted = kept.event, tank.accepted_table
    other = (
        ""
        if accepted is not None and accepted.event.digest == seen.table_digest
        else said("That log was read with another table than this one.")
    )
    drain = said(
        "Smallest provable drain in service: {drain}, found with 95 % probability at one false "
        "alarm in a year; a smaller one may go unseen. From {records} records of {first} to {last} "
        "(log {log}, SHA-256 {hash}), looked through on {day}.",
        drain=parked_and_moving(seen, write),
        records=seen.records,
        first=_day(seen.from_s),
        last=_day(seen.to_s),
        log=free(seen.log_name),
        hash=seen.log_sha256[:12],
        day=write.day(kept.mark.at),
    )
    return together(drain, other)


def _day(at_s: float) -> str:
    try:
        return f"{datetime.fromtimestamp(at_s, UTC):%Y-%m-%d}"
    except (ValueError, OverflowError, OSError):  # no record of a clock that exists
        return NOT_RECORDED


def parked_and_moving(seen: LogWatched, write: Writer) -> Said:
    """Write both figures, or that there is none."""
    parked, moving = (
        said("none of any size") if litres is None else write.volume(litres)
        for litres in (seen.provable_parked_l, seen.provable_moving_l)
    )
    return said("{parked} parked, {moving} on the move", parked=parked, moving=moving)
