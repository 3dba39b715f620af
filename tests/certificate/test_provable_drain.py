"""The smallest provable drain on the certificate: from the job's own log, or said to be missing."""

import io

import pypdf
import pytest

from gaugewright.app.certified import verify_certificate
from gaugewright.journal.watch_kinds import LogWatched

MAY = 1777593600.0
"""2026-05-01 in UTC. [s since 1970]"""


def text_of(content):
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def watched(work, **found):
    digest = work.state.tanks["main"].accepted_table.event.digest
    work.record(
        LogWatched(
            "main", digest, "ab" * 32, "may.parquet", 900, "T-9", 44_640, MAY, MAY + 30 * 86_400.0,
            **found,
        )
    )  # fmt: skip


def test_without_a_log_in_service_no_smallest_provable_drain_is_stated(pdf):
    text = text_of(pdf)

    assert "No log of it in service was looked through in this job" in text
    assert "Smallest provable drain in service" not in text


@pytest.mark.parametrize(
    ("look", "parked", "moving"),
    [
        ({}, "6.2 L parked", "none of any size on the move"),
        ({"units": "us", "paper": "letter"}, "1.64 US gal parked", "none of any size on the move"),
    ],
)
def test_the_log_that_was_looked_through_gives_the_figures_with_its_day_and_records(
    work, look, parked, moving
):
    watched(work, provable_parked_l=9.9, provable_moving_l=20.0)
    watched(work, provable_parked_l=6.2)
    content = work.document(**look).content
    text = text_of(content)

    assert f"Smallest provable drain in service: {parked}, {moving}" in text
    assert "44640 records of 2026-05-01 to 2026-05-31 (log may.parquet" in text
    assert f"{parked}, {moving}" in text_of(work.document(form="summary", **look).content)
    assert verify_certificate(content).is_unaltered
