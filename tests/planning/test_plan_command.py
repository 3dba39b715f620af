"""The plan as a person asks for it and as a file that others read."""

import json
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from gaugewright.app import plan as planning
from gaugewright.app.plan import lay_out, plan_job
from gaugewright.app.plan_cut import Wishes
from gaugewright.app.plan_record import map_record, plan_record
from gaugewright.app.plan_wishes import wishes_from_mapping
from gaugewright.app.tank_file import TankFile
from gaugewright.cli.main import app
from gaugewright.errors import InputError
from gaugewright.planning.actions import PlannedPour, PourPlan
from gaugewright.planning.outlook import Checks
from gaugewright.planning.zones import KeepOut
from gaugewright.probe import Probe
from gaugewright.tank.description import Tank

BARE = 'shape = "lying_cylinder"\nlength_mm = 1200\ndiameter_mm = 600\n'
PROBE = "probe = {x_mm = 900, y_mm = 300, tip_clearance_mm = 25, active_length_mm = 500}\n"
TANK = Tank("lying_cylinder", length_mm=1200, diameter_mm=600)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bare.toml").write_text(BARE)
    (tmp_path / "tank.toml").write_text(BARE + PROBE)
    return tmp_path


@pytest.fixture
def quick(monkeypatch):
    """The place and the length without ranking the pours, which has tests of its own."""
    asked = []

    def plan_pours(tank, probe, **wanted):
        asked.append((tank, probe, wanted))
        pours = (PlannedPour(1, 62.0, 412, 9.0), PlannedPour(2, 120.5, 1900, 14.5))
        return PourPlan(pours, Checks(meter=True), (), 1.2, 2.1, 182.5, 12.0, "enough")

    monkeypatch.setattr(planning, "plan_pours", plan_pours)
    return asked


def run(*arguments, **options):
    return CliRunner().invoke(app, ["plan", *arguments], **options)


def test_the_plan_file_has_what_the_contract_says(folder):
    result = run("tank.toml", "--pours", "2", "--out", "plan.json")

    assert result.exit_code == 0, result.stderr
    record = json.loads((folder / "plan.json").read_text())
    assert record["probe"]["x_mm"] == 900
    assert record["probe"]["y_mm"] == 300
    assert record["probe"]["tip_clearance_mm"] == 25
    assert record["probe"]["cut_length_mm"] == pytest.approx(600 + 5 - 25)
    assert record["dead_stock_l"] == pytest.approx(4.9, abs=0.2)
    steps = [pour["step"] for pour in record["pours"]]
    assert steps == list(range(1, len(steps) + 1))
    assert len(steps) == 2
    for pour in record["pours"]:
        assert pour["add_l"] > 0
        assert 0 <= pour["expected_counts"] <= 4095
        assert pour["u_counts"] > 0


def test_the_plan_file_is_read_by_calibrate(folder, quick):
    run("tank.toml", "--out", "plan.json")
    rows = "step,added_l,counts\n0,0,0\n1,62.1,600\n2,120.4,1800\n"
    (folder / "pours.csv").write_text(rows)

    result = CliRunner().invoke(
        app, ["calibrate", "pours.csv", "--tank", "tank.toml", "--plan", "plan.json"]
    )

    assert result.exit_code in (0, 1), result.stderr


def test_without_a_probe_the_plan_chooses_the_place_and_says_so(folder, quick):
    result = run("bare.toml")

    assert "x 600 mm, y 300 mm (the best free place)" in result.stdout
    words = " ".join(result.stdout.split())
    assert "the tank file has no probe: place, clearance and length are proposed here" in words
    assert quick[0][1] == Probe(600, 300, tip_clearance_mm=20, active_length_mm=565)


def test_a_probe_in_the_file_stays_where_it_is_and_a_better_place_is_named(folder, quick):
    result = run("tank.toml")

    assert "x 900 mm, y 300 mm (as in the tank file)" in result.stdout
    words = " ".join(result.stdout.split())
    assert "at x 600, y 300 mm the slope would misread" in words


def test_what_is_asked_of_the_pours_reaches_them(folder, quick):
    run("tank.toml", "--within", "1,5", "--fuel", "150")
    run("tank.toml", "--pours", "7")

    assert quick[0][2] == {"pours": None, "within_l": 1.5, "fuel_l": 150, "assumed": None}
    assert quick[1][2]["pours"] == 7


def test_a_keep_out_zone_moves_the_place(folder, quick):
    result = run("bare.toml", "--keep-out", "baffle=580:0 620,0:600", "--json")

    record = json.loads(result.stdout)
    assert abs(record["probe"]["x_mm"] - 600) >= 70
    assert record["slope"]["worst_l"] > 0


def test_a_steeper_slope_misreads_more(folder, quick):
    gentle = json.loads(run("tank.toml", "--json").stdout)
    steep = json.loads(run("tank.toml", "--slope-along", "6deg", "--json").stdout)

    assert steep["slope"]["worst_l"] > 1.5 * gentle["slope"]["worst_l"]
    assert steep["slope"]["along_percent"] == pytest.approx(10.5, abs=0.02)


def test_headroom_and_a_dip_stick_are_heard(folder, quick):
    words = " ".join(run("tank.toml", "--headroom", "300", "--depth", "595").stdout.split())

    assert "bringing the probe in: impossible: 300 mm above the tank" in words
    assert "cut to 575.0 mm" in words
    assert "headroom is not known" in " ".join(run("tank.toml").stdout.split())


def test_the_stand_off_is_a_second_way_to_the_cut(folder, quick):
    # 600 mm deep and 5 mm of seat: an uncut 700 mm stands off 95 mm.
    agrees = run("tank.toml", "--stand-off", "95", "--full-length", "70cm", "--json")
    differs = run("tank.toml", "--stand-off", "60", "--full-length", "700", "--depth", "600")

    record = json.loads(agrees.stdout)["stand_off"]
    assert (record["cut_length_mm"], record["tip_clearance_mm"]) == (560, 45)
    assert (record["apart_mm"], record["agrees"]) == (0, True)
    assert record["least_tip_clearance_mm"] < 45
    assert record["bottom_verdict"] == "clears"
    assert "do not agree: measure both again before the cut" in " ".join(differs.stdout.split())


def test_cautions_come_first(folder, quick):
    first = run("tank.toml").stdout.splitlines()[0]

    assert first.startswith("! wheels chocked")
    record = json.loads(run("tank.toml", "--json").stdout)
    assert {"drilling", "static"} <= {each["id"] for each in record["cautions"]}


def test_template_and_page_are_written(folder, quick):
    result = run(
        "tank.toml", "--template", "t.svg", "--sheet", "s.txt", "--paper", "letter",
        "--in-tank", "150",
    )  # fmt: skip

    assert result.exit_code == 0, result.stderr
    root = ElementTree.fromstring((folder / "t.svg").read_text())
    assert root.get("width") == "215.9mm"
    sheet = (folder / "s.txt").read_text()
    assert "cut to 580.0 mm" in sheet
    assert "1 x 200 L drum" in sheet
    assert "measured can" in sheet
    assert len(sheet.splitlines()) <= 64


def test_the_template_has_the_bolts_of_the_flange_in_hand(folder, quick):
    result = run(
        "tank.toml", "--template", "t.svg", "--hole", "44mm", "--flange", "3.5in", "--bolts", "6",
        "--bolt-circle", "68mm", "--bolt-hole", "6,5", "--first-bolt", "30",
    )  # fmt: skip

    assert result.exit_code == 0, result.stderr
    root = ElementTree.fromstring((folder / "t.svg").read_text())
    circles = {c.get("class"): float(c.get("r")) for c in root.iter() if "r" in c.attrib}
    assert circles == {"outline": 44.45, "hole": 22.0, "bolt-circle": 34.0, "bolt": 3.25}
    bolts = [c for c in root.iter() if c.get("class") == "bolt"]
    hole = next(c for c in root.iter() if c.get("class") == "hole")
    assert len(bolts) == 6
    # the first 30 degrees right of the front arrow, half of the circle's radius to the right
    assert float(bolts[0].get("cx")) - float(hole.get("cx")) == pytest.approx(17.0, abs=1e-3)


def test_a_file_on_standard_output_has_it_for_itself(folder, quick):
    result = run("tank.toml", "--template", "-")

    ElementTree.fromstring(result.stdout)
    assert "drill at" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--contents", "petrol"], "--contents: the plan stops: the tank holds petrol"),
        (["--contents", "jet"], "--contents: the plan stops: the tank holds jet, a fuel that may"),
        (["--contents", "?"], "--contents: the plan stops: nobody knows what the tank holds"),
        (["--dangerous-goods"], "--dangerous-goods: the plan stops: the vehicle carries"),
        (["--pours", "0"], "--pours: must be 1 to 60, found 0"),
        (["--pours", "2.5"], "--pours: wanted a whole number, found 2.5"),
        (["--within", "-1"], "--within: must be above 0 L, found -1"),
        (["--fuel", "much"], "--fuel: 'much' is not a number"),
        (["--slope-along", "steep"], "--slope-along: 'steep' is not a slope"),
        (["--slope-across", "101%"], "--slope-across: 101 % is outside"),
        (["--keep-out", "100:50"], "--keep-out: '100:50' is not a zone"),
        (["--keep-out", "b=0:x 1:1"], "--keep-out: 'x' is not a length"),
        (["--headroom", "high"], "--headroom: 'high' is not a length"),
        (["--headroom", "-5"], "--headroom: must be 0 mm or more, found -5"),
        (["--depth", "10"], "--depth: 10 mm leaves nothing of a probe"),
        (["--stand-off", "95"], "--full-length: is missing: stand-off and full length go"),
        (["--stand-off", "700", "--full-length", "700"], "--stand-off: 700 mm and 45 mm to cut"),
        (["--seat", "-3"], "--seat: must be 0 mm or more"),
        (["--in-tank", "-3"], "--in-tank: must be 0 or more"),
        (["--bolts", "4.5"], "--bolts: wanted a whole number, found 4.5"),
        (["--bolts", "25"], "--bolts: must be 0 to 24, found 25"),
        (["--bolt-circle", "40"], "--bolt-circle: bolts of 5 mm on a circle of 40 mm would break"),
        (["--bolt-circle", "78"], "--flange: bolts on a circle of 78 mm do not fit into a flange"),
        (["--flange", "30mm"], "--flange: a flange of 30 mm does not cover a hole of 38 mm"),
        (["--flange", "300mm"], "--flange: a flange of 300 mm does not fit on A4, at most 146 mm"),
        (["--hole", "wide"], "--hole: 'wide' is not a length"),
        (["--first-bolt", "x"], "--first-bolt: 'x' is not a number"),
        (["--paper", "A3"], "--paper: 'A3' is no paper known here, wanted A4 or Letter"),
        (["--out", "-", "--sheet", "-"], "only one of --out, --template and --sheet"),
        (["--pours", "1", "--out", "no/plan.json"], "no/plan.json: cannot be written"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_line(folder, arguments, message):
    result = run("tank.toml", *arguments)

    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1
    assert sorted(each.name for each in folder.iterdir()) == ["bare.toml", "tank.toml"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BARE + PROBE.replace("900", "1300"), "t.toml, probe.x_mm, probe.y_mm: x 1300 mm"),
        (BARE + PROBE.replace("25", "700"), "t.toml, probe.tip_clearance_mm: 700 mm is"),
        ('shape = "box"\n', "t.toml, length_mm: is missing"),
        ('shape = "lying_cylinder"\nlength_mm = 60\ndiameter_mm = 60\n', "--keep-out: no place"),
    ],
)
def test_a_tank_that_cannot_take_the_probe_is_refused_by_file(folder, quick, text, message):
    (folder / "t.toml").write_text(text)

    result = run("t.toml")

    assert result.exit_code == 2
    assert result.stderr.startswith(f"gaugewright: {message}")
    assert result.stderr.count("\n") == 1


def test_a_licensed_person_is_noted_and_the_plan_goes_on(folder, quick):
    result = run("tank.toml", "--contents", "petrol", "--licensed", "A. Example", "--json")

    notes = json.loads(result.stdout)["notes"]
    assert notes[0].startswith("A. Example is named as the licensed person")
    assert "gives no permission" in notes[0]


def test_the_map_is_ready_to_draw():
    layout = lay_out(
        TankFile("tank", TANK, None), Wishes(zones=(KeepOut.circle("s", 300, 300, 40),))
    )
    record = map_record(layout.map)

    rows, columns = len(record["y_mm"]), len(record["x_mm"])
    assert len(record["worst_l"]) == len(record["blocked_by"]) == rows
    assert {len(row) for row in record["worst_l"]} == {columns}
    assert record["blockers"] == ["free", "outside the tank", "too near a wall", "s"]
    assert {3} <= {code for row in record["blocked_by"] for code in row} <= {0, 1, 2, 3}
    json.dumps(record, allow_nan=False)


def test_a_map_of_a_round_tank_says_where_it_ends():
    tank = Tank("upright_cylinder", diameter_mm=700, height_mm=900)
    record = map_record(lay_out(TankFile("tank", tank, None)).map)

    assert record["worst_l"][0][0] is None
    assert record["blocked_by"][0][0] == 1


def test_a_probe_longer_than_its_room_is_noticed():
    probe = Probe(600, 300, tip_clearance_mm=20, active_length_mm=620)
    layout = lay_out(TankFile("tank", TANK, probe))

    assert any("active length, 620 mm, is more than the 585 mm" in n for n in layout.notes)


def test_a_baffle_beside_the_hole_keeps_a_leaning_probe_out():
    free = lay_out(TankFile("tank", TANK, None), Wishes(headroom_mm=500))
    boxed_in = (KeepOut.rectangle("front", 400, 0, 410, 600),
                KeepOut.rectangle("rear", 790, 0, 800, 600),
                KeepOut.rectangle("left", 400, 90, 800, 100),
                KeepOut.rectangle("right", 400, 500, 800, 510))  # fmt: skip
    tight = lay_out(TankFile("tank", TANK, None), Wishes(headroom_mm=500, zones=boxed_in))

    assert any("bringing the probe in: leaning 51.0°" in n for n in free.notes)
    assert any("bringing the probe in: not leaning" in n for n in tight.notes)


def test_a_probe_over_a_zone_is_noticed():
    probe = Probe(600, 300, tip_clearance_mm=20, active_length_mm=560)
    zones = (KeepOut("baffle", ((600, 0), (600, 600))),)
    layout = lay_out(TankFile("tank", TANK, probe), Wishes(zones=zones))

    assert "the probe's place is not free: baffle" in layout.notes


def test_an_error_of_a_persons_figure_does_not_blame_the_file():
    with pytest.raises(InputError) as refused:
        lay_out(TankFile("tank.toml", TANK, None), Wishes(hole_mm=10))
    assert refused.value.file is None
    assert refused.value.field == "hole_mm"


def test_a_whole_plan_holds_together():
    plan = plan_job(TankFile("tank", TANK, None), pours=2)
    record = plan_record(plan)

    total = sum(pour["add_l"] for pour in record["pours"])
    assert record["dead_stock_l"] < total < record["capacity_l"]
    assert total == pytest.approx(record["fuel_needed_l"], abs=0.2)


def test_wishes_of_a_form_are_those_of_the_command():
    wishes = wishes_from_mapping(
        {
            "slope_along": "6 deg",
            "slope_across": 2,
            "tip_clearance_mm": "25,5",
            "headroom_mm": "",
            "keep_out": [{"name": "sender", "x_mm": 300, "y_mm": 300, "radius_mm": 40}],
            "contents": "hvo",
            "ever_held": ["diesel"],
            "is_dangerous_goods": False,
        }
    )

    assert wishes.slope.along == pytest.approx(0.1051, abs=1e-4)
    assert wishes.slope.across == 0.02
    assert wishes.tip_clearance_mm == 25.5
    assert wishes.headroom_mm is None
    assert wishes.zones[0].name == "sender"
    assert wishes.circumstances.contents == "hvo"
    assert wishes_from_mapping({}) == Wishes()


@pytest.mark.parametrize(
    ("mapping", "message"),
    [
        ({"hole": 38}, "hole: no such field, did you mean hole_mm?"),
        ({"hole_mm": "wide"}, "hole_mm: 'wide' is not a number"),
        ({"hole_mm": True}, "hole_mm: True is not a number"),
        ({"slope_along": [5]}, r"slope_along: \[5\] is not a slope"),
        ({"keep_out": "sender"}, "keep_out: must be a list"),
        ({"keep_out": [[1, 2]]}, "keep_out: must hold objects"),
        ({"contents": 5}, "contents: must be text, found 5"),
        ({"ever_held": [5]}, "ever_held: must be a list of texts"),
        ({"is_dangerous_goods": "yes"}, "is_dangerous_goods: must be true or false"),
    ],
)
def test_a_wish_that_cannot_be_is_refused_by_name(mapping, message):
    with pytest.raises(InputError, match=message):
        wishes_from_mapping(mapping)
