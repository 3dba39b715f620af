"""Pour records: what is read, what is refused, and in which words."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.fill import Fill, MeterCheck
from gaugewright.table.records import counts_scale, fill_from_csv, parse_meter_check, with_checks

GOOD = "step,added_l,counts\n0,0,3\n1,45.5,3\n2,45.5,402\n3,44.9,801\n"


def test_a_plain_record_is_read():
    fill = fill_from_csv(GOOD)

    assert [(p.step, p.added_l, p.counts) for p in fill.pours] == [
        (0, 0, 3), (1, 45.5, 3), (2, 45.5, 402), (3, 44.9, 801),
    ]  # fmt: skip
    assert not fill.is_draining
    assert fill.notes == ()
    assert fill.pours[1].fuel_c is None


@given(
    st.lists(st.tuples(st.floats(0.1, 500), st.integers(0, 4095)), min_size=2, max_size=30),
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ",")]),
)
def test_a_written_record_is_read_again_whatever_the_marks(pours, marks):
    separator, decimal = marks
    pours = [(round(litres, 2), counts) for litres, counts in pours]
    lines = [separator.join(("step", "added_l", "counts")), separator.join("009")]
    for step, (litres, counts) in enumerate(pours, start=1):
        lines.append(f"{step}{separator}{litres:.2f}{separator}{counts}".replace(".", decimal))
    if all(counts == 9 for _, counts in pours):
        return

    fill = fill_from_csv("\r\n".join(lines))

    assert [(p.added_l, p.counts) for p in fill.pours[1:]] == pours


def test_everything_optional_is_read():
    fill = fill_from_csv(
        "Step;Added L;Counts;Counts SD;Fuel C;Meter C;Pitch deg;Roll deg;At;Note;Planned L\n"
        "0;0;3;;;;;;;;\n"
        "1;45,5;3;0,7;11,5;19;-0,4;1,2;2026-05-04T10:15:00Z;slow, pump;45\n"
        "2;45,5;402;;;;;;2026-05-04T12:20:00+02:00;;45\n"
    )

    pour = fill.pours[1]
    assert (pour.counts_sd, pour.fuel_c, pour.meter_c) == (0.7, 11.5, 19)
    assert (pour.pitch_deg, pour.roll_deg) == (-0.4, 1.2)
    assert pour.at == datetime(2026, 5, 4, 10, 15, tzinfo=UTC)
    assert (pour.note, pour.planned_l) == ("slow, pump", 45)
    assert fill.pours[0].planned_l is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty, wanted a header line and rows"),
        ("step,added_l,counts\n", "holds a header line only"),
        ("step,added_l,counts\n0,0,3\n", "line 2: holds 1 line of readings"),
        ("step,added_l,counts\n0,0,3\n1,45,90\n", "line 3: holds 2 lines of readings"),
        ("step,added_l\n0,0\n", "line 1: the column 'counts' is missing"),
        ("step,added_1,counts\n0,0,3\n", "line 1, added_1: .*did you mean 'added_l'"),
        (GOOD.replace("402", "4O2"), "line 4, counts: '4O2' is not a number"),
        (GOOD.replace("402", "nan"), "line 4, counts: 'nan' is not a finite number"),
        (GOOD.replace("402", "inf"), "line 4, counts: 'inf' is not a finite number"),
        (GOOD.replace("402", ""), "line 4, counts: is empty"),
        (GOOD.replace("402", "-402"), "line 4, counts: must be 0 or more, found -402"),
        (GOOD.replace("44.9", "-44.9"), "line 5, added_l: must not be negative, found -44.9 L"),
        (GOOD.replace("\n2,", "\n1,"), "line 4, step: step 1 stands in line 3 already"),
        (GOOD.replace("\n1,", "\n4,"), "line 4, step: .* 2 follows 4"),
        (GOOD.replace("\n2,", "\n,"), "line 4, step: is empty"),
        (GOOD.replace("\n2,", "\n1.5,"), "line 4, step: must be a whole number"),
        (GOOD.replace("\n0,", "\n-1,"), "line 2, step: must be 0 or more"),
        ("step,added_l,counts\n1,0,3\n2,9,4\n3,9,5\n", "line 2, step: the first step must be 0"),
        (GOOD.replace("0,0,3", "0,20,3"), "line 2, added_l: must be 0 L at step 0, found 20 L"),
        ("step,added_l,counts\n0,0,3\n1,9,3\n2,9,3\n", "counts: all 3 readings are 3"),
        ("step,added_l,counts\n0,0,3\n1,0,4\n2,0,5\n", "added_l: is 0 L in every line"),
        (GOOD.replace("2,45.5,402", "2,0,402"), "line 4, added_l: is 0 L at step 2: every line"),
        ("step,added_l,counts\n0,0,9\n1,-9,7\n2,0,5\n", "line 4, added_l: is 0 L at step 2"),
        (GOOD.replace("45.5,402", "1.045,5,402"), "5 fields where 3|4 fields where 3"),
    ],
)
def test_what_cannot_be_a_record_is_refused(text, message):
    with pytest.raises(InputError, match=message) as caught:
        fill_from_csv(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("counts_sd", "-1", "line 3, counts_sd: must be 0 or more"),
        ("fuel_c", "288", "line 3, fuel_c: must be -60 to 100 °C, found 288"),
        ("pitch_deg", "90", "line 3, pitch_deg: must be -45 to 45"),
        ("at", "2026-05-04T10:15:00", "line 3, at: .* has no zone; wanted a time with its zone"),
        ("at", "yesterday", "line 3, at: 'yesterday' is not a time"),
        ("planned_l", "-5", "line 3, planned_l: must not be negative"),
    ],
)
def test_optional_figures_are_held_to_what_a_person_can_mean(field, value, message):
    text = f"step,added_l,counts,{field}\n0,0,3,\n1,9,4,{value}\n2,9,5,\n"

    with pytest.raises(InputError, match=message):
        fill_from_csv(text)


def test_counts_beyond_the_scale_are_refused_where_the_scale_is_known():
    assert fill_from_csv(GOOD, counts_range=(0, 801)).pours[-1].counts == 801
    with pytest.raises(InputError, match="line 5, counts: is beyond the scale of 0 to 800 counts"):
        fill_from_csv(GOOD, counts_range=(0, 800))


def test_counts_below_0_are_read_where_the_probe_is_known_to_send_them():
    below = GOOD.replace("0,0,3", "0,0,-12")
    fill = fill_from_csv(below, counts_range=counts_scale(-12, 3610))
    assert fill.pours[0].counts == -12
    for known in (None, counts_scale(0, 4095)):
        with pytest.raises(InputError, match="line 2, counts: must be 0 or more"):
            fill_from_csv(below, counts_range=known)


def test_the_scale_is_that_of_the_converter_and_holds_zero_and_span():
    assert counts_scale(0, 1000) == (0, 1023)
    assert counts_scale(0, 1024) == (0, 4095)
    assert counts_scale(0, 1e9) == (0, 1e9)
    assert counts_scale(-300, 200) == (-300, 255)
    with pytest.raises(InputError, match="is beyond the scale of 0 to 1023 counts, found 4000"):
        fill_from_csv(GOOD.replace("801", "4000"), counts_range=counts_scale(0, 1023))


def test_negative_litres_throughout_are_a_draining_record():
    fill = fill_from_csv("step;added_l;counts;planned_l\n0;0;900;\n1;-45,5;700;-45\n2;-45;500;\n")

    assert fill.is_draining
    assert [p.added_l for p in fill.pours] == [0, 45.5, 45]
    assert fill.pours[1].planned_l == 45
    assert fill.notes == ()


def test_counts_that_fall_while_litres_are_positive_are_a_draining_record_with_a_note():
    fill = fill_from_csv(
        "step,added_l,counts\n0,0,900\n1,9,900\n2,9,700\n3,9,500\n4,9,400\n5,9,410\n6,9,50\n"
    )

    assert fill.is_draining
    assert "read as a draining record: the counts fall from 900 to 50" in fill.notes[0]


def test_one_fall_among_rises_is_no_draining_record():
    text = GOOD + "4,45,700\n5,45,1500\n"

    assert not fill_from_csv(text).is_draining


def test_a_probe_whose_counts_fall_on_filling_is_not_read_as_draining():
    text = "step,added_l,counts\n0,0,900\n1,9,700\n2,9,500\n"

    assert not fill_from_csv(text, counts_rise=False).is_draining
    assert fill_from_csv(text).is_draining


def test_a_gap_in_the_steps_and_an_unused_column_are_noted():
    fill = fill_from_csv("step,added_l,counts,van\n0,0,3,\n1,9,4,x\n3,9,5,\n")

    assert fill.notes == ("the column 'van' is not used", "step 2 not in the record")


def test_times_that_run_backwards_are_noted():
    fill = fill_from_csv(
        "step,added_l,counts,at\n0,0,3,2026-05-04T10:00Z\n"
        "1,9,4,2026-05-04T11:30+01:00\n2,9,5,2026-05-04T10:29Z\n"
    )

    assert fill.notes == ("step 2 is timed before step 1",)


def test_a_log_is_not_taken_for_a_pour_record():
    rows = "".join(f"{k},1,{k}\n" for k in range(1, 1100))

    with pytest.raises(InputError, match="a pour record has at most 1000 pours"):
        fill_from_csv("step,added_l,counts\n0,0,0\n" + rows)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("20", "wanted INDICATED=TRUE, such as 20=19.94, found '20'"),
        ("20=x", "'x' is not a number"),
        ("20=", "is empty"),
        ("20=-19", "TRUE must be above 0 L"),
        ("0=20", "INDICATED must be above 0 L"),
        ("20=1.994", "differ by more than a meter can"),
    ],
)
def test_a_meter_check_that_cannot_be_is_refused(text, message):
    with pytest.raises(InputError, match=f"--meter-check: .*{message}"):
        parse_meter_check(text)


def test_checks_are_added_to_a_fill():
    fill = with_checks(
        Fill(pours=()), meter_checks=[MeterCheck(20, 19.94)], residual_l=2, u_residual_l=0.5
    )

    assert fill.meter_checks == (MeterCheck(20, 19.94),)
    assert (fill.residual_l, fill.u_residual_l, fill.dip_empty_mm) == (2, 0.5, None)


@pytest.mark.parametrize(
    ("checks", "message"),
    [
        ({"residual_l": -1}, "--residual: must be 0 L or more, found -1"),
        ({"residual_l": float("nan")}, "--residual: must be 0 L or more, found nan"),
        ({"u_residual_l": 1}, "--u-residual: needs --residual"),
        ({"dip_empty_mm": -3}, "--dip-empty: must be 0 mm or more, found -3"),
    ],
)
def test_checks_that_cannot_be_are_refused(checks, message):
    with pytest.raises(InputError, match=message):
        with_checks(Fill(pours=()), **checks)


@given(st.text(alphabet='stepaddlcoun_0123456789,;.-\n\t "nif', max_size=120))
def test_any_text_gives_a_fill_or_an_input_error(tail):
    try:
        fill = fill_from_csv("step,added_l,counts\n" + tail)
    except InputError as error:
        message = str(error)
    else:
        message = ""
        assert len(fill.pours) >= 3
    assert "\n" not in message
