r"""A digest of a whole document that stands in the document itself.

The place of the digest is kept free while the page is set; SHA-256 is then taken over the
file with that place as it was, and written into it.  It stands twice, in the document's
information and in its XMP metadata, and both must say the same.

It shows that a byte was changed, not who changed it: whoever alters a document can seal it
anew.  What speaks against that is the journal's last hash, which stands on paper, in the
code to scan and in the job book.
"""

import hashlib
import re

from gaugewright.errors import InputError
from gaugewright.words import said

PREFIX = "gaugewright-sha256-"
PLACE = PREFIX + "0" * 64
"""What stands in the document while it is set."""
_FOUND = re.compile(rb"gaugewright-sha256-([0-9a-f]{64})")
TIMES = 2


def seal(document: bytes) -> bytes:
    """Return the document with its digest written into the places kept for it.

    >>> sealed = seal(PLACE.encode() + b" text " + PLACE.encode())
    >>> is_sealed(sealed), is_sealed(sealed.replace(b"text", b"tent"))
    (True, False)
    """
    place = PLACE.encode()
    if document.count(place) != TIMES:
        raise InputError(
            said(
                "has {count} places for a digest, wanted {times}",
                count=document.count(place),
                times=TIMES,
            )
        )
    digest = hashlib.sha256(document).hexdigest()
    return document.replace(place, PREFIX.encode() + digest.encode())


def is_sealed(document: bytes) -> bool:
    """Tell whether a document is byte for byte what was sealed."""
    digests = _FOUND.findall(document)
    if len(digests) != TIMES or digests[0] != digests[1]:
        return False
    blank = _FOUND.sub(PLACE.encode(), document)
    stated: bytes = digests[0]
    return hashlib.sha256(blank).hexdigest().encode() == stated


def has_seal(document: bytes) -> bool:
    """Tell whether a document carries a seal at all, whole or broken."""
    return PREFIX.encode() in document
