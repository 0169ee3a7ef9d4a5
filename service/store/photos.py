"""Photos: in through limits and re-encoding, out with their content checked, gone for good when removed."""

from __future__ import annotations

import io
import math
import os
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import TYPE_CHECKING, BinaryIO

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from service.store.errors import Refused, StoreDamaged, not_there
from service.store.folder import Staged
from service.store.ground import Ground, files_of
from service.store.incoming import Incoming, receive, reencode, sha256
from service.store.pieces import finish_deleting
from service.store.tables import PhotoRow
from service.store.texts import new_id
from service.store.types import StoredPhoto

if TYPE_CHECKING:
    from vision.types import Photo


class Photos:
    """The photos of a store."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        # A few hands of their own, however many uploads wait: that bounds memory, also what an allocator keeps for each thread.
        self._hands = ThreadPoolExecutor(ground.limits.at_once, "photo", _step_back)

    def add(
        self, piece: str, source: bytes | BinaryIO, *, name: str = "The photo", keep_original: bool = False,
        mm_per_px: float | None = None,
    ) -> StoredPhoto:
        """Keeps a photo; when this returns it survives anything short of a broken disk.

        `source`: the upload, as bytes or an open file; `name`: for messages only, never stored; `keep_original`: also keep the
        bytes as they came, with whatever they tell about place and time. The same photo sent again gives the photo kept
        already (and mends its file when that was damaged). Raises PhotoError, NotThere, Refused, StoreFull, StoreBusy.
        """
        _scale(mm_per_px)
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
        return self._hands.submit(self._take_in, piece, source, name, keep_original, mm_per_px).result()

    def _take_in(
        self, piece: str, source: bytes | BinaryIO, name: str, keep_original: bool, mm_per_px: float | None
    ) -> StoredPhoto:
        data = receive(source, name, self._ground.limits.photo)
        kept = self._kept_already(piece, sha256(data))
        if kept is not None and (kept.original_kept or not keep_original):
            return kept
        incoming = reencode(data, name, self._ground.limits.photo)
        staged = [self._ground.folder.stage("photos", incoming.jpeg)]
        try:
            if keep_original:
                staged.append(self._ground.folder.stage("originals", data))
            return self._settle(piece, incoming, staged, mm_per_px)
        finally:
            self._ground.folder.drop(*staged)

    def get(self, photo: str) -> StoredPhoto:
        """Raises NotThere."""
        with self._ground.database.read() as session:
            return _photo(self._ground.photo(session, photo))

    def of_piece(self, piece: str) -> tuple[StoredPhoto, ...]:
        """The piece's photos in order of arrival. Raises NotThere."""
        with self._ground.database.read() as session:
            self._ground.piece(session, piece)
            rows = session.scalars(select(PhotoRow).where(PhotoRow.piece == piece).order_by(PhotoRow.number))
            return tuple(_photo(row) for row in rows)

    def data(self, photo: str) -> bytes:
        """The kept copy: a JPEG without any metadata. Raises NotThere, StoreDamaged."""
        with self._ground.database.read() as session:
            row = self._ground.photo(session, photo)
            number, kept = row.number, row.kept
        try:
            return self._ground.folder.read("photos", kept)
        except StoreDamaged as failure:
            if failure.subject != "A stored file":
                raise
            raise StoreDamaged(f"Photo {number}", failure.cause, failure.remedy) from failure

    def original(self, photo: str) -> bytes:
        """The bytes as they came, for the user's own download: they may tell place and time. Raises NotThere, StoreDamaged."""
        with self._ground.database.read() as session:
            original = self._ground.photo(session, photo).original
        if original is None:
            raise not_there("original")
        return self._ground.folder.read("originals", original)

    def load(self, photo: str, *, as_id: str | None = None) -> Photo:
        """The photo decoded for the engine, under `as_id` (else "photo-NUMBER"). `sha256` and `jpeg_quality` are those of what
        came in. Raises NotThere, StoreDamaged, PhotoError."""
        from vision.intake.decode import decode
        from vision.intake.limits import Limits
        from vision.types import Photo

        kept = self.get(photo)
        data = self.data(photo)
        name = f"photo-{kept.number}"
        given = self._ground.limits.photo
        limits = Limits(max_bytes=max(given.max_bytes, len(data)), max_pixels=given.max_pixels, min_side=given.min_side)
        pixels = decode(data, name, limits).pixels
        return Photo(as_id or name, name, kept.sha256, pixels, jpeg_quality=kept.jpeg_quality, mm_per_px=kept.mm_per_px)

    def set_scale(self, photo: str, mm_per_px: float | None) -> StoredPhoto:
        """Keeps the scale the user gave, or takes it back. Raises NotThere, Refused."""
        _scale(mm_per_px)
        with self._ground.database.write() as session:
            row = self._ground.photo(session, photo)
            row.mm_per_px = mm_per_px
            self._ground.touch(session, row.piece)
            return _photo(row)

    def remove(self, photo: str) -> None:
        """Deletes one photo for good, with its corrections and the files made from it. Raises as Pieces.delete."""
        with self._ground.database.write() as session:
            row = self._ground.photo(session, photo)
            self._ground.doom(session, files_of(session, row.piece, photo))
            self._ground.touch(session, row.piece)
            session.execute(delete(PhotoRow).where(PhotoRow.id == photo))
        finish_deleting(self._ground)

    def close(self) -> None:
        """Waits for the photos that are being taken in; further ones are not accepted."""
        self._hands.shutdown()

    def _room(self, session: Session, piece: str, came_in: str) -> None:
        """Refuses one photo too many; a photo that is there already takes no room."""
        self._ground.piece(session, piece)
        most = self._ground.limits.photos_per_piece
        others = select(func.count()).where(PhotoRow.piece == piece, PhotoRow.sha256 != came_in)
        if (session.scalar(others) or 0) >= most:
            cause = f"This piece has {most} photos already, the most that are kept."
            raise Refused("The photo", cause, "Delete photos that show little, or start another piece.")

    def _kept_already(self, piece: str, came_in: str) -> StoredPhoto | None:
        """The same photo of the same piece with its files in order, else None. Refuses one photo too many before it costs."""
        with self._ground.database.read() as session:
            self._room(session, piece, came_in)
            row = session.scalars(select(PhotoRow).where(PhotoRow.piece == piece, PhotoRow.sha256 == came_in)).first()
            if row is None:
                return None
            kept, original, photo = row.kept, row.original, _photo(row)
        try:
            self._ground.folder.read("photos", kept)
            if original is not None:
                self._ground.folder.read("originals", original)
        except StoreDamaged:
            return None
        return photo

    def _settle(self, piece: str, incoming: Incoming, staged: list[Staged], mm_per_px: float | None) -> StoredPhoto:
        ground = self._ground
        with ground.database.write() as session:
            self._room(session, piece, incoming.sha256)
            for one in staged:
                ground.folder.settle(one)
            now = ground.touch(session, piece)
            same = select(PhotoRow).where(PhotoRow.piece == piece, PhotoRow.sha256 == incoming.sha256)
            row = session.scalars(same).first()
            if row is None:
                of = ground.piece(session, piece)
                of.last_photo += 1
                row = PhotoRow(
                    id=new_id(), piece=piece, number=of.last_photo, sha256=incoming.sha256, original=None, created=now,
                    jpeg_quality=incoming.jpeg_quality, mm_per_px=mm_per_px,
                )  # fmt: skip
                session.add(row)
            elif row.kept != staged[0].sha256:  # another encoder gave other bytes
                ground.doom(session, {("photos", row.kept)})
            row.kept, row.bytes = staged[0].sha256, len(incoming.jpeg)
            row.width, row.height = incoming.width, incoming.height
            row.original = staged[1].sha256 if len(staged) > 1 else row.original
            session.flush()
            return _photo(row)


def small_copy(jpeg: bytes, longest: int) -> bytes:
    """A JPEG of at most `longest` pixels a side, from a kept copy; smaller pictures stay as they are."""
    import numpy as np
    from PIL import Image

    from vision.intake.containers import open_header
    from vision.resize import resize

    with open_header(jpeg, "JPEG") as picture:
        width, height = picture.size
        if max(width, height) <= longest:
            return jpeg
        picture.draft("RGB", (2 * longest, 2 * longest))  # the decoder skips what would be thrown away
        pixels = np.asarray(picture.convert("RGB"))
    share = longest / max(width, height)
    out = io.BytesIO()
    Image.fromarray(resize(pixels, max(1, round(width * share)), max(1, round(height * share)))).save(out, "JPEG", quality=85)
    return out.getvalue()


def _step_back() -> None:
    """Lets pages go before photos where both want the processor; Linux alone ranks single threads."""
    if sys.platform == "linux":
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), 10)


def _scale(mm_per_px: float | None) -> None:
    if mm_per_px is not None and not (math.isfinite(mm_per_px) and mm_per_px > 0):
        raise Refused("The scale", f"{mm_per_px} mm per pixel makes no sense.", "Give a number above 0.")


def _photo(row: PhotoRow) -> StoredPhoto:
    return StoredPhoto(
        row.id, row.piece, row.number, row.sha256, row.width, row.height, row.bytes, row.created, row.jpeg_quality,
        row.mm_per_px, row.original is not None,
    )  # fmt: skip
