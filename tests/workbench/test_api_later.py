"""A table after its day over the API: re-checked, carried to a new probe, given to a sister."""

import numpy as np
import pytest

from gaugewright.probe import Probe
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import level_of_litres
from gaugewright.testing.hand import PROBE, TANK, counts_at

NEW = {
    "counts_empty": "120",
    "counts_full": 3900,
    "active_length_mm": "470 mm",
    "tip_clearance_mm": "14",
}


def counts_on(litres, probe, up_mm=0.0):
    """What a probe in the hand's box reads with so much fuel in it."""
    solid = solid_of(Tank(**TANK))
    level = float(level_of_litres(solid, litres, at_x_mm=probe.x_mm, at_y_mm=probe.y_mm))
    wetted = np.clip(level - probe.tip_clearance_mm - up_mm, 0.0, probe.active_length_mm)
    return round(float(probe.counts_of(wetted)))


@pytest.fixture
def done(hand, pour_at_once):
    """A job with an accepted table and its Table stage finished."""
    pour_at_once(hand, 25.0, 8)
    table = hand.record("/tanks/main/table")["job"]["tanks"][0]["table"]
    hand.record("/tanks/main/table/accept", digest=table["digest"])
    hand.record("/stages/Pour/finish")
    hand.record("/stages/Table/finish")
    return hand


def later_of(hand):
    return hand.client.get(f"/api/jobs/{hand.job}/tanks/main/later").json()


def pour_later(hand, pours, read, start_l):
    hand.record("/tanks/main/later/pours", counts=read(start_l))
    total = start_l
    for litres in pours:
        total += litres
        hand.record("/tanks/main/later/pours", added_l=f"{litres} L", counts=read(total))


def test_an_unchanged_tank_is_still_good_and_the_cautions_are_read_again(done):
    refused = done.send("/tanks/main/later", purpose="recheck")
    assert refused.status_code == 422
    assert refused.json()["field"] == "cautions_read"

    begun = done.record("/tanks/main/later", purpose="recheck", is_drained=True, cautions_read=True)
    kinds = [entry["kind"] for entry in begun["entries"]]
    assert kinds[-1] == "later_begun"
    assert set(kinds[:-1]) == {"caution_acknowledged"}

    pour_later(done, [50, 60, 50], counts_at, 0.0)
    done.record("/tanks/main/later/conclude")
    run = later_of(done)["runs"][0]
    assert run["concluded"]["verdict"] == "good"
    assert [row["agrees"] for row in run["concluded"]["results"]["comparisons"]] == [True] * 3
    assert len(later_of(done)["versions"]) == 1


def test_one_pour_is_no_re_check_and_no_table_is_made_of_pours_of_which_one_looks_wrong(done):
    done.record("/tanks/main/later", purpose="recheck", is_drained=True, cautions_read=True)
    done.record("/tanks/main/later/pours", counts=counts_at(0.0))
    done.record("/tanks/main/later/pours", added_l="60 L", counts=counts_at(60.0))
    early = done.send("/tanks/main/later/conclude")
    assert early.status_code == 409
    assert "at least two pours" in early.json()["error"]
    done.record("/tanks/main/later/pours", added_l="60 L", counts=counts_at(120.0) + 900)
    done.record("/tanks/main/later/pours", added_l="60 L", counts=counts_at(180.0))
    done.record("/tanks/main/later/conclude")
    assert later_of(done)["runs"][0]["concluded"]["verdict"] == "repeat"
    refused = done.send("/tanks/main/later/carry", reason="newer")
    assert refused.status_code == 409
    assert "one of these pours looks wrong" in refused.json()["error"]
    assert len(later_of(done)["versions"]) == 1


def test_a_pour_of_nothing_is_refused_in_the_unit_that_was_typed(done):
    done.client.put(
        "/api/book/settings",
        json={"person": "Kim", "request_id": "t", "volume_unit": "us_gallons"},
    ).raise_for_status()
    done.record("/tanks/main/later", purpose="recheck", cautions_read=True)
    done.record("/tanks/main/later/pours", counts=counts_at(20.0))
    refused = done.send("/tanks/main/later/pours", added_l="-3 US gal", counts=counts_at(40.0))
    assert refused.status_code == 422
    assert refused.json()["error"] == "must be above 0, found -3.0 US gal"
    page = done.client.get(f"/jobs/{done.job}/certificate").text
    assert '<option value="letter" selected>' in page


def test_a_zero_read_again_answers_what_pours_into_a_full_tank_cannot(done):
    done.record("/tanks/main/bench/zero", counts="4")
    done.record("/tanks/main/later", purpose="recheck", cautions_read=True)
    pour_later(done, [50, 60, 50], lambda litres: counts_at(litres) + 60, 28.8)
    done.record("/tanks/main/later/conclude")
    run = later_of(done)["runs"][0]
    assert run["concluded"]["verdict"] == "cannot_tell"
    assert "read its zero in air" in run["concluded"]["sentence"]

    done.record("/tanks/main/bench/zero", counts="64")
    run = later_of(done)["runs"][0]
    assert run["zero_counts"] == 64
    assert run["concluded"]["is_stale"]
    done.record("/tanks/main/later/conclude")
    concluded = later_of(done)["runs"][0]["concluded"]
    assert concluded["verdict"] == "not_good"
    assert "zero drifted" in concluded["sentence"]
    assert not concluded["is_stale"]

    done.record("/tanks/main/later/carry", reason="the zero drifted")
    before = later_of(done)["runs"][0]["concluded"]
    done.record("/tanks/main/bench/zero", counts="5")  # after it, and none of its business
    assert later_of(done)["runs"][0]["concluded"] == before


def test_a_pour_taken_back_stays_in_sight_and_only_the_last_one_can_be(done):
    done.record("/tanks/main/later", purpose="recheck", cautions_read=True)
    pour_later(done, [50, 60], counts_at, 28.8)
    first, second = [pour["number"] for pour in later_of(done)["runs"][0]["pours"]][1:]

    assert done.send(f"/later/{first}/void", reason="spilt").status_code == 409
    done.record(f"/later/{second}/void", reason="spilt")

    run = later_of(done)["runs"][0]
    assert [pour["voided"] is None for pour in run["pours"]] == [True, True, False]
    assert run["next_step"] == 2


def test_a_probe_that_hangs_higher_is_named_and_a_newer_table_stands_beside_the_old(done):
    old = later_of(done)["versions"][0]["digest"]
    probe = Probe(**PROBE)
    done.record("/tanks/main/later", purpose="recheck", is_drained=True, cautions_read=True)

    def read(litres):
        return counts_on(litres, probe, up_mm=22.0)

    pour_later(done, [40, 60, 60], read, 1.2)
    done.record("/tanks/main/later/conclude")
    concluded = later_of(done)["runs"][0]["concluded"]
    assert concluded["verdict"] == "not_good", concluded["results"]
    assert concluded["results"]["named"] == ["tip_moved"]
    size = next(p for p in concluded["results"]["possible"] if p["kind"] == "tip_moved")
    assert abs(size["size"] - 22.0) <= size["u_size"]

    assert done.send("/tanks/main/later/carry", reason="").status_code == 422
    done.record("/tanks/main/later/carry", reason="bracket bent, probe sits higher")
    newest, first = later_of(done)["versions"]
    assert (first["digest"], first["is_current"], first["is_accepted"]) == (old, False, True)
    assert (newest["way"], newest["from_digest"], newest["is_current"]) == ("recheck", old, True)
    assert newest["findings"][0]["kind"] == "carried"
    counts, litres, band = (np.array(c, float) for c in zip(*newest["rows"], strict=True))
    for total in (60.0, 120.0, 180.0):
        at = read(total)
        off = abs(np.interp(at, counts, litres) - total)
        assert off <= np.interp(at, counts, band)

    table = done.record("/tanks/main/table/accept", digest=newest["digest"])
    assert table["job"]["tanks"][0]["table"]["is_accepted"]
    assert not table["job"]["tanks"][0]["table"]["is_stale"]


def test_an_exchanged_probe_gets_the_table_and_two_pours_confirm_it(done):
    before = later_of(done)["versions"][0]
    body = {"probe": NEW, "reason": "struck by lightning", "probe_serial": "P-9"}
    refused = done.send("/tanks/main/later", purpose="exchange", cautions_read=True, probe={})
    assert refused.status_code == 422
    deep = {**NEW, "tip_clearance_mm": 4000}
    refused = done.send(
        "/tanks/main/later", purpose="exchange", cautions_read=True, **{**body, "probe": deep}
    )
    assert refused.json()["field"] == "probe.tip_clearance_mm"
    done.record("/tanks/main/later", purpose="exchange", cautions_read=True, **body)
    probe = Probe(PROBE["x_mm"], PROBE["y_mm"], 14, 470, 120, 3900)

    pour_later(done, [60, 60], lambda litres: counts_on(litres, probe), 40.0)
    done.record("/tanks/main/later/conclude")
    run = later_of(done)["runs"][0]
    assert run["concluded"]["verdict"] == "good"
    done.record("/tanks/main/later/carry", reason="new probe P-9")

    later = later_of(done)
    newest = later["versions"][0]
    assert later["probe"]["counts_empty"] == 120
    assert newest["findings"] == []
    assert newest["rows"][0][0] == 120
    counts, litres, band = (np.array(c, float) for c in zip(*newest["rows"], strict=True))
    for total in (50.0, 120.0, 200.0):
        at = counts_on(total, probe)
        assert abs(np.interp(at, counts, litres) - total) <= np.interp(at, counts, band)
    assert before["rows"] == later["versions"][1]["rows"]


def test_a_table_carried_without_check_pours_says_so_and_can_be_checked_again(done):
    body = {"probe": NEW, "reason": "dead"}
    done.record("/tanks/main/later", purpose="exchange", cautions_read=True, **body)
    done.record("/tanks/main/later/carry", reason="no fuel at hand")
    assert "not confirmed" in later_of(done)["versions"][0]["findings"][0]["message"]

    probe = Probe(PROBE["x_mm"], PROBE["y_mm"], 14, 470, 120, 3900)
    done.record("/tanks/main/later", purpose="recheck", is_drained=True, cautions_read=True)
    pour_later(done, [60, 60, 40], lambda litres: counts_on(litres, probe), 1.0)
    done.record("/tanks/main/later/conclude")
    assert later_of(done)["runs"][0]["concluded"]["verdict"] == "good"


def test_two_pours_agree_with_a_sister_and_not_with_a_stranger(done, workbench):
    from gaugewright.testing.hand import Hand

    for scale, verdict in ((1.0, "agrees"), (1.25, "disagrees")):
        other = Hand(workbench.url)
        other.open_job()
        tank = {**TANK, "length_mm": TANK["length_mm"] * scale}
        other.record("/tanks/main", "PUT", tank=tank, probe=PROBE)
        other.record("/tanks/main/fill", residual_l=1.2, u_residual_l=0.3)
        other.pour(0, 0)
        for litres in (70.0, 140.0):
            other.record(
                "/tanks/main/pours",
                added_l=70.0 * scale,
                counts=counts_at(litres + 1.2 / scale - 1.2),
            )
        other.record("/tanks/main/sister", sister_job=done.job, sister_tank_id="main")
        sister = later_of(other)["sister"]
        assert sister["results"]["verdict"] == verdict, sister["results"]["sentence"]
        if verdict == "agrees":
            other.record("/tanks/main/sister/use", reason="same model, same year")
            newest = later_of(other)["versions"][0]
            assert (newest["way"], newest["from_digest"]) == ("sister", sister["digest"])
        missing = other.send("/tanks/main/sister", sister_job="none", sister_tank_id="main")
        assert (missing.status_code, missing.json()["field"]) == (422, "sister_job")
        other.client.close()


def test_the_page_of_a_table_that_nobody_re_checked_shows_its_one_version(done):
    page = done.client.get(f"/jobs/{done.job}/later")

    assert page.status_code == 200
    assert page.text.count("data-version=") == 1


def test_counts_that_the_probe_cannot_send_are_refused_and_nothing_is_recorded(done):
    done.record("/tanks/main/later", purpose="recheck", cautions_read=True)
    refused = done.send("/tanks/main/later/pours", counts="15842528")

    assert (refused.status_code, refused.json()["field"]) == (422, "counts")
    assert "wanted 0 to 4095" in refused.json()["error"]
    assert later_of(done)["runs"][0]["pours"] == []
