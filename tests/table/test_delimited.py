"""Numbers and rows as people type them: read where there is one meaning, else refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.delimited import number, read_rows, require_fields, tidy_name


@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 6)))
def test_point_and_comma_give_the_same_number(value):
    text = f"{value:.6f}"

    assert number(text) == value
    assert number(text.replace(".", ",")) == value


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1.234,5", "both a point and a comma"),
        ("1,234.5", "both a point and a comma"),
        ("1 234,5", "thousands mark"),
        ("1'234.5", "thousands mark"),
        ("1,234,567", "thousands mark"),
        ("45.5 L", "without its unit"),
        ("45.5L", "without its unit"),
        ("4S.5", "is not a number"),
        ("45.5.", "is not a number"),
        ("1_000", "is not a number"),
        ("٤٥", "is not a number"),
        ("0x10", "is not a number"),
        ("", "is empty"),
        ("NaN", "not a finite number"),
        ("inf", "not a finite number"),
        ("-Infinity", "not a finite number"),
        ("1e999", "too large"),
        ("-9999999999999", "too large"),
        ("=1+1", "is not a number"),
    ],
)
def test_what_is_not_one_plain_number_is_refused_with_the_reason(text, why):
    with pytest.raises(InputError, match=why) as caught:
        number(text, field="added_l", line=7)
    assert str(caught.value).startswith("line 7, added_l: ")


@given(st.text(max_size=12))
def test_any_text_is_a_finite_number_or_an_input_error(text):
    try:
        value = number(text)
    except InputError:
        return
    assert abs(value) <= 1e12


def test_marks_mixed_in_one_file_are_refused():
    rows = read_rows("a;b\n1,5;2\n1;1.250\n")

    with pytest.raises(InputError, match=r"line 3, b: '1.250' has a point where other figures"):
        rows.number(rows.rows[1], "b")


def test_a_comma_before_three_digits_is_refused_where_it_is_likely_a_thousands_mark():
    with pytest.raises(InputError, match=r"line 4, counts: '1,234' may mean 1234 or 1.234"):
        read_rows("step;counts\n0;412\n1;812\n2;1,234\n")
    with pytest.raises(InputError, match=r"line 4, counts: '1\.234' may mean 1234 or 1\.234"):
        read_rows("step,counts\n0,412\n1,812\n2,1.234\n")


def test_a_meter_with_three_decimals_is_no_thousands_mark():
    rows = read_rows("step;added_l\n0;0\n1;20,125\n2;20\n3;19,998\n")

    assert [rows.number(row, "added_l") for row in rows.rows] == [0, 20.125, 20, 19.998]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends_do_not_matter(separator, line_end):
    text = line_end.join(separator.join(r) for r in (["step", "counts"], ["0", "3"], ["1", "9"]))

    rows = read_rows("\ufeff" + line_end + text + line_end * 3)

    assert rows.names == ("step", "counts")
    assert [row.fields for row in rows.rows] == [
        {"step": "0", "counts": "3"},
        {"step": "1", "counts": "9"},
    ]
    assert [row.line for row in rows.rows] == [3, 4]


def test_a_quoted_decimal_comma_is_read_in_a_comma_separated_file():
    rows = read_rows('step,added_l\n0,0\n1,"45,5"\n')

    assert rows.number(rows.rows[1], "added_l") == 45.5


def test_an_unquoted_decimal_comma_in_a_comma_separated_file_is_named():
    with pytest.raises(
        InputError,
        match="line 3: 4 fields where 3 are named; a decimal comma needs ; between fields",
    ):
        read_rows("step,added_l,counts\n0,0,3\n1,45,5,812\n")


def test_a_short_line_is_refused():
    with pytest.raises(InputError, match="line 2: 2 fields where 3 are named"):
        read_rows("step,added_l,counts\n0,0\n")


def test_empty_fields_at_the_end_of_a_line_may_be_dropped_where_no_comma_parts_fields():
    rows = read_rows("step;counts;note\n0;3\n1;4;;;\n")

    assert [row.fields["note"] for row in rows.rows] == ["", ""]


def test_the_separator_line_that_spreadsheets_write_is_passed_over():
    rows = read_rows("sep=;\nstep;counts\n0;3,5\n")

    assert rows.rows[0].line == 3
    assert rows.number(rows.rows[0], "counts") == 3.5


def test_quoted_fields_may_hold_separators_and_line_ends():
    rows = read_rows('step,note\n0,"a, b\nc"\n1,d\n')

    assert rows.rows[0].fields["note"] == "a, b\nc"
    assert [row.line for row in rows.rows] == [2, 4]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("a,a\n1,2\n", "line 1, a: is named twice"),
        ("a,\n1,2\n", "line 2: column 2 holds '2' but has no name"),
        ('a,b\n1,"2\n', "line 2: a quote is opened and not closed"),
    ],
)
def test_a_broken_form_is_refused(text, why):
    with pytest.raises(InputError, match=why):
        read_rows(text)


def test_names_are_taken_without_regard_to_case_spaces_and_brackets():
    assert [tidy_name(n) for n in ("Added (L)", " COUNTS sd", "fuel-C")] == [
        "added_l",
        "counts_sd",
        "fuel_c",
    ]


def test_a_unit_in_brackets_that_the_name_already_has_is_left_out():
    told = ("added_l (L)", "litres [L]", "counts [raw]", "fuel_c (°C)")
    assert [tidy_name(n) for n in told] == ["added_l", "litres", "counts", "fuel_c"]
    other = ("counts raw", "counts (L)", "litres (gal)", "added_l (gal)")
    assert [tidy_name(n) for n in other] == ["counts_raw", "counts_l", "litres_gal", "added_l_gal"]


def test_a_misspelt_column_brings_the_right_name():
    with pytest.raises(InputError, match=r"line 1, count: .* did you mean 'counts'?"):
        require_fields(read_rows("step,count\n0,1\n"), required=["step", "counts"])


def test_a_missing_column_is_named_with_what_was_found():
    with pytest.raises(InputError, match="the column 'litres' is missing; found step, counts"):
        require_fields(read_rows("step,counts\n0,1\n"), required=["step", "litres"])


def test_a_file_without_a_header_says_so():
    with pytest.raises(InputError, match="the first line must name the columns"):
        require_fields(read_rows("0,0.5\n1,45.5\n"), required=["step", "litres"])


def test_columns_nobody_knows_are_told():
    rows = read_rows("step,van\n0,x\n")

    assert require_fields(rows, required=["step"]) == ("van",)


@given(st.text(alphabet="ab1,;\t\"\n\r.'- é=", max_size=60))
def test_any_text_gives_rows_or_an_input_error(text):
    try:
        rows = read_rows(text)
    except InputError:
        return
    assert all(set(row.fields) == set(rows.names) for row in rows.rows)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r\r\n", "\r"])
def test_lines_are_counted_as_an_editor_counts_them(end):
    rows = read_rows(end.join(["step,added_l", "0,0", "1,10", "2,10", ""]))

    assert [row.line for row in rows.rows] == [2, 3, 4]
