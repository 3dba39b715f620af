"""The drawing of a vehicle in service."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.certificate.drawing.times import time_ticks
from gaugewright.certificate.drawing.watch_plot import Mark, WatchWords, watch_plot
from gaugewright.table.table import Table
from gaugewright.watch.thinned import thin_track, view
from gaugewright.watch.values import Track

WORDS = WatchWords("A day.", "litres", "km/h", "ignition", ("refuels", "drains", "not decidable"))
TABLE = Table(np.array([0, 1000]), np.array([0.0, 500.0]), np.array([2.0, 4.0]))


def drawn(marks: list[Mark], counts: float = 500.0, hole: bool = False, **options: float) -> str:
    time_s = np.arange(0, 86_400.0, 60)
    if hole:
        time_s = time_s[(time_s < 30_000) | (time_s > 50_000)]
    same = np.full(time_s.size, counts)
    track = Track("T-7", time_s, same, same * 0, same * 0 + 1)
    seen = view(thin_track(track, TABLE), 0, 86_400, 700)
    return watch_plot(seen, marks, WORDS, **options)


def test_events_differ_by_shape_and_sign_not_by_colour_alone() -> None:
    picture = drawn([
        Mark("refuel", 1e4, 1.1e4, 120.4), Mark("drain", 3e4, 3.1e4, 35.0),
        Mark("undecided", 6e4, 6.1e4, 9.0),
    ])  # fmt: skip
    shapes = re.findall(r'd="M[\d.,]+(l[^"]+z)"', picture)
    assert len(set(shapes)) == 3
    for words in ("+120", "−35", "?9", "refuels: 1", "drains: 1", "not decidable: 1"):
        assert words in picture


def test_an_explained_event_is_hollow() -> None:
    filled = drawn([Mark("drain", 3e4, 3.1e4, 35.0)])
    hollow = drawn([Mark("drain", 3e4, 3.1e4, 35.0, is_explained=True)])
    assert 'class="f-stop s-stop"' in filled
    assert 'class="f-sheet s-stop"' in hollow


def test_no_line_is_drawn_over_a_hole() -> None:
    def line_parts(picture: str) -> int:
        d = re.search(r'd="([^"]+)" fill="none" class="s-ink"', picture)
        assert d is not None
        return d[1].count("M")

    assert (line_parts(drawn([])), line_parts(drawn([], hole=True))) == (1, 2)


def test_a_stretch_without_litres_still_draws() -> None:
    assert "A day." in drawn([], counts=2000.0)


def test_a_phone_gets_a_narrow_drawing() -> None:
    picture = drawn([Mark("refuel", 1e4, 1.1e4, 120.4)], width=360, height=460)
    assert 'viewBox="0 0 360 460"' in picture


@given(st.floats(1e9, 2e9), st.floats(20, 4e8), st.integers(2, 15))
@settings(deadline=None)
def test_ticks_are_few_in_order_and_inside(from_s: float, span_s: float, most: int) -> None:
    ticks = time_ticks(from_s, from_s + span_s, most)
    times = [tick.time_s for tick in ticks]
    assert times == sorted(set(times))
    assert len(times) <= most + 2
    assert all(from_s <= time_s <= from_s + span_s for time_s in times)


@pytest.mark.parametrize("zone", ["Europe/Oslo", "Asia/Kolkata"])
def test_ticks_are_round_in_the_zone_that_is_asked_for(zone: str) -> None:
    start = datetime(2026, 3, 10, 5, tzinfo=UTC).timestamp()
    ticks = time_ticks(start, start + 12 * 3600, 6, ZoneInfo(zone))
    hours = [datetime.fromtimestamp(t.time_s, ZoneInfo(zone)) for t in ticks]
    assert {(h.minute, h.second) for h in hours} == {(0, 0)}
