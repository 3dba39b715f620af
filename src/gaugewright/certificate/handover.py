"""What was seen of the table in the system that receives it, and whether its data arrives."""

from collections.abc import Iterator

from gaugewright.certificate.statement import Part
from gaugewright.certificate.writing import Writer, free
from gaugewright.journal.state import TankState

MOST_DIFFERENCES = 8
"""Differences of a copy that are printed; all of them stand in the journal."""
IN_A_WORD = {
    "not_copied": "not done",
    "clean": "clean",
    "accepted": "differs, accepted",
    "differs": "DIFFERS",
}


def hand_over(tank: TankState, write: Writer) -> Part:
    """Return how the table stands in the receiving system; what is not shown is said."""
    said = [*_copied(tank, write), *_compared(tank, write), *_arrives(tank, write)]
    return Part("In the receiving system", tuple(said))


def _copied(tank: TankState, write: Writer) -> Iterator[str]:
    if tank.recipe is not None:
        name = free(tank.recipe.event.recipe.get("name", ""))
        yield f"Handed over by the recipe “{name}”, which stands in the journal."
    copied, accepted = tank.copied_back, tank.copy_accepted
    if copied is None:
        yield (
            "The table that it holds was not copied back and compared row by row: that it was "
            "keyed without a mistake is not shown."
        )
        return
    event = copied.event
    when = f"on {write.time(copied.mark.at)} by {free(copied.mark.person)} ({event.way})"
    if event.is_clean:
        yield f"Copied back {when}: {event.rows_read} rows, no difference to what was handed over."
        return
    far = ""
    if event.max_error_l is not None:
        far = f", up to {write.volume(event.max_error_l, 2)} apart"
    yield (
        f"Copied back {when}: {event.rows_read} rows, {len(event.differences)} difference(s){far}."
    )
    for difference in event.differences[:MOST_DIFFERENCES]:
        yield free(difference.get("message") or difference.get("kind") or difference)
    if len(event.differences) > MOST_DIFFERENCES:
        yield f"{len(event.differences) - MOST_DIFFERENCES} more stand in the journal."
    if accepted is None:
        yield (
            f"These differences are neither put right nor accepted: {write.litres} read in that "
            "system are not those of this certificate."
        )
    else:
        yield (
            f"Accepted as it is by {free(accepted.event.accepted_by)} on "
            f"{write.time(accepted.mark.at)}: {free(accepted.event.reason)}"
        )


def _compared(tank: TankState, write: Writer) -> Iterator[str]:
    agrees = {True: "they agree", False: "they do not agree", None: "it cannot be told"}
    for kept in tank.comparisons:
        event = kept.event
        near = write.near(event.table_l, event.u_table_l)
        yield (
            f"On {write.time(kept.mark.at)} it showed {write.volume(event.shown_l)} at "
            f"{event.counts:g} counts, the table says {near}: {agrees[event.agrees]}."
        )


def _arrives(tank: TankState, write: Writer) -> Iterator[str]:
    arrival = tank.arrival
    if arrival is None:
        yield "Whether its readings arrive there was not checked before leaving."
        return
    event = arrival.event
    word = "safe to leave" if event.is_safe else "not safe to leave"
    source = f", from {free(event.source)}" if event.source else ""
    yield (
        f"Data arrives, checked on {write.time(arrival.mark.at)} over {event.readings} readings "
        f"and {event.records} records{source}: {word}. {free(event.sentence)}"
    )
    for item in event.items:
        if item.state in ("missing", "wrong"):
            yield f"{item.state}: {free(item.message)}"
