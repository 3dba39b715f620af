"""Re-checks, exchanged probes and carried tables on the certificate, and proved again."""

import io

import numpy as np
import pypdf
import pytest

from gaugewright.app import filling, later_job, later_sister, proving, survey
from gaugewright.app.bench import Taken
from gaugewright.app.certified import verify_certificate
from gaugewright.app.filling import Beside
from gaugewright.journal import fill_kinds as fk
from gaugewright.journal import later_kinds as lk
from gaugewright.probe import probe_from_mapping
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import level_of_litres
from gaugewright.testing.certified import Work, begin, pour_and_accept
from gaugewright.testing.hand import PROBE, TANK, counts_at

NEW = {
    **PROBE,
    "counts_empty": 120,
    "counts_full": 3900,
    "active_length_mm": 470,
    "tip_clearance_mm": 14,
}


def counts_on(litres, probe):
    """What a probe in the box reads with so much fuel in it."""
    level = float(level_of_litres(solid_of(Tank(**TANK)), litres))
    wetted = np.clip(level - probe.tip_clearance_mm, 0.0, probe.active_length_mm)
    return float(round(float(probe.counts_of(wetted))))


def later(work, purpose, probe_fields, pours, **more):
    """Begin pours after the table and make them."""
    yard, job = work.yard, work.job
    digest = work.state.tanks["main"].table.event.digest
    given = {} if purpose == "recheck" else {"probe": probe_fields}
    begun = lk.LaterBegun("main", digest, purpose, **given, **more)
    later_job.begin_later(yard, job, work.stamp, begun, cautions_read=True)
    probe, total = probe_from_mapping(dict(probe_fields)), 60.0
    for added in (0.0, *pours):
        total += added
        taken = Taken(counts_on(total, probe))
        later_job.record_later_pour(yard, job, work.stamp, "main", added, taken, Beside())


def accept(work):
    digest = work.state.tanks["main"].table.event.digest
    proving.accept_table(work.yard, work.job, work.stamp, "main", digest, "confirmed")


def text_of(content):
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture
def rechecked(work):
    later(work, "recheck", PROBE, [40.0, 40.0, 40.0])
    later_job.conclude_later(work.yard, work.job, work.stamp, "main")
    return work


def test_a_recheck_stands_on_the_certificate_with_its_en_numbers(rechecked):
    rechecked.issue("C-1")
    content = rechecked.document().content
    text = text_of(content)
    concluded = rechecked.state.tanks["main"].later[0].concluded.event
    assert "Re-check, 2026-05-04" in text
    assert " ".join(concluded.sentence.split()) in text
    assert text.count("agrees") >= 3
    assert verify_certificate(content).is_unaltered


def test_a_table_put_right_by_a_recheck_is_proved_from_its_pours(rechecked):
    later_job.carry_later(rechecked.yard, rechecked.job, rechecked.stamp, "main", "yearly check")
    accept(rechecked)
    rechecked.issue("C-1")
    content = rechecked.document().content
    verdict = verify_certificate(content)
    assert verdict.is_unaltered, verdict.line
    assert "the table of main made again agrees" in verdict.line
    text = text_of(content)
    assert "put right by a re-check" in text
    assert "Reason: yearly check." in text


def test_a_table_carried_to_a_new_probe_says_so_and_is_proved(work):
    old = work.state.tanks["main"].table.event.digest
    work.issue("C-1")
    first = work.document().content
    later(work, "exchange", NEW, [40.0, 40.0], probe_serial="P-99", reason="head broken")
    later_job.conclude_later(work.yard, work.job, work.stamp, "main")
    later_job.carry_later(work.yard, work.job, work.stamp, "main", "head broken")
    accept(work)
    work.issue("C-2", reason="probe exchanged")
    content = work.document().content
    verdict = verify_certificate(content)
    assert verdict.is_unaltered, verdict.line
    text = text_of(content)
    for said in (
        "Probe exchanged",
        "P-99, exchanged 2026-05-04",
        "carried to a new probe",
        old[:12],
        "470 mm",
        "Stands in for C-1",
        "Made anew because probe exchanged",
    ):
        assert said in text, said
    assert work.document(number="C-1").content == first


def test_without_check_pours_it_says_that_nothing_confirmed_it(work):
    later(work, "exchange", NEW, [], reason="head broken")
    later_job.carry_later(work.yard, work.job, work.stamp, "main", "head broken")
    accept(work)
    content = work.document().content
    assert "not confirmed on the new probe" in text_of(content)
    assert "accepted with the table by Kim Aldo" in text_of(content)
    assert verify_certificate(content).is_unaltered


def test_a_table_made_with_a_sisters_says_whose_and_is_proved(work):
    yard, stamp = work.yard, work.stamp
    survey.open_job(yard, stamp, customer="Halden Plant Hire", vehicle="Loader 15", job="HB-9")
    twin = Work(yard, work.path, "HB-9")
    pour_and_accept(twin)
    later_sister.propose_sister(yard, twin.job, twin.stamp, "main", work.job, "main")
    later_sister.use_sister(yard, twin.job, twin.stamp, "main", "same model, same plate")
    accept(twin)
    content = twin.document().content
    text = text_of(content)
    assert f"tank main of job {work.job}" in text
    assert "Reason: same model, same plate." in text
    verdict = verify_certificate(content)
    assert verdict.is_unaltered, verdict.line
    assert "the table of main made again agrees" in verdict.line


def test_linked_tanks_stand_on_one_certificate_without_a_drawing(tmp_path):
    work = begin(tmp_path / "linked.book")
    yard, job = work.yard, work.job
    for tank_id in ("a", "b"):
        survey.describe_tank(yard, job, work.stamp, tank_id, tank=TANK, probe=PROBE)
    survey.link_tanks(yard, job, work.stamp, "both", ["a", "b"])
    begun = fk.FillBegun("both", residual_l=2.0, u_residual_l=0.3)
    filling.begin_fill(yard, job, work.stamp, begun)
    for step in range(10):
        added = 50.0 if step else 0.0
        slope = {"pitch_deg": 0.4, "roll_deg": 0.1, "fuel_c": 12.0, "meter_c": 15.5}
        event = fk.PourRecorded("both", step, added, float(counts_at(25.0 * step)), **slope)
        work.record(event)
    proving.make_table(yard, job, work.stamp, "both")
    proving.accept_table(yard, job, work.stamp, "both", work.state.tanks["both"].table.event.digest)
    content = work.document().content
    text = text_of(content)
    assert "both, one with a, b" in text
    assert "measured at 10 of 10 readings" in text
    assert "not worked out for this tank" in text
    assert verify_certificate(content).is_unaltered
    yard.close()
