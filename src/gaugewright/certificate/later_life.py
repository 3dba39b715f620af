"""A table's later life on the certificate: re-checks, exchanged probes, sister tanks."""

from collections.abc import Iterator, Mapping
from typing import Any

from gaugewright.certificate.statement import Grid, Part
from gaugewright.certificate.writing import Writer, free
from gaugewright.journal.fill_kinds import TableMade
from gaugewright.journal.later_kinds import TableCarried
from gaugewright.journal.state import Kept, LaterState, TankState
from gaugewright.probe import Probe, probe_from_mapping

WAYS = {
    "recheck": "put right by a re-check: later pours were learnt, and all that may have changed "
    "since was allowed for",
    "exchange": "carried to a new probe by its zero, span, length and tip clearance; the band has "
    "grown by what these leave open",
    "sister": "made with the table of a tank of the same model as knowledge before this tank’s "
    "own pours",
    "service": "refined in service by what receipts and the engine’s counter say; the offset that "
    "all rows share cannot be known from them",
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


def origin(tank: TankState, event: TableMade) -> str | None:
    """Say in one sentence where a table came from, ``None`` for one made from its fill."""
    if not isinstance(event, TableCarried):
        return None
    way = WAYS.get(event.way, free(event.way))
    from_sister = ""
    if event.way == "sister" and tank.sister is not None:
        sister = tank.sister.event
        from_sister = f" (tank {free(sister.sister_tank_id)} of job {free(sister.sister_job)})"
    return (
        f"It came from the table with digest {event.from_digest[:12]}{from_sister}: {way}. "
        f"Reason: {free(event.reason)}."
    )


def later_parts(tank: TankState, write: Writer) -> Iterator[Part]:
    """Return what was done after the first table, each with what it showed."""
    for later in tank.later:
        yield _run(later, write)
    if tank.sister is not None:
        event = tank.sister.event
        said = free(event.results.get("sentence", ""))
        yield Part(
            "Sister tank",
            (
                f"The table of tank {free(event.sister_tank_id)} of job {free(event.sister_job)} "
                f"(digest {event.digest[:12]}) was proposed on {write.time(tank.sister.mark.at)}.",
                *((said,) if said else ()),
            ),
        )


def _run(later: LaterState, write: Writer) -> Part:
    begun = later.begun
    what = "Probe exchanged" if begun.event.purpose == "exchange" else "Re-check"
    heading = f"{what}, {write.day(begun.mark.at)}"
    said = [
        f"Begun by {free(begun.mark.person)} against the table with digest "
        f"{begun.event.digest[:12]}, {len(later.standing)} reading(s)."
    ]
    if begun.event.probe_serial:
        said.append(f"The new probe has the serial number {free(begun.event.probe_serial)}.")
    if begun.event.reason:
        said.append(f"Reason: {free(begun.event.reason)}.")
    said += [
        f"Step {kept.event.step} was voided: {free(kept.voided.reason)}."
        for kept in later.pours
        if kept.voided is not None
    ]
    if later.concluded is None:
        said.append("Nothing was concluded from it: what these pours show is open.")
        return Part(heading, tuple(said))
    event = later.concluded.event
    said.append(free(event.sentence))
    if tuple(kept.number for kept in later.standing) != event.pours:
        said.append("Pours were recorded or voided since this was concluded.")
    rows = tuple(_rows(event.results, write))
    if not rows:
        return Part(heading, tuple(said))
    columns = ("Step", "By the meter", "By the table", "En", "Result")
    return Part(heading, tuple(said), Grid(columns, rows, "Rule: it agrees where |En| ≤ 1."))


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
            "agrees" if agrees else "does not agree",
        )
