"""A table copied back: what is read, what is named, what is passed over."""

import json
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.compare import compare
from gaugewright.table.files import write_table
from gaugewright.table.slips import slip
from gaugewright.table.table import Table

OURS = Table(
    np.array([4, 380, 812, 1240, 1655, 2071, 2490, 3105, 3600]),
    np.array([6.4, 35.2, 81.7, 133.9, 187.3, 241.8, 295.2, 362.0, 394.6]),
    np.full(9, 1.5),
)
PLAIN = [[f"{c:.0f}", f"{v:.1f}"] for c, v in zip(OURS.counts, OURS.litres, strict=True)]


def text_of(rows, separator=","):
    return "\n".join(separator.join(row) for row in rows)


def changed(row, column, figure):
    rows = [list(r) for r in PLAIN]
    rows[row - 1][column] = figure
    return text_of(rows, ";")


@pytest.mark.parametrize(
    "text",
    [
        write_table(OURS),
        text_of(PLAIN),
        text_of(PLAIN, "\t"),
        text_of(PLAIN, " "),
        text_of(["", *row, ""] for row in PLAIN),
        "\ufeffVolume L;Raw\r\n" + "\r\n".join(f"{v};{c}" for c, v in PLAIN),
        "\n".join(f"{c};{float(v):.0f} L" for c, v in PLAIN),
        "| counts | litres |\n|---|---|\n" + "\n".join(f"| {c} | {v} |" for c, v in PLAIN),
        "\n".join(f'"{int(c):,}","{v}"' for c, v in PLAIN),
        "\n".join(f"{c} counts = x\t{v.replace('.', ',')} l" for c, v in PLAIN),
        "\n".join(f"{int(c):,}".replace(",", " ") + f";{v}" for c, v in PLAIN),
        "\n".join(f"{int(c):,}".replace(",", "\u202f") + f"\t{v}" for c, v in PLAIN),
        "\n".join(f"{n}\t{c}\t{0.1 * int(c):.1f}\t{v}\tok" for n, (c, v) in enumerate(PLAIN, 1)),
        "Tank 2, left side\n\nexported 2031-05-06 10:11\n" + text_of(PLAIN, ";") + "\nRows: 9\n",
    ],
)  # fmt: skip
def test_a_faithful_copy_is_clean_in_any_form(text):
    result = compare(OURS, text)

    assert result.differences == ()
    assert result.is_clean
    assert result.rows_read == 9


@pytest.mark.parametrize(
    ("text", "kind", "row", "line", "words"),
    [
        (changed(4, 1, "139.3"), "swapped_digits", 4, 4, "139.3 L where ours has 133.9 L: two"),
        (changed(4, 0, "2140"), "swapped_digits", 4, 4, "type 1240"),
        (changed(4, 0, "4210"), "counts_differ", 4, 4, "type 1240"),
        (changed(4, 0, "1420"), "swapped_digits", 4, 4, "1420 counts where ours has 1240 counts"),
        (changed(9, 1, "894.6"), "wrong_digit", 9, 9, "one digit is wrong; type 394.6"),
        (changed(1, 0, "9"), "wrong_digit", 1, 1, "9 counts where ours has 4 counts"),
        (changed(2, 1, "352"), "decimal_slip", 2, 2, "the decimal mark has slipped; type 35.2"),
        (changed(2, 1, "3.52"), "decimal_slip", 2, 2, "type 35.2"),
        (changed(9, 0, "36000"), "decimal_slip", 9, 9, "type 3600"),
        (changed(5, 1, "18.3"), "digit_missing", 5, 5, "a digit is missing; type 187.3"),
        (changed(5, 1, "1877.3"), "digit_extra", 5, 5, "a digit too many; type 187.3"),
        (changed(5, 1, "-187.3"), "wrong_sign", 5, 5, "the sign is wrong; type 187.3"),
        (changed(5, 1, "212.9"), "litres_differ", 5, 5, "212.9 L where ours has 187.3 L; type"),
        (changed(5, 0, "1711"), "counts_differ", 5, 5, "1711 counts where ours has 1655"),
        (changed(5, 1, "18O.3"), "not_a_number", 5, 5, "'18O.3' where ours has 187.3 L"),
        (changed(5, 1, ""), "not_a_number", 5, 5, "has nothing where ours has 187.3 L"),
        (text_of(PLAIN[:3] + PLAIN[4:]), "row_missing", 4, None, "add 1240 counts, 133.9 L"),
        (text_of(PLAIN[:-1]), "row_missing", 9, None, "add 3600 counts, 394.6 L"),
        (text_of([*PLAIN[:3], ["900", "92"], *PLAIN[3:]]), "extra_row", None, 4, "delete it"),
        (text_of([*PLAIN[:3], PLAIN[2], *PLAIN[3:]]), "repeated_row", 3, 4, "delete it"),
        (text_of(PLAIN[::-1]), "descending_order", None, None, "from full to empty"),
        (
            text_of([*PLAIN[:2], PLAIN[5], *PLAIN[3:5], PLAIN[2], *PLAIN[6:]]),
            "rows_exchanged", 6, 3, "row 3 (line 6) stand in each other's place",
        ),
        (text_of([*PLAIN[1:5], PLAIN[0], *PLAIN[5:]]), "row_out_of_place", 1, 5, "move it"),
        (
            text_of([*PLAIN[:2], [PLAIN[2][0], PLAIN[5][1]], *PLAIN[3:5],
                     [PLAIN[5][0], PLAIN[2][1]], *PLAIN[6:]]),
            "figures_exchanged", 3, 3, "has the litres of line 6",
        ),
        (
            text_of([c, v] for (c, _), (_, v) in pairwise(PLAIN)),
            "litres_shifted", 1, 1, "one row too far up",
        ),
        (
            text_of([*PLAIN[:4], *([c, v] for (c, _), (_, v) in
                                   zip(PLAIN[4:], PLAIN[3:], strict=False))]),
            "litres_shifted", 5, 5, "From row 5 to row 9 the litres stand one row too far down",
        ),
        (
            text_of([f"{int(c) // 4}", v] for c, v in PLAIN),
            "wrong_counts_scale", None, None, "10-bit counts where ours are 12-bit",
        ),
        (
            text_of([f"{16 * int(c)}", v] for c, v in PLAIN),
            "wrong_counts_scale", None, None, "16-bit counts where ours are 12-bit",
        ),
        (
            text_of([c, f"{float(v) / 3.785411784:.2f}"] for c, v in PLAIN),
            "wrong_litres_scale", None, None, "(US gallons)",
        ),
        (
            text_of([c, f"{float(v) / 4.54609:.1f}"] for c, v in PLAIN),
            "wrong_litres_scale", None, None, "(imperial gallons)",
        ),
        (
            text_of([c, f"{float(v) - 6.4:.1f}"] for c, v in PLAIN),
            "constant_offset", None, None, "6.4 L less than ours",
        ),
        (
            text_of([c, f"{np.floor(float(v)):.0f}"] for c, v in PLAIN),
            "decimals_cut_off", None, None, "cut off, not rounded",
        ),
        (
            text_of([f"{37 * n}", f"{n * n}.5"] for n in range(1, 20)),
            "another_table", None, None, "which",
        ),
    ],
)  # fmt: skip
def test_what_differs_is_named_with_its_place_and_what_to_do(text, kind, row, line, words):
    result = compare(OURS, text)

    assert [d.kind for d in result.differences] == [kind]
    found = result.differences[0]
    assert (found.row, found.line) == (row, line)
    assert words in found.message
    assert not result.is_clean


def test_a_thinned_copy_of_a_long_table_is_told_in_one_sentence():
    long = Table(np.arange(0, 4000, 10), np.arange(0, 400, 1.0) ** 1.02, None)
    some = [[f"{c:.0f}", f"{v:.1f}"] for c, v in zip(long.counts, long.litres, strict=True)][::20]

    (told,) = compare(long, text_of(some)).differences

    assert told.kind == "row_missing"
    assert "380 of our 400 rows are missing" in told.message


def test_two_mistakes_are_both_named():
    rows = [list(r) for r in PLAIN]
    rows[2][1] = "87.1"
    rows[6][0] = "2940"
    del rows[4]

    kinds = {(d.kind, d.row) for d in compare(OURS, text_of(rows)).differences}

    assert kinds == {("swapped_digits", 3), ("swapped_digits", 7), ("row_missing", 5)}


def test_a_mistake_on_another_scale_is_named_beside_the_scale():
    rows = [[c, f"{float(v) / 3.785411784:.1f}"] for c, v in PLAIN]
    rows[4][1] = "94.5"  # for 49.5

    result = compare(OURS, text_of(rows))

    assert [d.kind for d in result.differences] == ["wrong_litres_scale", "swapped_digits"]
    assert "on their scale" in result.differences[1].message


def test_the_largest_error_of_their_table_is_told_with_its_place():
    result = compare(OURS, changed(4, 1, "139.3"))

    assert result.max_error_l == pytest.approx(5.4)
    assert result.at_counts == 1240
    assert (result.from_counts, result.to_counts) == (4, 3600)


def test_the_error_of_a_missing_row_stands_between_its_neighbours():
    result = compare(OURS, text_of(PLAIN[:3] + PLAIN[4:]))

    straight = np.interp(1240, [812, 1655], [81.7, 187.3])
    assert result.max_error_l == pytest.approx(abs(straight - 133.9))


def test_either_litres_of_a_count_that_stands_twice_may_be_read():
    rows = [*PLAIN[:4], ["1240", "233.9"], *PLAIN[4:]]

    assert compare(OURS, text_of(rows)).max_error_l == pytest.approx(100)


def test_a_range_that_is_not_covered_is_told():
    result = compare(OURS, text_of(PLAIN[2:]))

    assert (result.from_counts, result.to_counts) == (812, 3600)


def test_figures_rounded_to_whole_litres_are_the_same():
    text = text_of([c, f"{float(v):.0f}"] for c, v in PLAIN)

    assert compare(OURS, text).is_clean


def test_a_comparison_goes_into_json():
    told = json.loads(json.dumps(compare(OURS, changed(4, 1, "139.3")).as_json()))

    assert told["is_clean"] is False
    assert told["differences"][0]["kind"] == "swapped_digits"
    assert told["differences"][0]["ours_l"] == 133.9
    assert told["differences"][0]["theirs_l"] == 139.3


@pytest.mark.parametrize(
    "text", ["", "\n\n", "counts,litres\n", "a,b\nc,d\n", "1,2\n", "\0\0", "7"]
)
def test_a_text_without_two_columns_of_figures_is_refused(text):
    with pytest.raises(InputError, match="two columns of figures"):
        compare(OURS, text)


def test_a_text_far_too_long_is_refused():
    with pytest.raises(InputError, match="no calibration table"):
        compare(OURS, "1,2\n" * 30_000)


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="0123456789.,;|\t -+eL'\"\n", max_size=120))
def test_any_text_is_compared_or_refused(text):
    try:
        result = compare(OURS, text)
    except InputError:
        return
    assert result.rows_read >= 2
    json.dumps(result.as_json(), allow_nan=False)


@settings(max_examples=100)
@given(st.integers(10, 9999), st.integers(0, 2), st.data())
def test_swapping_two_unlike_digits_is_known_again(meant, decimals, data):
    digits = list(str(meant))
    at = data.draw(st.integers(0, len(digits) - 2))
    digits[at], digits[at + 1] = digits[at + 1], digits[at]
    typed = int("".join(digits))

    found = slip(meant / 10**decimals, typed / 10**decimals, decimals)

    # 10 for 100 can be seen both ways: a digit moved or the decimal mark.
    assert typed == meant or found in ("swapped_digits", "decimal_slip")
