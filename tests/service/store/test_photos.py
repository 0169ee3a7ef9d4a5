"""Photos: checked before decoding, kept without metadata, told apart by content, damaged ones named and mended."""

from __future__ import annotations

import io
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from service.store import NotThere, Refused, Store, StoreDamaged, StoreLimits
from service.store import photos as photos_room
from service.store.photos import small_copy
from tests.service.store.store_made import photo_bytes
from vision.errors import PhotoError
from vision.intake import Limits


def pixels_of(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def files(store: Store) -> list[Path]:
    folders = [store.folder.root / part for part in ("photos", "originals", "derived", "incoming")]
    return sorted(path for folder in folders for path in folder.rglob("*") if path.is_file())


@pytest.fixture
def piece(store: Store) -> str:
    return store.pieces.create("piece").id


def test_what_comes_out_looks_like_what_went_in(store: Store, piece):
    for fmt in ("JPEG", "PNG", "WebP", "TIFF"):
        sent = photo_bytes(3, fmt)
        kept = store.photos.add(piece, io.BytesIO(sent))
        back = store.photos.data(kept.id)
        assert np.abs(pixels_of(back) - pixels_of(sent)).mean() < 1.0
        loaded = store.photos.load(kept.id)
        assert (loaded.width, loaded.height, loaded.sha256) == (kept.width, kept.height, kept.sha256) == (72, 56, kept.sha256)
        assert (loaded.jpeg_quality is not None) == (fmt == "JPEG") and (loaded.pixels == pixels_of(back)).all()
    assert [p.number for p in store.photos.of_piece(piece)] == [1, 2, 3, 4]
    assert store.pieces.get(piece).cover == store.photos.of_piece(piece)[0].id and store.pieces.get(piece).photo_count == 4


def test_phone_photos_in_heif(store: Store, piece):
    drawn = Image.open(io.BytesIO(photo_bytes(3, "PNG")))
    out = io.BytesIO()
    pillow_heif.from_pillow(drawn).save(out, quality=95)
    kept = store.photos.add(piece, out.getvalue())
    back = store.photos.data(kept.id)
    assert back.startswith(b"\xff\xd8") and np.abs(pixels_of(back) - np.asarray(drawn).astype(int)).mean() < 4


def test_nothing_but_pixels_is_kept(store: Store, piece):
    exif = Image.Exif()
    exif[0x010F], exif[0x0112], exif[0x9286] = "SECRETCAMERA", 6, b"SECRETCOMMENT"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    sent = photo_bytes(4, "JPEG", exif=exif.tobytes(), comment=b"SECRETNOTE")
    assert sent.count(b"SECRET") >= 2
    kept = store.photos.add(piece, sent, name="SECRET place.jpg")
    back = store.photos.data(kept.id)
    opened = Image.open(io.BytesIO(back))
    assert not opened.getexif() and set(opened.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert (kept.width, kept.height) == (56, 72), "turned upright before the orientation is thrown away"
    assert not any(b"SECRET" in f.read_bytes() for f in store.folder.root.rglob("*") if f.is_file())
    with pytest.raises(NotThere):
        store.photos.original(kept.id)
    asked = store.photos.add(piece, sent, keep_original=True)
    assert asked.id == kept.id and asked.original_kept and store.photos.original(kept.id) == sent


def test_the_same_photo_is_kept_once_a_piece(store: Store, piece):
    sent, other = photo_bytes(5), store.pieces.create("other").id
    assert store.photos.add(piece, sent) == store.photos.add(piece, sent)
    shared = store.photos.add(other, sent)
    assert len(files(store)) == 1, "one file, whoever refers to it"
    store.photos.remove(store.photos.of_piece(piece)[0].id)
    assert store.photos.data(shared.id) and len(files(store)) == 1
    store.pieces.delete(other)
    assert files(store) == []
    assert store.photos.add(piece, sent).number == 2, "a number is not used twice"


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        (b"", "empty"), (b"hello, no picture", "not a picture"), (photo_bytes(1)[:-400], "ends before"),
        (photo_bytes(1, "GIF"), "GIF"), (photo_bytes(1, width=300, height=300), "limit is"),
        (b"x" * 60_001, "more than the limit"), (photo_bytes(1, width=20, height=20), "only 20 x 20"), (b"%PDF-1.4", "PDF"),
    ],
)  # fmt: skip
def test_what_is_no_usable_photo_is_refused_and_leaves_nothing(opened, sent, why):
    store = opened(limits=StoreLimits(free_bytes=0, photo=Limits(max_bytes=60_000, max_pixels=40_000)))
    piece = store.pieces.create().id
    for source in (sent, io.BytesIO(sent)):
        with pytest.raises(PhotoError, match=why) as refused:
            store.photos.add(piece, source, name="IMG 1.jpg")
        assert refused.value.subject == "IMG 1.jpg" and refused.value.remedy
    assert store.photos.of_piece(piece) == () and files(store) == []


def test_an_upload_is_never_read_beyond_the_limit(opened):
    store = opened(limits=StoreLimits(free_bytes=0, photo=Limits(max_bytes=1000)))

    class Endless(io.RawIOBase):
        asked = 0

        def read(self, size: int = -1) -> bytes:
            assert 0 <= size <= 1001
            return b"\xff" * size

    with pytest.raises(PhotoError, match="limit"):
        store.photos.add(store.pieces.create().id, Endless())  # type: ignore[arg-type]


def test_too_many_photos_are_refused(opened):
    store = opened(limits=StoreLimits(free_bytes=0, photos_per_piece=2))
    piece = store.pieces.create().id
    for seed in (1, 2, 1, 2):
        store.photos.add(piece, photo_bytes(seed))
    with pytest.raises(Refused, match="2 photos already") as refused:
        store.photos.add(piece, photo_bytes(3))
    assert "another piece" in refused.value.remedy and len(files(store)) == 2


def test_scales(store: Store, piece):
    photo = store.photos.add(piece, photo_bytes(1), mm_per_px=0.5)
    assert photo.mm_per_px == 0.5 and store.photos.load(photo.id).mm_per_px == 0.5
    assert store.photos.set_scale(photo.id, None).mm_per_px is None
    for wrong in (0, -1, float("nan"), float("inf")):
        with pytest.raises(Refused):
            store.photos.set_scale(photo.id, wrong)


def test_a_damaged_photo_is_named_and_mended_by_adding_it_again(store: Store, piece):
    sent = photo_bytes(7)
    kept = store.photos.add(piece, sent)
    (file,) = files(store)
    good = file.read_bytes()
    for harm in (lambda: file.write_bytes(good[:-9]), lambda: file.write_bytes(b""), file.unlink):
        harm()
        with pytest.raises(StoreDamaged, match="Photo 1") as damaged:
            store.photos.load(kept.id)
        assert "again" in damaged.value.remedy and store.photos.get(kept.id) == kept, "what is known of it is still there"
        assert store.photos.add(piece, sent).id == kept.id and store.photos.data(kept.id) == good


def test_many_at_once_are_all_kept_and_few_are_decoded_together(opened, monkeypatch):
    store = opened(limits=StoreLimits(free_bytes=0, at_once=2, photos_per_piece=60))
    piece, seen, now, lock = store.pieces.create().id, [0], [0], threading.Lock()
    real = photos_room.reencode

    def watched(*arguments):
        with lock:
            now[0] += 1
            seen[0] = max(seen[0], now[0])
        try:
            return real(*arguments)
        finally:
            with lock:
                now[0] -= 1

    monkeypatch.setattr(photos_room, "reencode", watched)
    with ThreadPoolExecutor(16) as pool:
        kept = list(pool.map(lambda seed: store.photos.add(piece, photo_bytes(seed % 40)), range(50)))
    assert seen[0] <= 2 and len({p.id for p in kept}) == 40 == len(store.photos.of_piece(piece))
    assert sorted(p.number for p in store.photos.of_piece(piece)) == list(range(1, 41))
    assert all(store.photos.data(p.id) for p in kept)


def test_derived_files_come_and_go(store: Store, piece):
    photo = store.photos.add(piece, photo_bytes(1)).id
    store.derived.put(piece, "evidence", f"{photo}:grain", b"first", "image/jpeg", photo=photo)
    second = store.derived.put(piece, "evidence", f"{photo}:grain", b"second", "image/jpeg", photo=photo)
    assert store.derived.get(piece, "evidence", f"{photo}:grain") == second and second.data == b"second"
    assert store.derived.get(piece, "evidence", "other") is None
    store.derived.put(piece, "report", "page", b"<p>", "text/html")
    store.derived.forget(piece, "report")
    assert store.derived.get(piece, "report", "page") is None
    kept = [f for f in files(store) if "derived" in f.parts]
    assert len(kept) == 1, "what was replaced or forgotten is gone from the disk"
    kept[0].write_bytes(b"rot")
    assert store.derived.get(piece, "evidence", f"{photo}:grain") is None, "a damaged one is made anew"
    store.derived.put(piece, "evidence", f"{photo}:grain", b"second", "image/jpeg", photo=photo)
    store.photos.remove(photo)
    assert files(store) == [] and store.derived.get(piece, "evidence", f"{photo}:grain") is None
    for wrong in ((b"", "image/jpeg"), (b"x", "text/javascript")):
        with pytest.raises(Refused):
            store.derived.put(piece, "evidence", "x", *wrong)
    with pytest.raises(Refused):
        store.derived.put(piece, "evidence", "../x", b"x", "image/jpeg")


def test_small_copies_are_small():
    big = photo_bytes(2, width=900, height=300)
    with Image.open(io.BytesIO(small_copy(big, 240))) as small:
        assert small.size == (240, 80)
    assert small_copy(big, 900) == big


def test_files_are_for_their_owner_alone(store: Store, piece):
    store.photos.add(piece, photo_bytes(1), keep_original=True)
    assert store.folder.root.stat().st_mode & 0o077 == 0 and len(files(store)) == 2
    assert all(f.stat().st_mode & 0o077 == 0 for f in files(store))
