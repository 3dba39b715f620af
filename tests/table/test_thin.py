"""Thinning: the least error of so many rows, the fewest rows for an error."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.table.thin import RESOLUTION_L, thin


def error_l(table, counts, litres):
    return float(np.abs(np.interp(table.counts, counts, litres) - table.litres).max())


def least_error_by_trying_all(table, rows, decimals):
    """Try every choice of rows and every litres figure that could better the plain choice."""
    scale = 10**decimals
    rounded = np.round(table.litres * scale).astype(int)
    last = len(rounded) - 1
    choices = [(0, *between, last) for between in itertools.combinations(range(1, last), rows - 2)]
    best = min(error_l(table, table.counts[list(k)], rounded[list(k)] / scale) for k in choices)
    reach = int(np.ceil(best * scale)) + 1
    for kept in choices:
        figures = [range(max(rounded[r] - reach, 0), rounded[r] + reach + 1) for r in kept[1:-1]]
        for between in itertools.product(*figures):
            steps = np.array([rounded[0], *between, rounded[last]])
            if (np.diff(steps) >= 0).all():
                best = min(best, error_l(table, table.counts[list(kept)], steps / scale))
    return best


@st.composite
def small_tables(draw, most=7):
    n = draw(st.integers(2, most))
    counts = np.cumsum(draw(st.lists(st.integers(1, 5), min_size=n, max_size=n)))
    rises = draw(st.lists(st.integers(0, 30), min_size=n, max_size=n))
    return Table(counts, np.cumsum(rises) / 7, None)


@settings(max_examples=150, deadline=None)
@given(small_tables(), st.data())
def test_no_table_of_as_many_rows_is_better(table, data):
    rows = data.draw(st.integers(2, min(len(table.counts), 4)))

    best = least_error_by_trying_all(table, rows, decimals=0)

    assert thin(table, rows=rows, decimals=0).max_error_l == pytest.approx(best, abs=RESOLUTION_L)


@settings(max_examples=60, deadline=None)
@given(small_tables(most=6), st.floats(0.3, 6))
def test_no_table_of_fewer_rows_is_within_the_tolerance(table, within_l):
    bests = {
        rows: least_error_by_trying_all(table, rows, decimals=0)
        for rows in range(2, len(table.counts) + 1)
    }
    assume(all(abs(best - within_l) > 1e-6 for best in bests.values()))
    enough = [rows for rows, best in bests.items() if best <= within_l]

    if not enough:
        with pytest.raises(InputError, match="cannot be held with litres of 0 decimals"):
            thin(table, within_l=within_l, decimals=0)
        return
    small = thin(table, within_l=within_l, decimals=0)

    assert len(small.table.counts) == min(enough)
    assert small.max_error_l == pytest.approx(bests[min(enough)], abs=RESOLUTION_L)


def least_error_by_full_paths(table, rows, reach_l):
    """Try every path through all rows and all tenths of a litre within ``reach_l``."""
    n = len(table.counts)
    figures = [np.arange(np.ceil(v - reach_l), v + reach_l) for v in 10 * table.litres]
    figures = [f[f >= 0] for f in figures]
    figures[0], figures[-1] = (np.round(10 * table.litres[[e]]) for e in (0, -1))

    def cost(a, b):
        t = (table.counts[a : b + 1] - table.counts[a]) / (table.counts[b] - table.counts[a])
        start, stop = figures[a][:, None, None], figures[b][:, None]
        apart = np.abs(start + (stop - start) * t - 10 * table.litres[a : b + 1]).max(axis=2)
        return np.where(start[:, :, 0] <= stop[:, 0], apart, np.inf)

    costs = {(a, b): cost(a, b) for a, b in itertools.combinations(range(n), 2)}
    best = {0: np.zeros(1)}
    for _ in range(rows - 1):
        ends = {b for a, b in costs if a in best}
        best = {
            b: np.min(
                [np.maximum(best[a][:, None], costs[a, b]).min(axis=0) for a in best if a < b],
                axis=0,
            )
            for b in ends
        }
    return float(best[n - 1][0]) / 10


@pytest.mark.parametrize("seed", range(4))
def test_no_path_through_a_wide_choice_of_litres_is_better(seed):
    rng = np.random.default_rng(seed)
    table = Table(np.cumsum(rng.integers(5, 60, 13)), np.cumsum(rng.gamma(0.5, 12, 13)), None)
    rows = 4 + seed % 3

    small = thin(table, rows=rows)
    best = least_error_by_full_paths(table, rows, 10 * small.max_error_l + 1)

    assert small.max_error_l == pytest.approx(best, abs=RESOLUTION_L)


def lying_cylinder(rows, u_litres=None):
    h = np.linspace(0, 1, rows)
    share = (np.arccos(1 - 2 * h) - (1 - 2 * h) * 2 * np.sqrt(h - h * h)) / np.pi
    return Table(np.round(np.linspace(0, 4000, rows)), 4 + 400 * share, u_litres)


def best_of_plain_rows_l(table, rows):
    """Return the least error if kept rows keep the full table's litres, by minimax paths."""
    n = len(table.counts)
    cost = np.full((n, n), np.inf)
    for a, b in itertools.combinations(range(n), 2):
        run = slice(a, b + 1)
        ends = [a, b]
        line = np.interp(table.counts[run], table.counts[ends], table.litres[ends])
        cost[a, b] = np.abs(line - table.litres[run]).max()
    reach = cost[0]
    for _ in range(rows - 2):
        reach = np.maximum(reach[:, None], cost).min(axis=0)
    return float(reach[-1])


@pytest.mark.parametrize("rows", [8, 12, 25])
def test_moving_the_litres_nearly_halves_the_error_of_the_best_plain_rows(rows):
    table = lying_cylinder(121)

    small = thin(table, rows=rows, decimals=2)

    assert small.max_error_l < 0.65 * best_of_plain_rows_l(table, rows)


@st.composite
def tables(draw):
    n = draw(st.integers(2, 60))
    seed = draw(st.integers(0, 10**6))
    rng = np.random.default_rng(seed)
    counts = np.cumsum(rng.integers(1, 80, n))
    litres = np.cumsum(rng.gamma(rng.uniform(0.3, 3), 5, n) * (rng.random(n) > 0.1))
    return Table(counts, litres, rng.uniform(0.2, 4, n) if draw(st.booleans()) else None)


@settings(max_examples=80, deadline=None)
@given(tables(), st.integers(2, 25), st.integers(0, 2))
def test_a_thinned_table_keeps_the_promises(table, rows, decimals):
    small = thin(table, rows=rows, decimals=decimals)

    kept = small.table
    assert len(kept.counts) == min(rows, len(table.counts))
    assert set(kept.counts) <= set(table.counts)
    assert (np.diff(kept.counts) > 0).all()
    assert (np.diff(kept.litres) >= 0).all()
    assert kept.litres == pytest.approx(np.round(kept.litres, decimals), abs=1e-9)
    assert kept.counts[[0, -1]].tolist() == table.counts[[0, -1]].tolist()
    assert kept.litres[[0, -1]] == pytest.approx(
        np.round(table.litres[[0, -1]], decimals), abs=1e-9
    )


@settings(max_examples=50, deadline=None)
@given(tables(), st.integers(2, 12))
def test_the_error_holds_between_rows_and_is_reached_where_it_is_said(table, rows):
    small = thin(table, rows=rows)
    anywhere = np.linspace(table.counts[0], table.counts[-1], 2003)

    loss = np.abs(small.table.litres_at(anywhere) - table.litres_at(anywhere))
    there = abs(small.table.litres_at(small.at_counts) - table.litres_at(small.at_counts))

    assert loss.max() <= small.max_error_l + 1e-9
    assert there == pytest.approx(small.max_error_l)


@settings(max_examples=50, deadline=None)
@given(tables(), st.integers(2, 12))
def test_the_band_of_a_thinned_table_holds_the_full_band_and_the_loss(table, rows):
    small = thin(table, rows=rows)
    anywhere = np.linspace(table.counts[0], table.counts[-1], 2003)

    if table.u_litres is None:
        assert small.table.u_litres is None
        return
    loss = np.abs(small.table.litres_at(anywhere) - table.litres_at(anywhere))

    assert (small.table.band_at(anywhere) >= table.band_at(anywhere) + loss - 1e-9).all()


def test_a_straight_table_needs_two_rows():
    table = Table(np.arange(0, 4001, 100), np.arange(0, 401, 10.0), np.zeros(41))

    small = thin(table, within_l=0.05)

    assert small.table.counts.tolist() == [0, 4000]
    assert small.max_error_l == pytest.approx(0, abs=1e-9)
    assert small.table.u_litres == pytest.approx([0, 0], abs=1e-9)


def test_more_rows_than_there_are_give_the_table_itself_rounded():
    table = Table(np.array([0, 7, 9]), np.array([1.04, 2.26, 8.0]), None)

    small = thin(table, rows=40)

    assert small.table.litres.tolist() == [1.0, 2.3, 8.0]
    assert small.max_error_l == pytest.approx(0.04)


def test_four_hundred_rows_become_twenty_at_a_sixth_of_a_litre():
    table = lying_cylinder(400, np.full(400, 1.5))

    assert thin(table, rows=20).max_error_l < 0.16


@pytest.mark.parametrize(
    ("options", "problem"),
    [
        ({}, "either rows or within_l"),
        ({"rows": 3, "within_l": 1}, "either rows or within_l"),
        ({"rows": 1}, "at least 2, found 1"),
        ({"within_l": 0}, "above 0 L"),
        ({"within_l": -1}, "above 0 L"),
        ({"within_l": float("nan")}, "above 0 L"),
        ({"within_l": 0.001}, "0.001 L cannot be held with litres of 1 decimals"),
        ({"rows": 3, "decimals": 7}, "0 to 3, found 7"),
    ],
)
def test_a_wish_that_cannot_be_met_is_refused(options, problem):
    with pytest.raises(InputError, match=problem):
        thin(lying_cylinder(30), **options)


def test_counts_that_are_not_whole_are_refused():
    with pytest.raises(InputError, match="whole numbers"):
        thin(Table(np.array([0, 1.5, 9]), np.array([0, 1, 2]), None), rows=2)
