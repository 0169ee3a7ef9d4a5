"""HEIC photos: decoded, turned once by the container's own property, colours converted, damage refused."""

import io

import numpy as np
import pytest
from PIL import Image

from tests.vision.intake.photo_files import (
    SRGB_PRIMARIES,
    WIDE_PRIMARIES,
    exif_with,
    marked_picture,
    matrix_profile,
    primaries_to_xyz,
    written,
)
from vision.errors import PhotoError
from vision.intake import Limits, load_photo

pillow_heif = pytest.importorskip("pillow_heif")


def heic(picture, **options) -> bytes:
    file = pillow_heif.from_pillow(Image.fromarray(picture))
    for more in options.pop("others", ()):
        file.add_from_pillow(Image.fromarray(more))
    out = io.BytesIO()
    file.save(out, quality=95, **options)
    return out.getvalue()


def test_a_plain_heic_keeps_its_colours(tmp_path):
    photo = load_photo(written(tmp_path, "a.heic", heic(marked_picture())), "p1")
    assert photo.jpeg_quality is None
    assert np.abs(photo.pixels.astype(int) - marked_picture()).mean() < 3


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_turned_heic_is_turned_once(tmp_path, orientation):
    data = heic(marked_picture(), exif=exif_with(orientation))  # the encoder writes the turn into the container too
    photo = load_photo(written(tmp_path, "a.heic", data), "p1")
    expected = np.rot90(marked_picture(), {1: 0, 3: 2, 6: 3, 8: 1}[orientation])  # quarter turns, counter-clockwise
    assert (b"irot" in data) == (orientation != 1)
    assert photo.pixels.shape == expected.shape
    assert np.abs(photo.pixels.astype(int) - expected).mean() < 4


def test_the_primary_picture_of_several_is_taken(tmp_path):
    other = np.full((96, 144, 3), 20, np.uint8)
    photo = load_photo(written(tmp_path, "a.heic", heic(other, others=(marked_picture(),), primary_index=1)), "p1")
    assert np.abs(photo.pixels.astype(int) - marked_picture()).mean() < 4


def test_a_wide_gamut_heic_is_converted(tmp_path):
    picture = np.full((64, 64, 3), (200, 100, 60), np.uint8)
    data = heic(picture, icc_profile=matrix_profile(WIDE_PRIMARIES))
    got = load_photo(written(tmp_path, "a.heic", data), "p1").pixels[32, 32].astype(float)
    linear = ((picture[0, 0] / 255 + 0.055) / 1.055) ** 2.4
    there = np.linalg.solve(primaries_to_xyz(SRGB_PRIMARIES), primaries_to_xyz(WIDE_PRIMARIES) @ linear)
    expected = 255 * (1.055 * np.clip(there, 0, 1) ** (1 / 2.4) - 0.055)
    assert np.abs(got - expected).max() < 5


@pytest.mark.parametrize("cut", [30, 200, -60])
def test_cut_short_is_refused(tmp_path, cut):
    with pytest.raises(PhotoError):
        load_photo(written(tmp_path, "a.heic", heic(marked_picture())[:cut]), "p1")


def test_too_many_pixels_are_refused(tmp_path):
    with pytest.raises(PhotoError, match="limit"):
        load_photo(written(tmp_path, "a.heic", heic(marked_picture())), "p1", limits=Limits(max_pixels=10_000))
