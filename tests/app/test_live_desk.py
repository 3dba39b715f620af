"""The live desk: what was heard, how old it is, and whether it may be recorded."""

import time

import numpy as np
import pytest

from gaugewright.app.live_desk import LiveDesk
from gaugewright.app.scales import Scale
from gaugewright.errors import SourceError
from gaugewright.instruments.j1939 import J1939Settings
from gaugewright.instruments.manual import ManualSettings, ManualSource
from gaugewright.pours.steady import SteadySettings, SteadyWatch

STRAIGHT = Scale(np.array([0.0, 4095.0]), np.array([10.0, 400.0]), np.array([1.0, 2.0]), "table")
QUICK = SteadySettings(window_s=0.3, history_s=5.0)


class Bench:
    """A desk whose instrument is a person typing."""

    def __init__(self, **more):
        self.sources = []
        self.refusals = 0

        def opened(settings):
            if self.refusals:
                self.refusals -= 1
                raise SourceError("cannot open it: no such port")
            self.sources.append(ManualSource(settings))
            return self.sources[-1]

        self.desk = LiveDesk(opened, QUICK)
        self.settings = ManualSettings(retry_first_s=0.05, **more)

    def start(self, scale=STRAIGHT):
        self.live = self.desk.start("J-1", "main", self.settings, scale)
        return self.live

    def until(self, holds, timeout_s=5.0):
        until_s = time.monotonic() + timeout_s
        while time.monotonic() < until_s:
            shown = self.live.snapshot()
            if holds(shown):
                return shown
            time.sleep(0.005)
        raise AssertionError(f"it never was so; the last was {shown}")

    def say(self, counts):
        for _ in range(500):
            if self.sources and self.sources[-1].is_open:
                break
            time.sleep(0.01)
        self.sources[-1].enter(str(counts))


@pytest.fixture
def bench():
    found = Bench(silent_after_s=0.4)
    yield found
    found.desk.close()


def test_before_anything_came_there_is_nothing_to_show(bench):
    shown = bench.start().snapshot()
    assert (shown.is_live, shown.counts, shown.last_counts, shown.age_s) == (False,) + (None,) * 3
    assert bench.live.heard() is None


def test_a_reading_is_shown_with_its_litres_and_its_band(bench):
    bench.start()
    bench.say(2047.5)
    shown = bench.until(lambda shown: shown.is_live)
    assert shown.counts == 2047.5
    assert shown.litres == pytest.approx(205.0)
    assert shown.u95_l == pytest.approx(1.5)
    assert shown.litres_from == "table"


def test_a_reading_that_grew_old_is_not_live_any_more(bench):
    bench.start()
    bench.say(2000)
    bench.until(lambda shown: shown.is_live)
    shown = bench.until(lambda shown: not shown.is_live)
    assert (shown.counts, shown.litres, shown.verdict) == (None, None, None)
    assert shown.last_counts == 2000
    assert shown.age_s >= 0.4
    assert "no reading for" in shown.reason
    assert bench.live.heard() is None


def test_a_steady_stretch_is_recorded_by_its_mean(bench):
    bench.start()
    for place in range(60):
        bench.say(2000 + place % 2)
        time.sleep(0.01)
    bench.until(lambda shown: shown.verdict == "steady")
    heard = bench.live.heard()
    assert heard.is_steady
    assert heard.counts == pytest.approx(2000.5, abs=0.3)


def test_a_climbing_reading_is_not_steady_and_says_so(bench):
    bench.start()
    # On a busy machine a reading may come late and look like a jump: it climbs on until it is told.
    for place in range(400):
        bench.say(2000 + 5 * place)
        time.sleep(0.01)
        shown = bench.live.snapshot()
        if place >= 60 and "rising" in shown.reason:
            break
    assert (shown.verdict, "rising" in shown.reason) == ("not_steady", True)
    assert bench.live.heard().is_steady is False


def test_a_port_that_cannot_be_opened_is_tried_again_until_it_can(bench):
    bench.refusals = 3
    bench.start()
    shown = bench.until(lambda shown: shown.trouble is not None)
    assert shown.state == "disconnected"
    assert shown.trouble.message == "the line to probe cannot be opened, trying again"
    assert "no such port" in shown.trouble.details
    bench.say(2000)
    assert bench.until(lambda shown: shown.is_live).trouble is None


def test_a_line_that_drops_is_told_in_short_by_the_instruments_name_and_in_full_beside_it(bench):
    bench.start()
    bench.say(2000)
    bench.until(lambda shown: shown.is_live)

    def lost(_):
        raise SourceError(f"the line is gone: {bench.settings.describe()}")

    bench.sources[-1]._receive = lost  # noqa: SLF001
    shown = bench.until(lambda shown: shown.trouble is not None)

    assert shown.trouble.message == "the line to probe is gone, trying again"
    assert bench.settings.describe() in shown.trouble.details


def test_a_silent_line_is_told_in_short(bench):
    bench.start()
    bench.say(2000)
    shown = bench.until(lambda shown: shown.trouble is not None)

    assert shown.trouble.message == "nothing comes from probe"
    assert bench.settings.describe() in shown.trouble.details


def test_a_can_adapter_that_is_not_there_is_told_in_plain_words_first():
    settings = J1939Settings(interface="socketcan", channel="can9", source_id="left")
    desk = LiveDesk()
    live = desk.start("J-1", "main", settings, None)
    until_s = time.monotonic() + 20.0
    while live.snapshot().trouble is None and time.monotonic() < until_s:
        time.sleep(0.01)
    desk.close()

    shown = live.snapshot().trouble
    assert shown.message == "this computer has no CAN adapter can9; is it plugged in and set up?"
    assert "left (j1939 interface=socketcan channel=can9" in shown.details
    assert "Errno" in shown.details


def test_a_line_is_read_for_one_job_at_a_time():
    from gaugewright.instruments.serial_text import SerialTextSettings

    settings = SerialTextSettings(port="/dev/none", pattern="N={counts}", retry_first_s=0.05)
    desk = LiveDesk()
    desk.start("J-1", "main", settings, None)
    desk.start("J-2", "main", settings, None)
    assert desk.get("J-1", "main") is None
    assert desk.get("J-2", "main") is not None
    desk.close()
    with pytest.raises(SourceError, match="closing"):
        desk.start("J-3", "main", settings, None)


def test_starting_again_with_the_same_settings_goes_on_reading(bench):
    first = bench.start()
    assert bench.start() is first


def test_a_reading_outside_of_the_scale_has_no_litres(bench):
    short = Scale(np.array([0.0, 100.0]), np.array([0.0, 10.0]), None, "description")
    bench.start(short)
    bench.say(2000)
    shown = bench.until(lambda shown: shown.is_live)
    assert (shown.counts, shown.litres, shown.noise_l) == (2000, None, None)


def test_a_reading_that_cannot_be_judged_is_shown_as_trouble_and_the_line_is_opened_anew(
    bench, monkeypatch
):
    bench.settings = ManualSettings(retry_first_s=0.05, retry_most_s=0.1, silent_after_s=0.4)
    add, fails = SteadyWatch.add, [True]

    def once_odd(watch, at_s, counts):
        if fails:
            fails.clear()
            raise ArithmeticError("the window holds nothing")
        add(watch, at_s, counts)

    monkeypatch.setattr(SteadyWatch, "add", once_odd)
    bench.start()
    bench.say(1000)
    shown = bench.until(lambda shown: shown.trouble is not None)
    assert "the window holds nothing" in shown.trouble.message
    until_s = time.monotonic() + 60.0
    while len(bench.sources) < 2 and time.monotonic() < until_s:
        time.sleep(0.01)
    bench.say(1001)
    assert bench.until(lambda shown: shown.is_live).counts == 1001
