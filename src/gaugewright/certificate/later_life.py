"""A table's later life on the certificate: re-checks, exchanged probes, sister tanks."""

from collections.abc import Iterator, Mapping
from typing import Any

from gaugewright.certificate.statement import Grid, Part
from gaugewright.certificate.writing import Writer, free
from gaugewright.journal.fill_kinds import TableMade
from gaugewright.journal.later_kinds import TableCarried
from gaugewright.journal.state import Kept, LaterState, TankState
from gaugewright.probe import Probe, probe_from_mapping
from gaugewright.words import Said, said

WAYS = {
    "recheck": said(
        "put right by a re-check: later pours were learnt, and all that may have changed since was "
        "allowed for"
    ),
    "exchange": said(
        "carried to a new probe by its zero, span, length and tip clearance; the band has grown by "
        "what these leave open"
    ),
    "sister": said(
        "made with the table of a tank of the same model as knowledge before this tank’s own pours"
    ),
    "service": said(
        "refined in service by what receipts and the engine’s counter say; the offset that all "
        "rows share cannot be known from them"
    ),
}


def exchanged_probe(tank: TankState, kept: Kept[TableMade]) -> Probe | None:
    """Return the probe that a table's counts are of, ``None`` for the described one."""
    event = kept.event
    if not isinstance(event, TableCarried):
        return None
    if event.probe:
        return probe_from_mapping(dict(event.probe))
    if event.way not in ("recheck", "service"):
        return None
    before = next((k for k in tank.tables if k.event.digest == event.from_digest), None)
    return None if before is None or before is kept else exchanged_probe(tank, before)


def origin(tank: TankState, event: TableMade) -> Said | None:
    """Say in one sentence where a table came from, ``None`` for one made from its fill."""
    if not isinstance(event, TableCarried):
        return None
    way = WAYS.get(event.way, free(event.way))
    table = said("the table with digest {digest}", digest=event.from_digest[:12])
    if event.way == "sister" and tank.sister is not None:
        sister = tank.sister.event
        table = said(
            "{table} (tank {tank} of job {job})",
            table=table,
            tank=free(sister.sister_tank_id),
            job=free(sister.sister_job),
        )
    return said(
        "It came from {table}: {way}. Reason: {reason}.",
        table=table,
        way=way,
        reason=free(event.reason),
    )


def later_parts(tank: TankState, write: Writer) -> Iterator[Part]:
    """Return what was done after the first table, each with what it showed."""
    for later in tank.later:
        yield _run(later, write)
    if tank.sister is not None:
        event = tank.sister.event
        told = write.recorded(event.results, "sentence")
        proposed = said(
            "The table of tank {tank} of job {job} (digest {digest}) was proposed on {at}.",
            tank=free(event.sister_tank_id),
            job=free(event.sister_job),
            digest=event.digest[:12],
            at=write.time(tank.sister.mark.at),
        )
        yield Part(said("Sister tank"), (proposed, *((told,) if told else ())))


def _run(later: LaterState, write: Writer) -> Part:
    begun = later.begun
    day = write.day(begun.mark.at)
    heading = said("Re-check, {day}", day=day)
    if begun.event.purpose == "exchange":
        heading = said("Probe exchanged, {day}", day=day)
    told: list[str] = [
        said(
            "Begun by {person} against the table with digest {digest}, {readings} reading(s).",
            person=free(begun.mark.person),
            digest=begun.event.digest[:12],
            readings=len(later.standing),
        )
    ]
    if begun.event.probe_serial:
        serial = free(begun.event.probe_serial)
        told.append(said("The new probe has the serial number {serial}.", serial=serial))
    if begun.event.reason:
        told.append(said("Reason: {reason}.", reason=free(begun.event.reason)))
    told += [
        said("Step {step} was voided: {why}.", step=kept.event.step, why=free(kept.voided.reason))
        for kept in later.pours
        if kept.voided is not None
    ]
    if later.concluded is None:
        told.append(said("Nothing was concluded from it: what these pours show is open."))
        return Part(heading, tuple(told))
    event = later.concluded.event
    told.append(write.recorded({**event.results, "sentence": event.sentence}, "sentence"))
    if tuple(kept.number for kept in later.standing) != event.pours:
        told.append(said("Pours were recorded or voided since this was concluded."))
    rows = tuple(_rows(event.results, write))
    if not rows:
        return Part(heading, tuple(told))
    columns = (
        said("Step"),
        said("By the meter"),
        said("By the table"),
        said("En"),
        said("Result"),
    )
    return Part(heading, tuple(told), Grid(columns, rows, said("Rule: it agrees where |En| ≤ 1.")))


def _rows(results: Mapping[str, Any], write: Writer) -> Iterator[tuple[str, ...]]:
    for each in results.get("comparisons") or ():
        try:
            metered, table = float(each["metered_l"]), float(each["table_l"])
            band, number = float(each["expanded_u_table_l"]), float(each["en"])
            agrees = bool(each["agrees"])
        except (KeyError, TypeError, ValueError):
            continue  # of a later version: its sentence stands above
        yield (
            free(each.get("step", "–")),
            write.volume(metered, 2),
            write.near(table, band),
            write.figure(number, 2),
            said("agrees") if agrees else said("does not agree"),
        )
