"""What is worth saying of a vehicle's data beside its events: one line of ``health.csv`` each."""

from dataclasses import dataclass

import numpy as np

from gaugewright.watch.order import Arrival
from gaugewright.watch.values import Floats, Track, Watched

_DAY_S = 86_400.0
_FIRST = 1000
MOST_DOUBLED = 0.05
"""A larger share of doubled records is worth a word; the fewer are a network's daily life."""
MOST_LATE_S = _DAY_S
"""Records later than this are worth a word. [s]"""


@dataclass(frozen=True)
class Remark:
    """One thing about a vehicle's data; ``needs_person`` says that it is not merely a note.

    Times are seconds since 1970-01-01 UTC, ``None`` where it has no time. [s]
    """

    vehicle: str
    kind: str
    message: str
    start_s: float | None = None
    end_s: float | None = None
    needs_person: bool = False


def arrival_remarks(vehicle: str, arrival: Arrival) -> list[Remark]:
    """Return what is to be said of how a vehicle's records came in.

    >>> [remark.message for remark in arrival_remarks("T-7", Arrival(1000, misdated=3))]
    ['3 of 1000 records have no time or one that no right clock shows; they are left out']
    """
    found = []
    of = f"of {arrival.records} records"
    if arrival.misdated:
        found.append(
            Remark(
                vehicle,
                "clock_wrong",
                f"{arrival.misdated} {of} have no time or one that no right clock shows; "
                "they are left out",
                needs_person=arrival.misdated > 0.01 * arrival.records,
            )
        )
    if arrival.twice:
        message = (
            f"{arrival.twice} {of} are of the hour that the clock had twice, and their order does "
            "not tell which is meant; they are left out"
        )
        found.append(
            Remark(
                vehicle,
                "clock_twice",
                message,
                needs_person=arrival.twice > 0.01 * arrival.records,
            )
        )
    if arrival.contradicting:
        found.append(
            Remark(
                vehicle,
                "contradicting",
                f"at {arrival.contradicting} moments two records say different counts; "
                "the first to arrive stands",
                needs_person=arrival.contradicting > 0.01 * arrival.records,
            )
        )
    if arrival.doubled > MOST_DOUBLED * arrival.records:
        found.append(Remark(vehicle, "doubled", f"{arrival.doubled} {of} came twice"))
    if arrival.worst_late_s > MOST_LATE_S:
        found.append(
            Remark(
                vehicle,
                "late",
                f"{arrival.late} {of} came late, by up to {arrival.worst_late_s / _DAY_S:.1f} "
                "days; what was said before they came may change",
            )
        )
    return found


def column_remarks(track: Track) -> list[Remark]:
    """Return what a track lacks that the watch lives on."""
    found = []
    if not track.time_s.size:
        return [Remark(track.vehicle, "no_records", "no record can be used", needs_person=True)]
    if not _is_told(track.speed_kmh):
        message = (
            "no speed: rest and motion are told apart by the readings alone; with the engine on, "
            "a small fall may be a slope and is called no drain"
        )
        found.append(Remark(track.vehicle, "no_speed", message, needs_person=True))
    if not _is_told(track.ignition):
        message = (
            "no ignition: what may be the engine's own use is named as not decidable, and bands "
            "are wider"
        )
        found.append(Remark(track.vehicle, "no_ignition", message, needs_person=True))
    if not _is_told(track.counts):
        message = "no record carries counts"
        found.append(Remark(track.vehicle, "no_counts", message, needs_person=True))
    return found


def _is_told(values: Floats) -> bool:
    """Return whether any value is known; the first few mostly tell."""
    return not np.isnan(values[:_FIRST]).all() or not np.isnan(values).all()


def watched_remarks(watched: Watched) -> list[Remark]:
    """Return what could not be decided, and the watch's own notes."""
    found = [
        Remark(
            watched.vehicle,
            "not_decidable",
            f"{one.litres:+.1f} ± {one.u_litres:.1f} L: {one.reason}",
            one.start_s,
            one.end_s,
            needs_person=True,
        )
        for one in watched.undecided
    ]
    return found + [Remark(watched.vehicle, "note", note) for note in watched.notes]
