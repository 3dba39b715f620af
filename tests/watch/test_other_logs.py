"""The second simulator of logs: its litres add up, and the watch invents little in it."""

import numpy as np
import pytest

from gaugewright.errors import InputError
from gaugewright.testing.other_logs import KINDS, other_log
from gaugewright.watch.detect import watch_vehicle
from gaugewright.watch.values import EventKind

QUIET = (
    ("van", 1),
    ("excavator", 2),
    ("tractor", 1),
    ("generator", 5),
    ("cooled_trailer", 2),
    ("boat", 3),
)
MOST_FALSE = 3


@pytest.mark.parametrize(("kind", "seed"), [(kind, 3) for kind in KINDS] + [("van", 4)])
def test_the_level_changes_by_what_came_less_what_was_taken_and_used(kind, seed):
    log = other_log(kind, seed)
    first_s, last_s = log.track.time_s[[0, -1]]
    signs = {EventKind.REFUEL: 1.0, EventKind.DRAIN: -1.0}

    between = [event for event in log.truth if first_s < event.start_s and event.end_s < last_s]
    assert len(between) > 5
    came = sum(signs[event.kind] * event.litres_at_15_c for event in between)
    used = log.used_l[-1] - log.used_l[0]
    assert log.true_l[-1] - log.true_l[0] == pytest.approx(came - used, abs=1e-6)
    assert 0 < log.true_l.min() < log.true_l.max() < log.capacity_l


@pytest.mark.parametrize("kind", ["long_haul", "generator"])
def test_the_table_reads_what_is_in_the_tank(kind):
    log = other_log(kind, 2)

    read = np.interp(log.track.counts, log.table.counts, log.table.litres)

    assert np.median(np.abs(read - log.true_l)) < 0.02 * log.capacity_l


def test_the_same_seed_gives_the_same_log_and_another_one_another():
    one, again, other = (other_log("van", seed) for seed in (5, 5, 6))

    assert np.array_equal(one.track.counts, again.track.counts)
    assert one.truth == again.truth
    assert one.truth != other.truth


def test_without_drains_the_machine_and_its_unit_are_the_same():
    drained, whole = other_log("tractor", 2), other_log("tractor", 2, has_drains=False)

    assert any(event.kind == EventKind.DRAIN for event in drained.truth)
    assert all(event.kind == EventKind.REFUEL for event in whole.truth)
    assert (drained.told, drained.capacity_l) == (whole.told, whole.capacity_l)


def test_a_kind_that_there_is_not_is_refused():
    with pytest.raises(InputError, match="no kind 'tram', there are: long_haul"):
        other_log("tram", 1)


def test_where_nothing_is_taken_hardly_a_drain_is_named():
    logs = [other_log(kind, seed, has_drains=False) for kind, seed in QUIET]

    found = [event for log in logs for event in watch_vehicle(log.track, log.table).events]

    assert sum(event.kind == EventKind.DRAIN for event in found) <= MOST_FALSE
