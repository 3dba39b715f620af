"""Several probes read as one, and a history cut into blocks and put together again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.blocks import NEAR_CUT_S, cuts, joined
from gaugewright.watch.gauge import together
from gaugewright.watch.values import Event, EventKind, Noise, Track, Undecided, Watched

FRONT = Table(np.array([0, 100]), np.array([5.0, 105.0]), np.array([1.0, 2.0]))
REAR = Table(np.array([0, 50, 200]), np.array([2.0, 40.0, 300.0]), np.array([0.5, 1.0, 3.0]))
DAY_S = 86_400.0


def track(counts):
    n = len(counts)
    return Track("T-7", 1e9 + 10.0 * np.arange(n), np.array(counts, float), np.zeros(n),
                 np.zeros(n))  # fmt: skip


counts_1 = st.one_of(st.floats(0, 100), st.just(np.nan))
counts_2 = st.one_of(st.floats(0, 200), st.just(np.nan))


@given(st.lists(st.tuples(counts_1, counts_2), min_size=1, max_size=30))
def test_the_litres_of_all_probes_add_up(rows):
    first, second = (np.array(column, float) for column in zip(*rows, strict=True))

    gauge = together(track(first), [second], [FRONT, REAR])

    known = np.isfinite(first) & np.isfinite(second)
    expected = FRONT.litres_at(first[known]) + REAR.litres_at(second[known])
    assert gauge.track.counts[known] == pytest.approx(expected)
    assert np.isnan(gauge.track.counts[~known]).all()
    assert gauge.table.litres_at(expected) == pytest.approx(expected)


@given(st.floats(0, 100), st.floats(0, 200))
def test_the_combined_band_is_that_of_the_tables_together(first, second):
    gauge = together(track([first]), [np.array([second])], [FRONT, REAR])

    whole = float(FRONT.band_at(first) + REAR.band_at(second))
    total = float(gauge.track.counts[0])
    # Rows of the combined table stand a sixty-fourth of the whole apart.
    assert float(gauge.table.band_at(total)) == pytest.approx(whole, abs=0.15)


def test_an_unknown_band_makes_the_whole_unknown():
    bare = Table(FRONT.counts, FRONT.litres, None)

    assert together(track([50]), [np.array([50.0])], [bare, REAR]).table.u_litres is None


def test_the_ends_of_each_probe_are_flagged_and_what_is_far_outside_is_no_reading():
    gauge = together(track([-1, 50, 101, 150]), [np.array([50.0, 200, 100, 100])], [FRONT, REAR])

    assert gauge.below_tip.tolist() == [True, False, False, False]
    assert gauge.above_top.tolist() == [False, True, True, False]
    assert np.isnan(gauge.track.counts).tolist() == [False, False, False, True]


def test_every_probe_needs_its_table():
    with pytest.raises(InputError, match="T-7: 1 tables for 2 probes"):
        together(track([1]), [np.array([1.0])], [FRONT])


def event(start_s, end_s=None, kind=EventKind.DRAIN, first=0):
    end = start_s + 600 if end_s is None else end_s
    return Event("T-7", kind, start_s, end, 20, 1, 100, 80, 9, "", first, first + 3)


def watched(*events, records=100, note="n", undecided=()):
    return Watched("T-7", events, undecided, Noise(1, 2, 3, 4, 5), records, 9.0, 4.0, 8.0, (note,))


def test_an_event_that_two_blocks_see_is_kept_once():
    at = 20 * DAY_S
    for left, right in [
        (at - 300, at - 240), (at - 300, at + 30), (at + 30, at - 300), (at + 300, at + 240),
    ]:  # fmt: skip
        whole = joined(
            [watched(event(left)), watched(event(right))], [at], [0, 90], records=190, span_s=1.0
        )
        assert len(whole.events) == 1


def test_what_only_one_block_sees_near_the_cut_is_kept():
    at = 20 * DAY_S
    whole = joined(
        [watched(event(at - 50)), watched(event(at + 5000), event(at + 40 * DAY_S))],
        [at], [0, 90], records=190, span_s=1.0,
    )  # fmt: skip

    assert [one.start_s for one in whole.events] == [at - 50, at + 5000, at + 40 * DAY_S]


def test_a_block_says_nothing_of_what_lies_deep_in_its_neighbour():
    at = 20 * DAY_S
    far = watched(event(at + 2 * NEAR_CUT_S), undecided=(Undecided("T-7", 0, 1, 5, 5, "x"),))
    whole = joined([far, watched()], [at], [0, 90], records=190, span_s=1.0)

    assert whole.events == ()
    assert len(whole.undecided) == 1


def test_two_kinds_in_one_stop_across_the_cut_both_stay():
    at = 20 * DAY_S
    both = (event(at - 10), event(at + 5, kind=EventKind.REFUEL))
    whole = joined([watched(*both), watched(*both)], [at], [0, 0], records=190, span_s=1.0)

    assert [one.kind for one in whole.events] == [EventKind.DRAIN, EventKind.REFUEL]


def test_records_are_numbered_through_and_noise_weighs_by_records():
    at = 20 * DAY_S
    parts = [watched(records=300), watched(event(at + 5000, first=15), records=100, note="m")]
    whole = joined(parts, [at], [0, 290], records=380, span_s=7.0)

    assert (whole.events[0].first, whole.events[0].last) == (305, 308)
    assert (whole.records, whole.span_s) == (380, 7.0)
    assert whole.notes == ("n", "m")
    assert whole.noise.moving_l == pytest.approx(2)


@given(st.floats(0, 1e9), st.floats(0, 1e8), st.integers(1, 10**7))
def test_cuts_are_at_midnights_inside_the_history(first_s, span_s, records):
    found = cuts(first_s, first_s + span_s, records, most=1_000_000)

    assert all(first_s < at < first_s + span_s and at % DAY_S == 0 for at in found)
    assert found == sorted(set(found))
    assert len(found) <= -(-records // 1_000_000) - 1
