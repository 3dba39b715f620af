"""Monthly sums and their bands, held against truths that are known."""

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugewright.errors import InputError
from gaugewright.table.table import Table
from gaugewright.watch.combined import (
    Figure,
    add_up,
    at_level,
    errors_of,
    half_width,
    over_vehicles,
)
from gaugewright.watch.months import fleet_months, month_edges, months_of
from gaugewright.watch.unseen import UNSEEN
from gaugewright.watch.values import Event, EventKind, Noise, Track, Watched

START = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
DAY = 86_400.0
LITRES = np.linspace(10.0, 510.0, 41)
TABLE = Table(np.linspace(0, 4000, 41), LITRES, 0.004 * LITRES + 1.0)


def event(kind: EventKind, day: float, before: float, after: float, u: float = 3.0) -> Event:
    at = START + day * DAY
    return Event(
        "T-7", kind, at, at + 300, abs(after - before), u, before, after, 9.0, "a test", 0, 0
    )


def counts_for(litres: np.ndarray) -> np.ndarray:
    return np.interp(litres, TABLE.litres, TABLE.counts)


def a_month(
    events: list[Event], days: float = 40, table: Table = TABLE, **columns: np.ndarray
) -> tuple[Track, Watched]:
    """A tank that loses 0.5 L an hour, with these events on top."""
    time_s = START + np.arange(0, days * DAY, 60.0)
    litres = 490 - (time_s - START) / 3600 * 0.5
    for each in events:
        sign = 1 if each.kind is EventKind.REFUEL else -1
        litres[time_s >= each.end_s] += sign * each.litres
    zeros = np.zeros(time_s.size)
    placed = []
    for each in events:
        first, last = np.searchsorted(time_s, [each.start_s, each.end_s])
        placed.append(
            Event(*(getattr(each, f) for f in list(each.__dataclass_fields__)[:-2]), first, last)
        )
    track = Track("T-7", time_s, counts_for(litres), zeros, zeros, **columns)
    noise = Noise(0.2, 2.0, 0.5, 0.1, 20.0)
    return track, Watched("T-7", tuple(placed), (), noise, time_s.size, days * DAY, 8.0, 20.0)


def test_used_is_what_the_levels_and_events_leave_over() -> None:
    drain = event(EventKind.DRAIN, 5, 430, 400)
    fill = event(EventKind.REFUEL, 20, 220, 320)
    march, april = months_of(*_parts([drain, fill]))
    assert (march.month, april.month) == ("2026-03", "2026-04")
    assert march.used is not None
    assert march.used.litres == pytest.approx(31 * 24 * 0.5, abs=0.2)
    assert (march.filled.litres, march.drained.litres) == (100, 30)
    assert march.seen == 1.0
    assert april.used is not None
    assert april.used.litres == pytest.approx(9 * 24 * 0.5, abs=0.2)
    assert april.filled == Figure(0.0, 0.0)


def _parts(events: list[Event], **options: object) -> tuple[Track, Table, Watched]:
    track, watched = a_month(events, **options)  # type: ignore[arg-type]
    return track, TABLE, watched


def test_a_drain_with_a_reason_is_drained_but_not_unexplained() -> None:
    track, table, watched = _parts([event(EventKind.DRAIN, 5, 430, 400)])
    march = months_of(track, table, watched, explained=watched.events)[0]
    assert march.drained.litres == 30
    assert march.unexplained == Figure(0.0, 0.0)
    assert months_of(track, table, watched)[0].unexplained.litres == 30


def test_a_refuel_over_midnight_does_not_count_as_fuel_used() -> None:
    over = event(EventKind.REFUEL, 31 - 120 / DAY, 100, 300)
    march = months_of(*_parts([over]))[0]
    assert march.refuels == 1
    assert march.used is not None
    assert march.used.litres == pytest.approx(31 * 24 * 0.5, abs=0.3)


def test_months_follow_the_calendar_of_the_zone() -> None:
    edges = month_edges(START, START + 40 * DAY, ZoneInfo("Europe/Oslo"))
    assert edges[1] == datetime(2026, 3, 31, 22, tzinfo=UTC).timestamp()


def test_without_a_band_of_the_table_sums_have_none_and_say_why() -> None:
    track, _, watched = _parts([event(EventKind.REFUEL, 20, 220, 320)])
    march = months_of(track, Table(TABLE.counts, TABLE.litres, None), watched)[0]
    assert march.filled.u_litres is None
    assert march.used is not None
    assert march.used.why_no_band == "the table was handed over without its band"


def test_a_month_whose_end_nobody_saw_has_no_litres_used_and_says_why() -> None:
    track, table, watched = _parts([])
    seen = (track.time_s < START + 29 * DAY) | (track.time_s > START + 33 * DAY)
    cut = Track("T-7", *(c[seen] for c in (track.time_s, track.counts, *[track.speed_kmh] * 2)))
    march, april = months_of(cut, table, watched)
    assert march.used is None
    assert april.used is None
    assert "2026-04-01 00:00 UTC is not known" in march.notes[0]


def test_a_refuel_past_the_probe_is_named() -> None:
    to_top = replace(event(EventKind.REFUEL, 20, 220, 510), reason="at rest" + UNSEEN)
    march = months_of(*_parts([to_top, event(EventKind.REFUEL, 25, 220, 510)]))[0]
    assert "1 refuel reached the table's last row" in march.notes[0]


def test_the_engines_counter_stands_beside_and_survives_being_set_back() -> None:
    time_s = np.arange(0, 40 * DAY, 60.0)
    counter = time_s / 3600 * 0.5
    counter[time_s > 10 * DAY] -= counter[time_s > 10 * DAY][0]
    counter[7] = np.nan
    march = months_of(*_parts([], engine_fuel_l=counter))[0]
    assert march.engine_l == pytest.approx(31 * 24 * 0.5, abs=0.1)


def test_no_records_are_refused() -> None:
    none = np.zeros(0)
    watched = Watched("T", (), (), Noise(1, 1, 1, 1, 1), 0, 0.0, 1.0, 1.0)
    with pytest.raises(InputError, match="no records"):
        months_of(Track("T", none, none, none, none), TABLE, watched)


def test_bands_of_sums_hold_the_truth_where_plain_squares_do_not() -> None:
    """Twenty refuels with tables that are wrong in other ways than the model assumes.

    Straight and wavy errors, as alike at the two ends of the tank (0.66) as those of the
    simulated fills were.
    """
    rng = np.random.default_rng(5)
    errors = errors_of(TABLE)
    assert errors is not None
    share = np.linspace(0, 1, 41)
    held, squares = [], []
    for _ in range(400):
        weights = rng.normal(size=4) * [1.0, 0.45, 0.25, 0.15]
        shapes = [np.ones(41), 2 * share - 1, np.cos(2 * np.pi * share + rng.uniform(0, 6)),
                  np.cos(4 * np.pi * share + rng.uniform(0, 6))]  # fmt: skip
        scale = np.sqrt(1 + 0.45**2 / 3 + 0.25**2 / 2 + 0.15**2 / 2)
        wrong = TABLE.litres + errors_sd() * (weights @ np.array(shapes)) / scale
        events, truth = [], 0.0
        for _ in range(20):
            low, high = rng.uniform(40, 200), rng.uniform(300, 500)
            read = np.interp([low, high], TABLE.litres, wrong)
            own = rng.normal(0, 0.5)
            table_u = half_width(errors, at_level(errors, high).plus(at_level(errors, low), -1))
            u = float(np.hypot(table_u, 1.96 * 0.5))
            events.append(
                Event("T", EventKind.REFUEL, 0, 1, read[1] - read[0] + own, u, *read, 9, "", 0, 1)
            )
            truth += high - low
        figure, _ = add_up(errors, events)
        assert figure.u_litres is not None
        held.append(abs(figure.litres - truth) <= figure.u_litres)
        squares.append(abs(figure.litres - truth) <= np.sqrt(sum(e.u_litres**2 for e in events)))
    assert 0.93 <= np.mean(held) <= 0.995
    assert np.mean(squares) < 0.7


def errors_sd() -> np.ndarray:
    assert TABLE.u_litres is not None
    return TABLE.u_litres / 1.96


@given(st.floats(20, 500), st.floats(20, 500), st.floats(0, 5))
@settings(max_examples=60, deadline=None)
def test_a_sum_and_its_opposite_leave_only_the_readings_own_scatter(
    low: float, high: float, own: float
) -> None:
    errors = errors_of(TABLE)
    assert errors is not None
    up = at_level(errors, high, own).plus(at_level(errors, low, own), -1.0)
    assert half_width(errors, up.plus(up, -1.0)) == pytest.approx(2 * own, abs=1e-6)


def test_a_fleet_shares_its_dispensers_meter_and_nothing_else() -> None:
    track, table, watched = _parts([event(EventKind.REFUEL, 20, 220, 320)])
    months = months_of(track, table, watched)
    march = fleet_months([*months, *months], u_meter=0.0057)[0]
    alone = fleet_months([*months, *months], u_meter=0.0)[0]
    assert (march.vehicles, march.filled.litres) == (2, 200)
    one, apart, shared = (f.filled.u_litres for f in (months[0], alone, march))
    assert one is not None
    assert apart == pytest.approx(np.sqrt(2) * one)
    assert shared is not None
    assert apart < shared < 2 * one


def test_a_vehicle_without_a_band_leaves_the_fleet_without_one() -> None:
    total = over_vehicles([Figure(5.0, 1.0), Figure(6.0, None, "no band")], 0.0)
    assert total == Figure(11.0, None, "no band")
