"""A second tank behind a balance pipe: found by how the level relaxes, and taken off again."""

import numpy as np
import pytest

from gaugewright.watch.bins import Bins
from gaugewright.watch.pipe import pipe_of, without_pipe
from gaugewright.watch.values import Floats

SPAN_L = 500.0
SHARE, TIME_S = 0.5, 480.0


def minutes(level: Floats) -> Bins:
    """A level each minute, parked with the engine off."""
    n = level.size
    number = np.arange(n)
    return Bins(
        number * 60.0, level, np.full(n, 0.1), np.full(n, 6), np.zeros(n, bool), np.zeros(n),
        number, number,
    )  # fmt: skip


def true_level(rng: np.random.Generator, changes: int) -> Floats:
    """Fuel that comes and goes in turn, a few minutes each, hours apart."""
    level = np.full(200, 200.0)
    for k in range(changes):
        litres = rng.uniform(60, 200) * (1 if k % 2 == 0 else -1)
        flow = np.linspace(level[-1], np.clip(level[-1] + litres, 30, 450), 5)
        level = np.concatenate([level, flow, np.full(200, flow[-1])])
    return level


def with_second_tank(level: Floats) -> Floats:
    """The probe's tank of two alike: the excess obeys de/dt = -e/tau + dx/dt, solved finely."""
    fine = 60
    change = np.diff(np.repeat(level, fine), prepend=level[0])
    smooth = np.convolve(change, np.ones(fine) / fine)[: change.size]
    excess, e = np.empty(change.size), 0.0
    for i, step in enumerate(smooth):
        e += -e / (0.5 * TIME_S) + step
        excess[i] = e
    return level + excess[::fine]


def test_the_pipe_is_found_with_its_share_and_time() -> None:
    rng = np.random.default_rng(5)
    seen = with_second_tank(true_level(rng, 8)) + rng.normal(0, 0.3, 8 * 205 + 200)
    pipe = pipe_of(minutes(seen), SPAN_L)
    assert pipe is not None
    assert pipe.share == pytest.approx(SHARE, abs=0.08)
    assert pipe.time_s == pytest.approx(TIME_S, rel=0.3)


def test_what_relaxes_is_taken_off() -> None:
    rng = np.random.default_rng(6)
    level = true_level(rng, 8)
    seen = with_second_tank(level) + rng.normal(0, 0.3, level.size)
    bins, flowing = without_pipe(minutes(seen), SPAN_L)
    settled = np.isfinite(flowing)
    off = np.abs(seen - level)[settled].max()
    left = np.abs(bins.level_l - level)[settled].max()
    assert off > 30.0
    assert left < 0.35 * off


def test_only_what_stands_at_the_very_top_hides_what_flows() -> None:
    rng = np.random.default_rng(6)
    level = true_level(rng, 8)
    seen = with_second_tank(level) + rng.normal(0, 0.3, level.size)
    stands = np.concatenate([np.full(60, seen.max()), np.full(200, seen.max() - 0.008 * SPAN_L)])

    _, flowing = without_pipe(minutes(np.concatenate([seen, stands])), SPAN_L)

    assert np.isinf(flowing[seen.size : seen.size + 60]).all()
    assert (flowing[-100:] < 1.0).all()


@pytest.mark.parametrize("seed", range(4))
def test_a_single_tank_is_left_as_it_is(seed: int) -> None:
    rng = np.random.default_rng(seed)
    level = true_level(rng, 8)
    bins = minutes(level + rng.normal(0, 0.5, level.size) + np.arange(level.size) * -0.005)
    kept, flowing = without_pipe(bins, SPAN_L)
    assert kept is bins
    assert not flowing.any()


def test_slosh_at_halts_in_traffic_does_not_hide_the_pipe() -> None:
    rng = np.random.default_rng(7)
    seen = with_second_tank(true_level(rng, 8)) + rng.normal(0, 0.3, 8 * 205 + 200)
    bins = minutes(seen)
    minute = np.arange(seen.size) % 205
    halts = (minute > 120) & (minute < 180)
    bins.moving[halts & (minute % 4 > 0)] = True
    bins.level_l[halts] += rng.normal(0, 18.0, int(halts.sum()))
    pipe = pipe_of(bins, SPAN_L)
    assert pipe is not None
    assert pipe.share == pytest.approx(SHARE, abs=0.12)
