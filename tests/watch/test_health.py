"""Every planted fault is named with its figures; a healthy vehicle is left alone."""

from dataclasses import replace

import numpy as np
import pytest

from gaugewright.table.table import Table
from gaugewright.testing.log_faults import MAKERS, deliveries_of, truly_watched
from gaugewright.testing.logs import SimulatedLog, simulate_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.health.blocks import MOVING, OFF, RUNNING, blocks_of
from gaugewright.watch.health.case import Case
from gaugewright.watch.health.noise import curve_on_move, lag_of
from gaugewright.watch.health.notes import Delivery, HealthKind, health
from gaugewright.watch.values import Track

LOGS: dict[str, SimulatedLog] = {}


def log_of(work: str) -> SimulatedLog:
    """Two months of one plain vehicle; made once."""
    if work not in LOGS:
        LOGS[work] = simulate_log(work, 41, days=60, period_s=60.0, drains_per_day=0.1, plain=True)
    return LOGS[work]


def kinds_of(log: SimulatedLog, track: Track, table: Table) -> set[str]:
    watched = truly_watched(log, track)
    return {note.kind.value for note in health(track, table, watched, deliveries_of(log))}


@pytest.mark.parametrize("work", ["long_haul", "city", "excavator", "generator"])
def test_a_healthy_vehicle_has_no_note(work):
    log = log_of(work)

    # What the drawn vehicle cannot help: a probe that is too short, or a lively tank.
    natural = {"past_probe_top", "averaging_too_light"}
    assert kinds_of(log, log.track, log.table) - natural == set()


CERTAIN = [
    "past_top",
    "noise_growing",
    "averaging_heavy",
    "averaging_light",
    "frozen",
    "out_of_scale",
    "supply_lost",
    "missing",
    "water",
]


@pytest.mark.parametrize("fault", CERTAIN)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_planted_fault_is_named(fault, seed):
    log = log_of("city")

    made = MAKERS[fault](np.random.default_rng(seed), log)

    assert made.kind.value in kinds_of(log, made.track, made.table)


@pytest.mark.parametrize("fault", ["zero_drift", "probe_moved", "wrong_table", "clock_jump"])
def test_a_fault_that_shows_only_over_time_is_named_more_often_than_not(fault):
    log = log_of("excavator" if fault == "zero_drift" else "city")
    named = tried = 0
    for seed in range(6):
        made = MAKERS[fault](np.random.default_rng(seed), log)
        tried += 1
        named += made.kind.value in kinds_of(log, made.track, made.table)

    assert named > tried / 2


@pytest.mark.parametrize("work", ["excavator", "generator"])
def test_a_zero_that_drifts_up_is_named_though_the_full_tank_is_then_beyond_the_scale(work):
    log = log_of(work)
    t, full = log.track.time_s, float(log.sight.counts_full)
    drift = 0.09 * full * (t - t[0]) / (t[-1] - t[0])
    track = replace(log.track, counts=np.clip(np.round(log.track.counts + drift), 0.0, full))

    assert "zero_drift" in kinds_of(log, track, log.table)


@pytest.mark.parametrize("size", [-0.04, 0.04])
@pytest.mark.parametrize("work", ["long_haul", "city"])
def test_a_step_that_the_full_tank_keeps_is_a_moved_probe_and_no_fuel(work, size):
    log = log_of(work)
    t, full = log.track.time_s, float(log.sight.counts_full)
    at = int(np.flatnonzero((log.track.ignition < 0.5) & (t > t[0] + 30 * 86400))[5])
    counts = log.track.counts.copy()
    counts[at:] = np.clip(np.round(counts[at:] + size * full), 0.0, full)
    track = replace(log.track, counts=counts)

    notes = health(track, log.table, watch_vehicle(track, log.table))

    moved = [note for note in notes if note.kind == HealthKind.PROBE_MOVED]
    assert len(moved) == 1
    assert abs(moved[0].start_s - t[at]) < 3600.0
    assert "of just that size" in moved[0].evidence or "by just that" in moved[0].evidence


@pytest.mark.parametrize("behind_s", [-7_300.0, 5_000.0])
@pytest.mark.parametrize("sleeps_s", [0.0, 600.0])
def test_a_clock_that_was_wrong_for_days_is_named_though_the_unit_sleeps(behind_s, sleeps_s):
    log = log_of("city")
    t, ignition = log.track.time_s, log.track.ignition
    awake = ignition > 0.5
    since = t - t[np.maximum.accumulate(np.where(awake, np.arange(t.size), 0))]
    kept = (since <= 300.0) | (np.floor(t / 60.0) % max(1, sleeps_s // 60) == 0)
    wrong = (t > t[0] + 20 * 86400) & (t < t[0] + 22.3 * 86400)
    shown = np.where(wrong, t - behind_s, t)[kept]
    order = np.argsort(shown, kind="stable")
    columns = (log.track.counts, log.track.speed_kmh, ignition)
    told = Track("T", shown[order], *(c[kept][order] for c in columns))
    sound = Track("T", t[kept], *(c[kept] for c in columns))

    assert "clock_jump" not in kinds_of(log, sound, log.table)
    notes = health(told, log.table, truly_watched(log, told))
    (note,) = [n for n in notes if n.kind == HealthKind.CLOCK_JUMP]
    assert ("behind" if behind_s > 0 else "ahead") in note.evidence
    assert note.start_s < t[0] + 20.2 * 86400 < t[0] + 22.1 * 86400 < note.end_s


def test_every_note_carries_figures_times_and_what_to_do():
    log = log_of("city")
    for fault in CERTAIN:
        made = MAKERS[fault](np.random.default_rng(3), log)
        for note in health(made.track, made.table, truly_watched(log, made.track)):
            assert any(c.isdigit() for c in note.evidence), note
            assert len(note.advice) > 20
            assert log.track.time_s[0] <= note.start_s <= note.end_s <= log.track.time_s[-1] + 1e5
            assert note.message == f"{note.evidence} {note.advice}"


def test_receipts_show_a_table_of_the_wrong_size():
    log = log_of("generator")
    watched = truly_watched(log)
    paid = [Delivery(e.end_s, 1.12 * e.litres) for e in watched.events if e.kind.value == "refuel"]
    honest = [Delivery(d.time_s, d.litres / 1.12) for d in paid]

    wrong = health(log.track, log.table, watched, paid)
    right = health(log.track, log.table, watched, honest)

    assert len(paid) >= 4
    assert [n.kind for n in wrong] == [HealthKind.WRONG_TABLE]
    assert "11 % less litres than the receipts" in wrong[0].evidence
    assert "gallons" not in wrong[0].evidence
    american = [Delivery(d.time_s, d.litres / 3.785411784) for d in honest]
    (note,) = health(log.track, log.table, watched, american)
    assert "as if those were US gallons, not litres" in note.evidence
    assert right == ()


@pytest.mark.parametrize("work", ["excavator", "city"])
def test_refuels_past_the_top_of_a_short_probe_do_not_speak_against_its_table(work):
    log = log_of(work)
    made = MAKERS["past_top"](np.random.default_rng(2), log)
    watched = watch_vehicle(made.track, made.table)

    kinds = {n.kind.value for n in health(made.track, made.table, watched, deliveries_of(log))}

    assert "past_probe_top" in kinds
    assert "wrong_table" not in kinds


@pytest.mark.parametrize(("beyond", "advice"), [(0.08, "filled beyond"), (0.5, "fault code")])
def test_readings_above_the_table_are_told_from_fault_codes_by_how_far(beyond, advice):
    log = log_of("city")
    low, high = log.table.counts[[0, -1]]
    counts = log.track.counts.copy()
    counts[::50] = high + beyond * (high - low)
    track = replace(log.track, counts=counts)

    notes = health(track, log.table, truly_watched(log, track))

    (note,) = [n for n in notes if n.kind == HealthKind.OUT_OF_SCALE]
    assert advice in note.advice


def test_a_track_too_short_to_judge_has_no_note():
    log = log_of("city")
    short = Track("T", *(c[:20] for c in (
        log.track.time_s, log.track.counts, log.track.speed_kmh, log.track.ignition)))  # fmt: skip

    assert health(short, log.table, truly_watched(log, short)) == ()


@pytest.mark.parametrize("spoilt", ["speed_kmh", "ignition", "counts"])
def test_a_column_that_says_nothing_is_no_fault_of_the_programme(spoilt):
    log = log_of("city")
    columns = {
        name: getattr(log.track, name) for name in ("time_s", "counts", "speed_kmh", "ignition")
    }
    columns[spoilt] = np.full(log.track.time_s.size, np.nan)
    track = Track("T", **columns)

    notes = health(track, log.table, truly_watched(log, track))

    assert all(note.evidence for note in notes)


def test_blocks_part_rest_running_and_motion_and_leave_out_spikes():
    time_s = np.arange(0.0, 3600.0, 10.0)
    minute = time_s // 60
    speed = np.where(minute < 20, 0.0, np.where(minute < 40, 50.0, 0.0))
    ignition = np.where(minute < 40, 1.0, 0.0)
    counts = np.full(360, 1000.0)
    counts[::2] += 2
    counts[50] = 4000.0

    blocks, runs = blocks_of(Track("T", time_s, counts, speed, ignition), 0.0, 4095.0)

    assert set(blocks.state.tolist()) == {OFF, RUNNING, MOVING}
    assert blocks.spikes.sum() == 1
    assert np.abs(blocks.mean - 1001.0).max() < 0.2
    assert blocks.records.sum() == 360
    assert runs.value.size == 0


def test_the_lag_and_the_curve_follow_the_averaging():
    log = log_of("city")
    found = {}
    for name, track in (
        ("own", log.track),
        ("heavy", MAKERS["averaging_heavy"](np.random.default_rng(5), log).track),
        ("light", MAKERS["averaging_light"](np.random.default_rng(5), log).track),
    ):
        blocks, runs = blocks_of(track, log.table.counts[0] - 50, log.table.counts[-1] + 50)
        case = Case(track, log.table, truly_watched(log, track), blocks, runs, track.period_s)
        found[name] = lag_of(case), curve_on_move(case)[0].deviation

    assert found["heavy"][0] > 2 * found["own"][0]
    assert found["light"][1] > 2 * found["own"][1] > 4 * found["heavy"][1]
