"""Is the reading steady: how often the verdict is wrong, and what it says."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.pours.steady import (
    NoteKind,
    SteadySettings,
    SteadyWatch,
    Verdict,
    steadiness,
)

HZ = 10


def noisy(rng, n, sd, averaging):
    """Noise of a sensor that averages so many samples, each of this noise."""
    raw = rng.normal(scale=sd, size=n + averaging - 1)
    return np.convolve(raw, np.ones(averaging) / averaging, "valid")


def judged(signal, runs, *, seconds=40, averaging=(1, 8), limits=None, seed=1):
    """Judge so many simulated readings, rounded to whole counts, at their end."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, seconds, 1 / HZ)
    results = []
    for _ in range(runs):
        noise = noisy(rng, len(t), rng.uniform(0.3, 6), int(rng.choice(averaging)))
        results.append(steadiness(t, (signal(t) + noise).round(), limits or SteadySettings()))
    return results


def share(results, verdict):
    return sum(r.verdict is verdict for r in results) / len(results)


def noted(results, kind):
    return sum(any(n.kind is kind for n in r.notes) for r in results) / len(results)


def settling(tau_s, left, end=2500.0):
    """Come to an end value, with so many counts left at the last moment."""
    return lambda t: end - left * np.exp((t[-1] - t) / tau_s)


def after_pour(tau_s, seconds_ago, per_s=15.0, end=2500.0):
    """Fuel rises evenly, stops, and the tube runs after it."""

    def signal(t):
        before = np.minimum(t - (t[-1] - seconds_ago), 0)
        since = np.maximum(t - (t[-1] - seconds_ago), 0)
        lag = per_s * tau_s
        return np.where(before < 0, end + per_s * before - lag, end - lag * np.exp(-since / tau_s))

    return signal


def test_a_steady_reading_is_called_steady():
    results = judged(lambda t: np.full_like(t, 2500.0), 200)

    # Measured: 0.97; the sensor's noise and its averaging are not known to the test.
    assert share(results, Verdict.STEADY) >= 0.93


def test_heavy_averaging_that_is_told_is_not_taken_for_a_drift():
    told = SteadySettings(averaging_s=6.4)
    results = judged(lambda t: np.full_like(t, 2500.0), 150, averaging=[64], limits=told)

    assert share(results, Verdict.STEADY) >= 0.9


@pytest.mark.parametrize("tau_s", [2, 4, 8])
def test_a_reading_with_twenty_counts_to_go_is_never_called_steady(tau_s):
    results = judged(settling(tau_s, 20), 60, seconds=12)

    assert share(results, Verdict.NOT_STEADY) == 1


def test_a_slow_one_with_twenty_counts_to_go_is_seldom_called_steady():
    results = judged(settling(20, 20), 100, seconds=12)

    # Measured: 0.01 to 0.02, with noise of 5 counts and more.
    assert share(results, Verdict.STEADY) <= 0.04


@pytest.mark.parametrize("tau_s", [2, 4, 8])
def test_with_five_counts_to_go_it_is_seldom_called_steady(tau_s):
    results = judged(settling(tau_s, 5), 100, seconds=12)

    # Measured: at most 0.03, all with noise of 4 counts and more.
    assert share(results, Verdict.STEADY) <= 0.06


def test_when_it_is_steady_the_mean_is_the_end_value():
    for after_s in (15, 25, 40):
        for r in judged(after_pour(3, after_s), 25, seconds=100, seed=after_s):
            if r.verdict is Verdict.STEADY:
                assert abs(r.mean_counts - 2500) <= 1.5 * max(1, r.noise_sd_counts)


def test_a_settled_pour_is_called_steady_before_long():
    results = judged(after_pour(3, 30), 100, seconds=100)

    assert share(results, Verdict.STEADY) >= 0.85


@pytest.mark.parametrize("jump", [20, -20])
def test_a_reading_that_has_just_moved_is_not_steady(jump):
    results = judged(lambda t: 2500 + jump * (t > t[-1] - 2), 100)

    assert share(results, Verdict.NOT_STEADY) >= 0.98


def test_the_noise_is_measured_in_counts():
    rng = np.random.default_rng(3)
    t = np.arange(0, 30, 0.1)
    for sd in (0.8, 2, 5):
        measured = np.median(
            [
                steadiness(t, 2500 + rng.normal(scale=sd, size=300)).noise_sd_counts
                for _ in range(20)
            ]
        )
        assert measured == pytest.approx(sd, rel=0.15)


def test_the_mean_is_as_good_as_it_says():
    deviations = [
        (r.mean_counts - 2500) / r.sd_mean_counts
        for r in judged(lambda t: np.full_like(t, 2500.0), 120)
        if r.verdict is Verdict.STEADY
    ]
    assert 0.6 < np.std(deviations) < 1.4


def test_a_vent_that_is_blocked_is_noted_with_its_time():
    results = judged(settling(45, 60), 60, seconds=110)

    assert noted(results, NoteKind.VENT_BLOCKED) >= 0.6
    taus = [n.tau_s for r in results for n in r.notes if n.kind is NoteKind.VENT_BLOCKED]
    assert np.median(taus) == pytest.approx(45, rel=0.4)


def test_a_balance_pipe_is_noted_by_its_two_times():
    def signal(t):
        since = t - t[0]
        return 2500 - 250 * np.exp(-since / 3) - 150 * np.exp(-since / 40)

    results = judged(signal, 60, seconds=50)

    assert noted(results, NoteKind.BALANCE_PIPE) >= 0.6


def test_quick_settling_is_neither_a_blocked_vent_nor_a_pipe():
    results = judged(after_pour(3, 20), 100, seconds=90)

    assert noted(results, NoteKind.VENT_BLOCKED) <= 0.03
    assert noted(results, NoteKind.BALANCE_PIPE) <= 0.05


@pytest.mark.parametrize("hz", [0.6, 1.3, 3.1])
def test_a_disturbance_is_noted_with_its_frequency_and_taken_from_the_noise(hz):
    results = judged(lambda t: 2500 + 8 * np.sin(2 * np.pi * hz * t), 40)

    assert noted(results, NoteKind.PERIODIC) >= 0.8
    found = [n.hz for r in results for n in r.notes if n.kind is NoteKind.PERIODIC]
    assert np.median(found) == pytest.approx(hz, abs=0.05)


def test_plain_noise_is_seldom_taken_for_a_disturbance():
    results = judged(lambda t: np.full_like(t, 2500.0), 120, seed=5)

    assert noted(results, NoteKind.PERIODIC) <= 0.03


def test_a_large_swing_stops_the_recording_and_says_its_size():
    result = judged(lambda t: 2500 + 30 * np.sin(2 * np.pi * 0.6 * t), 1)[0]

    assert result.verdict is Verdict.NOT_STEADY
    assert "at 0.6 Hz; wait until the fuel is still" in result.reason


def test_a_value_that_never_flickers_is_steady_with_a_note():
    result = steadiness(np.arange(0, 20, 0.1), np.full(200, 2512.0))

    assert result.verdict is Verdict.STEADY
    assert [n.kind for n in result.notes] == [NoteKind.FROZEN]
    assert result.sd_mean_counts == pytest.approx(1 / 12**0.5)


def test_a_slow_approach_says_about_how_long_it_will_take():
    rng = np.random.default_rng(2)
    t = np.arange(0, 30, 0.1)
    result = steadiness(t, 2500 - 100 * np.exp(-t / 10) + rng.normal(scale=0.5, size=300))

    # 100 exp(-3) = 5 counts are left; one count is left 10 ln 5 = 16 s later.
    assert result.reason.startswith("still rising")
    assert result.seconds_more == pytest.approx(16, abs=6)
    assert "s more" in result.reason


def test_a_falling_reading_is_called_falling():
    t = np.arange(0, 20, 0.1)
    rng = np.random.default_rng(2)
    assert "falling" in steadiness(t, 2500 - 4 * t + rng.normal(size=200)).reason


@pytest.mark.parametrize(
    ("seconds", "hz", "said"),
    [
        (0, 10, "0.0 s of readings, 8 s are needed"),
        (3, 10, "2.9 s of readings, 8 s"),
        (30, 0.5, "15 readings, 20 are needed"),
    ],
)
def test_too_little_to_tell_is_too_early(seconds, hz, said):
    t = np.arange(0, seconds, 1 / hz)
    result = steadiness(t, 2500 + np.random.default_rng(1).normal(size=len(t)))

    assert result.verdict is Verdict.TOO_EARLY
    assert said in result.reason


def test_a_plain_slope_is_named_before_the_window_is_full():
    t = np.arange(0, 3, 0.1)
    assert steadiness(t, 2000 + 30 * t).reason == "still rising 30 counts/s"


@pytest.mark.parametrize(
    ("t", "x", "said"),
    [
        ([0, 1], [1], "rows of one length"),
        ([0, 1], [1, float("nan")], "finite"),
        ([0, 2, 1], [1, 1, 1], "time runs back from 2 s to 1 s"),
    ],
)
def test_rows_that_are_no_readings_are_refused(t, x, said):
    with pytest.raises(InputError, match=said):
        steadiness(t, x)


def test_a_live_stream_gives_what_the_whole_row_gives_and_keeps_little():
    rng = np.random.default_rng(6)
    t = np.arange(0, 300, 0.1)
    x = (2500 + rng.normal(scale=2, size=3000)).round()
    watch = SteadyWatch()
    for now, counts in zip(t, x, strict=True):
        watch.add(float(now), float(counts))

    assert watch.judge() == steadiness(t, x)
    assert len(watch) <= 1201


def test_a_live_verdict_does_not_flutter():
    rng = np.random.default_rng(8)
    watch = SteadyWatch()
    verdicts = []
    for n in range(1000):
        watch.add(n / HZ, round(2500 + rng.normal(scale=1.5)))
        if n > 100 and n % 5 == 0:
            verdicts.append(watch.judge().verdict)
    # Measured: 0.96 to 0.99.
    assert Counter(verdicts)[Verdict.STEADY] / len(verdicts) >= 0.94


def test_a_live_stream_refuses_time_that_runs_back_and_starts_again_when_told():
    watch = SteadyWatch()
    watch.add(10, 1)
    with pytest.raises(InputError, match="runs back"):
        watch.add(9, 1)
    with pytest.raises(InputError, match="finite"):
        watch.add(11, float("inf"))
    watch.restart()
    watch.add(9, 1)
    assert len(watch) == 1


@pytest.mark.parametrize("name", ["window_s", "tolerance_counts", "resolution_counts"])
def test_settings_that_cannot_be_are_named(name):
    with pytest.raises(InputError, match=name):
        SteadySettings(**{name: 0})
    with pytest.raises(InputError, match="history_s: must be at least window_s"):
        SteadySettings(window_s=200)


@given(
    st.lists(st.integers(0, 4095), min_size=0, max_size=300),
    st.floats(0.001, 5),
)
def test_any_row_of_counts_gets_a_verdict_and_finite_figures(counts, step_s):
    result = steadiness(np.arange(len(counts)) * step_s, counts)

    assert result.verdict in Verdict
    assert result.reason
    for figure in (result.mean_counts, result.sd_mean_counts, result.noise_sd_counts):
        assert figure is None or np.isfinite(figure)


@given(
    st.lists(
        st.tuples(st.one_of(st.floats(0, 0.2), st.floats(1, 300)), st.integers(2000, 2100)),
        min_size=1,
        max_size=120,
    )
)
def test_readings_that_come_when_they_like_get_a_verdict(steps):
    waits, counts = zip(*steps, strict=True)
    limits = SteadySettings(window_s=1, history_s=20, least_samples=8)
    result = steadiness(1e5 + np.cumsum(waits), counts, limits)

    assert result.verdict in Verdict
    assert result.reason


@pytest.mark.parametrize("every_s", [1, 5, 10, 30])
def test_an_instrument_that_sends_seldom_is_judged_on_as_many_readings(every_s):
    rng = np.random.default_rng(every_s)
    watch, verdicts = SteadyWatch(), Counter()
    for n in range(100):
        watch.add(every_s * n, round(2500 + rng.normal(scale=2)))
        verdicts[watch.judge().verdict] += 1

    assert 19 <= verdicts[Verdict.TOO_EARLY] <= 40
    assert verdicts[Verdict.STEADY] > 40
    watch.add(every_s * 100, 2600)
    assert watch.judge().verdict is not Verdict.STEADY


@settings(max_examples=40)
@given(st.integers(-2000, 2000), st.integers(0, 1000))
def test_shifting_all_counts_shifts_the_mean_and_changes_no_verdict(shift, seed):
    t = np.arange(0, 12, 0.1)
    x = (2048 + np.random.default_rng(seed).normal(scale=2, size=120)).round()

    one, two = steadiness(t, x), steadiness(t, x + shift)

    assert two.verdict is one.verdict
    assert two.mean_counts == pytest.approx(one.mean_counts + shift, abs=1e-6)


@pytest.mark.parametrize("gap_s", [15, 20, 25, 30])
def test_a_pour_soon_after_another_is_never_called_steady_while_it_runs(gap_s):
    rng = np.random.default_rng(gap_s)
    for per_s in (15, 40, 90):
        t = np.arange(0, 60 + gap_s, 1 / HZ)
        poured_s = np.clip(t - 30, 0, 6) + np.clip(t - 36 - gap_s, 0, 12)
        counts = (1500 + per_s * poured_s + noisy(rng, len(t), 2.5, 8)).round()
        for flowing_s in np.arange(2, 12, 0.5):
            seen = t <= 36 + gap_s + flowing_s
            result = steadiness(t[seen], counts[seen])
            assert result.verdict is not Verdict.STEADY, (per_s, flowing_s, result.reason)
