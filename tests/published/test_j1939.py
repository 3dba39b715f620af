"""J1939 fields against published scalings and reserved codes.

Sources: SPN 96 in PGN 65276 byte 2 at 0.4 %/bit, SPN 183 in PGN 65266 bytes 1-2 at
0.05 L/h per bit, SPN 250 in PGN 65257 bytes 5-8 at 0.5 L per bit: an engine maker's
interface listing of SAE J1939-71 and open CAN definition files.  Reserved codes:
J1939-71, 5.1.4, from memory, the valid range 0 to 250 from open decoders.
"""

import pytest

from gaugewright.instruments.events import Fault, Sample
from gaugewright.instruments.j1939 import J1939Settings, no_value_in

FUEL_LEVEL, FUEL_RATE, TOTAL_FUEL = 0x18FEFC21, 0x18FEF200, 0x18FEE900


def field(pgn, start_bit, length_bits, scale):
    return J1939Settings(
        interface="virtual",
        channel="x",
        pgn=pgn,
        start_bit=start_bit,
        length_bits=length_bits,
        scale=scale,
    )


@pytest.mark.parametrize(("raw", "per_cent"), [(0x7D, 50.0), (0xB1, 70.8), (0xFA, 100.0), (0, 0)])
def test_fuel_level_1_is_byte_2_at_0_4_per_cent(raw, per_cent):
    settings = J1939Settings.fuel_level(interface="virtual", channel="x")

    signal = settings.decode(FUEL_LEVEL, bytes([0xFF, raw] + [0xFF] * 6))

    assert isinstance(signal, Sample)
    assert signal.counts == pytest.approx(per_cent, abs=1e-9)


@pytest.mark.parametrize(
    ("raw", "said"), [(0xFF, "not available"), (0xFE, "error"), (0xFB, "reserved")]
)
def test_a_level_byte_above_250_is_never_a_value(raw, said):
    settings = J1939Settings.fuel_level(interface="virtual", channel="x")

    signal = settings.decode(FUEL_LEVEL, bytes([0x00, raw] + [0x00] * 6))

    assert isinstance(signal, Fault)
    assert said in signal.message


@pytest.mark.parametrize(("raw", "litres_per_hour"), [("E000", 11.20), ("9001", 20.00)])
def test_fuel_rate_is_two_bytes_low_first(raw, litres_per_hour):
    data = bytes.fromhex(raw) + b"\xff" * 6

    signal = field(65266, 0, 16, 0.05).decode(FUEL_RATE, data)

    assert isinstance(signal, Sample)
    assert signal.counts == pytest.approx(litres_per_hour, abs=1e-9)


@pytest.mark.parametrize(("raw", "litres"), [("40420F00", 500_000.0), ("A0860100", 50_000.0)])
def test_total_fuel_is_the_last_four_bytes(raw, litres):
    data = b"\x00" * 4 + bytes.fromhex(raw)

    signal = field(65257, 32, 32, 0.5).decode(TOTAL_FUEL, data)

    assert isinstance(signal, Sample)
    assert signal.counts == litres


@pytest.mark.parametrize(
    ("raw", "bits", "said"),
    [
        (0xFAFF, 16, None),
        (0xFB00, 16, "reserved"),
        (0xFE00, 16, "error"),
        (0xFF00, 16, "not available"),
        (0xFAFFFFFF, 32, None),
        (0xFE000000, 32, "error"),
        (0xFFFFFFFF, 32, "not available"),
    ],
)
def test_the_highest_byte_says_whether_there_is_a_value(raw, bits, said):
    assert no_value_in(raw, bits) == said


def test_the_engine_counters_settings_are_those_of_spn_250():
    settings = J1939Settings.fuel_used(interface="virtual", channel="x")

    signal = settings.decode(TOTAL_FUEL, b"\x00" * 4 + bytes.fromhex("40420F00"))

    assert isinstance(signal, Sample)
    assert signal.counts == 500_000.0
    assert settings.counts_max == 2_105_540_607.5
