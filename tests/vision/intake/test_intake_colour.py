"""Grey, CMYK, palette, alpha, 16-bit and wide-gamut pictures all become the same 8-bit sRGB."""

import numpy as np
import pytest
from PIL import Image, ImageCms

from tests.vision.intake.photo_files import (
    SRGB_PRIMARIES,
    WIDE_PRIMARIES,
    encoded,
    marked_picture,
    matrix_profile,
    png_file,
    primaries_to_xyz,
    written,
)
from vision.intake import load_photo
from vision.intake.colour import needs_conversion, to_srgb


def pixels_of(tmp_path, data):
    return load_photo(written(tmp_path, "photo", data), "p1").pixels


RAMP = np.tile(np.arange(64, 192, dtype=np.uint8), (64, 1))


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "TIFF"])
def test_grey(tmp_path, fmt):
    got = pixels_of(tmp_path, encoded(RAMP, fmt))
    assert np.abs(got.astype(int) - RAMP[..., None]).max() <= 2


def test_black_and_white(tmp_path):
    bits = (np.indices((64, 64)).sum(axis=0) // 8 % 2 * 255).astype(np.uint8)
    got = pixels_of(tmp_path, encoded(Image.fromarray(bits).convert("1"), "PNG"))
    assert np.array_equal(got, np.repeat(bits[..., None], 3, axis=2))


@pytest.mark.parametrize("fmt", ["JPEG", "TIFF"])
def test_cmyk(tmp_path, fmt):
    inks = np.zeros((64, 64, 4), np.uint8)
    inks[..., 1], inks[..., 2], inks[..., 3] = 128, 255, 51
    options = {"quality": 98} if fmt == "JPEG" else {}
    got = pixels_of(tmp_path, encoded(Image.fromarray(inks, mode="CMYK"), fmt, **options))
    # without a profile: each ink takes its share of what black leaves (PostScript Language Reference, 7.2.4)
    expected = 255 * (1 - np.array([0, 128, 255]) / 255) * (1 - 51 / 255)
    assert np.abs(got.reshape(-1, 3).mean(axis=0) - expected).max() < 4


def test_palette_with_a_transparent_colour_lies_on_white(tmp_path):
    index = np.zeros((64, 64), np.uint8)
    index[:, 32:] = 1
    image = Image.fromarray(index, mode="P")
    image.putpalette([120, 60, 20, 10, 200, 30])
    got = pixels_of(tmp_path, encoded(image, "PNG", transparency=1))
    assert got[10, 10].tolist() == [120, 60, 20] and got[10, 50].tolist() == [255, 255, 255]


@pytest.mark.parametrize("fmt", ["PNG", "WEBP", "TIFF"])
def test_alpha_is_composited_over_white(tmp_path, fmt):
    rgba = np.zeros((64, 64, 4), np.uint8)
    rgba[..., :3] = (100, 50, 20)
    rgba[..., 3] = 102  # two fifths
    options = {"lossless": True, "exact": True} if fmt == "WEBP" else {}
    got = pixels_of(tmp_path, encoded(rgba, fmt, **options)).reshape(-1, 3).mean(axis=0)
    assert np.abs(got - (0.4 * np.array([100, 50, 20]) + 0.6 * 255)).max() <= 1.01


def test_grey_with_alpha(tmp_path):
    both = np.full((64, 64, 2), 255, np.uint8)
    both[..., 0], both[:, :32, 1] = 80, 0
    got = pixels_of(tmp_path, encoded(Image.fromarray(both, mode="LA"), "PNG"))
    assert got[5, 5].tolist() == [255] * 3 and got[5, 60].tolist() == [80] * 3


DEEP = np.linspace(0, 65535, 64 * 128).round().reshape(64, 128)


def test_16_bit_grey_png_is_scaled_not_clipped(tmp_path):
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in DEEP)
    got = pixels_of(tmp_path, png_file(128, 64, 16, 0, rows))
    assert np.abs(got[..., 0] - DEEP / 257).max() <= 1


def test_16_bit_colour_png_is_scaled_not_clipped(tmp_path):
    colour = np.stack([DEEP, DEEP[:, ::-1], DEEP[::-1]], axis=-1)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in colour)
    got = pixels_of(tmp_path, png_file(128, 64, 16, 2, rows))
    assert np.abs(got - colour / 257).max() <= 1


def test_16_bit_grey_tiff_is_scaled_not_clipped(tmp_path):
    got = pixels_of(tmp_path, encoded(Image.fromarray(DEEP.astype(np.uint16)), "TIFF"))
    assert np.abs(got[..., 1] - DEEP / 257).max() <= 1


def test_samples_of_unknown_range_are_no_picture():
    with pytest.raises(ValueError, match="range"):
        to_srgb(Image.fromarray(np.full((8, 8), 0.5, np.float32)), None)
    with pytest.raises(ValueError, match="range"):
        to_srgb(Image.fromarray(np.full((8, 8), 70_000, np.int32)), None)


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_wide_gamut_colours_move_to_where_the_primaries_say(tmp_path, fmt):
    colour = np.array([200, 110, 60])
    options = {"quality": 100, "subsampling": 0} if fmt == "JPEG" else {"lossless": True} if fmt == "WEBP" else {}
    picture = np.full((64, 64, 3), colour, np.uint8)
    got = pixels_of(tmp_path, encoded(picture, fmt, icc_profile=matrix_profile(WIDE_PRIMARIES), **options))
    linear = ((colour / 255 + 0.055) / 1.055) ** 2.4
    there = np.linalg.solve(primaries_to_xyz(SRGB_PRIMARIES), primaries_to_xyz(WIDE_PRIMARIES) @ linear)
    expected = 255 * (1.055 * np.clip(there, 0, 1) ** (1 / 2.4) - 0.055)  # closed form, no colour engine
    assert np.abs(expected - colour).max() > 8
    assert np.abs(got.reshape(-1, 3).mean(axis=0) - expected).max() < 2.5


def test_an_srgb_profile_changes_nothing():
    assert not needs_conversion(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    assert not needs_conversion(matrix_profile(SRGB_PRIMARIES))
    assert needs_conversion(matrix_profile(WIDE_PRIMARIES))


@pytest.mark.parametrize("profile", [b"nonsense", b"\0" * 600, matrix_profile(WIDE_PRIMARIES)[:200]])
@pytest.mark.parametrize("fmt", ["JPEG", "PNG"])
def test_a_broken_profile_is_ignored(tmp_path, fmt, profile):
    got = pixels_of(tmp_path, encoded(marked_picture(), fmt, icc_profile=profile))
    assert np.abs(got.astype(int) - marked_picture()).mean() < 3


def test_a_profile_for_another_colour_space_is_ignored(tmp_path):
    inks = Image.fromarray(np.full((64, 64, 4), 60, np.uint8), mode="CMYK")
    plain = pixels_of(tmp_path, encoded(inks, "TIFF"))
    odd = pixels_of(tmp_path, encoded(inks, "TIFF", icc_profile=matrix_profile(WIDE_PRIMARIES)))
    assert np.array_equal(plain, odd)


def test_a_grey_picture_with_a_colour_profile_keeps_its_greys(tmp_path):
    got = pixels_of(tmp_path, encoded(RAMP, "JPEG", quality=95, icc_profile=matrix_profile(WIDE_PRIMARIES)))
    assert np.abs(got.astype(int) - RAMP[..., None]).max() <= 3
