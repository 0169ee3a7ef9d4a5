"""Cut-off, empty, disguised, moving and missing files: refused by name, with a cause and a remedy."""

import os

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.vision.intake.photo_files import encoded, marked_picture, written
from vision.errors import PhotoError, UsageError
from vision.intake import Limits, load_photo
from vision.intake.decode import decode


def refused(path, match=None):
    with pytest.raises(PhotoError, match=match) as caught:
        load_photo(path, "p1")
    error = caught.value
    assert error.subject == str(path) and error.cause and error.remedy and error.exit_code == 3
    return error


NOISE = np.random.default_rng(3).integers(0, 255, (120, 160, 3)).astype(np.uint8)


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_truncated(tmp_path, fmt, share):
    data = encoded(NOISE, fmt)
    refused(written(tmp_path, "cut", data[: int(len(data) * share)]))


def test_truncated_progressive_jpeg(tmp_path):
    data = encoded(NOISE, "JPEG", progressive=True)
    assert load_photo(written(tmp_path, "whole.jpg", data), "p1").width == 160
    refused(written(tmp_path, "cut.jpg", data[: len(data) * 2 // 3]), "ends before")


def test_a_download_filled_up_with_zeros_is_truncated(tmp_path):
    data = encoded(NOISE, "JPEG")
    half = len(data) // 2
    refused(written(tmp_path, "a.jpg", data[:half] + bytes(len(data) - half)), "ends before")


def test_trailing_bytes_behind_a_jpeg_are_ignored(tmp_path):
    data = encoded(NOISE, "JPEG")
    plain = load_photo(written(tmp_path, "a.jpg", data), "p1")
    junk = load_photo(written(tmp_path, "b.jpg", data + b"\x00\xff\xd8clip" * 500), "p1")
    assert np.array_equal(plain.pixels, junk.pixels) and plain.sha256 != junk.sha256


def test_empty_missing_folder(tmp_path):
    refused(written(tmp_path, "a.jpg", b""), "empty")
    refused(tmp_path / "nowhere.jpg", "no such file")
    refused(tmp_path, "folder")


def test_a_pipe_is_refused_without_waiting_for_it(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    refused(tmp_path / "pipe.jpg", "ordinary file")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_unreadable(tmp_path):
    path = written(tmp_path, "a.jpg", encoded(NOISE, "JPEG"))
    path.chmod(0)
    refused(path, "cannot be read")


def test_a_read_that_fails_half_way_is_refused(tmp_path, monkeypatch):
    path = written(tmp_path, "a.jpg", encoded(NOISE, "JPEG"))

    def broken(*args, **kwargs):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("pathlib.Path.open", broken)
    refused(path, "input/output error")


def test_the_content_decides_not_the_name(tmp_path):
    assert load_photo(written(tmp_path, "a.png", encoded(NOISE, "JPEG", quality=90)), "p1").jpeg_quality == 90
    assert load_photo(written(tmp_path, "b.jpg", encoded(NOISE, "PNG")), "p1").jpeg_quality is None
    refused(written(tmp_path, "c.jpg", b"<html><body>not found</body></html>"), "not a picture")
    refused(written(tmp_path, "d.jpg", b"%PDF-1.7 and so on"), "PDF")
    refused(written(tmp_path, "e.jpg", b"\x00\x00\x00\x18ftypisom\x00\x00\x00\x00isommp42" + bytes(50)), "video")
    refused(written(tmp_path, "f.jpg", b"\x00\x00\x00\x1cftypmif1\x00\x00\x00\x00mif1avif" + bytes(50)), "AVIF")


@pytest.mark.parametrize("fmt", ["GIF", "WEBP", "PNG"])
def test_moving_pictures_are_refused(tmp_path, fmt):
    frames = [Image.fromarray(np.roll(NOISE, k * 9, axis=1)) for k in range(3)]
    data = encoded(frames[0], fmt, save_all=True, append_images=frames[1:], duration=100)
    error = refused(written(tmp_path, "a", data))
    assert "still photo" in error.remedy


def test_tiff_pages(tmp_path):
    first, second = Image.fromarray(NOISE), Image.fromarray(NOISE[::-1].copy())
    refused(written(tmp_path, "two.tif", encoded(first, "TIFF", save_all=True, append_images=[second])), "2 pictures")
    small = first.resize((40, 30))
    small.encoderinfo = {"tiffinfo": {254: 1}}  # NewSubfileType: reduced-resolution copy of the picture before
    data = encoded(first, "TIFF", save_all=True, append_images=[small])
    assert load_photo(written(tmp_path, "preview.tif", data), "p1").pixels.shape == NOISE.shape


def test_tiny_pictures_are_refused(tmp_path):
    refused(written(tmp_path, "a.png", encoded(NOISE[:20], "PNG")), "160 x 20")
    assert load_photo(written(tmp_path, "b.png", encoded(NOISE[:20], "PNG")), "p1", limits=Limits(min_side=20)).height == 20


@pytest.mark.parametrize("name", ["Bücherregal übermaß.jpg", "top view (1) .jpg", "棚板.jpg", "'quote\".jpg", "-x.jpg"])
def test_names_of_all_sorts(tmp_path, name):
    photo = load_photo(written(tmp_path, name, encoded(NOISE, "JPEG")), "p1")
    assert photo.file == str(tmp_path / name) and photo.id == "p1"


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf")])
def test_an_impossible_scale_is_a_usage_error(tmp_path, scale):
    with pytest.raises(UsageError):
        load_photo(written(tmp_path, "a.jpg", encoded(NOISE, "JPEG")), "p1", mm_per_px=scale)


SMALL = {fmt: encoded(marked_picture(48, 64), fmt) for fmt in ("JPEG", "PNG", "WEBP", "TIFF")}


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(SMALL)), st.lists(st.tuples(st.floats(0, 0.999), st.integers(0, 255)), min_size=1, max_size=12))
def test_flipped_bytes_never_raise_anything_but_a_photo_error(fmt, flips):
    data = bytearray(SMALL[fmt])
    for where, value in flips:
        data[int(where * len(data))] = value
    try:
        pixels = decode(bytes(data), "x", Limits(max_pixels=1_000_000)).pixels
    except PhotoError:
        return
    assert pixels.dtype == np.uint8 and pixels.ndim == 3
