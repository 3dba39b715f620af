"""What the driver and the owner are told: the same results on one page, in plain words."""

from collections.abc import Iterator, Sequence

from gaugewright.certificate.provable import last_watch, parked_and_moving
from gaugewright.certificate.shows import limits_of
from gaugewright.certificate.statement import Driver, Line
from gaugewright.certificate.tank_part import described, heading, table_of
from gaugewright.certificate.writing import Writer, free
from gaugewright.journal.state import JobState, TankState
from gaugewright.table.table import Table
from gaugewright.words import Said, said


def driver_of(state: JobState, tanks: Sequence[TankState], write: Writer) -> Driver:
    """Return the page for the driver and the owner."""
    told: list[Line] = []
    sentences: list[str] = []
    for tank in tanks:
        made = tank.accepted_table
        assert made is not None
        table = table_of(made.event.rows)
        called = heading(tank)
        if not tank.members:
            called = called.removesuffix(f" ({tank.tank_id})")
        told += _told(tank, table, called, write)
        sentences.append(_holds(tank.hand_over, write))
        sentences.append(
            said(
                "{tank}: the last {litres} lie below the probe; it shows nothing of them. Do not "
                "drive by them.",
                tank=called,
                litres=write.volume(float(table.litres[0]), 0),
            )
        )
    seals = [free(kept.event.seal_number) for kept in state.seals if kept.voided is None]
    if seals:
        sentences.append(
            said(
                "Seals {seals} are part of the proof: tell the workshop before anyone opens one.",
                seals=", ".join(seals),
            )
        )
    vehicle = free(state.fact("vehicle") or "")
    return Driver(
        heading=said("{vehicle}: what the fuel gauge tells now", vehicle=vehicle),
        told=tuple(told),
        sentences=(
            said(
                "The tank was measured by pouring in fuel step by step, and the readings were made "
                "into a table. The {litres} on the screen are right where the tracking system "
                "holds it.",
                litres=write.litres,
            ),
            *sentences,
            said(
                "Read the {litres} with the vehicle level, standing still for a few minutes. While "
                "driving, the fuel moves and so does the reading.",
                litres=write.litres,
            ),
            said(
                "A difference smaller than the figures above is no proof of anything, neither of "
                "theft nor of a wrong receipt."
            ),
        ),
        warnings=(
            said(
                "If the tank, the probe, its cable or the tracking unit is changed, dented or "
                "moved, these {litres} no longer hold: have it checked.",
                litres=write.litres,
            ),
            said("This page explains; the certificate with the same number states."),
        ),
    )


def _told(tank: TankState, table: Table, called: str, write: Writer) -> Iterator[Line]:
    limits = limits_of(table, tank.fill, *described(tank))
    worst = None if table.u_litres is None else float(table.u_litres.max())
    first, last = (write.volume(float(table.litres[k]), 0) for k in (0, -1))
    yield Line(called, said("reads {first} to {last}", first=first, last=last))
    yield Line(said("How sure"), said("{band} at most, standing level", band=write.band(worst)))
    yield Line(said("Smallest change it shows"), write.volume(limits.most_visible_l))
    watched = last_watch(tank)
    if watched is not None:
        proved = parked_and_moving(watched.event, write)
        yield Line(said("Smallest drain it proves"), proved)
    if limits.pitch_l is not None and limits.roll_l is not None:
        yield Line(
            said("On a slope"),
            said(
                "up to {along} wrong for each degree uphill or downhill, {across} sideways",
                along=write.volume(limits.pitch_l),
                across=write.volume(limits.roll_l),
            ),
        )
    grows = write.per_degree(limits.per_kelvin_l)
    yield Line(said("With warmth"), said("a full tank grows {grows}", grows=grows))


def _holds(hand_over: str, write: Writer) -> Said:
    """Return what the driver is told of the receiving system."""
    match hand_over:
        case "clean":
            return said("The tracking system was read back: it holds this table.")
        case "accepted":
            return said(
                "The tracking system was read back: what it holds differs from this table, and "
                "the workshop accepted that with its reason on the certificate."
            )
        case "differs":
            return said(
                "The tracking system was read back and does NOT hold this table: do not go by its "
                "{litres} until that is put right.",
                litres=write.litres,
            )
        case _:
            return said("That the tracking system holds this table was not read back.")
