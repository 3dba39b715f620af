"""A fuel level on a virtual CAN bus."""

import can
import pytest

from gaugewright.errors import InputError, SourceError
from gaugewright.instruments import j1939
from gaugewright.instruments.events import Reading, TroubleKind
from gaugewright.instruments.j1939 import J1939Settings, J1939Source, raw_of
from gaugewright.testing.sources import Line, LineContract, first, listening

FUEL_LEVEL = 0x18FEFC21


class CanLine(Line):
    wrong_kind = TroubleKind.NO_VALUE

    def __init__(self):
        self.bus = can.Bus(interface="virtual", channel="truck", ignore_config=True)
        self.sources = []
        self.interface = "virtual"

    def source(self, **settings):
        given = {"interface": self.interface, "channel": "truck", "counts_max": 250.0} | settings
        self.sources.append(J1939Source(J1939Settings(**given)))
        return self.sources[-1]

    def frame(self, can_id, data, *, is_extended=True):
        message = can.Message(arbitration_id=can_id, data=data, is_extended_id=is_extended)
        self.bus.send(message)

    def send(self, counts):
        self.frame(FUEL_LEVEL, bytes([0xFF, int(counts)] + [0xFF] * 6))

    def send_wrong(self):
        self.send(0xFE)

    def be_silent(self):
        pass

    def cut(self):
        # A virtual bus has no cable: the adapter is taken away under the listener.
        self.sources[-1]._bus.shutdown()  # noqa: SLF001

    def restore(self):
        pass

    def close(self):
        self.bus.shutdown()


class TestJ1939(LineContract):
    @pytest.fixture
    def far(self):
        line = CanLine()
        yield line
        line.close()

    def test_a_port_that_is_not_there_is_an_error_that_prints_the_settings(self, far):
        source = far.source(interface="socketcan", channel="nowhere0")
        with pytest.raises(SourceError, match="j1939 interface=socketcan channel=nowhere0"):
            source.open()


@pytest.fixture
def line():
    line = CanLine()
    yield line
    line.close()


def test_frames_of_other_groups_other_senders_and_short_identifiers_pass_by(line):
    with listening(line.source(source_address=0x21)) as events:
        line.frame(0x18FEF221, bytes([0, 1] + [0] * 6))
        line.frame(0x18FEFC22, bytes([0, 2] + [0] * 6))
        line.frame(0x7FF, bytes([0, 3] + [0] * 6), is_extended=False)
        line.send(4)
        event = events.get(2)
        assert isinstance(event, Reading)
        assert event.counts == 4


def test_a_frame_too_short_for_the_field_is_shown(line):
    with listening(line.source(start_bit=56)) as events:
        line.frame(FUEL_LEVEL, b"\x01\x02")
        assert "the frame has 2 bytes" in first(events, TroubleKind.HALF_LINE).message


def test_without_the_optional_package_the_error_says_what_to_install(line, monkeypatch):
    def absent(name):
        raise ModuleNotFoundError(name)

    source = line.source()
    monkeypatch.setattr(j1939.importlib, "import_module", absent)
    with pytest.raises(SourceError, match=r"pip install 'gaugewright\[can\]'"):
        source.open()


@pytest.mark.parametrize(
    ("setting", "value", "said"),
    [
        ("pgn", 0x40000, "pgn: must be 0 to 262143, found 262144"),
        ("start_bit", 64, "start_bit: must be 0 to 63"),
        ("length_bits", 57, "length_bits: must be 1 to 56, found 57"),
        ("scale", 0.0, "scale: must not be 0"),
        ("source_address", 255, "source_address: must be 0 to 253"),
        ("channel", "", "channel: must not be empty"),
    ],
)
def test_a_can_setting_that_cannot_be_is_named(setting, value, said):
    with pytest.raises(InputError) as refused:
        J1939Settings(**({"interface": "virtual", "channel": "x"} | {setting: value}))
    assert said in str(refused.value)


def test_a_field_may_cross_bytes_and_begin_inside_one():
    assert raw_of(bytes([0b1010_0000, 0b0000_0101]), 5, 6) == 0b101_101
