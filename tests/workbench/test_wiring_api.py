"""The wiring over the API: checked while typed, recorded with what it came to."""

import pytest

WIRING = {
    "supply": "24 V", "fed": "permanent", "length_m": "12,5", "battery_ah": 180,
    "loads": [{"name": "probe", "least_v": 9, "most_v": 60, "running_ma": "50"}],
    "wires": [
        {"colour": "red", "at_probe": "+24V", "at_unit": "+24V"},
        {"colour": "black", "at_probe": "GND", "at_unit": "GND"},
        {"colour": "white", "at_probe": "TX", "at_unit": "TX"},
    ],
}  # fmt: skip


@pytest.fixture
def fitter(hand):
    """A person with a described tank."""
    rod = {"x_mm": 520, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 460}
    box = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
    hand.record("/tanks/main", "PUT", tank=box, probe=rod)
    return hand


def check(hand, wiring, tank="main"):
    url = f"/api/jobs/{hand.job}/tanks/{tank}/wiring/check"
    return hand.client.post(url, json={"wiring": wiring})


def test_what_is_typed_is_checked_and_nothing_is_recorded(fitter):
    found = check(fitter, WIRING).json()["found"]

    assert found["verdict"] == "wrong"
    assert found["pins"][2]["clash"].startswith("transmit meets transmit")
    assert found["cable"]["area_mm2"] == 0.5
    assert fitter.state()["number"] == fitter.number


def test_it_is_recorded_as_typed_with_what_it_came_to(fitter):
    fitter.record("/tanks/main/wiring", wiring=WIRING)
    crossed = {**WIRING, "wires": [*WIRING["wires"][:2], {"colour": "white", "at_probe": "TX",
                                                         "at_unit": "RX"}]}  # fmt: skip
    fitter.record("/tanks/main/wiring", wiring=crossed, reason="crossed")

    tank = fitter.state()["tanks"][0]
    assert tank["wiring"]["length_m"] == "12,5"
    assert tank["wiring_found"]["verdict"] == "clear"
    entries = fitter.client.get(f"/api/jobs/{fitter.job}/entries").json()
    kinds = [e["kind"] for e in (entries if isinstance(entries, list) else entries["entries"])]
    assert kinds.count("wiring_recorded") == 2


def test_a_gauge_is_read_and_shown_in_both_units_and_a_bare_figure_is_mm2(fitter):
    gauge = check(fitter, {**WIRING, "area_mm2": "AWG 14"}).json()["found"]["cable"]
    metric = check(fitter, {**WIRING, "area_mm2": "2,5 mm²"}).json()["found"]["cable"]

    assert (gauge["area_mm2"], gauge["awg"], gauge["sizes"]) == (
        2.08,
        "14 AWG",
        "14 AWG (2.08 mm²)",
    )
    assert (metric["area_mm2"], metric["awg"]) == (2.5, None)
    assert metric["sizes"] == "2.5 mm² (12 AWG or thicker)"
    refused = check(fitter, {**WIRING, "area_mm2": "14"})
    assert (refused.status_code, refused.json()["field"]) == (422, "area_mm2")
    assert "a gauge such as 14 AWG" in refused.json()["error"]


def test_a_wrong_field_is_named_and_nothing_is_recorded(fitter):
    wrong = {**WIRING, "wires": [{"colour": "red"}, {"color": "red"}]}
    answer = fitter.send("/tanks/main/wiring", wiring=wrong)

    assert (answer.status_code, answer.json()["field"]) == (422, "wires 2 color")
    assert check(fitter, {"length_m": "12 feet"}).json()["field"] == "length_m"
    assert check(fitter, WIRING, tank="other").status_code == 404
    assert fitter.state()["tanks"][0]["wiring"] is None


def test_the_page_that_is_carried_brings_what_the_wiring_needs(fitter):
    fitter.record("/tanks/main/wiring", wiring=WIRING)
    layout = fitter.client.post(
        f"/api/jobs/{fitter.job}/tanks/main/plan/layout", json={"wishes": {"contents": "diesel"}}
    ).json()["layout"]
    cut = str(layout["probe"]["cut_length_mm"])
    fitter.record(
        "/tanks/main/plan/confirmed",
        wishes={"contents": "diesel", "ever_held": []},
        cut_mm=[cut, cut],
        aim={"pours": 2},
    )
    page = fitter.client.get(f"/api/jobs/{fitter.job}/tanks/main/plan/list.txt").text

    assert "14 m of cable of 0.5 mm²" in page
    assert "fuse 1 A with holder" in page
    assert "wrong in the wiring: transmit meets transmit" in page
