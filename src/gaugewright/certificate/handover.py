"""What was seen of the table in the system that receives it, and whether its data arrives."""

from collections.abc import Iterator

from gaugewright.certificate.statement import Part
from gaugewright.certificate.writing import Writer, free
from gaugewright.journal.state import TankState
from gaugewright.words import said

MOST_DIFFERENCES = 8
"""Differences of a copy that are printed; all of them stand in the journal."""
IN_A_WORD = {
    "not_copied": said("not done"),
    "clean": said("clean"),
    "accepted": said("differs, accepted"),
    "differs": said("DIFFERS"),
}

_WAYS = {"pasted": said("pasted"), "file": said("file"), "typed": said("typed")}
_STATES = {"missing": said("missing"), "wrong": said("wrong")}


def hand_over(tank: TankState, write: Writer) -> Part:
    """Return how the table stands in the receiving system; what is not shown is said."""
    told = [*_copied(tank, write), *_compared(tank, write), *_arrives(tank, write)]
    return Part(said("In the receiving system"), tuple(told))


def _copied(tank: TankState, write: Writer) -> Iterator[str]:
    if tank.recipe is not None:
        name = free(tank.recipe.event.recipe.get("name", ""))
        yield said("Handed over by the recipe “{name}”, which stands in the journal.", name=name)
    copied, accepted = tank.copied_back, tank.copy_accepted
    if copied is None:
        yield said(
            "The table that it holds was not copied back and compared row by row: that it was "
            "keyed without a mistake is not shown."
        )
        return
    event = copied.event
    when = said(
        "on {at} by {person} ({way})",
        at=write.time(copied.mark.at),
        person=free(copied.mark.person),
        way=_WAYS.get(event.way, event.way),
    )
    rows, count = event.rows_read, len(event.differences)
    if event.is_clean:
        yield said(
            "Copied back {when}: {rows} rows, no difference to what was handed over.",
            when=when,
            rows=rows,
        )
        return
    if event.max_error_l is None:
        yield said(
            "Copied back {when}: {rows} rows, {count} difference(s).",
            when=when,
            rows=rows,
            count=count,
        )
    else:
        yield said(
            "Copied back {when}: {rows} rows, {count} difference(s), up to {far} apart.",
            when=when,
            rows=rows,
            count=count,
            far=write.volume(event.max_error_l, 2),
        )
    for difference in event.differences[:MOST_DIFFERENCES]:
        yield write.recorded(difference, "message", difference.get("kind") or difference)
    if len(event.differences) > MOST_DIFFERENCES:
        yield said("{count} more stand in the journal.", count=count - MOST_DIFFERENCES)
    if accepted is None:
        yield said(
            "These differences are neither put right nor accepted: {litres} read in that system "
            "are not those of this certificate.",
            litres=write.litres,
        )
    else:
        yield said(
            "Accepted as it is by {person} on {at}: {reason}",
            person=free(accepted.event.accepted_by),
            at=write.time(accepted.mark.at),
            reason=free(accepted.event.reason),
        )


def _compared(tank: TankState, write: Writer) -> Iterator[str]:
    agrees = {
        True: said("they agree"),
        False: said("they do not agree"),
        None: said("it cannot be told"),
    }
    for kept in tank.comparisons:
        event = kept.event
        yield said(
            "On {at} it showed {shown} at {counts:g} counts, the table says {table}: {agrees}.",
            at=write.time(kept.mark.at),
            shown=write.volume(event.shown_l),
            counts=event.counts,
            table=write.near(event.table_l, event.u_table_l),
            agrees=agrees[event.agrees],
        )


def _arrives(tank: TankState, write: Writer) -> Iterator[str]:
    arrival = tank.arrival
    if arrival is None:
        yield said("Whether its readings arrive there was not checked before leaving.")
        return
    event = arrival.event
    checked = said(
        "on {at} over {readings} readings and {records} records",
        at=write.time(arrival.mark.at),
        readings=event.readings,
        records=event.records,
    )
    if event.source:
        checked = said("{checked}, from {source}", checked=checked, source=free(event.source))
    yield said(
        "Data arrives, checked {checked}: {verdict}. {sentence}",
        checked=checked,
        verdict=said("safe to leave") if event.is_safe else said("not safe to leave"),
        sentence=free(event.sentence),
    )
    for item in event.items:
        if item.state in ("missing", "wrong"):
            yield said("{state}: {found}", state=_STATES[item.state], found=free(item.message))
