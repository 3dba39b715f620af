"""A job's table refined in service, over the API: offered first, recorded only when kept."""

import uuid
from functools import cache

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.testing.hand import Hand, counts_at
from gaugewright.testing.service import receipts_csv, service_columns, service_csv, usual_changes

DAYS = 20
TABLE = Table(
    np.array([counts_at(v) for v in (12.0, 60, 120, 180, 240, 280)]),
    np.array([13.2, 61.2, 121.2, 181.2, 241.2, 281.2]),
    None,
)
CHANGES = usual_changes(DAYS, 281.2)


@cache
def log() -> str:
    """Return a log of so many days; made once it is asked for."""
    return service_csv(service_columns(TABLE, CHANGES, days=DAYS, period_s=60.0), "Tipper 4")


@pytest.fixture
def tabled(hand: Hand, pour_at_once) -> Hand:
    """A job whose table is accepted."""
    pour_at_once(hand, 50.0, 5)
    made = hand.record("/tanks/main/table")
    hand.record("/tanks/main/table/accept", digest=made["job"]["tanks"][0]["table"]["digest"])
    return hand


def look(hand: Hand) -> None:
    files = {
        "log": ("march.csv", log().encode()),
        "receipts": ("receipts.csv", receipts_csv(CHANGES, "Tipper 4").encode()),
    }
    body = {"person": "Ann", "on": hand.number, "request_id": str(uuid.uuid4())}
    url = f"/api/jobs/{hand.job}/tanks/main/watch"
    answer = hand.client.post(url, data=body, files=files, timeout=120)
    assert answer.status_code == 200, answer.text
    hand.number = answer.json()["entries"][-1]["number"]


def test_a_refined_table_is_offered_then_kept_as_a_newer_version(tabled: Hand) -> None:
    hand = tabled
    look(hand)
    url = f"/api/jobs/{hand.job}/tanks/main/watch/refined"
    number = hand.number

    offer = hand.client.get(url, timeout=120)

    assert offer.status_code == 200, offer.text
    offered = offer.json()
    assert offered["is_offered"]
    assert offered["used"]["receipts"] >= 3
    assert offered["mean_band_after_l"] < offered["mean_band_before_l"]
    assert offered["largest_band_after_l"] < offered["largest_band_before_l"]
    assert offered["largest_band_before_l"] >= offered["mean_band_before_l"]
    assert offered["used_l"]["receipts"] > 50 * offered["used"]["receipts"]
    assert offered["used"]["engine_counter"] == 0  # the log has none
    assert hand.client.get(f"/api/jobs/{hand.job}").json()["number"] == number  # nothing recorded

    kept = hand.record("/tanks/main/watch/refined", reason="Twenty days of receipts")

    table = kept["job"]["tanks"][0]["table"]
    assert table["digest"] != offered["digest"]
    assert not table["is_accepted"]
    versions = hand.client.get(f"/api/jobs/{hand.job}/tanks/main/later").json()["versions"]
    assert [v["way"] for v in versions] == ["service", "fill"]
    assert versions[0]["from_digest"] == offered["digest"]
    assert versions[1]["is_accepted"]  # the older one stays as it was
    again = {"person": "Ann", "on": kept["number"], "reason": "once more"}
    answer = hand.client.post(url, json=again, timeout=120)
    assert answer.status_code == 409
    assert "another table than the newest one" in answer.json()["error"]


def test_without_a_log_there_is_nothing_to_refine(tabled: Hand) -> None:
    hand = tabled
    answer = hand.client.get(f"/api/jobs/{hand.job}/tanks/main/watch/refined")

    assert answer.status_code == 404


def test_a_certificate_on_a_refined_table_says_so_and_is_not_called_altered(tabled: Hand) -> None:
    hand = tabled
    look(hand)
    kept = hand.record("/tanks/main/watch/refined", reason="Twenty days of receipts")
    digest = kept["job"]["tanks"][0]["table"]["digest"]
    hand.record("/tanks/main/table/accept", digest=digest)
    hand.record("/certificate", certificate_number="C-7")

    pdf = hand.client.get(f"/api/jobs/{hand.job}/certificate.pdf", params={"number": "C-7"})
    checked = hand.client.post("/api/verify", content=pdf.content).json()

    assert checked["is_unaltered"], checked["line"]
    (table,) = [c for c in checked["checks"] if c["what"] == "table of main"]
    assert table["is_right"] is None  # the log is no part of the certificate
    assert "refined from records in service" in table["said"]
