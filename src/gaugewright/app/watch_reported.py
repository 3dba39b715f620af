"""The report and the drawing of a job's log, for the Watch stage."""

from dataclasses import dataclass

from gaugewright.app.pictured_watch import explained_in, moment, zone_of
from gaugewright.app.watching import OpenWatch, open_watch
from gaugewright.app.yard import Yard
from gaugewright.certificate.issue import UnitsName
from gaugewright.certificate.watch_pages import Paper, report_pdf, vehicle_drawing
from gaugewright.errors import InputError
from gaugewright.watch.report import (
    Explained,
    HealthLine,
    ReceiptLine,
    Report,
    VehicleReport,
    report_of,
    vehicle_report,
)

_UNITS: dict[str, UnitsName] = {"L": "metric", "US gal": "us", "imp gal": "imperial"}


@dataclass(frozen=True, slots=True)
class JobDrawing:
    """A drawing and what stands over it."""

    heading: str
    says: str
    svg: str


def job_report(
    yard: Yard, job: str, tank_id: str, number: int | None = None, month: str | None = None
) -> Report:
    """Return the report on a job's log; `InputError` for a month that the log does not touch."""
    opened = open_watch(yard, job, tank_id, number)
    return _report(yard, job, tank_id, opened, month)


def job_report_pdf(
    yard: Yard, job: str, tank_id: str, number: int | None = None, month: str | None = None
) -> bytes:
    """Return the report on a job's log as PDF, in the units of the book."""
    opened = open_watch(yard, job, tank_id, number)
    report = _report(yard, job, tank_id, opened, month)
    own = report.vehicles[0]
    units = _UNITS[yard.unit]
    ends = (own.months[0].from_s, own.months[-1].to_s) if month else (None, None)
    svg = vehicle_drawing(
        opened.thinned, own.events, own.undecided, own.explained, units=units,
        zone=report.zone, zone_name=report.zone_name, from_s=ends[0], to_s=ends[1],
    )  # fmt: skip
    paper = Paper(units, "a4" if units == "metric" else "letter", yard.book.settings().workshop)
    return report_pdf(report, {own.vehicle: svg}, made_at=yard.now(), paper=paper)


def job_drawing(
    yard: Yard,
    job: str,
    tank_id: str,
    number: int | None = None,
    from_s: float | None = None,
    to_s: float | None = None,
) -> JobDrawing:
    """Return the drawing of a stretch of a job's log, all of it if no times are given."""
    opened = open_watch(yard, job, tank_id, number)
    state, tank = yard.tank(job, tank_id)
    zone, zone_name = zone_of(opened.kept.event)
    svg = vehicle_drawing(
        opened.thinned, opened.watched.events, opened.watched.undecided,
        explained_in(tank, opened.kept), units=_UNITS[yard.unit],
        zone=zone, zone_name=zone_name, from_s=from_s, to_s=to_s,
    )  # fmt: skip
    start, end = (
        moment(opened.thinned.from_s if from_s is None else from_s, zone),
        moment(opened.thinned.to_s if to_s is None else to_s, zone),
    )
    name = opened.kept.event.log_name
    says = f"{start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M} {zone_name}, from {name}."
    return JobDrawing(f"{state.fact('vehicle') or job} in service", says, svg)


def _report(yard: Yard, job: str, tank_id: str, opened: OpenWatch, month: str | None) -> Report:
    state, tank = yard.tank(job, tank_id)
    event = opened.kept.event
    zone, zone_name = zone_of(event)
    explained: dict[int, Explained] = explained_in(tank, opened.kept)
    own: VehicleReport = vehicle_report(
        opened.track,
        opened.table,
        opened.watched,
        explained=explained,
        receipts=[
            ReceiptLine(r.receipt, r.at_s, r.verdict, r.receipt_l, r.tank_l, r.difference_l,
                        r.u_difference_l, r.message)
            for r in event.receipts
        ],
        health=[
            HealthLine(h.kind, h.start_s, h.end_s, f"{h.message} {h.advice}".strip())
            for h in event.health
        ],
        log_name=event.log_name,
        log_sha256=event.log_sha256,
        table_digest=event.table_digest,
        zone=zone,
    )  # fmt: skip
    known = [m.month for m in own.months]
    if month is not None and month not in known:
        raise InputError(f"the log has no records of {month}, only of {', '.join(known)}",
                         field="month")  # fmt: skip
    title = f"Service of {state.fact('vehicle') or job}, tank {tank_id}, job {job}"
    return report_of([own], title=title, zone=zone, zone_name=zone_name, month=month)
