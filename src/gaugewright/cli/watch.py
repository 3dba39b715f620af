"""``gaugewright watch``: refuels, drains and health from a log."""

from typing import TYPE_CHECKING, Annotated

import typer

from gaugewright.cli.output import Output, require_other_file
from gaugewright.cli.watch_live import (
    Doors,
    EventsTopic,
    HealthTopic,
    Http,
    Live,
    Mqtt,
    Tls,
    Topic,
    User,
    watch_live,
)
from gaugewright.cli.watch_report import Month, Plots, Reports

if TYPE_CHECKING:  # the rooms below are imported only when a command runs
    from gaugewright.app.watch_task import Look

EXAMPLE = (
    "Example: gaugewright watch log.parquet --tables tables/ --receipts receipts.csv --out result/"
)


def watch(
    tables: Annotated[
        str,
        typer.Option(metavar="DIR", help="Folder of <vehicle>.csv; one table for one vehicle."),
    ],
    out: Annotated[str, typer.Option(metavar="DIR", help="Folder for the result; made if new.")],
    log: Annotated[
        str | None,
        typer.Argument(
            metavar="LOG", help="Log: Parquet or CSV, a folder of them, - for standard input."
        ),
    ] = None,
    receipts: Annotated[
        str | None, typer.Option(metavar="F", help="Receipts (CSV): vehicle,time,litres.")
    ] = None,
    columns: Annotated[
        list[str] | None,
        typer.Option(
            metavar="OURS=THEIRS,...",
            help="Which column is which, told once and remembered: counts=Fuel,time=Date+Clock.",
        ),
    ] = None,
    vehicle: Annotated[
        str | None, typer.Option(metavar="NAME", help="The vehicle, if the log has no column.")
    ] = None,
    zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Zone of times that have none.")
    ] = None,
    time_format: Annotated[
        str | None, typer.Option(metavar="F", help="How times are written: '%d.%m.%Y %H:%M:%S'.")
    ] = None,
    also: Annotated[
        list[str] | None,
        typer.Option(metavar="parquet|xlsx", help="Write the events in this form too; repeat."),
    ] = None,
    report: Reports = None,
    plots: Plots = False,
    month: Month = None,
    jobs: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Cores to use; all if left out.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Address of a dask scheduler to use.")
    ] = None,
    scratch: Annotated[
        str | None, typer.Option(metavar="DIR", help="Folder for what memory cannot hold.")
    ] = None,
    fresh: Annotated[bool, typer.Option("--fresh", help="Do finished vehicles again too.")] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit with 1 if anything needs a person.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
    live: Live = False,
    http: Http = None,
    mqtt: Mqtt = None,
    topic: Topic = None,
    events_topic: EventsTopic = None,
    health_topic: HealthTopic = None,
    mqtt_user: User = None,
    mqtt_tls: Tls = False,
) -> None:
    """Look a log through: what was filled, was fuel taken, do receipts agree, is the probe well.

    Writes events.csv, health.csv and, with receipts, reconciliation.csv. A run that was stopped
    goes on where it was; a finished vehicle is done again only if its input has changed.

    With --live, records come in by HTTP or MQTT and each event is printed as a line of JSON.
    """
    from datetime import UTC, datetime
    from pathlib import Path

    from gaugewright.app.log_columns import Columns, parse_columns, require_zone
    from gaugewright.app.receipt_files import read_receipts
    from gaugewright.app.watch_report import FORMS, report_of
    from gaugewright.app.watch_run import HowToRun, watch_log
    from gaugewright.app.watch_tables import table_files
    from gaugewright.cli.program import FINDINGS
    from gaugewright.cli.watch_report import (
        in_zone_of,
        require_reportable,
        wanted_of,
        write_service,
    )
    from gaugewright.cli.watch_text import Asking, ProgressBar, report_text, write_report
    from gaugewright.errors import InputError
    from gaugewright.watch.order import CLOCK_AHEAD_S

    doors = Doors(http, mqtt, topic, events_topic, mqtt_user, mqtt_tls, health_topic)
    if zone is not None:
        require_zone(zone, field="--zone")
    if live:
        if log is not None or receipts is not None:
            raise InputError("takes neither LOG nor --receipts", field="--live")
        watch_live(doors, tables, Path(out), _look())
        return
    doors.require_none()
    if log is None:
        raise InputError("is missing, wanted the log's file or folder (or --live)", field="LOG")
    output = Output(as_json=as_json)
    forms = also or []
    service = wanted_of(report, plots, month, log)
    for form in forms:
        if form not in FORMS:
            raise InputError(f"must be {' or '.join(FORMS)}, found '{form}'", field="--also")
    if [log, tables, receipts].count("-") > 1:
        raise InputError("only one of LOG, --tables and --receipts can be standard input")
    if out == "-":
        raise InputError("the result is several files, wanted a folder", field="--out")
    for name in ("events.csv", "health.csv", "reconciliation.csv"):
        require_other_file(str(Path(out) / name), "--out", {"LOG": log, "--receipts": receipts})
    told = parse_columns(columns or []) | Columns(
        vehicle=vehicle, zone=zone, time_format=time_format
    )
    found = table_files(tables)
    paid = None if receipts is None else read_receipts(receipts, vehicle=vehicle, zone=told.zone)
    how = HowToRun(jobs, cluster, scratch=scratch, is_fresh=fresh)
    latest_s = datetime.now(UTC).timestamp() + CLOCK_AHEAD_S
    asking = Asking(log, is_allowed=not as_json)
    with ProgressBar(is_shown=not as_json) as bar:
        watched = asking.until_known(
            told,
            lambda known: watch_log(
                log, found, _look(), latest_s=latest_s, receipts=paid or (), out=Path(out),
                told=known, how=how, progress=bar.show,
            ),
        )  # fmt: skip
    found_in_log = report_of(watched, paid)
    if service is not None:
        service = in_zone_of(found_in_log, service)
        require_reportable(found_in_log, service)
    write_report(found_in_log, Path(out), forms)
    written: list[str] = []
    if service is not None:
        written = write_service(
            found_in_log, service, log=log, tables=found, told=watched.memory.told,
            out=Path(out), latest_s=latest_s, made_at=datetime.now(UTC), scratch=scratch,
        )  # fmt: skip
    watched.memory.keep()
    output.tell(report_text(found_in_log, out))
    if written:
        output.tell(f"Written besides: {', '.join(written)}")
    output.give({**found_in_log.record(), "out": out, "reports": written,
                 "remembered": watched.memory.used})  # fmt: skip
    if strict and found_in_log.needs_person:
        raise typer.Exit(FINDINGS)


def _look() -> "Look":
    from gaugewright.app.watch_task import Look
    from gaugewright.watch.detect import watch_vehicle
    from gaugewright.watch.health.notes import health

    return Look(watch_vehicle, health)
