"""Tanks that a balance pipe joins are both drawn on their certificate."""

import io

from pypdf import PdfReader

from gaugewright.app import filling, proving, survey
from gaugewright.app.certified import verify_certificate
from gaugewright.journal import fill_kinds as fk
from gaugewright.testing.certified import begin
from gaugewright.testing.hand import PROBE, TANK, counts_at


def linked(path, other):
    """A certified job whose two tanks are filled as one; each holds half of what was poured."""
    work = begin(path)
    yard, job = work.yard, work.job
    survey.describe_tank(yard, job, work.stamp, "left", tank=TANK, probe=PROBE, name="Left tank")
    survey.describe_tank(yard, job, work.stamp, "right", tank=other, probe={}, name="Right tank")
    survey.link_tanks(yard, job, work.stamp, "both", ("left", "right"))
    filling.begin_fill(yard, job, work.stamp, fk.FillBegun("both", fuel="diesel"))
    for step in range(6):
        counts = float(counts_at(40.0 * step))
        work.record(fk.PourRecorded("both", step, 80.0 if step else 0.0, counts))
    proving.make_table(yard, job, work.stamp, "both")
    proving.accept_table(yard, job, work.stamp, "both", work.state.tanks["both"].table.event.digest)
    work.issue("C-1")
    return work


def test_both_tanks_stand_on_the_certificate_with_every_pour_beside_them(tmp_path):
    work = linked(tmp_path / "yard.book", TANK)
    content = work.document().content
    words = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)

    assert "Left tank" in words
    assert "Right tank" in words
    assert "80 L" in words
    assert "400 L" in words
    assert verify_certificate(content).is_unaltered
    work.yard.close()


def test_where_one_of_them_has_no_shape_to_draw_the_certificate_has_no_drawing(tmp_path):
    work = linked(
        tmp_path / "yard.book", {"shape": "unknown", "rated_capacity_l": 300, "height_mm": 600}
    )
    words = PdfReader(io.BytesIO(work.document().content)).pages[1].extract_text()

    assert "several linked tanks" in words
    assert "Right tank" not in words
    work.yard.close()
