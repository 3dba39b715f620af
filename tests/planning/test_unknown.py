"""A tank without a trusted shape is planned by its plate and height; what is open says so."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from gaugewright.cli.main import app
from gaugewright.errors import InputError
from gaugewright.planning.unknown import guessed, plan_unknown_pours, unknown_stops_l
from gaugewright.probe import Probe
from gaugewright.tank.shapes import solid_of
from gaugewright.testing.fills import FAMILIES, simulated_fill
from gaugewright.testing.thorough import thorough

TANK = Path(__file__).parents[2] / "examples" / "loader-left.toml"
ROD = Probe(0, 0, 20, 460)


def run(*args, stdin=None):
    return CliRunner().invoke(app, ["plan", *map(str, args)], input=stdin)


@given(st.floats(50, 2000), st.integers(1, 40), st.one_of(st.none(), st.floats(5, 3000)))
def test_stops_rise_and_end_at_the_top_or_with_the_fuel(capacity_l, pours, fuel_l):
    stops = unknown_stops_l(capacity_l, pours, fuel_l=fuel_l)

    assert all(np.diff(stops) > 0)
    assert 1 <= len(stops) <= pours
    top = 0.95 * capacity_l if fuel_l is None else min(0.95 * capacity_l, fuel_l)
    assert stops[-1] == pytest.approx(top, abs=0.051)


@settings(max_examples=thorough(3, 5), deadline=None)
@given(st.integers(2, 12))
def test_checks_and_more_pours_leave_less(pours):
    few = plan_unknown_pours(420, 500, ROD, pours=pours)
    more = plan_unknown_pours(420, 500, ROD, pours=pours + 6)
    left = [action.error_left_l for action in few.actions]

    assert left == sorted(left, reverse=True)
    assert more.actions[0].error_left_l < few.actions[0].error_left_l
    assert few.half_width_l > few.error_left_l


def test_a_wanted_error_is_reached_or_said_to_be_out_of_reach():
    reached = plan_unknown_pours(420, 500, ROD, within_l=4.0)
    beyond = plan_unknown_pours(420, 500, ROD, within_l=0.05)

    assert reached.error_left_l <= 4.0
    assert "is reached" in reached.why_it_ends
    assert "cannot be reached" in beyond.why_it_ends


def test_real_readings_fall_into_the_band_of_the_guess():
    inside = []
    for k in range(thorough(24, 48)):
        rng = np.random.default_rng(9_000 + k)
        made = simulated_fill(rng, FAMILIES[k % len(FAMILIES)], pours=6)
        solid = solid_of(made.tank, fine=False)
        low, high = solid.vertices[:, 2].min(), solid.vertices[:, 2].max()
        total = np.cumsum([p.added_l for p in made.fill.pours])[1:]
        guess = guessed(solid.volume_l, high - low, made.probe, tuple(total))
        counts = np.array([p.counts for p in made.fill.pours])[1:]
        inside += (np.abs(counts - guess.counts) <= 1.96 * guess.u_counts + 5).tolist()

    assert np.mean(inside) > 0.9


def test_a_file_with_plate_and_height_alone_is_planned():
    text = '{"rated_capacity_l": "400", "height_mm": 560}'
    told, given_ = run("-", stdin=text), run("-", "--json", stdin=text)

    assert told.exit_code == 0, told.stderr
    assert "shape not known, 421 L brim-full" in told.stdout
    plan = json.loads(given_.stdout)
    assert plan["probe"]["x_mm"] is None
    assert plan["probe"]["cut_length_mm"] == 545.0
    assert plan["slope"] is None
    assert "not known" in plan["why_open"]
    assert sum(p["add_l"] for p in plan["pours"]) == pytest.approx(400, abs=0.2)
    assert all(p["u_counts"] > 50 for p in plan["pours"])


def test_a_described_shape_can_be_distrusted(tmp_path):
    sheet, template = tmp_path / "sheet.txt", tmp_path / "t.svg"
    result = run(
        TANK, "--shape-unknown", "--pours", "8", "--json", "--sheet", sheet, "--template", template
    )

    plan = json.loads(result.stdout)
    assert plan["shape"] == "unknown"
    assert len(plan["pours"]) == 8
    assert (plan["probe"]["x_mm"], plan["probe"]["active_length_mm"]) == (640, 560)
    assert {"meter", "residue"} <= {action["kind"] for action in plan["actions"]}
    assert "measured jug" in " ".join(sheet.read_text(encoding="utf-8").split())
    assert "640 mm behind" in template.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"rated_capacity_l": 400}', "height_mm: is missing"),
        ('{"shape": "unknown", "height_mm": 400}', "rated_capacity_l: is missing"),
        ('{"rated_capacity_l": 400, "height_mm": 500, "width_mm": 3}', "width_mm: does not belong"),
        ('{"rated_capacity_l": -4, "height_mm": 500}', "rated_capacity_l: must be above 0"),
        ('{"height_mm": 500}', "shape: is missing"),
    ],
)
def test_what_is_missing_or_strange_is_named(text, words):
    result = run("-", stdin=text)

    assert result.exit_code == 2
    assert words in result.stderr


def test_a_stop_rule_ends_this_plan_too():
    result = run("-", "--contents", "petrol", stdin='{"rated_capacity_l": 400, "height_mm": 500}')

    assert result.exit_code == 2
    assert "explosive vapour" in result.stderr


def test_a_height_within_the_tips_clearance_is_refused():
    with pytest.raises(InputError, match="height_mm"):
        guessed(400, 15, ROD, (100.0,))
