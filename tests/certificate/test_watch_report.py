"""The report on service: the same figures on paper, in the workbook and in Parquet."""

import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pypdf
import pytest

from gaugewright.certificate.watch_files import COLUMNS, report_parquet, report_xlsx
from gaugewright.certificate.watch_pages import Paper, drawing_pdf, report_pdf, vehicle_drawing
from gaugewright.certificate.watch_rows import report_rows
from gaugewright.table.table import Table
from gaugewright.testing.service import START_S, service_columns, usual_changes
from gaugewright.watch.report import (
    Explained,
    HealthLine,
    ReceiptLine,
    Report,
    VehicleReport,
    report_of,
    vehicle_report,
)
from gaugewright.watch.thinned import thin_track
from gaugewright.watch.values import Event, EventKind, Noise, Track, Undecided, Watched

TABLE = Table(np.linspace(0, 4000, 41), np.linspace(10, 350, 41), np.linspace(1.5, 3, 41))
NOISE = Noise(0.2, 4.0, 0.4, 0.1, float("nan"))
MADE_AT = datetime(2026, 5, 4, 9, tzinfo=UTC)


def a_vehicle(name: str = "=Tipper 4", days: int = 45) -> tuple[Track, VehicleReport]:
    changes = usual_changes(days, 350)
    columns = service_columns(TABLE, changes, days=days, period_s=300.0)
    track = Track(
        name, columns["time_s"], columns["counts"], columns["speed_kmh"], columns["ignition"]
    )
    events = []
    for change in sorted(changes, key=lambda each: each.at_s):
        first, last = np.searchsorted(track.time_s, [change.at_s, change.at_s + change.lasts_s])
        before, after = (float(TABLE.litres_at(track.counts[k])) for k in (first - 2, last + 2))
        kind = EventKind.REFUEL if change.litres > 0 else EventKind.DRAIN
        events.append(
            Event(name, kind, change.at_s, change.at_s + change.lasts_s, abs(change.litres), 2.0,
                  before, after, 9.0, "the level changed and stayed", int(first), int(last))
        )  # fmt: skip
    undecided = (Undecided(name, START_S + 5e5, START_S + 6e5, -9.0, 4.0, "a hole of 2 h"),)
    watched = Watched(
        name, tuple(events), undecided, NOISE, track.time_s.size, days * 86400.0, 3.5, float("inf")
    )
    drain = next(k for k, e in enumerate(events) if e.kind is EventKind.DRAIN)
    made = vehicle_report(
        track,
        TABLE,
        watched,
        explained={drain: Explained("workshop drained it, see 油", "Kim")},
        receipts=[ReceiptLine(1, START_S + 4e4, "short", 120.0, 101.0, -19.0, 2.5, "why")],
        health=[HealthLine("frozen", START_S, START_S + 600, "the reading stood still")],
        log_name="march.csv",
        log_sha256="ab" * 32,
        table_digest="cd" * 32,
    )
    return track, made


def a_report(*vehicles: VehicleReport, month: str | None = None) -> Report:
    return report_of(vehicles, title="Service of Tipper 4", month=month)


def drawn(track: Track, own: VehicleReport) -> dict[str, str]:
    svg = vehicle_drawing(thin_track(track, TABLE), own.events, own.undecided, own.explained)
    return {own.vehicle: svg}


@pytest.fixture(scope="module")
def one() -> tuple[Track, VehicleReport]:
    return a_vehicle()


def test_paper_workbook_and_parquet_say_the_same_litres(one: tuple[Track, VehicleReport]) -> None:
    track, own = one
    report = a_report(own)
    march = own.months[0]
    text = "".join(
        page.extract_text()
        for page in pypdf.PdfReader(
            io.BytesIO(report_pdf(report, drawn(track, own), made_at=MADE_AT))
        ).pages
    ).replace("\xa0", " ")
    assert march.used is not None
    assert march.used.u_litres is not None
    assert f"{march.used.litres:.1f} ± " in text
    book = openpyxl.load_workbook(io.BytesIO(report_xlsx(report)))
    head, first, *_ = book["Months"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert row["used_l"] == pytest.approx(march.used.litres)
    assert row["u_used_l"] == pytest.approx(march.used.u_litres)
    stored = pq.read_table(io.BytesIO(report_parquet(report))).to_pylist()[0]
    assert stored["used_l"] == march.used.litres
    assert stored["start"] == datetime(2026, 3, 2, tzinfo=UTC)


def test_paper_and_workbook_of_a_book_in_gallons_hold_no_litre(
    one: tuple[Track, VehicleReport],
) -> None:
    track, own = one
    fell = "at rest the level fell by 30.2 ± 1.5 L within 4 min; 7.0 ± 2.0 L went"
    events = tuple(replace(event, reason=fell) for event in own.events)
    report = a_report(replace(own, events=events))
    paper = report_pdf(report, drawn(track, own), made_at=MADE_AT, paper=Paper("us"))
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages)
    said = re.sub(r"\s+", " ", text)
    assert "fell by 8.0 ± 0.4 US gal within" in said
    assert not re.search(r"\d L\b", said)

    book = openpyxl.load_workbook(io.BytesIO(report_xlsx(report, "US gal")))
    head, first, *_ = book["Events"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert row["us_gal"] == pytest.approx(own.events[0].litres / 3.785411784)
    assert row["reason"].endswith("1.8 ± 0.5 US gal went")
    assert {"u_us_gal", "before_us_gal"} <= set(head)
    assert not [name for name in head if name.endswith(("litres", "_l"))]
    assert report_rows(report)["events"][0]["reason"] == fell  # the contract's files: litres


def test_every_table_keeps_its_columns_with_and_without_rows(
    one: tuple[Track, VehicleReport],
) -> None:
    full, empty = a_report(one[1]), report_of([], title="Nothing")
    for name, rows in report_rows(full).items():
        assert tuple(rows[0]) == COLUMNS[name]
        stored = pq.read_table(io.BytesIO(report_parquet(full, name)))
        assert tuple(stored.column_names) == COLUMNS[name]
        bare = pq.read_table(io.BytesIO(report_parquet(empty, name)))
        assert bare.schema.equals(stored.schema)
        assert bare.num_rows == 0


def test_a_fleet_has_a_table_of_its_own(one: tuple[Track, VehicleReport]) -> None:
    other = a_vehicle("Tipper 5", 20)[1]
    report = a_report(one[1], other)
    rows = report_rows(report)["fleet"]
    assert tuple(rows[0]) == COLUMNS["fleet"]
    assert (rows[0]["month"], rows[0]["vehicles"]) == ("2026-03", 2)
    assert rows[0]["filled_l"] == pytest.approx(
        sum(v.months[0].filled.litres for v in (one[1], other))
    )


def test_a_name_cannot_become_a_formula(one: tuple[Track, VehicleReport]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(report_xlsx(a_report(one[1]))))
    assert book["Months"]["A2"].value == "'=Tipper 4"


def test_what_is_not_known_is_an_empty_cell_not_a_figure(one: tuple[Track, VehicleReport]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(report_xlsx(a_report(one[1]))))
    head, first = book["Vehicles"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert row["lag_s"] is None
    assert row["provable_moving_l"] is None
    assert row["provable_parked_l"] == 3.5


def test_the_same_report_gives_the_same_bytes(one: tuple[Track, VehicleReport]) -> None:
    track, own = one
    pictures = drawn(track, own)
    assert report_xlsx(a_report(own)) == report_xlsx(a_report(own))
    first, second = (report_pdf(a_report(own), pictures, made_at=MADE_AT) for _ in range(2))
    assert first == second


def test_paper_names_letters_it_cannot_write_and_shows_the_explanation(
    one: tuple[Track, VehicleReport],
) -> None:
    track, own = one
    paper = Paper("us", "letter", "Yard & Sons")
    reader = pypdf.PdfReader(
        io.BytesIO(report_pdf(a_report(own), drawn(track, own), made_at=MADE_AT, paper=paper))
    )
    text = "".join(page.extract_text() for page in reader.pages)
    assert "[U+6CB9]" in text
    assert "Explained by Kim" in text
    assert "US gal" in text.replace("\xa0", " ")
    width, height = (float(reader.pages[0].mediabox[k]) for k in (2, 3))
    assert (round(width), round(height)) == (792, 612)


def test_the_page_of_several_vehicles_counts_one_finding_as_one(
    one: tuple[Track, VehicleReport],
) -> None:
    track, own = one
    other = replace(own, vehicle="Tipper 5", health=own.health * 2)
    pictures = drawn(track, own) | drawn(track, other)
    pages = pypdf.PdfReader(
        io.BytesIO(report_pdf(a_report(own, other), pictures, made_at=MADE_AT))
    ).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "1 finding on health" in text
    assert "2 findings on health" in text


def test_one_month_leaves_out_what_belongs_to_others(one: tuple[Track, VehicleReport]) -> None:
    whole, april = a_report(one[1]), a_report(one[1], month="2026-04")
    own = april.vehicles[0]
    assert [m.month for m in own.months] == ["2026-04"]
    assert 0 < len(own.events) < len(whole.vehicles[0].events)
    assert own.receipts == ()
    assert own.explained == {}


def test_months_in_another_zone_say_so(one: tuple[Track, VehicleReport]) -> None:
    track, own = one
    oslo = ZoneInfo("Europe/Oslo")
    svg = vehicle_drawing(
        thin_track(track, TABLE), own.events, (), {}, zone=oslo, zone_name="Europe/Oslo"
    )
    assert "2026-03-02 01:00" in svg
    assert "Europe/Oslo" in svg


def test_a_drawing_stands_on_one_page(one: tuple[Track, VehicleReport]) -> None:
    track, own = one
    made = drawing_pdf("Tipper 4", "A day.", drawn(track, own)[own.vehicle], made_at=MADE_AT)
    assert len(pypdf.PdfReader(io.BytesIO(made)).pages) == 1
