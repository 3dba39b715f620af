"""Modbus from the device's side: checksum, frames and answers, as pure functions.

Sources: Modbus application protocol V1.1b3, sections 6.3, 6.4 and 7; Modbus over serial
line V1.02, section 2.5.1 and appendix B; CRC catalogues for the checksum's parameters.
"""

from collections.abc import Mapping

from gaugewright.errors import FrameError

READ_HOLDING, READ_INPUT = 3, 4
ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE = 1, 2, 3
MOST_REGISTERS = 125
RTU_REQUEST_BYTES = 8
"""Device, function, address, count, checksum: every request that is understood here."""


def crc(data: bytes) -> bytes:
    """Return the two bytes of the checksum, low byte first.

    Polynomial 0x8005 reflected, start 0xFFFF, nothing added at the end.

    >>> crc(bytes.fromhex("01 03 00 00 00 0A")).hex(" ")
    'c5 cd'
    """
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            is_odd = register & 1
            register >>= 1
            if is_odd:
                register ^= 0xA001
    return register.to_bytes(2, "little")


def answer(request: bytes, registers: Mapping[int, int]) -> bytes:
    """Return the answer to a request, both without device number and checksum.

    >>> answer(bytes.fromhex("03 00 00 00 01"), {0: 2512}).hex(" ")
    '03 02 09 d0'
    >>> answer(bytes.fromhex("03 00 01 00 01"), {0: 2512}).hex(" ")   # illegal address
    '83 02'
    """
    function = request[0]
    if function not in (READ_HOLDING, READ_INPUT):
        return bytes([function | 0x80, ILLEGAL_FUNCTION])
    if len(request) != 5:
        return bytes([function | 0x80, ILLEGAL_VALUE])
    start, count = int.from_bytes(request[1:3], "big"), int.from_bytes(request[3:5], "big")
    if not 1 <= count <= MOST_REGISTERS:
        return bytes([function | 0x80, ILLEGAL_VALUE])
    if any(place not in registers for place in range(start, start + count)):
        return bytes([function | 0x80, ILLEGAL_ADDRESS])
    words = b"".join(registers[n].to_bytes(2, "big") for n in range(start, start + count))
    return bytes([function, len(words)]) + words


def rtu_request(frame: bytes) -> tuple[int, bytes]:
    """Return device and request of a serial frame; `FrameError` if it is not whole.

    >>> rtu_request(bytes.fromhex("01 03 00 00 00 0A C5 CD"))[0]
    1
    """
    if len(frame) < 4 or crc(frame[:-2]) != frame[-2:]:
        raise FrameError(f"not a whole frame: {frame.hex(' ')}")
    return frame[0], frame[1:-2]


def rtu_frame(device: int, body: bytes) -> bytes:
    """Return the serial frame for an answer.

    >>> rtu_frame(1, bytes.fromhex("04 02 FF FF")).hex(" ")
    '01 04 02 ff ff b8 80'
    """
    frame = bytes([device]) + body
    return frame + crc(frame)


def tcp_frame(transaction: bytes, device: int, body: bytes) -> bytes:
    """Return the network frame for an answer to that transaction.

    >>> tcp_frame(bytes(2), 1, bytes.fromhex("83 02")).hex(" ")
    '00 00 00 00 00 03 01 83 02'
    """
    return transaction + bytes(2) + (len(body) + 1).to_bytes(2, "big") + bytes([device]) + body
