"""From a watched log to what a screen shows of it."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime, tzinfo
from math import isnan

import numpy as np
import numpy.typing as npt

from gaugewright.app import pictures_watch as p
from gaugewright.app.log_columns import require_zone
from gaugewright.app.watching import explanation_of, open_watch, watched_entry
from gaugewright.app.yard import Yard
from gaugewright.errors import InputError
from gaugewright.journal import watch_kinds as wk
from gaugewright.journal.later_kinds import TableCarried
from gaugewright.journal.state import Kept, TankState
from gaugewright.watch.combined import Figure
from gaugewright.watch.months import Month, months_of
from gaugewright.watch.report import HOW, Explained
from gaugewright.watch.thinned import view

Floats = npt.NDArray[np.float64]


def watch_picture(yard: Yard, tank: TankState, number: int | None = None) -> p.WatchPicture:
    """Return what a screen shows of a log, the last one if no entry is named."""
    kept = watched_entry(tank, number)
    event = kept.event
    standing = tank.accepted_table or tank.table
    zone, zone_name = zone_of(event)
    is_here = yard.logs.find(event.log_sha256) is not None
    return p.WatchPicture(
        number=kept.number,
        at=kept.mark.at,
        person=kept.mark.person,
        vehicle=event.vehicle,
        log_name=event.log_name,
        log_sha256=event.log_sha256,
        log_bytes=event.log_bytes,
        is_at_hand=is_here,
        table_digest=event.table_digest,
        is_table_old=standing is None or standing.event.digest != event.table_digest,
        records=event.records,
        from_s=event.from_s,
        to_s=event.to_s,
        from_at=moment(event.from_s, zone),
        to_at=moment(event.to_s, zone),
        zone=zone_name,
        remembered=str(event.columns.get("remembered", "")),
        events=tuple(_event(tank, kept, place, zone) for place in range(len(event.events))),
        undecided=tuple(
            p.UndecidedPicture(
                u.start_s, u.end_s, moment(u.start_s, zone), u.litres, u.u_litres, u.reason
            )
            for u in event.undecided
        ),
        receipts_name=event.receipts_name,
        receipts=tuple(_receipt(row, zone) for row in event.receipts),
        health=tuple(_health(found, zone) for found in event.health),
        provable_parked_l=event.provable_parked_l,
        provable_moving_l=event.provable_moving_l,
        noise=event.noise,
        arrival=event.arrival,
        notes=event.notes,
        others=tuple(_other(each) for each in reversed(tank.watches) if each is not kept),
        may_refine=is_here and tank.table is not None
        and tank.table.event.digest == event.table_digest,
        taken_over=_taken_over(tank, event.table_digest),
    )  # fmt: skip


def plot_picture(
    yard: Yard, job: str, tank_id: str, number: int | None,
    *, from_s: float | None, to_s: float | None, pixels: int,
) -> p.PlotPicture:  # fmt: skip
    """Return a stretch of a log for drawing, the whole log if no times are given."""
    thinned = open_watch(yard, job, tank_id, number).thinned
    from_s = thinned.from_s if from_s is None else from_s
    to_s = max(thinned.to_s, from_s + 1.0) if to_s is None else to_s
    seen = view(thinned, from_s, to_s, pixels)
    return p.PlotPicture(
        from_s=seen.from_s,
        to_s=seen.to_s,
        first_s=thinned.from_s,
        last_s=thinned.to_s,
        gap_s=seen.gap_s,
        time_s=tuple(np.round(seen.time_s, 2).tolist()),
        low_l=_column(seen.low_l),
        mean_l=_column(seen.mean_l),
        high_l=_column(seen.high_l),
        u_l=None if seen.u_l is None else _column(seen.u_l),
        speed_kmh=_column(seen.speed_kmh, 1),
        ignition=_column(seen.ignition),
        apart=tuple(np.flatnonzero(seen.is_apart).tolist()),
        off_table=thinned.off_table,
        silent=thinned.silent,
    )


def months_picture(
    yard: Yard, job: str, tank_id: str, number: int | None = None
) -> p.MonthsPicture:
    """Return the months of a log: litres in, used and not explained, each with its band."""
    opened = open_watch(yard, job, tank_id, number)
    _, tank = yard.tank(job, tank_id)
    known = [opened.watched.events[place] for place in explained_in(tank, opened.kept)]
    zone, _ = zone_of(opened.kept.event)
    months = months_of(opened.track, opened.table, opened.watched, explained=known, zone=zone)
    return p.MonthsPicture(tuple(_month(month) for month in months), HOW)


def explained_in(tank: TankState, kept: Kept[wk.LogWatched]) -> dict[int, Explained]:
    """Return what was said to the events of a log, by their place, the first being 0."""
    said = {k: explanation_of(tank, kept, k) for k in range(len(kept.event.events))}
    return {
        place: Explained(found.event.reason, found.mark.person)
        for place, found in said.items()
        if found is not None
    }


def zone_of(event: wk.LogWatched) -> tuple[tzinfo, str]:
    """Return the zone that was told of a log's times, else UTC, and its name."""
    told = event.columns.get("zone")
    try:
        return (UTC, "UTC") if told is None else (require_zone(told, field="zone"), told)
    except InputError:  # not known on this computer
        return UTC, "UTC"


def moment(time_s: float, zone: tzinfo = UTC) -> datetime:
    """Return seconds since 1970 as a time in a zone."""
    return datetime.fromtimestamp(time_s, zone)


def _event(tank: TankState, kept: Kept[wk.LogWatched], place: int, zone: tzinfo) -> p.EventPicture:
    e = kept.event.events[place]
    said = explanation_of(tank, kept, place)
    explained = None
    if said is not None:
        explained = p.ExplainedPicture(
            said.number, said.event.reason, said.mark.person, said.mark.at, said.event.watched
        )
    return p.EventPicture(
        place + 1, e.kind, e.start_s, e.end_s, moment(e.start_s, zone),
        moment(e.end_s, zone), e.litres,
        e.u_litres, e.before_l, e.after_l, e.score, e.reason, e.first, e.last, explained,
    )  # fmt: skip


def _receipt(row: wk.SeenReceipt, zone: tzinfo) -> p.ReceiptPicture:
    return p.ReceiptPicture(
        row.receipt, moment(row.at_s, zone), row.at_s, row.verdict, row.receipt_l, row.tank_l,
        row.difference_l, row.u_difference_l, row.message,
    )  # fmt: skip


def _health(found: wk.SeenHealth, zone: tzinfo) -> p.HealthPicture:
    return p.HealthPicture(
        found.kind, found.start_s, found.end_s, moment(found.start_s, zone),
        moment(found.end_s, zone), found.message, found.advice,
    )  # fmt: skip


def _other(kept: Kept[wk.LogWatched]) -> p.EarlierWatch:
    event = kept.event
    zone, _ = zone_of(event)
    return p.EarlierWatch(
        kept.number, event.log_name, moment(event.from_s, zone), moment(event.to_s, zone),
        kept.mark.at, kept.mark.person,
    )  # fmt: skip


def _taken_over(tank: TankState, digest: str) -> p.TakenOverPicture | None:
    """Return the newest table where service made it out of the table with this digest."""
    kept = tank.table
    if kept is None or not isinstance(kept.event, TableCarried):
        return None
    if (kept.event.way, kept.event.from_digest) != ("service", digest):
        return None
    accepted = any(each.event.digest == kept.event.digest for each in tank.accepted)
    return p.TakenOverPicture(
        kept.number, kept.event.digest, kept.mark.at, kept.mark.person, kept.event.reason, accepted
    )


def _column(values: Floats, decimals: int = 3) -> p.Litres:
    plain: Iterable[float] = np.round(values, decimals).tolist()
    return tuple(None if isnan(value) else value for value in plain)


def _month(month: Month) -> p.MonthPicture:
    return p.MonthPicture(
        month=month.month,
        from_s=month.from_s,
        to_s=month.to_s,
        records=month.records,
        seen=month.seen,
        refuels=month.refuels,
        filled=_figure(month.filled),
        used=None if month.used is None else _figure(month.used),
        drains=month.drains,
        drained=_figure(month.drained),
        unexplained=_figure(month.unexplained),
        undecided=month.undecided,
        engine_l=month.engine_l,
        notes=month.notes,
    )


def _figure(figure: Figure) -> p.FigurePicture:
    return p.FigurePicture(**asdict(figure))
