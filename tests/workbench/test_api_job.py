"""A job over the API: what is recorded is what comes back, and mistakes are named."""

import io

import pytest
from PIL import Image

from gaugewright.journal.exchange import read_job


def test_a_job_gets_the_next_free_number_and_is_listed(hand):
    jobs = hand.client.get("/api/jobs").json()["jobs"]
    assert hand.job in [line["job"] for line in jobs]
    assert hand.state()["customer"] == "Quarry Yard"


def test_a_job_number_is_used_once(hand):
    again = {"person": "Ann", "customer": "A", "vehicle": "B", "job": hand.job}
    answer = hand.client.post("/api/jobs", json=again)
    assert answer.status_code == 409
    assert "already open" in answer.json()["error"]


def test_opening_a_job_twice_with_one_request_opens_one(hand):
    body = {"person": "Ann", "customer": "A", "vehicle": "B", "request_id": f"open-{hand.job}"}
    first = hand.client.post("/api/jobs", json=body).json()["job"]["job"]
    assert hand.client.post("/api/jobs", json=body).json()["job"]["job"] == first


def test_supply_voltage_is_typed_with_a_comma(hand):
    hand.open_job(supply_v="27,6")
    assert hand.state()["supply_v"] == 27.6


def test_a_fact_corrected_with_a_reason_keeps_what_stood_there(hand):
    hand.record("/facts", facts={"fuel": "petrol"})
    hand.record("/facts", facts={"fuel": "diesel"}, reason="read the filler cap again")
    fact = next(each for each in hand.state()["facts"] if each["name"] == "fuel")
    assert (fact["value"], fact["before"]) == ("diesel", ["petrol"])
    assert fact["reason"] == "read the filler cap again"


def test_a_caution_is_acknowledged_by_name(hand):
    hand.record("/cautions", caution="static")
    read = {each["id"]: each["acknowledged_by"] for each in hand.state()["cautions"]}
    assert read["static"] == "Ann"
    assert read["spill"] is None


def test_an_unknown_caution_is_refused_by_field(hand):
    answer = hand.send("/cautions", caution="dragons")
    assert (answer.status_code, answer.json()["field"]) == (422, "caution")


def test_a_tank_is_typed_in_inches_and_kept_in_mm(hand):
    tank = {"shape": "box", "length_mm": "40 in", "width_mm": "24in", "height_mm": "19,5 in"}
    picture = hand.record("/tanks/main", "PUT", tank=tank)["job"]["tanks"][0]
    assert picture["tank"]["length_mm"] == pytest.approx(1016)
    assert picture["capacity_l"] == pytest.approx(1.016 * 0.6096 * 0.4953 * 1000)


def test_a_probe_outside_the_tank_is_refused_and_nothing_recorded(hand):
    tank = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
    probe = {"x_mm": 5200, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 460}
    answer = hand.send("/tanks/main", "PUT", tank=tank, probe=probe)
    assert answer.status_code == 422
    assert "outside" in answer.json()["error"]
    assert hand.state()["number"] == 1


@pytest.mark.parametrize("name", ["mesh_file", "section_mm"])
def test_no_file_is_opened_because_a_tank_names_it(hand, name):
    tank = {"shape": "mesh", "mesh_file": "/etc/passwd", "mesh_unit": "mm"}
    if name == "section_mm":
        tank = {"shape": "section", "length_mm": 1000, "mesh_file": "/etc/passwd"}
    answer = hand.send("/tanks/main", "PUT", tank=tank)
    assert (answer.status_code, answer.json()["field"]) == (422, "mesh_file")


def test_linked_tanks_are_filled_as_one(hand):
    for tank_id in ("left", "right"):
        tank = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
        hand.record(f"/tanks/{tank_id}", "PUT", tank=tank)
    hand.record("/links", link_id="both", tank_ids=["left", "right"])
    assert hand.send("/tanks/left/fill").status_code == 409
    hand.record("/tanks/both/fill")
    hand.record("/tanks/both/pours", added_l=0, counts=3)
    verdict = hand.record("/tanks/both/pours", added_l=100, counts=460)["verdict"]
    assert verdict["blocks"] is False
    hand.record("/links/both/unlink", reason="the pipe is shut")


def test_bench_readings_are_held_against_common_practice(hand):
    hand.record(
        "/tanks/main",
        "PUT",
        tank={"shape": "box", "length_mm": 900, "width_mm": 500, "height_mm": 400},
    )
    hand.record("/tanks/main/bench/zero", counts="180")
    hand.record("/tanks/main/bench/span", counts=3600, fuel="diesel", fuel_c="59 °F")
    done = hand.record("/tanks/main/bench/repeat", counts=3650, point="span")
    kinds = [found["kind"] for found in done["job"]["tanks"][0]["bench"]["findings"]]
    assert kinds == ["empty_unusual", "not_repeatable"]
    wrong = hand.send("/tanks/main/bench/repeat", counts=3611, point="zero")
    assert (wrong.status_code, wrong.json()["field"]) == (422, "point")
    zero = done["job"]["tanks"][0]["bench"]["zeros"][0]["number"]
    voided = hand.record(f"/bench/{zero}/void", reason="still dripping")
    assert voided["job"]["tanks"][0]["bench"]["zeros"][0]["voided"]["reason"] == "still dripping"


@pytest.mark.parametrize(
    ("zero", "span", "kind"),
    [
        (1000, 2050, None),
        (1000, 3400, "ratio_too_high"),
        (1000, 1150, "ratio_too_low"),
        (4095, 4095, "short_circuit"),
        (4095, 3000, "touching"),
        (20, 4095, "touching"),
        (31, 3650, None),
        (31, 900, "full_unusual"),  # half immersed, not a scale of 1023
        (3650, 31, "not_rising"),
        (0, 0, "not_rising"),
        (-3, 3650, "open_circuit"),
    ],
)
def test_bare_signals_are_held_against_the_fuels_permittivity(hand, zero, span, kind):
    hand.record("/tanks/main", "PUT", tank={}, probe={})
    hand.record("/tanks/main/bench/zero", counts=zero)
    done = hand.record("/tanks/main/bench/span", counts=span, fuel="diesel")
    kinds = [found["kind"] for found in done["job"]["tanks"][0]["bench"]["findings"]]
    assert (kind in kinds) if kind else not kinds


def test_mounting_asks_for_evidence_and_can_be_reopened(hand):
    hand.record("/mount", item="torque_by_hand", text="6 Nm")
    done = {each["id"]: each for each in hand.state()["mount"]}["torque_by_hand"]
    assert (done["is_done"], done["by"], done["note"]) == (True, "Ann", "6 Nm")
    hand.record("/mount/reopen", item="torque_by_hand", reason="gasket changed")
    assert {e["id"]: e for e in hand.state()["mount"]}["torque_by_hand"]["is_done"] is False


def test_a_seal_number_is_used_once(hand):
    hand.record("/seals", seal_number="A1", place="probe head")
    assert hand.send("/seals", seal_number="A1", place="cable").status_code == 409
    hand.record("/seals/remove", seal_number="A1", reason="opened for the vent")
    assert hand.state()["seals"][0]["removed"] == "opened for the vent"


def test_a_stage_is_finished_and_reopened_with_a_reason(hand):
    hand.record("/stages/survey/finish")
    assert hand.state()["stage"] == "Plan"
    assert hand.send("/stages/survey/reopen", reason="").status_code == 422
    hand.record("/stages/survey/reopen", reason="second tank found")
    assert hand.state()["stage"] == "Survey"


def test_a_photo_is_made_small_and_loses_where_it_was_taken(hand):
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (52.0, 31.0, 12.0)}  # where it was taken
    exif[0x010F] = "A camera"
    exif[0x0112] = 6  # lies on its side
    upload = io.BytesIO()
    Image.new("RGB", (3000, 2000), "teal").save(upload, "JPEG", exif=exif)
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/photos",
        data={"person": "Ann", "on": 1, "request_id": "p1", "stage": "Survey"},
        files={"file": ("../../etc/evil.jpg", upload.getvalue(), "text/html")},
    )
    assert answer.status_code == 200, answer.text
    sha256 = answer.json()["job"]["photos"][0]["sha256"]
    shown = hand.client.get(f"/photos/{sha256}")
    assert shown.headers["content-type"] == "image/jpeg"
    with Image.open(io.BytesIO(shown.content)) as kept:
        assert kept.size == (1067, 1600)
        assert not kept.getexif()
    assert b"A camera" not in shown.content


@pytest.mark.parametrize(
    "content",
    [b"", b"<svg onload=alert(1)>", b"GIF89a" + bytes(40), b"\xff\xd8\xff\xe0broken"],
    ids=["nothing", "svg", "gif", "half a jpeg"],
)
def test_what_is_no_photo_is_refused(hand, content):
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/photos",
        data={"person": "Ann", "on": 1},
        files={"file": ("a.jpg", content, "image/jpeg")},
    )
    assert answer.status_code == 422
    assert answer.json()["field"] == "file"


def test_a_picture_that_unpacks_to_too_much_is_refused(hand):
    upload = io.BytesIO()
    Image.new("1", (12_000, 9_000)).save(upload, "PNG")
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/photos",
        data={"person": "Ann", "on": 1},
        files={"file": ("a.png", upload.getvalue(), "image/png")},
    )
    assert answer.status_code == 422
    assert "12000 x 9000" in answer.json()["error"]


def test_a_job_goes_out_whole_and_comes_in_again(hand, workbench):
    hand.record("/notes", text="drained at the yard")
    sent = hand.client.get(f"/api/jobs/{hand.job}/export")
    assert sent.headers["content-type"] == "application/zip"
    assert read_job(sent.content).job == hand.job
    back = hand.client.post("/api/jobs/import", content=sent.content).json()
    assert (back["added"], back["already_there"]) == (0, 2)


def test_an_altered_job_file_is_refused_with_the_entry_named(hand):
    hand.record("/notes", text="drained at the yard")
    altered = hand.client.get(f"/api/jobs/{hand.job}/export").content.replace(b"yard", b"dock")
    answer = hand.client.post("/api/jobs/import", content=altered)
    assert answer.status_code == 422
    assert "entry 2" in answer.json()["error"]


def test_units_of_the_book_are_changed_and_unknown_ones_refused(hand):
    body = {"person": "Ann", "volume_unit": "us_gallons", "workshop": "Moonmoth"}
    assert hand.client.put("/api/book/settings", json=body).json()["volume_unit"] == "us_gallons"
    answer = hand.client.put("/api/book/settings", json={"person": "Ann", "length_unit": "ells"})
    assert (answer.status_code, answer.json()["field"]) == (422, "length_unit")
    assert "US gal" in hand.client.get(f"/jobs/{hand.job}/survey").text
    hand.client.put("/api/book/settings", json={"person": "Ann", "volume_unit": "litres"})


@pytest.mark.parametrize(
    "stage", ["survey", "plan", "bench", "mount", "pour", "table", "prove", "certificate"]
)
def test_every_stage_has_a_page(hand, stage):
    hand.begin()
    hand.pour(0, 0)
    page = hand.client.get(f"/jobs/{hand.job}/{stage}")
    assert page.status_code == 200
    assert "<script>" not in page.text


def test_what_is_not_there_is_said_so(hand):
    assert hand.client.get("/api/jobs/none").status_code == 404
    assert hand.client.get(f"/api/jobs/{hand.job}/tanks/none/verdict").status_code == 404
    assert hand.client.get(f"/jobs/{hand.job}/nonsense").status_code == 404
    assert hand.client.get("/photos/" + "0" * 64).status_code == 404
    assert hand.client.get("/photos/../../etc/passwd").status_code == 404


def test_a_name_that_is_not_known_in_a_body_is_refused(hand):
    answer = hand.send("/notes", text="a", colour="red")
    assert (answer.status_code, answer.json()["field"]) == (422, "colour")


@pytest.mark.parametrize("text", ['{"a": NaN}', "{", "[]", '"x"', ""])
def test_a_body_that_is_none_is_refused(hand, text):
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/notes", content=text, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 422


@pytest.mark.parametrize("length", ["1,000", "1.180", "1,185", 1.2], ids=str)
def test_a_tank_a_millimetre_long_is_a_slip_and_is_not_recorded(hand, length):
    tank = {"shape": "box", "length_mm": length, "width_mm": 600, "height_mm": 500}
    refused = hand.send("/tanks/main", "PUT", tank=tank, probe={})
    assert refused.status_code == 422
    assert refused.json()["field"] == "length_mm"
    assert "thousands mark" in refused.json()["error"]
    assert hand.state()["tanks"] == []


def test_letters_that_the_certificate_cannot_set_are_told_at_once_and_put_right(hand):
    hand.open_job(vehicle="Größe ✓ محرك")
    told = hand.state()["remarks"]
    assert [each["fact"] for each in told] == ["vehicle"]
    assert "'م' (U+0645) cannot be written on the certificate" in told[0]["sentence"]
    for caution in hand.state()["cautions"]:  # read before the page is shown
        if caution["stage"] == "Survey":
            hand.record("/cautions", caution=caution["id"])
    page = hand.client.get(f"/jobs/{hand.job}/survey").text
    assert 'data-remark="vehicle"' in page
    assert 'name="facts.vehicle"' in page

    answer = hand.record("/facts", facts={"vehicle": "Größe", "site": "油"}, reason="letters")

    assert [each["fact"] for each in answer["job"]["remarks"]] == ["site"]
    page = hand.client.get(f"/jobs/{hand.job}/survey").text
    assert 'data-remark="site"' in page
    assert 'data-remark="vehicle"' not in page
