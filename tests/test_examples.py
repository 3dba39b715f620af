"""Every file under examples/ is used, and does what its name says."""

import json
import runpy
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gaugewright.cli.main import app

EXAMPLES = Path(__file__).parents[1] / "examples"

COMMANDS = {
    "loader-left.toml": ["tank", "loader-left.toml", "--json"],
    "loader-left-pours.csv": [
        "calibrate", "loader-left-pours.csv", "--tank", "loader-left.toml", "--json",
    ],
    "loader-left-pours-corrected.csv": [
        "calibrate", "loader-left-pours-corrected.csv", "--tank", "loader-left.toml", "--json",
    ],
    "loader-left-wiring.toml": ["wiring", "loader-left-wiring.toml", "--json"],
}  # fmt: skip
"""What each file that is no script is read by."""


def run(name, monkeypatch):
    monkeypatch.chdir(EXAMPLES)
    result = CliRunner().invoke(app, COMMANDS[name])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def files():
    return sorted(p for p in EXAMPLES.rglob("*") if p.is_file() and "__pycache__" not in p.parts)


def test_every_example_is_run_by_a_test():
    data = {str(p.relative_to(EXAMPLES)) for p in files() if p.suffix != ".py"}

    assert data == set(COMMANDS)


@pytest.mark.parametrize("script", [p for p in files() if p.suffix == ".py"], ids=lambda p: p.name)
def test_an_example_script_runs(script, monkeypatch, tmp_path, capsys):
    monkeypatch.chdir(tmp_path)
    runpy.run_path(str(script), run_name="__main__")
    assert capsys.readouterr().out


def test_the_tank_holds_what_its_plate_says(monkeypatch):
    record = run("loader-left.toml", monkeypatch)

    assert record["full_l"] * 0.95 == pytest.approx(400, rel=0.03)


def test_the_mistyped_pour_is_found_and_the_corrected_record_is_clean(monkeypatch):
    mistyped = run("loader-left-pours.csv", monkeypatch)
    corrected = run("loader-left-pours-corrected.csv", monkeypatch)

    asked = [(f["step"], f["value"]) for f in mistyped["findings"] if f["severity"] != "note"]
    assert asked == [(5, 54.2)]
    assert mistyped["needs_person"]
    assert not corrected["needs_person"]
