"""Reports and drawings of ``gaugewright watch``: ``--report``, ``--plots``, ``--month``."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugewright.errors import InputError

if TYPE_CHECKING:  # the rooms below are imported only when a report is asked for
    from gaugewright.app.log_columns import Columns
    from gaugewright.app.watch_report import WatchReport
    from gaugewright.app.watch_service import Wanted
    from gaugewright.app.watch_tables import TableFiles

Reports = Annotated[
    list[str] | None,
    typer.Option(
        "--report",
        metavar="pdf|xlsx|parquet",
        help="Write the report on service, month by month, in this form; repeat.",
    ),
]
Plots = Annotated[
    bool, typer.Option("--plots", help="Write each vehicle's drawing too, SVG and PDF.")
]
Month = Annotated[str | None, typer.Option(metavar="2026-03", help="Report on this month only.")]


def wanted_of(
    report: list[str] | None, plots: bool, month: str | None, log: str
) -> "Wanted | None":
    """Return what is to be reported, ``None`` if nothing is; refuses what cannot be.

    Months and times are those of UTC until `in_zone_of` says otherwise.
    """
    if not report and not plots:
        if month is not None:
            raise InputError("is of use with --report only", field="--month")
        return None
    from gaugewright.app.watch_service import Wanted

    if log == "-":
        raise InputError(
            "reads the log a second time; give a file in place of -",
            field="--report" if report else "--plots",
        )
    if month is not None:
        try:
            datetime.strptime(month, "%Y-%m")  # noqa: DTZ007 - only its form is looked at
        except ValueError:
            raise InputError(f"wanted a month like 2026-03, found '{month}'",
                             field="--month") from None  # fmt: skip
    return Wanted(tuple(dict.fromkeys(report or ())), plots, month)


def in_zone_of(found: "WatchReport", wanted: "Wanted") -> "Wanted":
    """Return what is to be reported in the zone that was told of the log, now or before."""
    from dataclasses import replace

    from gaugewright.app.log_columns import require_zone

    name = found.log.memory.zone
    if name is None:
        return wanted
    return replace(wanted, zone=require_zone(name, field="zone"), zone_name=name)


def require_reportable(found: "WatchReport", wanted: "Wanted") -> None:
    """Refuse what cannot be reported while nothing is written yet."""
    from gaugewright.app.watch_service import require_possible

    require_possible(found, wanted)


def write_service(
    found: "WatchReport",
    wanted: "Wanted",
    *,
    log: str,
    tables: "TableFiles",
    told: "Columns",
    out: Path,
    latest_s: float,
    made_at: datetime,
    scratch: str | None = None,
) -> list[str]:
    """Write the reports and drawings beside the other files, each whole; return their names."""
    from gaugewright.app.files import make_folder, write_bytes
    from gaugewright.app.watch_service import service_files
    from gaugewright.app.watch_tracks import vehicle_tracks

    vehicles = [d.vehicle for d in found.log.vehicles if d.watched is not None]
    tracks = vehicle_tracks(log, tables, vehicles, told=told, latest_s=latest_s, scratch=scratch)
    title = vehicles[0] if len(vehicles) == 1 else f"{len(vehicles)} vehicles"
    names = []
    for name, content in service_files(
        found, tracks, wanted, title=f"Service of {title}", made_at=made_at
    ):
        place = out / name
        make_folder(place.parent)
        write_bytes(str(place), content)
        names.append(name)
    return names
