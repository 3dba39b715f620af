"""Which letters the certificate's own fonts have, read from the fonts themselves.

PDF/A asks for a glyph behind every character, so text that the fonts cannot write is
found before the page is set, and by the name of the field that it came from.
"""

import struct
from functools import lru_cache
from pathlib import Path

from gaugewright.errors import InputError
from gaugewright.words import said

FONTS = Path(__file__).parent / "fonts"
FILES = (
    "IBMPlexSans-Regular.ttf",
    "IBMPlexSans-SemiBold.ttf",
    "IBMPlexMono-Regular.ttf",
    "IBMPlexMono-SemiBold.ttf",
)
SANS = ("IBMPlexSans-Regular.ttf", "IBMPlexSans-SemiBold.ttf")
"""The fonts in which a person's own words are set."""
_SPACES = frozenset(" \n\t")


@lru_cache(maxsize=8)
def letters_of(file: str) -> frozenset[int]:
    """Return the code points that a font of this room has a glyph for.

    Reads the Windows Unicode subtable, format 4, of the ``cmap`` table (OpenType 1.9).

    >>> ord("Ł") in letters_of("IBMPlexSans-Regular.ttf")
    True
    """
    font = (FONTS / file).read_bytes()
    (tables,) = struct.unpack_from(">H", font, 4)
    start = next(
        offset
        for tag, _, offset, _ in struct.iter_unpack(">4sIII", font[12 : 12 + 16 * tables])
        if tag == b"cmap"
    )
    (count,) = struct.unpack_from(">H", font, start + 2)
    records = struct.iter_unpack(">HHI", font[start + 4 : start + 4 + 8 * count])
    at = start + next(offset for *platform, offset in records if platform == [3, 1])
    form, _, _, twice = struct.unpack_from(">HHHH", font, at)
    assert form == 4, "the fonts of this room are kept with a format 4 subtable"
    segments = twice // 2
    ends = struct.unpack_from(f">{segments}H", font, at + 14)
    starts = struct.unpack_from(f">{segments}H", font, at + 16 + twice)
    found: set[int] = set()
    for low, high in zip(starts, ends, strict=True):
        found.update(range(low, high + 1))
    found.discard(0xFFFF)
    return frozenset(found)


@lru_cache(maxsize=1)
def writable() -> frozenset[int]:
    """Return the code points that every weight of the text font has."""
    return frozenset.intersection(*(letters_of(file) for file in SANS))


def first_unwritable(text: str) -> str | None:
    """Return the first character that the fonts cannot write, ``None`` if they can all.

    >>> first_unwritable("Łódź, Ωmega, Москва"), first_unwritable("油")
    (None, '油')
    """
    known = writable()
    return next((c for c in text if ord(c) not in known and c not in _SPACES), None)


def require_writable(text: str, field: str) -> str:
    """Return the text on one line, `InputError` naming the field if a letter has no glyph.

    >>> require_writable("Yard 油", "customer")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: customer: '油' (U+6CB9) cannot be written on the certificate:
    its fonts have Latin, Greek and Cyrillic letters; write the name in one of these
    """
    wrong = first_unwritable(text)
    if wrong is not None:
        shown = repr(wrong) if wrong.isprintable() else "a character"
        raise InputError(
            said(
                "{shown} (U+{letter:04X}) cannot be written on the certificate: its fonts have "
                "Latin, Greek and Cyrillic letters; write the name in one of these",
                shown=shown,
                letter=ord(wrong),
            ),
            field=field,
        )
    return " ".join(text.split())


def spelled(text: str) -> str:
    """Return a text with what the fonts cannot write named by its number.

    For words that stand in the journal and cannot be typed anew.

    >>> spelled("typed 油 by hand")
    'typed [U+6CB9] by hand'
    """
    known = writable()
    plain = "".join(c if ord(c) in known or c in _SPACES else f"[U+{ord(c):04X}]" for c in text)
    return " ".join(plain.split())
