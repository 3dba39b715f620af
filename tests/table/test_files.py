"""The table file, read and written."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.files import read_table, write_table
from gaugewright.table.table import Table


@st.composite
def tables(draw, *, steps_per_l):
    n = draw(st.integers(2, 30))
    counts = np.cumsum(draw(st.lists(st.integers(1, 900), min_size=n, max_size=n)))
    rises = draw(st.lists(st.integers(0, 9000), min_size=n, max_size=n))
    band = draw(st.none() | st.lists(st.integers(0, 500), min_size=n, max_size=n))
    u_litres = None if band is None else np.array(band) / steps_per_l
    return Table(counts, np.cumsum(rises) / steps_per_l, u_litres)


@settings(max_examples=60)
@given(tables(steps_per_l=100) | tables(steps_per_l=10))
def test_what_is_written_reads_back_the_same(table):
    text = write_table(table)

    back = read_table(text)

    assert back.counts.tolist() == table.counts.tolist()
    assert back.litres == pytest.approx(table.litres, abs=1e-9)
    assert (back.u_litres is None) == (table.u_litres is None)
    assert table.u_litres is None or back.u_litres == pytest.approx(table.u_litres, abs=0.0100001)
    assert write_table(back) == text


@settings(max_examples=60)
@given(tables(steps_per_l=7919), st.integers(0, 3))
def test_rounding_keeps_the_promises_and_is_covered_by_the_band(table, decimals):
    back = read_table(write_table(table, decimals=decimals))

    assert np.abs(back.litres - table.litres).max() <= 0.5 / 10**decimals + 1e-9
    if table.u_litres is not None:
        covered = back.u_litres - np.abs(back.litres - table.litres)
        assert (covered >= table.u_litres - 1e-5).all()


def test_litres_have_one_or_two_decimals_and_counts_none():
    fine = Table(np.array([0, 9]), np.array([1 / 3, 2.0]), np.array([0.1, 0.07]))

    assert write_table(fine) == "counts,litres,u_litres\n0,0.33,0.11\n9,2.00,0.07\n"
    assert write_table(Table([0, 9], [1.5, 2], None)) == "counts,litres\n0,1.5\n9,2.0\n"


def test_a_table_without_band_has_an_unknown_band():
    assert read_table("counts,litres\n0,1\n9,2\n").u_litres is None
    assert read_table("counts,litres,u_litres\n0,1,\n9,2,\n").u_litres is None
    assert read_table("counts,litres,u_litres\n0,1,0\n9,2,0\n").u_litres.tolist() == [0, 0]


@pytest.mark.parametrize(
    "text",
    [
        "counts,litres\n0,4.5\n900,80.25\n",
        "counts;litres\n0;4,5\n900;80,25\n",
        "\ufeffCounts;Litres\r\n0;4,5\r\n\r\n900;80,25\r\n",
        "counts\tlitres\n0\t4,5\n900\t80,25",
        "note,litres,counts\nempty,4.5,0\n,80.25,900\n",
    ],
)
def test_separators_marks_order_and_line_ends_do_not_matter(text):
    table = read_table(text)

    assert table.counts.tolist() == [0, 900]
    assert table.litres.tolist() == [4.5, 80.25]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "is empty"),
        ("counts,litres\n", "at least 2 rows, found 0"),
        ("counts,litres\n0,1\n", "at least 2 rows, found 1"),
        ("count,litres\n0,1\n9,2\n", "line 1, count: .*did you mean 'counts'"),
        ("counts,volume\n0,1\n9,2\n", "line 1: the column 'litres' is missing"),
        ("counts,litres\n0,1\n5,1\nx,2\n", "line 4, counts: 'x' is not a number"),
        ("counts,litres\n0,1\n9,nan\n", "line 3, litres: 'nan' is not a finite"),
        ("counts,litres\n0,1\n9,inf\n", "line 3, litres: 'inf' is not a finite"),
        ("counts,litres\n0,1\n9,\n", "line 3, litres: is empty"),
        ("counts,litres\n0,-1\n9,2\n", "line 2, litres: must not be negative, found -1"),
        ("counts,litres\n0,1\n-9,2\n", "line 3, counts: must rise strictly, -9 follows 0"),
        ("counts,litres\n-1e12,1\n9,2\n", "line 2, counts: -1e[+]12 is more than any probe"),
        ("counts,litres\n0,1\n9.5,2\n", "line 3, counts: must be a whole number, found '9.5'"),
        ("counts,litres\n0,1\n1e12,2\n", "line 3, counts: 1e[+]12 is more than any probe"),
        ("counts,litres\n0,1\n9,2\n9,3\n", "line 4, counts: must rise strictly, 9 follows 9"),
        ("counts,litres\n0,1\n9,0.5\n", "line 3, litres: must not fall, 0.5 L follows 1 L"),
        ("counts,litres,u_litres\n0,1,2\n9,2,\n", "line 3, u_litres: is empty here"),
        ("counts,litres,u_litres\n0,1,2\n9,2,-1\n", "line 3, u_litres: must not be negative"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_the_place(text, problem):
    with pytest.raises(InputError, match=problem):
        read_table(text)


def test_a_table_of_a_probe_that_sends_counts_below_0_is_read_as_it_is_written():
    table = Table(np.array([-12.0, 3600.0]), np.array([4.5, 80.0]), np.array([0.5, 1.0]))
    again = read_table(write_table(table))

    assert again.counts.tolist() == [-12, 3600]
    assert again.litres.tolist() == [4.5, 80.0]


def test_counts_that_are_not_whole_are_not_written():
    with pytest.raises(InputError, match=r"row 2: counts must be whole numbers, found 1\.5"):
        write_table(Table([0, 1.5], [0, 1], None))
