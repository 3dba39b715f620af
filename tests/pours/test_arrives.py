"""Does the data arrive: every simulated wrong is named with its figure, a good line is let go."""

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.pours.arrives.align import align
from gaugewright.pours.arrives.coming import coming, wilson
from gaugewright.pours.arrives.series import Check, Far, Near, Off
from gaugewright.pours.arrives.verdict import judge
from gaugewright.testing.arrivals import Scene, simulated_check

SEEDS = range(4)


def judged(seed, **scene):
    check = simulated_check(np.random.default_rng(seed), Scene(**scene))
    return judge(check), check


def item(arrival, kind):
    return next(each for each in arrival.items if each.kind == kind)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_good_line_is_safe_to_leave(seed):
    arrival, _ = judged(seed)
    assert arrival.is_safe, arrival.sentence
    assert arrival.sentence.startswith("Safe to leave")
    assert {each.kind for each in arrival.items} == {
        "arrives", "gaps", "follows", "delay", "scale", "averaging", "ignition_off",
    }  # fmt: skip


@pytest.mark.parametrize("has_stamps", [True, False])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_delay_of_40_s_is_found_within_its_band(seed, has_stamps):
    arrival, _ = judged(seed, delay_s=40.0, has_stamps=has_stamps)
    delay = item(arrival, "delay")
    assert delay.low <= 40.15 <= delay.high
    assert delay.high - delay.low < 4.0
    assert delay.state == "good"


def test_a_clock_that_is_an_hour_off_does_no_harm_and_is_told():
    arrival, _ = judged(1, delay_s=20.0, clock_error_s=3600.0)
    delay = item(arrival, "delay")
    assert delay.value == pytest.approx(20.0, abs=0.7)
    assert "3600 s ahead of this clock" in delay.message
    assert arrival.is_safe


@pytest.mark.parametrize("seed", SEEDS)
def test_every_third_record_lost_is_a_third_lost(seed):
    arrival, _ = judged(seed, wrong="every_third_lost")
    gaps = item(arrival, "gaps")
    assert gaps.state == "wrong"
    assert gaps.low < 1 / 3 < gaps.high
    assert "a record every 5 s" in gaps.message.lower()
    assert not arrival.is_safe


@pytest.mark.parametrize("seed", SEEDS)
def test_another_scale_is_named_by_its_top(seed):
    arrival, _ = judged(seed, wrong="wrong_scale")
    scale = item(arrival, "scale")
    assert scale.state == "wrong"
    assert scale.low < 1023 / 4095 < scale.high
    assert "0 to 1023 (10 bits) where 0 to 4095 is expected" in scale.message


def test_another_scale_is_seen_even_where_nothing_moved():
    arrival, _ = judged(2, wrong="wrong_scale", moves_counts=0.0)
    assert item(arrival, "follows").state == "missing"
    assert "(10 bits)" in item(arrival, "scale").message


@pytest.mark.parametrize("seed", SEEDS)
def test_a_frozen_figure_is_told_with_how_long_it_stands(seed):
    arrival, check = judged(seed, wrong="frozen")
    follows = item(arrival, "follows")
    assert follows.state == "wrong"
    assert f"exactly {check.far.values[0]:.0f} for " in follows.message
    assert "frozen" in arrival.sentence


@pytest.mark.parametrize("seed", SEEDS)
def test_the_sensor_of_another_tank_is_told_apart_and_named(seed):
    arrival, _ = judged(seed, wrong="other_tank")
    follows = item(arrival, "follows")
    assert follows.state == "wrong"
    assert "do not follow this probe" in follows.message
    assert "they follow right tank" in follows.message


@pytest.mark.parametrize("seed", SEEDS)
def test_silence_with_the_ignition_off_is_told(seed):
    arrival, _ = judged(seed, wrong="silent_off")
    off = item(arrival, "ignition_off")
    assert off.state == "wrong"
    assert off.message.startswith("Nothing came for 2.")
    assert [each.kind for each in arrival.items if each.state == "wrong"] == ["ignition_off"]


def test_what_was_not_tried_is_missing_and_what_was_not_asked_for_is_only_noted():
    from dataclasses import replace

    arrival, check = judged(1, off_s=None)
    assert item(arrival, "ignition_off").state == "missing"
    assert not arrival.is_safe
    parked = judge(replace(check, is_off_wanted=False))
    assert parked.is_safe
    assert item(parked, "ignition_off").state == "note"


@pytest.mark.parametrize("seed", SEEDS)
def test_an_average_of_64_is_told_from_one_of_8(seed):
    heavy = item(judged(seed, averaging=64)[0], "averaging")
    light = item(judged(seed, averaging=8)[0], "averaging")
    assert heavy.low <= 6.4 <= heavy.high
    assert "as is usual in service (64)" in heavy.message
    assert light.high < 1.5
    assert "light, as for pouring (8)" in light.message


def test_nothing_at_all_is_said_as_nothing():
    arrival, _ = judged(1, wrong="nothing")
    assert item(arrival, "arrives").state == "missing"
    assert "No record has come in 12.0 min" in item(arrival, "arrives").message


def test_records_that_stop_are_told_with_their_age():
    check = simulated_check(np.random.default_rng(3), Scene(off_s=None))
    kept = check.far.seen_s < 400
    stamped = check.far.stamped_s[kept]
    far = Far(check.far.seen_s[kept], check.far.values[kept], stamped)
    arrives = item(judge(Check(check.near, far, until_s=720.0)), "arrives")
    assert arrives.state == "wrong"
    assert 318 < arrives.value < 326


def test_a_zero_elsewhere_is_told_in_its_unit():
    check = simulated_check(np.random.default_rng(3), Scene())
    far = Far(check.far.seen_s, check.far.values + 120, check.far.stamped_s)
    scale = item(judge(Check(check.near, far, 720.0, check.off)), "scale")
    assert scale.state == "wrong"
    assert "120.0 counts more than the probe reads" in scale.message


def test_without_a_pour_the_verdict_asks_for_one():
    arrival, _ = judged(1, moves_counts=0.0)
    follows = item(arrival, "follows")
    assert follows.state == "missing"
    assert "pour or draw fuel" in follows.message


def test_records_that_come_later_in_one_lot_count_for_the_time_they_were_made():
    check = simulated_check(np.random.default_rng(4), Scene())
    off = check.off[0]
    made = check.far.stamped_s
    # What was made with the ignition off is sent when it is on again.
    seen = np.where(made > off.from_s, off.to_s + 5.0, check.far.seen_s)
    held = Check(check.near, Far(seen, check.far.values, made), off.to_s + 60.0, check.off)
    told = item(judge(held), "ignition_off")
    assert told.state == "good"
    assert "only after it was on again" in told.message


def test_polled_records_without_a_time_say_nothing_of_losses():
    check = simulated_check(np.random.default_rng(4), Scene(has_stamps=False))
    far = Far(check.far.seen_s, check.far.values, None, are_polls=True)
    polled = judge(Check(check.near, far, 720.0, check.off))
    assert item(polled, "gaps").state == "note"
    assert item(polled, "delay").state == "good"


def test_what_was_promised_shows_every_second_record_lost():
    check = simulated_check(np.random.default_rng(4), Scene(off_s=None))
    every_second = Far(check.far.seen_s[::2], check.far.values[::2], check.far.stamped_s[::2])
    unseen = coming(Check(check.near, every_second, 720.0), 5.0)
    told = coming(Check(check.near, every_second, 720.0, every_s=5.0), 5.0)
    assert unseen.lost == 0
    assert told.share.value == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize(
    ("hits", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
     (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_the_score_interval_is_the_published_one(hits, of, low, high):
    # Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3; from memory.
    found = wilson(hits, of)
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


def test_a_line_without_noise_is_laid_over_exactly():
    t = np.arange(0, 400, 0.1)
    level = 500 + 80 * np.clip((t - 60) / 30, 0, 1) + 60 * np.clip((t - 200) / 20, 0, 1)
    made = np.arange(30, 380, 4.0)
    far = Far(made, 10 + 0.5 * np.interp(made - 33.3, t, level))
    found = align(Near(t, level), far, 200.0)
    assert found.delay_s.value == pytest.approx(33.3, abs=0.1)
    assert found.slope.value == pytest.approx(0.5, rel=1e-3)
    assert found.r2 > 0.9999


def test_times_that_do_not_rise_are_refused():
    with pytest.raises(InputError, match="rise"):
        Near(np.array([1.0, 1.0]), np.array([2.0, 2.0]))
    with pytest.raises(InputError, match="2 records but 1"):
        Far(np.array([1.0, 1.0]), np.array([2.0]))
    assert Off(1.0, 2.0).to_s == 2.0
