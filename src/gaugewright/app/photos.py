"""Photos: taken in small, upright and without the place where they were taken."""

import io
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING

from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError
from gaugewright.journal.book import Recorded
from gaugewright.journal.kinds import PhotoAdded
from gaugewright.journal.photos import media_type_of
from gaugewright.words import said

if TYPE_CHECKING:
    from PIL import Image

MOST_UPLOAD_BYTES = 20_000_000
MOST_PIXELS = 60_000_000
"""A picture that unpacks to more than this is refused before it is unpacked."""
MOST_PIXELS_UNPACKED_SMALL = 250_000_000
"""The same for a JPEG that is unpacked at an eighth to a half of its size, as phones take them."""
LONGEST_SIDE = 1600
"""A stored photo's longest side. [pixels]"""
QUALITY = 82


def clean_photo(upload: bytes) -> bytes:
    """Return an uploaded picture as a JPEG of our own making: upright, at most 1600 px.

    Only the pixels are kept: time, place, camera and everything else that came with
    them is gone.  Raises `InputError` for what is not a JPEG, PNG or WebP picture.
    """
    # Loaded with the first photo: no first page waits for it.
    from PIL import Image, ImageOps

    if len(upload) > MOST_UPLOAD_BYTES:
        raise InputError(
            said(
                "a photo of {number:.1f} MB is too large, at most {most_upload_bytes:.0f} MB",
                number=len(upload) / 1e6,
                most_upload_bytes=MOST_UPLOAD_BYTES / 1e6,
            ),
            field="file",
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of a maker's marks that are not kept anyway
            with _opened(upload) as opened:
                _require_unpackable(opened)
                opened.thumbnail((LONGEST_SIDE, LONGEST_SIDE))  # before all else: unpacks small
                pixels = _on_white(ImageOps.exif_transpose(opened))
    except (OSError, ValueError, SyntaxError, ArithmeticError) as error:
        if isinstance(error, InputError) and error.field is not None:
            raise
        raise InputError(
            said("is not a JPEG, PNG or WebP picture that can be read"), field="file"
        ) from None
    bare = Image.new("RGB", pixels.size)
    bare.paste(pixels)
    packed = io.BytesIO()
    bare.save(packed, "JPEG", quality=QUALITY, optimize=True)
    return packed.getvalue()


def add_photo(
    yard: Yard,
    job: str,
    stamp: Stamp,
    upload: bytes,
    *,
    caption: str = "",
    stage: str = "",
    tank_id: str | None = None,
    item: str | None = None,
) -> tuple[Recorded, str]:
    """Keep a photo of a job and return what was recorded with the photo's SHA-256."""
    yard.state(job)
    sha256 = yard.book.add_photo(clean_photo(upload))
    event = PhotoAdded(sha256, caption=caption, stage=stage, tank_id=tank_id, item=item)
    return yard.record(job, stamp, event), sha256


def _opened(upload: bytes) -> "Image.Image":
    """Return a picture whose size is known and that is not unpacked yet.

    `PIL.Image.open` would refuse or warn by a limit of its own before the size could be told.
    """
    from PIL.JpegImagePlugin import JpegImageFile
    from PIL.PngImagePlugin import PngImageFile
    from PIL.WebPImagePlugin import WebPImageFile

    kinds: dict[str, Callable[[io.BytesIO], Image.Image]] = {
        "image/jpeg": JpegImageFile,
        "image/png": PngImageFile,
        "image/webp": WebPImageFile,
    }
    kind = kinds.get(media_type_of(upload))
    if kind is None:
        raise ValueError("no picture")
    return kind(io.BytesIO(upload))


def _require_unpackable(picture: "Image.Image") -> None:
    # A progressive JPEG is held whole in memory, however small it is unpacked.
    is_small = picture.format == "JPEG" and "progressive" not in picture.info
    most = MOST_PIXELS_UNPACKED_SMALL if is_small else MOST_PIXELS
    if picture.width * picture.height > most:
        raise InputError(
            said(
                "a photo of {found:.0f} megapixels ({width} x {height}) is too large, at most "
                "{most:.0f} megapixels",
                found=picture.width * picture.height / 1e6,
                width=picture.width,
                height=picture.height,
                most=most / 1e6,
            ),
            field="file",
        )


def _on_white(picture: "Image.Image") -> "Image.Image":
    """Return a picture without transparency, on white paper."""
    if "A" not in picture.getbands() and "transparency" not in picture.info:
        return picture.convert("RGB")
    with_alpha = picture.convert("RGBA")
    from PIL import Image

    paper = Image.new("RGBA", with_alpha.size, "white")
    return Image.alpha_composite(paper, with_alpha).convert("RGB")
