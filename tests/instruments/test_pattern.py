"""What lines mean, by patterns that people type."""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.instruments.events import Fault, Sample, TroubleKind
from gaugewright.instruments.lines import LINE_LIMIT, LineReader
from gaugewright.instruments.pattern import compile_pattern, try_pattern


@pytest.mark.parametrize(
    ("pattern", "line", "counts", "temperature_c"),
    [
        ("counts={counts} temp_c={temperature_c}", "counts=2512 temp_c=18.4", 2512, 18.4),
        ("counts={counts} temp_c={temperature_c}", "counts=2512,5 temp_c=-18,4", 2512.5, -18.4),
        ("T{temperature_c} N{counts}", " T+5 N12 ", 12, 5),
        ("{counts}", "77", 77, None),
        ("{*}N={counts}{*}", "x=1 N=412 y=3", 412, None),
        ("A {*} {counts}", "A level 33", 33, None),
        ("N={counts:hex}", "N=0fA0", 4000, None),
        (r"re:N0=(?P<counts>\d+)", "..N0=17..", 17, None),
        (r"re:F=(?P<counts_hex>[0-9A-F]{4}) t=(?P<temperature_c>\S+)", "F=09D0 t=2,5", 2512, 2.5),
    ],
)
def test_a_pattern_finds_the_figures(pattern, line, counts, temperature_c):
    (trial,) = try_pattern(pattern, [line])

    assert (trial.counts, trial.temperature_c, trial.problem) == (counts, temperature_c, None)


@pytest.mark.parametrize(
    ("pattern", "line", "said"),
    [
        ("N={counts}", "N=41x", "does not fit"),
        ("N={counts}", "xN=41", "does not fit"),
        ("N={counts}", "N=", "does not fit"),
        (r"re:N=(?P<counts>\S+)", "N=nan", "'nan', which is not a number"),
        (r"re:N=(?P<counts>\S+)", "N=1.234,5", "which is not a number"),
        (r"re:N=(?P<counts_hex>\S+)", "N=0xg", "not a hexadecimal number"),
        (r"re:(N=(?P<counts>\d+))?", "M=3", "does not fit"),
    ],
)
def test_a_line_without_figures_says_why(pattern, line, said):
    (trial,) = try_pattern(pattern, [line])

    assert trial.counts is None
    assert said in trial.problem


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        ("level", "must have {counts} once"),
        ("{counts} {counts}", "must have {counts} once"),
        ("{counts} {counts:hex}", "must have {counts} once"),
        ("{counts}{temperature_c}", "needs some text before {temperature_c}"),
        ("{*}{counts}", "needs some text before {counts}"),
        ("{litres} {counts}", "{litres} is not known"),
        ("{counts} }", "single brace"),
        ("re:[0-9", "is not a regular expression"),
        ("re:[0-9]+", "no group named counts"),
        ("re:(?P<counts>x)(?P<litres>y)", "has a group 'litres'"),
        ("a" * 501 + "{counts}", "at most 500"),
    ],
)
def test_a_pattern_that_cannot_be_is_refused_with_the_reason(pattern, said):
    with pytest.raises(InputError) as refused:
        compile_pattern(pattern)
    assert said in str(refused.value)


@pytest.mark.parametrize("expression", [r"(a|a)+[0-9](?P<counts>.)", r"(a|aa)+[0-9](?P<counts>.)"])
def test_an_expression_that_would_never_end_is_stopped_and_said(expression):
    start_s = time.monotonic()

    (trial,) = try_pattern("re:" + expression, ["a" * (LINE_LIMIT - 1) + "!1"])

    assert time.monotonic() - start_s < 1
    assert "took longer than" in trial.problem


@given(st.floats(-1e6, 1e6), st.sampled_from([".", ","]))
def test_any_number_comes_back_with_a_point_or_a_comma(number, mark):
    text = f"{number:.3f}".replace(".", mark)

    assert compile_pattern("v={counts};").find(f"v={text};").counts == round(number, 3)


def reader(pattern="n={counts}"):
    lines = LineReader(compile_pattern(pattern))
    lines.feed(b"\n", 0.0)  # the beginning has been seen
    return lines


@given(st.lists(st.integers(0, 4095), max_size=30), st.data())
def test_lines_come_out_the_same_however_the_bytes_are_cut(numbers, data):
    sent = b"".join(b"n=%d\r\n" % n for n in numbers)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(sent)), max_size=10)))
    lines = reader()

    signals = []
    for start, stop in zip([0, *cuts], [*cuts, len(sent)], strict=True):
        signals += lines.feed(sent[start:stop], 0.0)

    assert [s.counts for s in signals] == numbers


@given(st.lists(st.binary(max_size=400), max_size=8))
def test_no_bytes_whatever_break_the_reader_or_make_it_keep_them(chunks):
    lines = reader()

    for n, chunk in enumerate(chunks):
        for signal in lines.feed(chunk, float(n)):
            assert isinstance(signal, Fault | Sample)

    lines.feed(b"\r\nn=1\nn=2\n", 100.0)
    assert lines.feed(b"n=3\n", 100.0)[-1].counts == 3


def test_bytes_without_a_line_end_are_garbage_once_and_the_next_line_is_read():
    lines = reader()

    signals = lines.feed(b"U" * 300, 0.0) + lines.feed(b"U" * 5000, 0.1)
    assert [s.kind for s in signals] == [TroubleKind.GARBAGE]
    assert [s.counts for s in lines.feed(b"UU\nn=5\n", 0.2)] == [5]


def test_other_endings_than_a_line_feed_end_a_line_too():
    assert [s.counts for s in reader().feed(b"n=1\rn=2\r\nn=3\n\n", 0.0)] == [1, 2, 3]
