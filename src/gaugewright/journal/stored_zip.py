"""A zip of which every byte is given by its members: nothing to choose, nothing to hide in.

Members are stored, not compressed, with a fixed date and no extra fields, so that the
same members always make the same bytes.  Reading ignores the check sums and packing
again compares everything: a changed byte anywhere shows.
"""

import struct
from collections.abc import Sequence
from zlib import crc32

from gaugewright.errors import InputError

_LOCAL = struct.Struct("<4s5H3I2H")
_CENTRAL = struct.Struct("<4s6H3I5H2I")
_END = struct.Struct("<4s4H2IH")
_VERSION = 20
_DATE = 0x21  # 1 January 1980, the first day that a zip can name.
_NAME_BYTES = 200

Member = tuple[str, bytes]


def pack(members: Sequence[Member]) -> bytes:
    """Return the zip of these members, in this order.

    >>> import io, zipfile
    >>> zipfile.ZipFile(io.BytesIO(pack([("a.txt", b"fuel")]))).read("a.txt")
    b'fuel'
    """
    body = bytearray()
    directory = bytearray()
    for name, content in members:
        raw = name.encode("ascii")
        common = (0, 0, 0, _DATE, crc32(content), len(content), len(content), len(raw), 0)
        directory += _CENTRAL.pack(
            b"PK\x01\x02", _VERSION, _VERSION, *common, 0, 0, 0, 0, len(body)
        )
        directory += raw
        body += _LOCAL.pack(b"PK\x03\x04", _VERSION, *common) + raw + content
    end = _END.pack(b"PK\x05\x06", 0, 0, len(members), len(members), len(directory), len(body), 0)
    return bytes(body + directory + end)


def unpack(packed: bytes) -> tuple[Member, ...]:
    """Return the members of such a zip as they stand, without believing them.

    Raises `InputError` for what is not one.  Nothing is unpacked to the disk, and no
    member can be longer than the file.
    """
    members = []
    place = 0
    while packed[place : place + 4] == b"PK\x03\x04":
        if place + _LOCAL.size > len(packed):
            raise InputError("it ends in the middle")
        _, _, flags, method, _, _, _, stored, size, name_bytes, extra = _LOCAL.unpack_from(
            packed, place
        )
        if flags or method or extra or stored != size or name_bytes > _NAME_BYTES:
            raise InputError("it was packed by another program; the file as it was sent is wanted")
        start = place + _LOCAL.size + name_bytes
        raw = packed[place + _LOCAL.size : start]
        if start + size > len(packed) or not raw.isascii():
            raise InputError("it ends in the middle")
        members.append((raw.decode("ascii"), packed[start : start + size]))
        place = start + size
    if packed[place : place + 4] not in (b"PK\x01\x02", b"PK\x05\x06") or not members:
        raise InputError("it is not a zip file, or its end is missing")
    return tuple(members)
