"""A tank without a shape over the API: described, planned, poured and given a table."""

import pytest

PLATE = {"shape": "unknown", "rated_capacity_l": "280", "height_mm": 500}
ROD = {"x_mm": 0, "y_mm": 0, "tip_clearance_mm": 20, "active_length_mm": 460}
DIESEL = {"contents": "diesel", "ever_held": []}


def plan_of(hand, path, **body):
    return hand.client.post(f"/api/jobs/{hand.job}/tanks/main/plan/{path}", json=body)


def test_it_is_planned_recorded_and_printed(hand):
    hand.record("/tanks/main", "PUT", tank=PLATE, probe={})
    found = plan_of(hand, "layout", wishes=DIESEL).json()
    assert found["map"] is None
    assert found["layout"]["slope"] is None
    cut = str(found["layout"]["probe"]["cut_length_mm"])
    plan = plan_of(hand, "pours", wishes=DIESEL, aim={"pours": 6}).json()["plan"]
    assert len(plan["pours"]) == 6

    hand.record("/tanks/main/plan/confirmed", wishes=DIESEL, cut_mm=[cut, cut], aim={"pours": 6})
    tank = hand.state()["tanks"][0]
    assert tank["capacity_l"] == pytest.approx(280 / 0.95)
    assert len(tank["plan"]["pours"]) == 6
    base = f"/api/jobs/{hand.job}/tanks/main/plan"
    assert "shape not known" in hand.client.get(f"{base}/list.txt").text
    assert "______ mm behind" in hand.client.get(f"{base}/template.svg").text
    for stage in ("plan", "bench", "mount", "pour", "table"):
        assert hand.client.get(f"/jobs/{hand.job}/{stage}").status_code == 200


def test_the_shape_of_a_described_tank_can_be_distrusted(hand):
    box = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
    hand.record("/tanks/main", "PUT", tank=box, probe={**ROD, "x_mm": 500, "y_mm": 300})
    wishes = {**DIESEL, "is_shape_unknown": True}

    assert plan_of(hand, "layout", wishes=wishes).json()["map"] is None
    assert plan_of(hand, "layout", wishes={**DIESEL, "is_shape_unknown": False}).json()["map"]
    cut = "485"
    hand.record("/tanks/main/plan/confirmed", wishes=wishes, cut_mm=[cut, cut])
    assert hand.state()["tanks"][0]["plan"]["wishes"]["is_shape_unknown"] is True
    wrong = plan_of(hand, "layout", wishes={**DIESEL, "is_shape_unknown": "yes"})
    assert wrong.json()["field"] == "is_shape_unknown"
    assert plan_of(hand, "layout", wishes=wishes, x_mm=1, y_mm=1).json()["field"] == "x_mm"


def test_its_pours_give_a_table(hand):
    hand.record("/tanks/main", "PUT", tank=PLATE, probe=ROD)
    hand.record("/tanks/main/fill", residual_l=1.2, u_residual_l=0.3)
    total = 0.0
    for litres in (0, 20, 40, 60, 60, 60):
        total += litres
        hand.pour(litres, total)
    hand.record("/tanks/main/table")

    table = hand.state()["tanks"][0]["table"]
    assert table["rows"][-1][1] == pytest.approx(241.2, abs=3)
    assert table["worst_u_l"] > 0


@pytest.mark.parametrize(
    ("tank", "field"),
    [
        ({"shape": "unknown", "height_mm": 500}, "rated_capacity_l"),
        ({**PLATE, "width_mm": 500}, "width_mm"),
        ({**PLATE, "height_mm": "0"}, "height_mm"),
    ],
)
def test_what_is_wrong_with_it_is_named_and_not_recorded(hand, tank, field):
    answer = hand.send("/tanks/main", "PUT", tank=tank, probe={})

    assert (answer.status_code, answer.json()["field"]) == (422, field)
    assert hand.state()["tanks"] == []
