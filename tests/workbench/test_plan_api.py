"""The Plan stage over the API: places are tried, the cut is typed twice, papers follow the plan."""

import re

import pytest

BOX = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
ROD = {"x_mm": 520, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 460}
DIESEL = {"contents": "diesel", "ever_held": []}
BAFFLE = {"name": "baffle", "corners_mm": [["400", "0"], [600, 0], [600, "500,5"], [400, "500"]]}


@pytest.fixture
def planner(hand):
    """A person with a described tank."""
    hand.record("/tanks/main", "PUT", tank=BOX, probe=ROD)
    return hand


def layout(hand, **body):
    return hand.client.post(f"/api/jobs/{hand.job}/tanks/main/plan/layout", json=body)


def test_the_map_marks_the_best_place_and_records_nothing(planner):
    found = layout(planner, wishes=DIESEL).json()

    best = found["map"]["best_place"]
    assert (best["x_mm"], best["y_mm"]) == (500, 300)
    worst = found["map"]["worst_l"]
    assert len(worst) == len(found["map"]["y_mm"])
    assert max(w for row in worst for w in row if w is not None) > 10 * best["worst_l"]
    assert planner.state()["number"] == planner.number


def test_a_keep_out_zone_moves_the_best_place_out_of_it(planner):
    found = layout(planner, wishes={**DIESEL, "keep_out": [BAFFLE]}).json()

    best = found["map"]["best_place"]
    assert best["x_mm"] <= 350 or best["x_mm"] >= 650 or best["y_mm"] >= 550
    assert found["map"]["zones"][0]["corners_mm"][2] == [600, 500.5]
    assert any("baffle" in note for note in found["layout"]["notes"])


def test_a_place_off_the_middle_misreads_more(planner):
    here = layout(planner, wishes=DIESEL).json()["layout"]["slope"]["worst_l"]
    there = layout(planner, wishes=DIESEL, x_mm="8 in", y_mm=300).json()["layout"]

    assert there["probe"]["x_mm"] == pytest.approx(203.2)
    assert there["slope"]["worst_l"] > 5 * here


@pytest.mark.parametrize("blank", [{}, {"contents": ""}, {"contents": None}])
def test_what_the_tank_holds_is_asked_not_assumed(planner, blank):
    answer = layout(planner, wishes=blank)

    assert (answer.status_code, answer.json()["field"]) == (422, "contents")
    assert "what does the tank hold" in answer.json()["error"]


@pytest.mark.parametrize(
    ("wishes", "field", "words"),
    [
        ({"contents": "petrol"}, "contents", "teaspoon"),
        ({"contents": "something"}, "contents", "nobody knows"),
        ({**DIESEL, "is_dangerous_goods": True}, "dangerous_goods", "dangerous goods"),
        ({**DIESEL, "clear_mm": "wide"}, "clear_mm", "wide"),
        ({**DIESEL, "clear_mm": 1e300}, "clear_mm", "more than any"),
        ({**DIESEL, "keep_out": [{"name": "x", "corners_mm": [[1, 2], [3]]}]}, "keep-out x", "[3]"),
    ],
)
def test_what_stops_the_plan_is_said_with_its_field(planner, wishes, field, words):
    answer = layout(planner, wishes=wishes)

    assert (answer.status_code, answer.json()["field"]) == (422, field)
    assert words in answer.json()["error"]


def test_a_licensed_person_is_recorded_and_the_plan_gives_no_permission(planner):
    wishes = {"contents": "petrol", "licensed_person": "A. Example"}
    notes = layout(planner, wishes=wishes).json()["layout"]["notes"]

    assert "A. Example is named" in notes[0]
    assert "no permission" in notes[0]


@pytest.mark.parametrize("pair", [["480", "408"], ["470", "470"], ["480"]])
def test_a_cut_that_is_not_typed_twice_alike_records_no_plan(planner, pair):
    planned = layout(planner, wishes=DIESEL).json()["layout"]["probe"]["cut_length_mm"]
    assert planned == 485
    answer = planner.send("/tanks/main/plan/confirmed", wishes=DIESEL, cut_mm=pair)

    assert (answer.status_code, answer.json()["field"]) == (422, "cut_length_mm")
    assert planner.state()["tanks"][0]["plan"] is None


def test_the_recorded_plan_leads_the_fill_and_prints_its_papers(planner):
    wishes = {**DIESEL, "keep_out": [BAFFLE], "clear_mm": "40"}
    got = planner.record(
        "/tanks/main/plan/confirmed", wishes=wishes, cut_mm=["485", "485,0 mm"], aim={"pours": "4"}
    )
    plan = got["job"]["tanks"][0]["plan"]
    assert (plan["cut_confirmed_mm"], plan["wishes"]["clear_mm"]) == (485, 40)
    assert len(plan["pours"]) == 4
    errors = [action["error_left_l"] for action in plan["actions"]]
    assert errors == sorted(errors, reverse=True)

    here = f"/api/jobs/{planner.job}/tanks/main/plan"
    svg = planner.client.get(f"{here}/template.svg")
    assert svg.headers["content-type"] == "image/svg+xml"
    assert "210mm" in svg.text
    page = planner.client.get(f"{here}/list.txt").text
    assert page.index("CAUTIONS") < page.index("cut to 485.0 mm")
    planner.record("/tanks/main/fill", residual_l=1.2, u_residual_l=0.3)
    verdict = planner.pour(0, 0)["verdict"]
    assert verdict["next"]["added_l"] == plan["pours"][0]["add_l"]


def test_papers_of_a_plan_that_no_longer_fits_the_tank_are_refused(planner):
    here = f"/api/jobs/{planner.job}/tanks/main/plan/template.svg"
    assert planner.client.get(here).status_code == 409
    planner.record("/tanks/main/plan/confirmed", wishes=DIESEL, cut_mm=["485", "485"])
    assert planner.client.get(here).status_code == 200
    planner.record("/tanks/main", "PUT", tank=BOX, probe={**ROD, "x_mm": 480}, reason="moved")

    answer = planner.client.get(here)
    assert answer.status_code == 409
    assert "described anew" in answer.json()["error"]


def test_the_ranked_pours_name_the_error_left_after_each(planner):
    body = {"wishes": DIESEL, "aim": {"fuel_l": "120"}}
    url = f"/api/jobs/{planner.job}/tanks/main/plan/pours"
    plan = planner.client.post(url, json=body).json()["plan"]

    assert plan["fuel_needed_l"] <= 120
    assert plan["actions"][-1]["error_left_l"] == plan["error_left_l"]
    assert plan["why_it_ends"]
    wrong = planner.client.post(url, json={**body, "aim": {"pours": "2.5"}})
    assert (wrong.status_code, wrong.json()["field"]) == (422, "pours")


def test_the_next_pour_is_foretold_until_more_no_longer_pay(planner):
    url = f"/api/jobs/{planner.job}/tanks/main/plan/next"
    assert "no pour" in planner.client.get(url).json()["why_not"]
    planner.record("/tanks/main/fill", residual_l=1.2, u_residual_l=0.3)
    planner.pour(0, 0)

    left, total = [], 0.0
    for _ in range(25):
        found = planner.client.get(url).json()
        left.append(found["error_now_l"])
        if found["add_l"] is None:
            break
        assert found["error_then_l"] < found["error_now_l"]
        # What teaches most is often far up: go there in two steps, as a plan would.
        litres = round(found["add_l"] / 2 if found["add_l"] > 40 else found["add_l"], 1)
        total += litres
        planner.pour(litres, total)

    assert found["add_l"] is None
    assert left[-1] < 0.5 * left[0]


def test_a_plan_kept_in_litres_is_shown_in_the_gallons_of_the_book(planner):
    for caution in planner.state()["cautions"]:
        if caution["stage"] == "Plan":
            planner.record("/cautions", caution=caution["id"])
    wishes = {**DIESEL, "in_tank_l": "500 US gal", "clear_mm": "2 in", "slope_along": "6"}
    planner.record(
        "/tanks/main/plan/confirmed", wishes=wishes, cut_mm=["485"] * 2, aim={"fuel_l": "20 US gal"}
    )
    units = {"person": "Ann", "volume_unit": "us_gallons", "length_unit": "inches"}
    planner.client.put("/api/book/settings", json=units)
    try:
        page = planner.client.get(f"/jobs/{planner.job}/plan?tank=main").text
    finally:
        metric = {"person": "Ann", "volume_unit": "litres", "length_unit": "mm"}
        planner.client.put("/api/book/settings", json=metric)

    shown = dict(re.findall(r'<input id="[^"]*" name="([^"]*)"[^>]* value="([^"]*)"', page))
    kept = {name: shown[name] for name in ("in_tank_l", "clear_mm", "slope_along", "aim.fuel_l")}
    assert kept == {
        "in_tank_l": "500.0", "clear_mm": "2", "slope_along": "6", "aim.fuel_l": "20.0"
    }  # fmt: skip
    assert '<option value="diesel" selected>' in page


def test_checks_are_offered_beside_pours_and_a_slope_read_once_serves_them_all(planner):
    url = f"/api/jobs/{planner.job}/tanks/main/plan/next"
    planner.record("/tanks/main/fill")
    planner.pour(0, 0)
    first = planner.client.get(url).json()
    assert {each["kind"] for each in first["choices"]} == {
        "stop",
        "meter",
        "slope",
        "dip",
        "residue",
    }
    errors = [each["error_then_l"] for each in first["choices"]]
    assert errors == sorted(errors)
    assert all(each["minutes"] > 0 for each in first["choices"])

    planner.pour(40, 40)
    before = {c["kind"]: c for c in planner.client.get(url).json()["choices"]}
    assert "dip" not in before
    planner.record("/tanks/main/fill/checks", pitch_deg="0,2", roll_deg=-0.1, reason="level")
    after = planner.client.get(url).json()
    assert after["error_now_l"] == pytest.approx(before["slope"]["error_then_l"], rel=0.05)
    assert all(each["kind"] != "slope" for each in after["choices"])
    wrong = planner.send("/tanks/main/fill/checks", pitch_deg="steep", reason="x")
    assert (wrong.status_code, wrong.json()["field"]) == (422, "pitch_deg")


def test_what_the_tank_ever_held_is_asked_before_a_plan_is_recorded(planner):
    unasked = {"contents": "diesel"}
    answer = planner.send("/tanks/main/plan/confirmed", wishes=unasked, cut_mm=["485", "485"])
    assert (answer.status_code, answer.json()["field"]) == (422, "ever_held")
    for fuel in ("petrol", "ethanol", "unknown"):
        stopped = layout(planner, wishes={**DIESEL, "ever_held": [fuel]})
        assert stopped.status_code == 422
        assert "the plan stops" in stopped.json()["error"]
    assert planner.state()["tanks"][0]["plan"] is None


@pytest.mark.parametrize("pair", [[], ["485"], ["485", "458"], ["500", "500"]])
def test_a_plan_file_with_a_cut_is_refused_without_the_cut_typed_twice(planner, pair):
    plan = {"probe": {"x_mm": 520, "y_mm": 300, "cut_length_mm": 485.0}, "pours": []}
    answer = planner.send("/tanks/main/plan", plan=plan, cut_mm=pair)

    assert answer.status_code == 422
    assert planner.state()["tanks"][0]["plan"] is None
    planner.record("/tanks/main/plan", plan=plan, cut_mm=["485", "485,0"])
    assert planner.state()["tanks"][0]["plan"]["cut_confirmed_mm"] == 485


def test_the_flange_in_hand_and_the_paper_are_on_the_template(planner):
    wishes = {**DIESEL, "flange_mm": 90, "hole_mm": 44, "bolt_circle_mm": "70", "bolts": "4",
              "bolt_mm": "6,5", "first_bolt_deg": 45}  # fmt: skip
    planner.record("/tanks/main/plan/confirmed", wishes=wishes, cut_mm=["485", "485"])
    url = f"/api/jobs/{planner.job}/tanks/main/plan/template.svg"
    letter = planner.client.get(url, params={"paper": "letter"}).text

    assert 'width="215.9mm" height="279.4mm"' in letter
    assert "4 bolts of 6.5 mm on a circle of 70 mm" in letter
    assert letter.count('class="bolt"') == 4
    assert planner.client.get(url, params={"paper": "A3"}).json()["field"] == "paper"
    bad = {**wishes, "bolt_circle_mm": 88}
    answer = planner.send("/tanks/main/plan/confirmed", wishes=bad, cut_mm=["485", "485"])
    assert (answer.status_code, answer.json()["field"]) == (422, "flange_mm")


def test_the_stand_off_is_a_result_of_its_own_with_band_and_verdict(planner):
    wishes = {**DIESEL, "stand_off_mm": 95, "full_length_mm": 600}
    found = layout(planner, wishes=wishes).json()["layout"]["stand_off"]

    assert found["cut_length_mm"] == 460
    assert found["u_cut_length_mm"] > 0
    assert found["least_tip_clearance_mm"] < found["tip_clearance_mm"]
    assert found["bottom_verdict"] == "clears"


def test_petrol_in_the_survey_stops_the_plan_whatever_is_chosen_there(hand):
    hand.record("/tanks/main", "PUT", tank=BOX, probe=ROD)
    assert layout(hand, wishes=DIESEL).status_code == 200

    hand.record("/facts", facts={"fuel": "Petrol, E5"})

    refused = layout(hand, wishes=DIESEL)
    assert refused.status_code == 422
    assert "the plan stops: the tank has held petrol" in refused.json()["error"]
