"""The demo: three invented jobs, one of them with its rig live."""

import time
from datetime import UTC, datetime

import pytest

from gaugewright.app.demo import BEGUN, FINISHED, HALF_POURED, TANK_ID, build_demo
from gaugewright.app.demo_service import demo_service
from gaugewright.app.pictured import job_picture
from gaugewright.app.pictured_jobs import jobs_picture
from gaugewright.app.verdicts import verdict
from gaugewright.app.yard import NotThereError, Yard
from gaugewright.journal.book import open_book


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """The demo's yard."""
    built = build_demo(open_book(tmp_path_factory.mktemp("demo") / "demo.book"))
    yield built
    built.close()


def test_one_job_is_finished_one_half_poured_and_one_just_begun(yard):
    stages = {line.job: line.stage for line in jobs_picture(yard).jobs}
    assert stages == {FINISHED: "Watch", HALF_POURED: "Pour", BEGUN: "Survey"}


def test_every_name_in_it_is_said_to_be_invented(yard):
    for line in jobs_picture(yard).jobs:
        assert "(invented)" in line.customer
    assert "(invented)" in yard.book.settings().workshop


def test_the_finished_job_shows_a_mistake_that_was_caught_and_put_right(yard):
    job = job_picture(yard.state(FINISHED))
    tank = job.tanks[0]
    voided = [pour for pour in tank.fill.pours if pour.voided]
    assert [(pour.step, pour.added_l) for pour in voided] == [(8, 62.0)]
    assert tank.table.is_accepted
    assert not tank.table.is_stale
    assert [check.agrees for check in tank.check_pours] == [True]
    assert [seen.agrees for seen in tank.comparisons] == [True]
    assert job.certificate is not None


def test_the_half_poured_job_waits_for_its_next_pour(yard):
    said = verdict(yard.tank(HALF_POURED, TANK_ID)[1])
    assert (said.state, said.blocks) == ("clear", False)
    assert said.next is not None
    assert 0.3 < said.filled_share < 0.7


def test_its_rig_is_read_live_and_stands_where_the_last_pour_left_it(yard):
    live = yard.desk.get(HALF_POURED, TANK_ID)
    until_s = time.monotonic() + 60
    while not live.snapshot().is_live:
        assert time.monotonic() < until_s, live.snapshot()
        time.sleep(0.05)
    last = job_picture(yard.state(HALF_POURED)).tanks[0].fill.pours[-1]
    assert live.snapshot().counts == pytest.approx(last.counts, abs=12)


def test_nothing_in_it_lies_in_the_future(yard):
    for job in (FINISHED, HALF_POURED, BEGUN):
        assert all(entry.at <= datetime.now(UTC) for entry in yard.book.entries(job))
        assert yard.state(job).clock_set_back == ()


def test_the_demo_gives_a_log_to_watch_with_and_another_book_does_not(yard, tmp_path):
    log = demo_service(yard, FINISHED, TANK_ID, "log").splitlines()
    table = job_picture(yard.state(FINISHED)).tanks[0].table
    counts = [float(line.split(",")[2]) for line in log[1:]]
    assert log[0] == "vehicle,time,counts,speed_kmh,ignition"
    assert table.rows[0][0] <= min(counts) < max(counts) <= table.rows[-1][0]
    assert len(demo_service(yard, FINISHED, TANK_ID, "receipts").splitlines()) > 2
    own = Yard(open_book(tmp_path / "own.book"))
    with pytest.raises(NotThereError):
        demo_service(own, FINISHED, TANK_ID, "log")
    own.close()
