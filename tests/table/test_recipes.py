"""Recipes: exactly the text that a receiving system wants, and what it costs in litres."""

import random
import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.probe import Probe
from gaugewright.table.handover import Setting, hand_over
from gaugewright.table.recipe import CHOICES, Recipe, recipe_from_mapping, recipe_to_toml
from gaugewright.table.shown import held_against
from gaugewright.table.table import Table

PROBE = Probe(x_mm=1, y_mm=1, tip_clearance_mm=20, active_length_mm=500)
H = np.linspace(0, 1, 60)
FULL = Table(
    np.round(6 + H * 4080),
    np.round(7.3 + 412 * (H - 0.06 * np.sin(2 * np.pi * H)), 2),
    np.full(60, 1.2),
)
RECIPES = st.builds(
    Recipe,
    name=st.just("depot"),
    most_rows=st.one_of(st.none(), st.integers(2, 24)),
    decimals=st.integers(0, 3),
    separator=st.sampled_from(["semicolon", "tab", "bar", "space"]),
    decimal_mark=st.sampled_from(CHOICES["decimal_mark"]),
    volume_unit=st.sampled_from(CHOICES["volume_unit"]),
    scale=st.sampled_from(CHOICES["scale"]),
    scale_low=st.sampled_from([0.0, 1.0, -10.0]),
    scale_high=st.sampled_from([100.0, 1000.0, 1023.0, 65535.0]),
    counts_decimals=st.integers(0, 2),
    order=st.sampled_from(CHOICES["order"]),
    columns=st.sampled_from(CHOICES["columns"]),
    header=st.sampled_from(["", "raw;volume"]),
    zero=st.sampled_from(CHOICES["zero"]),
    line_end=st.sampled_from(CHOICES["line_end"]),
)
SETTING = Setting(PROBE, drained_l=9.0, u_drained_l=0.8)


def read_back(text, recipe):
    """Read the text with nothing but the recipe's own words."""
    marks = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " ", "bar": "|"}
    lines = text.split("\r\n" if recipe.line_end == "return_newline" else "\n")
    assert lines.pop() == ""
    if recipe.header:
        assert lines.pop(0) == recipe.header
    pairs = []
    for line in lines:
        cells = line.split(marks[recipe.separator])
        if recipe.decimal_mark == "comma":
            assert "." not in line
            cells = [cell.replace(",", ".") for cell in cells]
        for cell, places in zip(
            cells if recipe.columns == "counts_litres" else cells[::-1],
            (recipe.counts_decimals, recipe.decimals),
            strict=True,
        ):
            assert len(cell.partition(".")[2]) == places
        pairs.append([float(c) for c in cells][:: 1 if recipe.columns == "counts_litres" else -1])
    return np.array(pairs if recipe.order == "rising" else pairs[::-1])


def our_counts(theirs, recipe):
    if recipe.scale == "same":
        return theirs
    if recipe.scale == "mm":
        return theirs * 4095 / 500
    return (theirs - recipe.scale_low) / (recipe.scale_high - recipe.scale_low) * 4095


@settings(max_examples=30, deadline=None)
@given(recipe=RECIPES)
def test_the_loss_that_is_stated_is_the_loss_of_the_text_itself(recipe):
    made = hand_over(FULL, recipe, SETTING)
    theirs = read_back(made.text, recipe)

    below = {"bottom": 0.0, "drained": 9.0, "tip": float(FULL.litres[0])}[recipe.zero]
    unit = {"L": 1.0, "US gal": 3.785411784, "imp gal": 4.54609}[recipe.volume_unit]
    at = np.linspace(FULL.counts[0], FULL.counts[-1], 4001)
    ours = np.maximum(np.interp(at, FULL.counts, FULL.litres - below), 0.0)
    knots = np.maximum(FULL.litres - below, 0.0)
    kinked = np.interp(at, FULL.counts, knots)
    apart = np.abs(np.interp(at, our_counts(theirs[:, 0], recipe), theirs[:, 1] * unit) - kinked)
    assert apart.max() <= made.loss_l + 1e-6
    assert made.loss_l - apart.max() < 0.3 + 0.02 * made.loss_l
    assert np.abs(ours - kinked).max() <= 9.0
    assert recipe.most_rows is None or len(theirs) <= recipe.most_rows
    assert (np.diff(theirs[:, 0]) > 0).all()
    assert (np.diff(theirs[:, 1]) >= 0).all()
    assert made.total_l <= made.band_l + made.loss_l + 1e-9


@settings(max_examples=30, deadline=None)
@given(recipe=RECIPES)
def test_what_was_handed_over_is_a_clean_copy_of_itself(recipe):
    made = hand_over(FULL, recipe, SETTING)

    assert held_against(made, made.text).comparison.differences == ()


@given(recipe=RECIPES)
def test_a_recipe_file_gives_the_recipe_back(recipe):
    assert recipe_from_mapping(tomllib.loads(recipe_to_toml(recipe))) == recipe


def test_more_rows_never_cost_more():
    losses = [
        hand_over(FULL, Recipe(name="a", most_rows=n, scale="full_scale", scale_high=1023)).loss_l
        for n in (5, 10, 20, 40)
    ]
    assert losses == sorted(losses, reverse=True)
    assert losses[-1] < 0.25


def test_per_mille_of_a_known_point_is_found_by_hand():
    table = Table(np.array([0, 4095]), np.array([0.0, 378.5411784]), np.array([1.0, 1.0]))
    recipe = Recipe(name="a", scale="full_scale", scale_high=1000, volume_unit="US gal")
    assert hand_over(table, recipe).text == "0;0.0\n1000;100.0\n"


def test_mm_are_the_wetted_length_of_the_described_probe():
    table = Table(np.array([0, 4095]), np.array([0.0, 300.0]), None)
    made = hand_over(table, Recipe(name="a", scale="mm"), Setting(PROBE))
    assert made.text == "0;0.0\n500;300.0\n"
    assert made.total_l is None


@pytest.mark.parametrize(
    ("answers", "field", "words"),
    [
        ({}, "name", "is missing"),
        ({"name": " "}, "name", "must not be empty"),
        ({"name": "a", "most_rows": 1}, "most_rows", "must be 2 to 10000, found 1"),
        ({"name": "a", "most_rows": "20"}, "most_rows", "must be a whole number, found '20'"),
        ({"name": "a", "decimals": 4}, "decimals", "must be 0 to 3, found 4"),
        ({"name": "a", "separator": ";"}, "separator", "must be one of comma, semicolon, tab"),
        ({"name": "a", "seperator": "tab"}, "seperator", "did you mean separator?"),
        ({"name": "a", "header": "x\ny"}, "header", "must be one line"),
        ({"name": "a", "scale": "full_scale", "scale_high": 0.0}, "scale_high", "2 steps"),
        ({"name": "a", "decimal_mark": "comma", "separator": "comma"}, "decimal_mark", "apart"),
    ],
)  # fmt: skip
def test_answers_that_make_no_file_are_refused_by_their_field(answers, field, words):
    with pytest.raises(InputError) as refused:
        recipe_from_mapping(answers)
    assert refused.value.field == field
    assert words in refused.value.problem


@pytest.mark.parametrize(
    ("recipe", "setting", "words"),
    [
        (Recipe(name="a", scale="mm"), Setting(), "active length"),
        (Recipe(name="a", zero="drained"), Setting(PROBE), "drained tank"),
        (
            Recipe(name="a", zero="tip"),
            Setting(Probe(x_mm=1, y_mm=1, tip_clearance_mm=2, active_length_mm=500,
                          counts_empty=-900)),
            "reads -900 counts, but the table begins at 6",
        ),
        (Recipe(name="a", scale="full_scale", scale_low=0, scale_high=2, most_rows=None),
         Setting(Probe(x_mm=1, y_mm=1, tip_clearance_mm=2, active_length_mm=500,
                       counts_full=4_000_000)), "too coarse"),
    ],
)  # fmt: skip
def test_a_recipe_that_this_tank_cannot_serve_says_what_is_missing(recipe, setting, words):
    with pytest.raises(InputError, match=words):
        hand_over(FULL, recipe, setting)


def test_fuel_below_their_zero_counts_as_none_and_widens_the_band():
    drained = hand_over(FULL, Recipe(name="a", zero="drained"), SETTING)
    bottom = hand_over(FULL, Recipe(name="a"), SETTING)
    assert drained.rows[0].litres_text == "0.0"
    assert drained.below_zero_l == 9.0
    assert drained.band_l == pytest.approx(np.hypot(1.2, 0.8))
    assert bottom.band_l == pytest.approx(1.2)


def test_falling_rows_are_right_where_the_recipe_asks_for_them_and_wrong_where_not():
    rng = random.Random(3)
    falling = hand_over(FULL, Recipe(name="a", most_rows=rng.randint(8, 12), order="falling"))
    rising = "\n".join(reversed(falling.text.splitlines()))
    assert held_against(falling, falling.text).is_clean
    (told,) = held_against(falling, rising).comparison.differences
    assert told.kind == "ascending_order"


def test_the_whole_table_entered_in_place_of_the_recipes_rows_is_told_as_that():
    from gaugewright.table.files import write_table

    made = hand_over(FULL, Recipe(name="a", most_rows=15, scale="full_scale", scale_high=1023))
    (told,) = held_against(made, write_table(FULL)).comparison.differences
    assert told.kind == "whole_table"
    assert "enter the 15 rows of the recipe" in told.message
