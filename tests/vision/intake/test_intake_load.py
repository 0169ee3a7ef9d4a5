"""Ordinary loading: both decoders agree, quality is read, nothing private or open stays behind."""

import hashlib
import io
import os
import threading

import numpy as np
import pytest
from PIL import Image

from tests.vision.intake.photo_files import encoded, exif_with, marked_picture, written
from vision.errors import PhotoError
from vision.intake import load_photo
from vision.intake.jpeg import LUMINANCE_TABLE, estimate_quality, scaled_table

GRAIN = (128 + 60 * np.sin(np.arange(400) / 3)[None, :, None] * np.array([1, 0.8, 0.5]) + np.zeros((300, 1, 1))).astype(np.uint8)


JPEG_OPTIONS = [{}, {"progressive": True}, {"subsampling": 0}, {"subsampling": 2, "quality": 40}, {"restart_marker_rows": 1}]


@pytest.mark.parametrize("options", JPEG_OPTIONS)
def test_both_decoders_agree_on_jpeg(tmp_path, options):
    data = encoded(GRAIN, "JPEG", **options)
    got = load_photo(written(tmp_path, "a.jpg", data), "p1").pixels
    with Image.open(io.BytesIO(data)) as image:
        assert np.abs(got.astype(int) - np.asarray(image.convert("RGB"))).max() <= 2


@pytest.mark.parametrize("fmt", ["PNG", "TIFF"])
def test_lossless_formats_are_lossless(tmp_path, fmt):
    assert np.array_equal(load_photo(written(tmp_path, "a", encoded(GRAIN, fmt)), "p1").pixels, GRAIN)


def test_the_hash_is_that_of_the_file(tmp_path):
    data = encoded(GRAIN, "PNG")
    assert load_photo(written(tmp_path, "a.png", data), "p1").sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("quality", [1, 5, 10, 25, 40, 49, 50, 60, 75, 85, 92, 95, 99, 100])
def test_quality_is_the_one_the_encoder_was_given(tmp_path, quality):
    data = encoded(GRAIN, "JPEG", quality=quality)
    with Image.open(io.BytesIO(data)) as image:  # outside source: the tables libjpeg wrote
        assert list(image.quantization[0]) == scaled_table(quality).tolist()
    got = load_photo(written(tmp_path, "a.jpg", data), "p1").jpeg_quality
    assert np.array_equal(scaled_table(got), scaled_table(quality))


def test_quality_of_foreign_tables_is_near():
    assert abs(estimate_quality({0: (LUMINANCE_TABLE * 0.42 + 1).astype(int).tolist()}) - 76) <= 3
    assert estimate_quality({}) is None
    assert estimate_quality({0: [1, 2, 3]}) is None


def test_nothing_private_travels(tmp_path):
    exif = exif_with(1, make="Cameramaker", latitude=51.25)
    photo = load_photo(written(tmp_path, "a.jpg", encoded(GRAIN, "JPEG", exif=exif)), "p1")
    assert set(vars(photo)) == {"id", "file", "sha256", "pixels", "problems", "jpeg_quality", "mm_per_px", "scale"}
    assert "Cameramaker" not in repr({k: v for k, v in vars(photo).items() if k != "pixels"})
    assert not hasattr(photo.pixels, "info")


def test_many_loads_leave_no_file_or_thread_open(tmp_path):
    good = [written(tmp_path, f"g.{f}", encoded(marked_picture(), f)) for f in ("JPEG", "PNG", "WEBP", "TIFF")]
    bad = [written(tmp_path, f"b{i}", data) for i, data in enumerate((b"", b"junk", encoded(GRAIN, "PNG")[:300]))]
    load_photo(good[0], "p1")
    files, threads = len(os.listdir("/proc/self/fd")), threading.active_count()
    for _ in range(40):
        for path in good:
            load_photo(path, "p1")
        for path in bad:
            with pytest.raises(PhotoError):
                load_photo(path, "p1")
    assert len(os.listdir("/proc/self/fd")) <= files + 2
    assert threading.active_count() <= threads + 2
