"""The report on service of a whole log: every vehicle, and all of them together."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from urllib.parse import quote

from gaugewright.app.watch_report import WatchReport
from gaugewright.app.watch_tracks import VehicleTrack
from gaugewright.certificate.watch_files import report_parquet, report_xlsx
from gaugewright.certificate.watch_pages import drawing_pdf, report_pdf, vehicle_drawing
from gaugewright.certificate.watch_rows import report_rows
from gaugewright.errors import InputError
from gaugewright.watch.months import month_edges
from gaugewright.watch.report import (
    HealthLine,
    ReceiptLine,
    Report,
    VehicleReport,
    report_of,
    vehicle_report,
)
from gaugewright.watch.thinned import thin_track

FORMS = ("pdf", "xlsx", "parquet")
NOT_DECIDABLE = "not_decidable"
"""The kind of remark that an undecided change is among the health of a vehicle."""
MOST_ON_PAPER = 200
"""Vehicles that one PDF holds; a larger fleet is reported in the workbook or as Parquet."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be reported, and how."""

    forms: tuple[str, ...] = ()
    plots: bool = False
    month: str | None = None
    zone: tzinfo = UTC
    zone_name: str = "UTC"

    def __post_init__(self) -> None:
        """Refuse what no report is."""
        for form in self.forms:
            if form not in FORMS:
                raise InputError(f"must be {', '.join(FORMS)}, found '{form}'", field="--report")


def require_possible(found: WatchReport, wanted: Wanted) -> None:
    """Refuse what cannot be reported, before anything is written.

    Raises `InputError` where no vehicle could be watched, for a month that none has records
    of, and for a PDF of a fleet that no PDF holds.
    """
    watched = [d for d in found.log.vehicles if d.watched is not None and d.first_s <= d.last_s]
    if not watched:
        raise InputError("no vehicle could be watched: there is nothing to report",
                         field="--report")  # fmt: skip
    if "pdf" in wanted.forms and len(watched) > MOST_ON_PAPER:
        raise InputError(
            f"a PDF holds {MOST_ON_PAPER} vehicles and these are {len(watched)}; "
            "wanted xlsx or parquet, with --plots for the drawings",
            field="--report",
        )
    known: set[str] = set()
    for done in watched:
        starts = month_edges(done.first_s, done.last_s, wanted.zone)[:-1]
        known |= {f"{datetime.fromtimestamp(start, wanted.zone):%Y-%m}" for start in starts}
    if wanted.month is not None and wanted.month not in known:
        raise InputError(
            f"no vehicle has records of {wanted.month}, found {', '.join(sorted(known))}",
            field="--month",
        )


def service_files(
    found: WatchReport, tracks: Iterable[VehicleTrack], wanted: Wanted, *, title: str,
    made_at: datetime,
) -> Iterator[tuple[str, bytes]]:  # fmt: skip
    """Yield the files of the report, name and contents: drawings as they are made, then the rest.

    `require_possible` comes before it.
    """
    watched = {d.vehicle: d.watched for d in found.log.vehicles if d.watched is not None}
    receipts, health = _receipts(found), _health(found)
    vehicles: list[VehicleReport] = []
    drawn: dict[str, str] = {}
    for one in tracks:
        name = one.track.vehicle
        own = vehicle_report(
            one.track, one.table, watched[name], receipts=receipts[name], health=health[name],
            zone=wanted.zone,
        )  # fmt: skip
        vehicles.append(own)
        if wanted.plots or "pdf" in wanted.forms:
            svg = _drawing(one, own, wanted)
            if "pdf" in wanted.forms:
                drawn[name] = svg
            if wanted.plots:
                safe = quote(name, safe=" ")[:100]
                yield f"plots/{safe}.svg", svg.encode()
                says = f"{name}, {one.track.time_s.size} records."
                yield f"plots/{safe}.pdf", drawing_pdf(f"{name} in service", says, svg,
                                                       made_at=made_at)  # fmt: skip
    if not wanted.forms:
        return
    report = report_of(
        vehicles, title=title, zone=wanted.zone, zone_name=wanted.zone_name, month=wanted.month
    )
    yield from _written(report, drawn, wanted.forms, made_at)


def _written(
    report: Report, drawn: Mapping[str, str], forms: Sequence[str], made_at: datetime
) -> Iterator[tuple[str, bytes]]:
    if "pdf" in forms:
        yield "report.pdf", report_pdf(report, drawn, made_at=made_at)
    if "xlsx" in forms:
        yield "report.xlsx", report_xlsx(report)
    if "parquet" in forms:
        for table in report_rows(report):
            yield f"report-{table}.parquet", report_parquet(report, table)


def _drawing(one: VehicleTrack, own: VehicleReport, wanted: Wanted) -> str:
    months = [m for m in own.months if m.month == wanted.month]
    return vehicle_drawing(
        thin_track(one.track, one.table),
        own.events,
        own.undecided,
        own.explained,
        zone=wanted.zone,
        zone_name=wanted.zone_name,
        from_s=months[0].from_s if months else None,
        to_s=months[-1].to_s if months else None,
    )


def _receipts(found: WatchReport) -> Mapping[str, list[ReceiptLine]]:
    lines: dict[str, list[ReceiptLine]] = defaultdict(list)
    for r in found.reconciliation.receipts if found.reconciliation else ():
        lines[r.vehicle].append(
            ReceiptLine(r.receipt, r.time_s, str(r.verdict), r.receipt_l, r.tank_l,
                        r.difference_l, r.u_difference_l, r.reason)
        )  # fmt: skip
    return lines


def _health(found: WatchReport) -> Mapping[str, list[HealthLine]]:
    lines: dict[str, list[HealthLine]] = defaultdict(list)
    for one in found.remarks:
        if one.kind == NOT_DECIDABLE:
            continue  # has a table of its own
        lines[one.vehicle].append(HealthLine(one.kind, one.start_s, one.end_s, one.message))
    return lines
