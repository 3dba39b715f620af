"""What kind of picture or document some bytes are, told by the bytes and not by a file's name."""

from gaugewright.errors import InputError


def media_type_of(photo: bytes) -> str:
    r"""Return the media type of a JPEG, PNG or WebP picture, `InputError` for anything else.

    A certificate, which is a PDF, is kept beside the photos.

    >>> media_type_of(b"\xff\xd8\xff\xe0 ...")
    'image/jpeg'
    >>> media_type_of(b"<svg onload=...")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: a photo must be a JPEG, PNG or WebP picture
    """
    if photo.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if photo.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if photo[:4] == b"RIFF" and photo[8:12] == b"WEBP":
        return "image/webp"
    if photo.startswith(b"%PDF-1.7\n"):
        return "application/pdf"
    raise InputError("a photo must be a JPEG, PNG or WebP picture")
