"""A job's table refined from a watched log: offered, and kept if a person says so."""

from dataclasses import dataclass
from typing import Any

from gaugewright.app.later_job import carried_event
from gaugewright.app.later_known import known_of, probe_of, table_with
from gaugewright.app.scales import described
from gaugewright.app.watching import open_watch
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import StateError
from gaugewright.journal.book import Recorded
from gaugewright.journal.kept_words import with_words
from gaugewright.journal.state import TankState
from gaugewright.watch.health.case import Delivery
from gaugewright.watch.refine import Refined, refine
from gaugewright.watch.service_data import service_data
from gaugewright.words import Volume, said


@dataclass(frozen=True, eq=False)
class RefinedInJob:
    """What a watched log teaches about the table that it was read with."""

    entry: int
    """The entry of the log."""
    digest: str
    """Of the table that it was read with."""
    refined: Refined


def offer_refined(yard: Yard, job: str, tank_id: str, entry: int | None = None) -> RefinedInJob:
    """Return what a watched log and its receipts teach; nothing is recorded.

    Raises `NotThereError` if the log is not on this computer, and `InputError` where it and
    its receipts teach nothing, or contradict the table.
    """
    opened = open_watch(yard, job, tank_id, entry)
    event = opened.kept.event
    _, tank = yard.tank(job, tank_id)
    paid = [Delivery(r.at_s, r.receipt_l) for r in event.receipts]
    data = service_data(opened.track, opened.table, opened.watched, paid)
    known = known_of(tank, table_with(tank, event.table_digest))
    return RefinedInJob(opened.kept.number, event.table_digest, refine(opened.table, known, data))


def keep_refined(
    yard: Yard, job: str, stamp: Stamp, tank_id: str, *, entry: int | None, reason: str
) -> Recorded:
    """Record the offered table as a newer version; it is accepted by a person like any other.

    Raises `StateError` if the log was read with another table than the newest one.
    """
    if (before := yard.repeated(job, stamp)) is not None:
        return before
    _, tank = yard.tank(job, tank_id)
    offer = offer_refined(yard, job, tank_id, entry)
    newest = None if tank.table is None else tank.table.event.digest
    if newest != offer.digest:
        raise StateError(
            said(
                "the log of entry {entry} was read with another table than the newest one: look "
                "the log through again first",
                entry=offer.entry,
            )
        )
    event = carried_event(
        tank,
        offer.refined.after,
        from_digest=offer.digest,
        way="service",
        probe=_exchanged(tank),
        reason=reason,
        findings=_findings(offer),
    )
    return yard.record(job, stamp, event)


def _exchanged(tank: TankState) -> dict[str, Any]:
    """Return the probe that the newest table's counts are of where it is not the described one."""
    assert tank.table is not None
    probe = probe_of(tank, tank.table)
    if probe is None or probe == described(tank)[1]:
        return {}
    return {name: getattr(probe, name) for name in probe.__slots__}


def _findings(offer: RefinedInJob) -> tuple[dict[str, object], ...]:
    """What a certificate has to say about a refined table."""
    refined = offer.refined
    change, at = refined.largest_change
    message = said(
        "Refined in service, by the log of entry {entry}, from {used} receipts and stretches of "
        "the engine's counter, {left_out} left out; largest change {sign}{change} at {at:.0f} "
        "counts.",
        entry=offer.entry,
        used=len(refined.used),
        left_out=len(refined.left_out),
        sign="-" if change < 0 else "+",
        change=Volume(abs(change)),
        at=float(at),
    )
    found = {"step": None, "kind": "refined", "severity": "note", **with_words(message=message)}
    return ({**found, "suggestion": None},)
