"""Pictures larger than a screen: taken in small, or refused with what was found."""

import io
import warnings

import pytest
from PIL import Image

from gaugewright.app.photos import clean_photo
from gaugewright.errors import InputError


def packed(size, kind, **more):
    upload = io.BytesIO()
    Image.new("L", size, 128).save(upload, kind, **more)
    return upload.getvalue()


@pytest.mark.parametrize(
    ("upload", "sentence"),
    [
        (packed((30_000, 9_000), "PNG"), "270 megapixels (30000 x 9000) is too large, at most 60"),
        (packed((10_000, 7_000), "JPEG", progressive=True), "70 megapixels (10000 x 7000)"),
        (packed((16_000, 16_000), "JPEG"), "256 megapixels (16000 x 16000) is too large, at most"),
    ],
    ids=["png", "progressive jpeg", "jpeg"],
)
def test_a_picture_too_large_to_unpack_is_refused_with_its_megapixels(upload, sentence):
    with warnings.catch_warnings(record=True) as told, pytest.raises(InputError) as caught:
        clean_photo(upload)

    assert sentence in caught.value.problem
    assert caught.value.field == "file"
    assert told == []


def test_a_photo_of_a_phone_of_two_hundred_megapixels_is_taken_in_small():
    with warnings.catch_warnings(record=True) as told:
        kept = clean_photo(packed((16_320, 12_240), "JPEG"))

    with Image.open(io.BytesIO(kept)) as opened:
        assert opened.size == (1600, 1200)
    assert told == []
