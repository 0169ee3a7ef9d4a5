"""Photos in and out: what comes is bounded before it is decoded, what goes out holds pixels alone."""

from __future__ import annotations

from anyio import to_thread
from fastapi import Request, UploadFile

from service.store import Store
from service.store.errors import not_there
from service.store.photos import small_copy
from service.store.types import StoredPhoto
from service.web.assessing import photo_key

#: Sides of the smaller copies; a wish is rounded up to one of these, so that few are kept.
SIDES = (320, 640, 1280, 2048)


async def keep(request: Request, store: Store, piece: str, photo: UploadFile, mm_per_px: float | None = None) -> StoredPhoto:
    """Keeps an upload. Few at a time: the others wait on disk, not in memory, and leave the threads to the pages.

    The name it came with is not used: it may say anything. Raises PhotoError, NotThere, Refused, StoreFull, StoreBusy.
    """
    limiter = request.app.state.uploading

    def add() -> StoredPhoto:
        photo.file.seek(0)
        return store.photos.add(piece, photo.file, name="The photo", mm_per_px=mm_per_px)

    try:
        return await to_thread.run_sync(add, limiter=limiter)
    finally:
        await photo.close()


def photo_of(store: Store, piece: str, photo: str) -> StoredPhoto:
    """The photo, if it is one of the piece. Raises NotThere."""
    found = store.photos.get(photo)
    if found.piece != piece:
        raise not_there("photo")
    return found


def picture(store: Store, piece: str, photo: str, longest: int | None = None) -> bytes:
    """JPEG of the kept copy, or of a smaller one. Raises NotThere, StoreDamaged."""
    found = photo_of(store, piece, photo)
    side = next((s for s in SIDES if longest is not None and s >= longest), None)
    if side is None or max(found.width, found.height) <= side:
        return store.photos.data(photo)
    key = f"{photo_key(found)}.{side}"
    kept = store.derived.get(piece, "small", key)
    if kept is None:
        kept = store.derived.put(piece, "small", key, small_copy(store.photos.data(photo), side), "image/jpeg", photo=photo)
    return kept.data


def evidence(store: Store, piece: str, photo: str) -> bytes:
    """JPEG with the evidence of the newest assessment. Raises NotThere."""
    kept = store.derived.get(piece, "evidence", photo_key(photo_of(store, piece, photo)))
    if kept is None:
        raise not_there("picture with evidence")
    return kept.data
