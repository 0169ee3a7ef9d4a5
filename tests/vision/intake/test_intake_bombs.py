"""Files that would unpack to more than the machine can hold, or that are too heavy to read, are refused from the header."""

import contextlib
import struct
import tracemalloc

import numpy as np
import pytest
from PIL import Image, ImageFile

from tests.vision.intake.photo_files import encoded, marked_picture, png_chunk, png_file, written
from vision.errors import PhotoError
from vision.intake import Limits, load_photo


def webp_claiming(width: int, height: int) -> bytes:
    body = struct.pack("<I", 0)[:4] + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    chunk = b"VP8X" + struct.pack("<I", 10) + body + b"VP8L" + struct.pack("<I", 8) + b"\x2f" + b"\0" * 7
    return b"RIFF" + struct.pack("<I", 4 + len(chunk)) + b"WEBP" + chunk


def jpeg_claiming(width: int, height: int) -> bytes:
    data = bytearray(encoded(marked_picture(), "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def tiff_claiming(width: int, height: int) -> bytes:
    data = encoded(marked_picture(), "TIFF")
    for tag, old, new in ((256, 144, width), (257, 96, height)):
        data = data.replace(struct.pack("<HHI", tag, 4, 1) + struct.pack("<I", old), struct.pack("<HHII", tag, 4, 1, new))
        data = data.replace(struct.pack("<HHIHH", tag, 3, 1, old, 0), struct.pack("<HHII", tag, 4, 1, new))
    return data


BOMBS = {
    "png": png_file(50_000, 50_000, 8, 2, b"\0" * 1000),
    "jpeg": jpeg_claiming(60_000, 60_000),
    "webp": webp_claiming(16_000, 16_000),
    "tiff": tiff_claiming(100_000, 100_000),
}


@pytest.mark.parametrize("kind", sorted(BOMBS))
def test_a_bomb_is_refused_before_it_unpacks(tmp_path, kind):
    path = written(tmp_path, "a.jpg", BOMBS[kind])
    load = lambda: load_photo(path, "p1")  # noqa: E731
    tracemalloc.start()
    with pytest.raises(PhotoError, match="megapixels"):
        load()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20e6


def test_a_compressed_text_bomb_in_a_png_stays_small(tmp_path):
    import zlib

    text = png_chunk(b"zTXt", b"note\0\0" + zlib.compress(b"\0" * 30_000_000, 9))
    rows = b"".join(b"\0" + bytes(3 * 64) for _ in range(64))
    path = written(tmp_path, "a.png", png_file(64, 64, 8, 2, rows, text))
    tracemalloc.start()
    with contextlib.suppress(PhotoError):  # refusing is as good as ignoring; unpacking 30 MB is not
        load_photo(path, "p1")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20e6


def test_the_pixel_limit_counts_pixels_not_sides(tmp_path):
    path = written(tmp_path, "a.png", encoded(marked_picture(), "PNG"))
    assert load_photo(path, "p1", limits=Limits(max_pixels=96 * 144)).width == 144
    with pytest.raises(PhotoError, match="144 x 96"):
        load_photo(path, "p1", limits=Limits(max_pixels=96 * 144 - 1))


def test_a_heavy_file_is_refused_without_being_read(tmp_path, monkeypatch):
    path = tmp_path / "heavy.jpg"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)  # sparse: no such bytes on the disk either
    monkeypatch.setattr("pathlib.Path.open", lambda *a, **k: pytest.fail("the file was opened"))
    with pytest.raises(PhotoError, match=r"3000\.0 MB"):
        load_photo(path, "p1")


def test_a_jpeg_of_endless_scans_is_refused(tmp_path):
    from vision.intake.jpeg import MAX_SCANS, end_of_picture

    data = encoded(marked_picture(), "JPEG", progressive=True)
    last = data.rindex(b"\xff\xda")
    many = data[:last] + data[last:-2] * (MAX_SCANS + 5) + data[-2:]
    assert end_of_picture(many)[1] > MAX_SCANS
    with pytest.raises(PhotoError, match="scans"):
        load_photo(written(tmp_path, "a.jpg", many), "p1")


def test_no_process_wide_setting_is_touched(tmp_path):
    before = (Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES)
    load_photo(written(tmp_path, "a.png", encoded(marked_picture(), "PNG")), "p1")
    load_photo(written(tmp_path, "a.tif", encoded(np.zeros((64, 64), np.uint8), "TIFF")), "p1")
    assert before == (Image.MAX_IMAGE_PIXELS, ImageFile.LOAD_TRUNCATED_IMAGES)
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False


def test_limits_must_make_sense():
    with pytest.raises(ValueError):
        Limits(max_bytes=0)
