"""The Watch stage over the API: a log is given, looked through, explained, reported."""

import io
import re
import uuid
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pypdf
import pytest

from gaugewright.table.table import Table
from gaugewright.testing.hand import Hand, counts_at
from gaugewright.testing.service import (
    Change,
    at,
    receipts_csv,
    service_columns,
    service_csv,
    usual_changes,
)
from gaugewright.workbench.running import Workbench

DAYS = 5
TABLE = Table(
    np.array([counts_at(v) for v in (12.0, 60, 120, 180, 240, 280)]),
    np.array([13.2, 61.2, 121.2, 181.2, 241.2, 281.2]),
    None,
)
CHANGES = usual_changes(DAYS, 281.2)
LOG = service_csv(service_columns(TABLE, CHANGES, days=DAYS, period_s=60.0), "Tipper 4")
RECEIPTS = receipts_csv(CHANGES, "Tipper 4", inflated_l=15.0)


def with_table(workbench: Workbench, pour_at_once) -> Hand:
    """Return a person at a job whose tank has an accepted table."""
    hand = Hand(workbench.url)
    hand.open_job()
    pour_at_once(hand, 50.0, 5)
    made = hand.record("/tanks/main/table")
    digest = made["job"]["tanks"][0]["table"]["digest"]
    hand.record("/tanks/main/table/accept", digest=digest)
    return hand


@pytest.fixture
def tabled(workbench: Workbench, pour_at_once) -> Iterator[Hand]:
    """A job with a table that is this test's own."""
    hand = with_table(workbench, pour_at_once)
    yield hand
    hand.client.close()


@pytest.fixture(scope="module")
def shared(workbench: Workbench, pour_at_once) -> Iterator[Hand]:
    """A job with a table for tests that give a log of their own and explain nothing."""
    hand = with_table(workbench, pour_at_once)
    yield hand
    hand.client.close()


@pytest.fixture(scope="module")
def unwatched(workbench: Workbench, pour_at_once) -> Iterator[Hand]:
    """A job with a table that no log is taken for."""
    hand = with_table(workbench, pour_at_once)
    yield hand
    hand.client.close()


@pytest.fixture(scope="module")
def watched(workbench: Workbench, pour_at_once) -> Iterator[Hand]:
    """A job with one log and its receipts, which is only looked at."""
    hand = with_table(workbench, pour_at_once)
    assert give(hand, receipts=RECEIPTS).status_code == 200
    yield hand
    hand.client.close()


def give(
    hand: Hand, log: str = LOG, receipts: str | None = None, name: str = "march.csv", **more: Any
) -> httpx.Response:
    files = {"log": (name, log.encode())}
    if receipts is not None:
        files["receipts"] = ("receipts.csv", receipts.encode())
    body = {"person": "Ann", "on": hand.number, "request_id": str(uuid.uuid4()), **more}
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/tanks/main/watch", data=body, files=files, timeout=120
    )
    if answer.status_code == 200:
        hand.number = answer.json()["number"]
    return answer


def get(hand: Hand, path: str = "", **query: Any) -> Any:
    answer = hand.client.get(f"/api/jobs/{hand.job}/tanks/main/watch{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer


def test_a_log_gives_its_events_with_reason_band_and_records(watched: Hand) -> None:
    seen = get(watched).json()
    refuels = [e for e in seen["events"] if e["kind"] == "refuel"]
    (drain,) = [e for e in seen["events"] if e["kind"] == "drain"]
    assert len(refuels) == 3
    assert abs(drain["litres"] - 28.1) <= drain["u_litres"] + 1.0
    assert drain["start_s"] <= at(2, 2.25) + 420
    assert drain["end_s"] >= at(2, 2.25)
    assert drain["reason"]
    assert 0 <= drain["first"] < drain["last"] < seen["records"]
    assert seen["provable_parked_l"] > 0
    verdicts = {r["receipt"]: r["verdict"] for r in seen["receipts"]}
    assert verdicts[1] == "short"
    assert set(verdicts.values()) <= {"short", "agrees", "over"}


def test_a_refuel_that_nobody_paid_for_is_named(shared: Hand) -> None:
    first = "\n".join(RECEIPTS.split("\n")[:2]) + "\n"
    give(shared, receipts=first)
    seen = get(shared).json()
    unpaid = [h for h in seen["health"] if h["kind"] == "no_receipt"]
    assert len(unpaid) == 2
    assert "there is no receipt" in unpaid[0]["message"]
    assert "2 refuels without a receipt" in shared.client.get(f"/jobs/{shared.job}/watch").text


def test_the_journal_holds_digests_and_results_and_not_the_records(watched: Hand) -> None:
    entries = watched.client.get(f"/api/jobs/{watched.job}/entries").json()
    kept = entries[-1]
    assert kept["kind"] == "log_watched"
    assert len(kept["payload"]["log_sha256"]) == 64
    assert len(str(kept["payload"])) < 0.1 * len(LOG)


def test_a_stretch_is_drawn_at_any_zoom(watched: Hand) -> None:
    whole = get(watched, "/plot", pixels=300).json()
    assert 250 <= len(whole["time_s"]) <= 302
    drain = at(2, 2.25)
    near = get(watched, "/plot", from_s=drain - 600, to_s=drain + 1200, pixels=800).json()
    assert len(near["time_s"]) == 31 + 2  # both ends are in it
    fell = near["mean_l"][1] - near["mean_l"][-1]
    assert 26 < fell < 31
    assert near["u_l"] is not None


def test_explaining_an_event_takes_it_out_of_the_unexplained_until_withdrawn(tabled: Hand) -> None:
    give(tabled)
    seen = get(tabled).json()
    drain = next(e for e in seen["events"] if e["kind"] == "drain")
    assert get(tabled, "/months").json()["months"][0]["unexplained"]["litres"] == pytest.approx(
        drain["litres"]
    )
    said = {"watched": seen["number"], "event": drain["event"]}
    tabled.record("/tanks/main/watch/explain", **said, reason="drained for the workshop")
    after = get(tabled).json()["events"][drain["event"] - 1]
    assert after["explained"]["reason"] == "drained for the workshop"
    assert get(tabled, "/months").json()["months"][0]["unexplained"]["litres"] == 0
    again = tabled.send("/tanks/main/watch/explain", **said, reason="once more")
    assert again.status_code == 409
    assert "already explained by Ann" in again.json()["error"]
    tabled.record("/tanks/main/watch/explain/withdraw", **said, reason="it was not the workshop")
    assert get(tabled).json()["events"][drain["event"] - 1]["explained"] is None


def test_an_explanation_holds_for_the_same_event_in_a_later_log(tabled: Hand) -> None:
    give(tabled)
    seen = get(tabled).json()
    drain = next(e for e in seen["events"] if e["kind"] == "drain")
    tabled.record(
        "/tanks/main/watch/explain", watched=seen["number"], event=drain["event"], reason="known"
    )
    give(tabled, log=LOG.replace("\n", "\r\n"))
    later = get(tabled).json()
    assert later["number"] > seen["number"]
    (same,) = [e for e in later["events"] if e["kind"] == "drain"]
    assert same["explained"]["watched"] == seen["number"]
    assert get(tabled, entry=seen["number"]).json()["number"] == seen["number"]


def test_months_say_what_came_was_used_and_is_not_explained(watched: Hand) -> None:
    (month,) = get(watched, "/months").json()["months"]
    put_in = sum(change.litres for change in CHANGES if change.litres > 0)
    assert abs(month["filled"]["litres"] - put_in) <= month["filled"]["u_litres"]
    used = DAYS * 6.5 * 9.0
    assert abs(month["used"]["litres"] - used) <= month["used"]["u_litres"]
    assert month["seen"] == 1.0


def test_reports_come_as_pdf_workbook_and_parquet(watched: Hand) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(get(watched, "/report.pdf").content))
    text = "".join(page.extract_text() for page in pdf.pages)
    assert "Not explained" in text
    assert "Tipper 4" in text
    book = openpyxl.load_workbook(io.BytesIO(get(watched, "/report.xlsx").content))
    assert {"Months", "Events", "Receipts", "Health", "About"} <= set(book.sheetnames)
    months = pq.read_table(io.BytesIO(get(watched, "/report.parquet").content)).to_pylist()
    assert months[0]["month"] == "2026-03"
    assert months[0]["u_used_l"] > 0
    events = get(watched, "/report.parquet", table="events").content
    assert pq.read_table(io.BytesIO(events)).num_rows == len(get(watched).json()["events"])
    assert b"<svg" in get(watched, "/plot.svg").content
    assert len(pypdf.PdfReader(io.BytesIO(get(watched, "/plot.pdf").content)).pages) == 1


def test_a_book_in_gallons_says_why_in_gallons_and_keeps_litres_in_the_journal(
    watched: Hand,
) -> None:
    def in_units(name: str) -> None:
        body = {"person": "Ann", "volume_unit": name}
        assert watched.client.put("/api/book/settings", json=body).status_code == 200

    in_units("us_gallons")
    try:
        html = watched.client.get(f"/jobs/{watched.job}/watch").text
        book = openpyxl.load_workbook(io.BytesIO(get(watched, "/report.xlsx").content))
    finally:
        in_units("litres")
    words = re.sub(r"<[^>]+>", " ", html)
    assert re.search(r"the level fell by [\d.]+\xa0±\xa0[\d.]+\xa0US gal", words)
    assert not re.search(r"\d[\xa0 ]L\b", words)
    assert "us_gal" in [cell.value for cell in book["Events"][1]]
    reasons = [event["reason"] for event in get(watched).json()["events"]]
    assert all(re.search(r"(rose|fell) by [\d.]+ ± [\d.]+ L ", reason) for reason in reasons)


def test_the_same_press_sent_twice_records_once(shared: Hand) -> None:
    press = str(uuid.uuid4())
    first = give(shared, request_id=press)
    second = give(shared, request_id=press)
    assert (first.status_code, second.status_code) == (200, 200)
    assert first.json()["number"] == second.json()["number"]


def shelf_of(hand: Hand, workbench: Any) -> Path:
    folder: Path = workbench.yard.logs.folder
    return folder


@pytest.mark.parametrize(
    ("log", "field", "words"),
    [
        ("", "log", "is empty"),
        ("vehicle,time\nT,2026-03-01T00:00:00Z\n", "columns", "which column is counts"),
        ("vehicle,time,counts\nT,yesterday,5\n", "columns", "yesterday"),
        (
            "vehicle,time,counts\nA,2026-03-01T00:00:00Z,5\nB,2026-03-01T00:00:00Z,5\n",
            "vehicle",
            "2 vehicles: A, B",
        ),
        ("\x89PNG\r\n\x1a\n\x00\x00", "log", "march.csv"),
        ("vehicle,time,counts\nT,2026-03-01 10:00,5\n", "columns", "it with zone=Europe/Berlin"),
        (
            "vehicle,time,counts\nT,03/02/2026 1:00 PM,5\n",
            "columns",
            "or time_format=%m/%d/%Y %I:%M %p",
        ),
    ],
)
def test_a_log_that_cannot_be_read_is_refused_at_its_field_and_not_kept(
    unwatched: Hand, log: str, field: str, words: str
) -> None:
    answer = give(unwatched, log=log)
    assert answer.status_code == 422, answer.text
    assert answer.json()["field"] == field
    assert words in answer.json()["error"]
    assert unwatched.client.get(f"/api/jobs/{unwatched.job}/tanks/main/watch").status_code == 404


def test_wrong_receipts_are_refused_with_their_line(unwatched: Hand) -> None:
    answer = give(unwatched, receipts="vehicle,time,litres\nTipper 4,2026-03-02T12:00:00Z,-4\n")
    assert answer.status_code == 422
    assert answer.json()["field"] == "receipts"
    assert "receipts.csv, line 2, litres" in answer.json()["error"]


def test_a_named_vehicle_and_other_column_names_are_read(shared: Hand) -> None:
    other = LOG.replace("vehicle,time,counts", "Unit,When,Fuel").replace(
        "Tipper 4,2026-03-03", "Other,2026-03-03"
    )
    answer = give(shared, log=other, columns="vehicle=Unit,time=When,counts=Fuel", vehicle="Other")
    assert answer.status_code == 200, answer.text
    assert get(shared).json()["records"] == 1440


def test_without_a_table_a_log_is_not_taken(hand: Hand) -> None:
    hand.begin()
    answer = give(hand)
    assert answer.status_code == 409
    assert "has no table yet" in answer.json()["error"]


def test_a_log_that_left_the_shelf_says_so_and_its_findings_stay(
    shared: Hand, workbench: Any
) -> None:
    changes = (Change(at(1, 11.5), 60.0),)
    own = service_csv(service_columns(TABLE, changes, days=2, period_s=60.0, seed=9), "Tipper 4")
    give(shared, log=own)
    digest = get(shared).json()["log_sha256"]
    for file in workbench.yard.logs.folder.glob(f"{digest}*"):
        file.write_text("vehicle,time,counts\n")
    workbench.yard.logs.forget()
    path = f"/api/jobs/{shared.job}/tanks/main/watch"
    changed = shared.client.get(f"{path}/plot")
    assert changed.status_code == 404
    assert "was changed since" in changed.json()["error"]
    for file in workbench.yard.logs.folder.glob(f"{digest}*"):
        file.unlink()
    gone = shared.client.get(f"{path}/plot")
    assert gone.status_code == 404
    assert "is not on this computer" in gone.json()["error"]
    seen = get(shared).json()
    assert seen["is_at_hand"] is False
    assert len(seen["events"]) == 1
    page = shared.client.get(f"/jobs/{shared.job}/watch").text
    assert "not on this computer" in page


def in_berlin(text: str) -> str:
    """Return a log or receipts with times of Berlin's clock, which have no zone."""

    def local(found: re.Match[str]) -> str:
        at = datetime.fromisoformat(found[0].replace("Z", "+00:00"))
        return f"{at.astimezone(ZoneInfo('Europe/Berlin')):%Y-%m-%d %H:%M:%S}"

    return re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", local, text)


def test_the_zone_that_was_told_is_that_of_the_page_and_of_the_report(tabled: Hand) -> None:
    assert give(tabled, log=in_berlin(LOG), columns="zone=Europe/Berlin").status_code == 200

    seen = get(tabled).json()
    drain = next(e for e in seen["events"] if e["kind"] == "drain")
    assert (seen["zone"], drain["start_at"][-6:]) == ("Europe/Berlin", "+01:00")
    page = tabled.client.get(f"/jobs/{tabled.job}/watch").text
    assert "Months and times are those of Europe/Berlin." in page
    assert 'data-zone="Europe/Berlin"' in page
    shown = datetime.fromisoformat(drain["start_at"])
    assert f"{shown:%H:%M}\N{NO-BREAK SPACE}CET" in page
    pdf = pypdf.PdfReader(io.BytesIO(get(tabled, "/report.pdf").content))
    text = " ".join("".join(each.extract_text() for each in pdf.pages).split())
    assert "those of Europe/Berlin" in text
    assert f"{shown:%Y-%m-%d %H:%M}" in text


def test_columns_are_told_once_for_logs_with_the_same_header(tabled: Hand, workbench: Any) -> None:
    own = in_berlin(LOG).replace("vehicle,time,counts", "Unit,Moment,Level")
    told = "vehicle=Unit,time=Moment,counts=Level,zone=Europe/Berlin"
    refused = give(tabled, log=own.replace("2026-03-02", "someday"), columns=told)
    assert refused.status_code == 422
    assert give(tabled, log=own).json()["field"] == "columns"

    assert give(tabled, log=own, columns=told).status_code == 200
    assert get(tabled).json()["remembered"] == ""
    assert give(tabled, log=own.strip().rpartition("\n")[0]).status_code == 200
    seen = get(tabled).json()
    assert seen["remembered"] == "vehicle=Unit, time=Moment, counts=Level, zone=Europe/Berlin"
    page = tabled.client.get(f"/jobs/{tabled.job}/watch").text
    assert f"Read with {seen['remembered']}, as remembered" in page

    workbench.yard.logs.forget()
    (workbench.yard.logs.folder / "watch-columns.toml").unlink()
    assert get(tabled, "/plot").json()["first_s"] == seen["from_s"]


def test_records_whose_time_no_clock_tells_are_counted_beside_the_hours_seen(tabled: Hand) -> None:
    hour = "".join(f"Tipper 4,2025-10-26 02:{m:02d}:00,900,0,0\n" for m in range(60))
    own = in_berlin(LOG)
    head, _, rows = own.partition("\n")
    assert head == "vehicle,time,counts,speed_kmh,ignition"
    log = f"{head}\n{hour}Tipper 4,,900,0,0\n{rows}"
    assert give(tabled, log=log, columns="zone=Europe/Berlin").status_code == 200

    page = tabled.client.get(f"/jobs/{tabled.job}/watch").text
    assert "60 records are of the hour that the clock had twice" in page
    assert "1 record has no time or one that no right clock shows" in page


def test_a_zone_that_there_is_not_is_refused_where_it_was_typed(unwatched: Hand) -> None:
    answer = give(unwatched, columns="zone=Mars")
    assert answer.status_code == 422
    assert answer.json()["field"] == "columns"
    assert answer.json()["error"] == "there is no zone 'Mars'; wanted one like Europe/Oslo"
