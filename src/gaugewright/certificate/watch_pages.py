"""The report on service as a PDF: each vehicle's drawing, months, events, receipts, health."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, tzinfo
from math import isinf, isnan
from typing import Any

from gaugewright.certificate.drawing.watch_plot import Mark, WatchWords, watch_plot
from gaugewright.certificate.issue import UnitsName
from gaugewright.certificate.typeset import compiled
from gaugewright.certificate.writing import Writer, free
from gaugewright.units import from_litres, with_volumes_in
from gaugewright.watch.combined import Figure
from gaugewright.watch.report import Explained, Report, VehicleReport
from gaugewright.watch.thinned import Thinned, view
from gaugewright.watch.values import Event, EventKind, Undecided

When = Callable[[float], str]

MOST_ROWS = 400
"""Rows of one table on paper; what is left out is counted, and stands in the workbook."""
PIXELS = 1100


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: its columns, which of them is wide, which hold figures, its rows."""

    columns: tuple[str, ...]
    right: tuple[bool, ...]
    wide: int
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Paper:
    """How the report is set."""

    units: UnitsName = "metric"
    paper: str = "a4"
    workshop: str = ""


def report_pdf(
    report: Report, drawn: Mapping[str, str], *, made_at: datetime, paper: Paper | None = None
) -> bytes:
    """Return the report as PDF/A-3; ``drawn`` are the vehicles' drawings, SVG by name.

    The same report, drawings and ``made_at`` give the same bytes.  Nothing is fetched and no
    font of this computer is used.
    """
    paper = paper or Paper()
    write = Writer(paper.units)
    data = {
        "title": free(report.title),
        "workshop": free(paper.workshop),
        "paper": "us-letter" if paper.paper == "letter" else "a4",
        "foot": free(f"{report.title} · made {made_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"),
        "date": _date(made_at),
        "says": "All bands hold the true litres with 95 % probability. Months and times are "
        f"those of {free(report.zone_name)}. In the drawings: triangle up, refuel; triangle "
        "down, drain, hollow where it is explained; diamond, not decidable.",
        "fleet": asdict(_fleet(report, write)) if len(report.vehicles) > 1 else None,
        "overview": asdict(_overview(report, write)),
        "vehicles": [
            _vehicle(v, drawn[v.vehicle], report.zone, report.zone_name, write)
            for v in report.vehicles
        ],
        "how": list(report.how),
    }
    return compiled("watch.typ", json.dumps(data), what="report")


def drawing_pdf(
    heading: str, says: str, svg: str, *, made_at: datetime, paper: Paper | None = None
) -> bytes:
    """Return one drawing on a page of its own, as PDF/A-3."""
    paper = paper or Paper()
    vehicle = {"heading": "", "says": [], "svg": svg, "alt": free(says), "parts": [], "notes": []}
    data = {
        "title": free(heading),
        "workshop": free(paper.workshop),
        "paper": "us-letter" if paper.paper == "letter" else "a4",
        "foot": free(heading),
        "date": _date(made_at),
        "says": free(says),
        "fleet": None,
        "vehicles": [vehicle],
        "how": [],
    }
    return compiled("watch.typ", json.dumps(data), what="drawing")


def vehicle_drawing(
    thinned: Thinned,
    events: Sequence[Event],
    undecided: Sequence[Undecided],
    explained: Mapping[int, Explained],
    *,
    units: UnitsName = "metric",
    zone: tzinfo = UTC,
    zone_name: str = "UTC",
    from_s: float | None = None,
    to_s: float | None = None,
    width: float = 1100,
    height: float = 520,
) -> str:
    """Return a vehicle's drawing as SVG, the whole log if no times are given."""
    unit = Writer(units).volume_unit
    from_s = thinned.from_s if from_s is None else from_s
    to_s = max(thinned.to_s, from_s + 1.0) if to_s is None else to_s
    marks = [
        Mark("refuel" if e.kind is EventKind.REFUEL else "drain", e.start_s, e.end_s, e.litres,
             place in explained)
        for place, e in enumerate(events)
    ]  # fmt: skip
    marks += [Mark("undecided", u.start_s, u.end_s, u.litres) for u in undecided]
    words = WatchWords(
        label=f"Fuel of {free(thinned.vehicle)} over time, with its events, speed and ignition.",
        litres=f"{unit}, with the table's 95 % band",
        speed="km/h, the highest",
        ignition="ignition",
        lanes=("refuels", "drains", "not decidable"),
        zone_name=zone_name,
        zone=zone,
        per_litre=from_litres(1.0, unit),
    )
    seen = view(thinned, from_s, to_s, min(PIXELS, int(width)))
    return watch_plot(seen, marks, words, width, height)


def _date(at: datetime) -> list[int]:
    return [*at.astimezone(UTC).timetuple()[:6]]


def _said(text: str, write: Writer) -> str:
    """Return a sentence of the watch, its litres in the paper's unit."""
    return free(with_volumes_in(write.volume_unit, text))


def _near(figure: Figure | None, write: Writer) -> str:
    return "not known" if figure is None else write.near(figure.litres, figure.u_litres)


def _fleet(report: Report, write: Writer) -> Grid:
    return Grid(
        ("Month", "Vehicles", "Fuel in", "Used", "Drained", "Not explained", ""),
        (False, True, True, True, True, True, False),
        6,
        tuple(
            (m.month, str(m.vehicles), _near(m.filled, write), _near(m.used, write),
             _near(m.drained, write), _near(m.unexplained, write), _said("; ".join(m.notes), write))
            for m in report.fleet
        ),
    )  # fmt: skip


def _overview(report: Report, write: Writer) -> Grid:
    return Grid(
        ("Vehicle", "Drains not explained", "Smallest provable drain, parked", "on the move", ""),
        (False, True, True, True, False),
        4,
        tuple(
            (
                free(v.vehicle),
                str(sum(e.kind is EventKind.DRAIN and k not in v.explained
                        for k, e in enumerate(v.events))),
                _provable(v.provable_parked_l, write),
                _provable(v.provable_moving_l, write),
                _findings(len(v.health)),
            )
            for v in report.vehicles
        ),
    )  # fmt: skip


def _findings(number: int) -> str:
    return f"{number} finding{'' if number == 1 else 's'} on health" if number else ""


def _provable(litres: float | None, write: Writer) -> str:
    if litres is not None and isnan(litres):
        return "not known"
    return "none" if litres is None or isinf(litres) else write.volume(litres)


def _vehicle(
    v: VehicleReport, svg: str, zone: tzinfo, zone_name: str, write: Writer
) -> dict[str, Any]:
    def when(time_s: float) -> str:
        return f"{datetime.fromtimestamp(time_s, zone):%Y-%m-%d %H:%M}"

    parts = [
        ("Month by month", _months(v, write)),
        ("Drains", _events(v, EventKind.DRAIN, when, write)),
        ("Not decidable", _undecided(v, when, write)),
        ("Receipts", _receipts(v, when, write)),
        ("Health of the probe", _health(v, when, write)),
        ("Refuels", _events(v, EventKind.REFUEL, when, write)),
    ]
    says = [
        f"{when(v.from_s)} to {when(v.to_s)} {zone_name}, {v.records} records. Smallest provable "
        f"drain: {_provable(v.provable_parked_l, write)} parked, "
        f"{_provable(v.provable_moving_l, write)} on the move; a smaller one may go unseen.",
    ]
    notes = [*v.notes, *dict.fromkeys(note for m in v.months for note in m.notes)]
    if v.log_sha256:
        notes.append(f"Log {v.log_name}, SHA-256 {v.log_sha256}; table {v.table_digest}")
    return {
        "heading": free(v.vehicle),
        "says": [free(s) for s in says],
        "svg": svg,
        "alt": f"Fuel of {free(v.vehicle)} over time",
        "parts": [{"heading": name, "grid": asdict(grid)} for name, grid in parts],
        "notes": [_said(note, write) for note in notes],
    }


def _cut(rows: Sequence[tuple[str, ...]], columns: int) -> tuple[tuple[str, ...], ...]:
    if len(rows) <= MOST_ROWS:
        return tuple(rows)
    more = f"{len(rows) - MOST_ROWS} more, see the workbook"
    return (*rows[:MOST_ROWS], *[(*("",) * (columns - 1), more)])


def _months(v: VehicleReport, write: Writer) -> Grid:
    rows = tuple(
        (
            m.month,
            _near(m.filled, write),
            _near(m.used, write),
            "–" if m.engine_l is None else write.volume(m.engine_l),
            _near(m.drained, write),
            _near(m.unexplained, write),
            f"{m.refuels} / {m.drains} / {m.undecided}",
            f"{100 * m.seen:.0f} %",
        )
        for m in v.months
    )
    return Grid(
        ("Month", "Fuel in", "Used", "Engine's counter", "Drained", "Not explained",
         "Refuels / drains / not decidable", "Hours seen"),
        (False, *(True,) * 7), 6, rows,
    )  # fmt: skip


def _events(v: VehicleReport, kind: EventKind, when: When, write: Writer) -> Grid:
    rows = []
    for place, e in enumerate(v.events):
        if e.kind is not kind:
            continue
        said = v.explained.get(place)
        words = _said(e.reason, write)
        if said is not None:
            words += f" Explained by {free(said.person)}: {free(said.reason)}"
        rows.append(
            (when(e.start_s), when(e.end_s), write.near(e.litres, e.u_litres),
             write.volume(e.before_l), write.volume(e.after_l), words)
        )  # fmt: skip
    return Grid(
        ("From", "To", "Fuel", "Before", "After", "Why"),
        (False, False, True, True, True, False), 5, _cut(rows, 6),
    )  # fmt: skip


def _undecided(v: VehicleReport, when: When, write: Writer) -> Grid:
    rows = [
        (when(u.start_s), when(u.end_s), write.near(u.litres, u.u_litres), _said(u.reason, write))
        for u in v.undecided
    ]
    return Grid(("From", "To", "Fuel", "Why"), (False, False, True, False), 3, _cut(rows, 4))


def _receipts(v: VehicleReport, when: When, write: Writer) -> Grid:
    rows = [
        (
            str(r.receipt),
            when(r.at_s),
            r.verdict.replace("_", " "),
            write.volume(r.receipt_l),
            "–" if r.tank_l is None else write.volume(r.tank_l),
            "–" if r.difference_l is None else write.near(r.difference_l, r.u_difference_l),
            _said(r.message, write),
        )
        for r in v.receipts
    ]
    return Grid(
        ("No.", "Time", "Verdict", "Paid", "In the tank", "Difference", ""),
        (True, False, False, True, True, True, False), 6, _cut(rows, 7),
    )  # fmt: skip


def _health(v: VehicleReport, when: When, write: Writer) -> Grid:
    rows = [
        ("" if h.start_s is None else when(h.start_s), "" if h.end_s is None else when(h.end_s),
         _said(h.message, write))
        for h in v.health
    ]  # fmt: skip
    return Grid(("From", "To", "What was found"), (False, False, False), 2, _cut(rows, 3))
