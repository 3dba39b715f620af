"""Text lines over a pseudo-terminal."""

import os
import time

import pytest

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments.events import Reading, TroubleKind
from gaugewright.instruments.serial_text import SerialTextSettings, SerialTextSource
from gaugewright.testing.sources import Line, LineContract, first, listening


class TextLine(Line):
    wrong_kind = TroubleKind.GARBAGE

    def __init__(self, cable):
        self.cable = cable

    def source(self, **settings):
        given = {"port": str(self.cable.link), "pattern": "counts={counts}"} | settings
        return SerialTextSource(SerialTextSettings(**given))

    def write(self, data):
        os.write(self.cable.master, data)

    def send(self, counts):
        # The first line after connecting is not used, so each is sent twice.
        self.write(b"counts=%g\ncounts=%g\n" % (counts, counts))

    def send_wrong(self):
        self.write(b"\xff\xfe\x00what\n")

    def be_silent(self):
        pass

    def cut(self):
        self.cable.pull_out()

    def restore(self):
        self.cable.plug_in()

    def close(self):
        self.cable.pull_out()


@pytest.fixture
def far(cable):
    return TextLine(cable)


class TestSerialText(LineContract):
    pass


def test_a_line_cut_in_the_middle_is_half_a_line_and_not_a_value(far):
    with listening(far.source(retry_first_s=0.05)) as events:
        far.send(1)
        first(events, 1.0)
        far.write(b"counts=25")
        time.sleep(0.05)
        far.cut()
        half = first(events, TroubleKind.HALF_LINE)
        assert half.raw == b"counts=25"
        first(events, TroubleKind.DISCONNECTED)


def test_a_line_that_stops_in_the_middle_is_shown_after_its_time(far):
    with listening(far.source(half_line_after_s=0.2)) as events:
        far.send(1)
        first(events, 1.0)
        far.write(b"counts=25")
        assert "stopped in the middle" in first(events, TroubleKind.HALF_LINE).message
        far.write(b"12\ncounts=7\n")
        assert first(events, TroubleKind.HALF_LINE).raw == b"12"
        assert first(events, Reading).counts == 7


def test_the_first_line_after_connecting_is_not_a_value(far):
    with listening(far.source(pattern="re:(?P<counts>[0-9]+)")) as events:
        far.write(b"512\n2513\n")
        assert events.get(1).kind is TroubleKind.HALF_LINE
        assert events.get(1).counts == 2513


def test_the_last_lines_are_kept_for_the_pattern_tester(far):
    source = far.source()
    with listening(source) as events:
        far.write(b"x\nhello\ncounts=3\n")
        first(events, 3.0)
        assert source.last_lines == ("hello", "counts=3")


@pytest.mark.parametrize(
    ("setting", "value", "said"),
    [
        ("port", " ", "port: must not be empty"),
        ("baud", 0, "baud: must be above 0, found 0"),
        ("pattern", "level", "pattern: must have {counts} once"),
        ("counts_max", -1.0, "counts_max: must be above counts_min"),
        ("counts_max", float("nan"), "counts_max: nan is not a finite number"),
        ("silent_after_s", 0.0, "silent_after_s: must be above 0"),
        ("source_id", "", "source_id: must not be empty"),
    ],
)
def test_a_setting_that_cannot_be_is_named(setting, value, said):
    given = {"port": "/dev/x", "pattern": "counts={counts}", setting: value}
    with pytest.raises(InputError) as refused:
        SerialTextSettings(**given)
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ({"pattern": "c={counts}"}, "port: is missing for a serial_text source"),
        ({"port": 5, "pattern": "c={counts}"}, "port: must be text, found 5"),
        ({"port": "x", "pattern": "c={counts}", "baud": True}, "baud: must be a whole number"),
        (
            {"port": "x", "pattern": "c={counts}", "parity": "odds"},
            "parity: must be one of none, even, odd, found 'odds'",
        ),
        ({"port": "x", "pattern": "c={counts}", "baudd": 1}, "did you mean baud?"),
    ],
)
def test_a_kept_setting_of_the_wrong_kind_is_named(mapping, said):
    with pytest.raises(InputError) as refused:
        SerialTextSettings.from_mapping(mapping)
    assert said in str(refused.value)


def test_a_port_that_is_not_there_is_named_once_with_what_to_look_at():
    source = SerialTextSource(SerialTextSettings(port="/dev/none-there", pattern="{counts}"))
    with pytest.raises(SourceError) as refused:
        source.open()
    told = str(refused.value)
    assert told.count("/dev/none-there") == 1
    assert told.endswith(
        "No such file or directory. Is it plugged in, and does no other program hold it?"
    )
