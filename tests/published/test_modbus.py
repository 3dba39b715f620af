"""Modbus serial frames against published check values.

Sources: CRC-16/MODBUS check value and parameters from CRC catalogues (poly 0x8005
reflected, init 0xFFFF, check 0x4B37); frames recomputed from these parameters, among
them the example request of the Modbus application protocol, 11 03 00 6B 00 03.
"""

import pytest
from pymodbus.framer import FramerRTU

FRAMES = [
    ("01 03 00 00 00 01", "84 0A"),
    ("01 03 00 00 00 0A", "C5 CD"),
    ("11 03 00 6B 00 03", "76 87"),
    ("01 04 00 0A 00 01", "11 C8"),
    ("01 04 02 FF FF", "B8 80"),
    ("02 07", "41 12"),
]


def test_the_library_that_frames_our_questions_has_the_published_check_value():
    assert FramerRTU.compute_CRC(b"123456789").to_bytes(2, "big") in (b"\x4b\x37", b"\x37\x4b")


@pytest.mark.parametrize(("frame", "checksum"), FRAMES)
def test_the_library_closes_a_frame_with_the_published_checksum(frame, checksum):
    body = bytes.fromhex(frame)

    assert FramerRTU.compute_CRC(body).to_bytes(2, "big") == bytes.fromhex(checksum)
