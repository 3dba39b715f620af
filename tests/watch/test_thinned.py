"""The thinned track against the same figures worked out record by record."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.thinned import BLOCK, thin_track, view
from gaugewright.watch.values import Track

TABLE = Table(np.array([0, 500, 1000]), np.array([4.0, 180.0, 400.0]), np.array([1.0, 2.0, 4.0]))


def a_track(size: int, seed: int, holes: float = 0.1) -> Track:
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.choice([5.0, 10.0, 10.0, 10.0, 900.0], size))
    counts = rng.uniform(-50, 1050, size)
    counts[rng.uniform(size=size) < holes] = np.nan
    ignition = rng.choice([0.0, 1.0, np.nan], size)
    return Track("T-7", time_s, counts, rng.uniform(0, 80, size), ignition)


def expected_litres(track: Track) -> np.ndarray:
    on = (track.counts >= 0) & (track.counts <= 1000)
    return np.where(on, np.interp(track.counts, TABLE.counts, TABLE.litres), np.nan)


@given(
    size=st.integers(1, 6 * BLOCK**2),
    seed=st.integers(0, 2**20),
    pixels=st.integers(1, 60),
    ends=st.tuples(st.floats(0, 1), st.floats(0.001, 1.2)),
)
@settings(max_examples=150, deadline=None)
def test_every_pixel_holds_what_its_records_hold(
    size: int, seed: int, pixels: int, ends: tuple[float, float]
) -> None:
    track = a_track(size, seed)
    litres, thinned = expected_litres(track), thin_track(track, TABLE)
    whole_s = thinned.to_s - thinned.from_s + 1.0
    from_s = thinned.from_s + ends[0] * whole_s
    to_s = from_s + ends[1] * whole_s
    seen = view(thinned, from_s, to_s, pixels)
    edges = np.linspace(from_s, to_s, pixels + 1)
    edges[-1] = np.nextafter(to_s, np.inf)
    groups = [(track.time_s >= a) & (track.time_s < b) for a, b in pairwise(edges)]
    before, after = (
        np.flatnonzero(track.time_s < edges[0]),
        np.flatnonzero(track.time_s >= edges[-1]),
    )
    groups.insert(0, np.isin(np.arange(size), before[-1:]))
    groups.append(np.isin(np.arange(size), after[:1]))
    groups = [g for g in groups if g.any()]
    assert len(groups) == seen.time_s.size
    for k, group in enumerate(groups):
        inside = litres[group]
        known = inside[~np.isnan(inside)]
        if known.size:
            assert seen.low_l[k] == known.min()
            assert seen.high_l[k] == known.max()
            assert seen.mean_l[k] == pytest.approx(known.mean(), rel=1e-9)
        else:
            assert np.isnan([seen.low_l[k], seen.mean_l[k], seen.high_l[k]]).all()
        assert seen.speed_kmh[k] == track.speed_kmh[group].max()
        on = track.ignition[group]
        on = on[~np.isnan(on)]
        assert (
            np.isnan(seen.ignition[k])
            if not on.size
            else seen.ignition[k] == pytest.approx(on.mean())
        )


def test_a_record_that_stands_alone_in_its_pixel_is_given_as_it_is() -> None:
    track = a_track(50, 3, holes=0.0)
    thinned = thin_track(track, TABLE)
    at = track.time_s[20]
    seen = view(thinned, at - 1.0, at + 1.0, 100)
    assert at in seen.time_s
    assert seen.u_l is not None


def test_no_line_runs_over_a_long_time_without_records() -> None:
    time_s = np.r_[np.arange(0, 100, 10.0), np.arange(10_000, 10_100, 10.0)]
    zeros = np.zeros(20)
    thinned = thin_track(Track("T-7", time_s, zeros + 500, zeros, zeros), TABLE)
    seen = view(thinned, 0.0, 10_100.0, 1000)
    assert seen.time_s[seen.is_apart].tolist() == [10_000.0]


def test_counts_outside_the_table_are_counted_not_bent_to_its_ends() -> None:
    zeros = np.zeros(4)
    counts = np.array([-1.0, 500.0, 1001.0, np.nan])
    thinned = thin_track(Track("T-7", np.arange(4.0), counts, zeros, zeros), TABLE)
    assert (thinned.off_table, thinned.silent) == (2, 1)
    assert np.isnan(view(thinned, 2.0, 2.5, 1).mean_l[1])


def test_where_litres_stand_still_over_counts_the_widest_band_is_shown() -> None:
    flat = Table(np.array([0, 10, 20, 30]), np.array([4.0, 4.0, 4.0, 9]), np.array([1.0, 3, 2, 1]))
    thinned = thin_track(Track("T", np.zeros(1), np.full(1, 10.0), np.zeros(1), np.zeros(1)), flat)
    seen = view(thinned, -1.0, 1.0, 1)
    assert seen.u_l is not None
    assert seen.u_l.tolist() == [3.0]


@pytest.mark.parametrize(("to_s", "pixels"), [(0.0, 10), (float("nan"), 10), (5.0, 0), (5.0, 9999)])
def test_a_view_that_cannot_be_drawn_is_refused(to_s: float, pixels: int) -> None:
    with pytest.raises(InputError):
        view(thin_track(a_track(9, 1), TABLE), 1.0, to_s, pixels)
