"""Drawings in text: to scale, with the fuel and the probe where they are."""

import numpy as np
import pytest

from gaugewright.cli.draw import FUEL, HEAD, PROBE, WALL, DrawnProbe, Surface, draw_tank, plot_table
from gaugewright.cli.output import displayable
from gaugewright.tank.description import Tank
from gaugewright.tank.shapes import solid_of
from gaugewright.tank.solid import litres_below

TANKS = {
    "box": Tank("box", length_mm=1000, width_mm=600, height_mm=500, edge_radius_mm=60),
    "lying": Tank("lying_cylinder", length_mm=1500, diameter_mm=600),
    "dished": Tank(
        "lying_cylinder", length_mm=900, diameter_mm=700, ends="dished", end_depth_mm=90
    ),
    "upright": Tank("upright_cylinder", diameter_mm=500, height_mm=2500),
    "flat": Tank("obround", length_mm=2500, width_mm=900, height_mm=150),
    "stepped": Tank(
        "stepped", length_mm=1200, width_mm=500, height_mm=600, step_length_mm=400,
        step_height_mm=300,
    ),
    "channel": Tank(
        "section", length_mm=900,
        section_mm=((0, 0), (800, 0), (800, 500), (600, 500), (600, 200), (200, 200), (200, 500),
                    (0, 500)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(TANKS))
@pytest.mark.parametrize("width", [60, 80])
def test_a_drawing_fits_the_screen(name, width):
    lines = draw_tank(solid_of(TANKS[name]), width=width).splitlines()

    assert max(map(len, lines)) <= width
    assert 4 <= len(lines) <= 26


@pytest.mark.parametrize("name", ["box", "lying", "flat", "upright"])
def test_the_share_of_drawn_fuel_is_the_share_of_the_height(name):
    solid = solid_of(TANKS[name])
    full = draw_tank(solid, surface=Surface(solid.top_mm + 1))
    part = draw_tank(solid, surface=Surface(0.5 * solid.top_mm))

    assert part.count(FUEL) / full.count(FUEL) == pytest.approx(0.5, abs=0.13)
    assert FUEL not in draw_tank(solid, surface=Surface(0))
    assert FUEL not in draw_tank(solid)


def test_both_views_have_the_tanks_proportions():
    solid = solid_of(TANKS["stepped"])
    full = draw_tank(solid, surface=Surface(601))
    bottom = [line for line in full.splitlines() if FUEL in line][-1]
    top = next(line for line in full.splitlines() if FUEL in line)

    # The rear third is missing below: 800 of 1200 mm, and 500 mm across.
    runs_top = [len(run) for run in top[7:].replace(" ", "").split(WALL) if run]
    runs_bottom = [len(run) for run in bottom[7:].replace(" ", "").split(WALL) if run]
    assert runs_bottom[0] / runs_top[0] == pytest.approx(800 / 1200, abs=0.04)
    assert runs_top[1] / runs_top[0] == pytest.approx(500 / 1200, abs=0.04)


def test_a_slope_shows_fuel_running_to_the_low_end():
    solid = solid_of(TANKS["box"])
    text = draw_tank(solid, surface=Surface(250, slope_x=0.2, at_x_mm=500)).splitlines()
    highest = next(line for line in text if FUEL in line)

    # Nose up: the fuel stands highest at the rear, the right side of the first view.
    assert highest.index(FUEL) > highest.index(WALL) + 20


def test_the_probe_hangs_from_the_top_to_its_tip():
    solid = solid_of(TANKS["lying"])
    text = draw_tank(solid, probe=DrawnProbe(375, 300, 300, 650)).splitlines()
    column = text[1].index(HEAD)
    hanging = [row for row, line in enumerate(text) if line[column : column + 1] == PROBE]

    inside_rows = len(text) - 3
    assert hanging == list(range(2, 2 + len(hanging)))
    assert len(hanging) / inside_rows == pytest.approx(0.5, abs=0.15)
    walls = text[1].rindex(WALL)
    assert 0.15 < (column - 8) / walls < 0.3  # a quarter of the length, in the first view


def test_a_place_on_the_edge_of_a_tank_can_be_drawn():
    solid = solid_of(TANKS["box"])

    assert WALL in draw_tank(solid, probe=DrawnProbe(0, 0, 0, 100))


def test_a_channel_is_drawn_with_its_gap():
    solid = solid_of(TANKS["channel"])
    text = draw_tank(solid, surface=Surface(501), probe=DrawnProbe(450, 100, 0, 500))
    top = next(line for line in text.splitlines() if FUEL in line)

    across = top[top.index(FUEL) :].split(WALL)
    assert len([part for part in across if FUEL in part]) == 3  # one long side, two legs


def test_the_plot_rises_with_the_table_and_marks_the_pours():
    solid = solid_of(TANKS["lying"])
    counts = np.arange(0, 4001, 50.0)
    litres = litres_below(solid, counts / 4000 * 600)
    text = plot_table(counts, litres, 0.5 + counts / 4000, pours_at=[0, 2000, 4000, 9000])
    lines = text.splitlines()

    assert max(map(len, lines)) <= 80
    assert lines[0].split()[0] == f"{litres[-1]:.0f}"
    axis = next(line for line in lines if "└" in line)
    assert [i - 8 for i, mark in enumerate(axis) if mark == "┴"] == [0, 36, 71]
    filled = [sum(line[8 + k : 9 + k] not in ("", " ") for line in lines[:12]) for k in range(72)]
    assert filled == sorted(filled)
    assert "half-width of the 95 % band" in text


def test_a_table_without_a_band_has_no_band_in_its_plot():
    assert "band" not in plot_table(np.array([0.0, 9.0]), np.array([0.0, 0.0]))


def test_every_character_has_a_stand_in_in_ascii():
    solid = solid_of(TANKS["lying"])
    text = draw_tank(solid, surface=Surface(300), probe=DrawnProbe(500, 300, 20, 600))
    text += plot_table(np.arange(9.0), np.arange(9.0), np.ones(9), pours_at=[3])

    plain = displayable(text, "ascii")

    plain.encode("ascii")
    assert "?" not in plain
    assert list(map(len, plain.splitlines()))[:10] == list(map(len, text.splitlines()))[:10]
