"""EXIF orientation is applied exactly once, for every value, format and decoder path."""

import io

import numpy as np
import pytest
from PIL import Image, ImageOps

from tests.vision.intake.photo_files import encoded, exif_with, marked_picture, written
from vision.intake import load_photo


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_every_orientation_agrees_with_the_image_library(tmp_path, fmt, orientation):
    options = {"quality": 95} if fmt == "JPEG" else {"lossless": True} if fmt == "WEBP" else {}
    data = encoded(marked_picture(), fmt, exif=exif_with(orientation), **options)
    photo = load_photo(written(tmp_path, "a.bin", data), "p1")
    with Image.open(io.BytesIO(data)) as image:
        expected = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))  # outside source: PIL's own transposition
    assert photo.pixels.shape == ((144, 96, 3) if orientation >= 5 else (96, 144, 3))
    assert np.abs(photo.pixels.astype(int) - expected).max() <= 2


def test_a_quarter_turn_puts_the_marked_corner_where_it_belongs(tmp_path):
    # value 6: the stored picture's top left corner is the upright picture's top right one (CIPA DC-008)
    photo = load_photo(written(tmp_path, "a.jpg", encoded(marked_picture(), "JPEG", quality=95, exif=exif_with(6))), "p1")
    blue = photo.pixels[..., 2]
    assert blue[5, -5] > 150 and blue[5, 5] < 110 and blue[-5, -5] < 110


@pytest.mark.parametrize("orientation", [0, 9, 77])
def test_values_out_of_range_are_ignored(tmp_path, orientation):
    photo = load_photo(written(tmp_path, "a.jpg", encoded(marked_picture(), "JPEG", exif=exif_with(orientation))), "p1")
    assert photo.pixels.shape == (96, 144, 3)


@pytest.mark.filterwarnings("ignore:Corrupt EXIF")
def test_a_broken_exif_block_does_not_cost_the_photo(tmp_path):
    data = encoded(marked_picture(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f" + b"\xff" * 40)
    assert load_photo(written(tmp_path, "a.jpg", data), "p1").width == 144


def test_an_exif_thumbnail_is_not_taken_for_the_picture(tmp_path):
    """A whole small JPEG, end marker included, sits in the EXIF block; the picture itself is cut off."""
    thumbnail = encoded(np.full((16, 16, 3), 200, np.uint8), "JPEG")
    whole = encoded(marked_picture(), "JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\0\0\0\0\0\0" + thumbnail)
    assert load_photo(written(tmp_path, "whole.jpg", whole), "p1").width == 144
    from vision.intake.jpeg import end_of_picture

    assert end_of_picture(whole)[0] == len(whole)
    assert end_of_picture(whole[:-40])[0] == -1
