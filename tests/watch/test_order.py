"""Records in any order become a track, and what was left out is counted."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.watch import order
from gaugewright.watch.order import TWICE_S, Arrival, by_code, ordered

START_S = 1_700_000_000.0
ENGINES = pytest.mark.parametrize("has_compiler", [True, False])

records = st.lists(
    st.tuples(
        st.integers(-3, 40),  # 10 s steps; below 0 stands for a clock that is wrong
        st.one_of(st.integers(0, 3).map(float), st.just(np.nan), st.just(np.inf)),
    ),
    max_size=60,
)


def columns(rows):
    steps = np.array([step for step, _ in rows], dtype=np.float64)
    return {
        "time_s": np.where(steps < 0, 0.0, START_S + 10 * steps),
        "counts": np.array([counts for _, counts in rows], dtype=np.float64),
        "speed_kmh": np.arange(len(rows), dtype=np.float32),
    }


def plainly(rows):
    """Do the same one record after the other."""
    kept, late, doubled, misdated, latest = {}, 0, 0, 0, -np.inf
    contradicting = set()
    for place, (step, counts) in enumerate(rows):
        if step < 0:
            misdated += 1
            continue
        late += step < latest
        latest = max(latest, step)
        if step not in kept:
            kept[step] = (place, counts)
            continue
        doubled += 1
        stands = kept[step][1]
        if np.isfinite(counts):
            if not np.isfinite(stands):
                kept[step] = (place, counts)
            elif counts != stands:
                contradicting.add(step)
    return kept, late, doubled, len(contradicting), misdated


@ENGINES
@settings(deadline=None)  # the first example waits for the compiler
@given(rows=records)
def test_each_moment_stands_once_and_in_order_whatever_the_arrival(has_compiler, rows):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order, "HAS_COMPILER", has_compiler)
        found = ordered("T-7", columns(rows))
    track, arrival = found.track, found.arrival

    kept, late, doubled, contradicting, misdated = plainly(rows)
    assert track.time_s.tolist() == [START_S + 10 * step for step in sorted(kept)]
    assert track.speed_kmh.tolist() == [kept[step][0] for step in sorted(kept)]
    expected = [kept[step][1] for step in sorted(kept)]
    assert np.array_equal(track.counts, np.where(np.isfinite(expected), expected, np.nan), True)
    assert (arrival.late, arrival.doubled, arrival.contradicting, arrival.misdated) == (
        late, doubled, contradicting, misdated,
    )  # fmt: skip
    assert arrival.records == len(rows)


@ENGINES
def test_records_in_order_are_not_copied_and_nothing_is_counted(has_compiler, monkeypatch):
    monkeypatch.setattr(order, "HAS_COMPILER", has_compiler)
    given_ = {"time_s": START_S + 10.0 * np.arange(5), "counts": np.arange(5.0)}

    found = ordered("T-7", given_)
    track, arrival = found.track, found.arrival

    assert track.time_s is given_["time_s"]
    assert arrival == Arrival(5)
    assert np.isnan(track.speed_kmh).all()
    assert track.fuel_c is None


@ENGINES
def test_a_record_from_the_future_is_left_out_and_counted(has_compiler, monkeypatch):
    monkeypatch.setattr(order, "HAS_COMPILER", has_compiler)
    time_s = START_S + np.array([0.0, 10.0, 1e9, 20.0])

    found = ordered("T-7", {"time_s": time_s, "counts": np.zeros(4)}, latest_s=START_S + 86_400)
    track, arrival = found.track, found.arrival

    assert track.time_s.size == 3
    assert (arrival.misdated, arrival.late) == (1, 0)


def test_a_record_without_a_time_is_left_out_and_counted():
    time_s = np.array([START_S, np.nan, START_S + 10])

    found = ordered("T-7", {"time_s": time_s, "counts": np.zeros(3)})
    track, arrival = found.track, found.arrival

    assert (track.time_s.size, arrival.misdated) == (2, 1)


@ENGINES
def test_further_probes_stay_beside_their_records(has_compiler, monkeypatch):
    monkeypatch.setattr(order, "HAS_COMPILER", has_compiler)
    time_s = START_S + np.array([0.0, 20.0, 10.0])

    found = ordered("T-7", {"time_s": time_s, "counts": np.arange(3.0),
                            "counts_2": np.array([7.0, 8.0, np.inf])})  # fmt: skip

    assert found.track.counts.tolist() == [0, 2, 1]
    assert np.array_equal(found.further["counts_2"], [7, np.nan, 8], equal_nan=True)


def test_columns_of_different_length_are_refused():
    with pytest.raises(InputError, match="T-7: 1 speed_kmh for 2 times"):
        ordered("T-7", {"time_s": START_S + np.arange(2.0), "counts": np.zeros(2),
                        "speed_kmh": np.zeros(1)})  # fmt: skip


@ENGINES
@settings(deadline=None)  # the first example waits for the compiler
@given(codes=st.lists(st.integers(-1, 4), max_size=50))
def test_records_are_parted_by_vehicle_and_keep_their_order(has_compiler, codes):
    codes = np.array(codes, dtype=np.int32)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order, "HAS_COMPILER", has_compiler)
        parted, starts = by_code(codes, 5, {"place": np.arange(codes.size, dtype=np.float64)})

    for code in range(5):
        mine = parted["place"][starts[code] : starts[code + 1]]
        assert mine.tolist() == np.flatnonzero(codes == code).tolist()
    assert starts[-1] == (codes >= 0).sum()


def test_what_arrived_in_parts_adds_up():
    assert Arrival(5, 1, 30.0, 2) + Arrival(3, 2, 10.0, 0, 1, 1) == Arrival(8, 3, 30.0, 2, 1, 1)


BEFORE_S = 1_792_886_400.0
"""When the hour began that the clocks of Berlin had twice in 2026."""
FIRST = BEFORE_S + np.arange(0, 3600, 60) + TWICE_S


def _times_through_the_turn():
    before, after = BEFORE_S + np.arange(-3600, 0, 60), BEFORE_S + np.arange(7200, 10800, 60)
    return [*before, *FIRST, *FIRST, *after]


def _put(times):
    return ordered("T", {"time_s": np.array(times), "counts": np.arange(float(len(times)))})


def test_both_passes_of_an_hour_that_a_clock_had_twice_stand_in_the_order_of_arrival():
    found = _put(_times_through_the_turn())

    assert np.diff(found.track.time_s).tolist() == [60.0] * 239
    assert (found.arrival.twice, found.arrival.misdated, found.arrival.late) == (0, 0, 0)


def test_a_small_step_back_within_the_hour_is_a_late_record_and_no_turn_of_the_clock():
    times = _times_through_the_turn()
    times[70], times[71] = times[71], times[70]

    found = _put(times)

    assert np.diff(found.track.time_s).tolist() == [60.0] * 239
    assert (found.arrival.twice, found.arrival.late) == (0, 1)


@pytest.mark.parametrize("hour", [FIRST, np.tile(FIRST, 3), np.r_[FIRST[40:], FIRST[:40]]])
def test_an_hour_whose_passes_cannot_be_told_apart_is_left_out_and_counted(hour):
    found = _put([BEFORE_S - 60, *hour, np.nan, BEFORE_S + 7200])

    assert found.track.time_s.tolist() == [BEFORE_S - 60, BEFORE_S + 7200]
    assert (found.arrival.twice, found.arrival.misdated) == (hour.size, 1)
