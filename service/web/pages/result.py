"""What a piece is: its photos, the work on them, the verdict with its evidence, corrections."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.store.types import StoredPhoto
from service.web import queue, uploads
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.assessing import photo_key
from service.web.pages.drawn import page
from service.web.told import answers_of, document_of
from service.web.views.piece import known_words
from service.web.views.result import Picture, result_view

router = APIRouter()
#: Longest side of the photo that the page shows.
SHOWN = 1600


def picture_of(piece: str, photo: StoredPhoto) -> Picture:
    """A stored photo for the page."""
    url = f"/p/{piece}/photo/{photo.id}.jpg"
    return Picture(photo.id, photo_key(photo), url, photo.width, photo.height)


@router.get("/p/{piece}")
def result(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """Photos, progress while it works, result."""
    kept = store.pieces.get(piece)
    photos = store.photos.of_piece(piece)
    jobs = store.jobs.of_piece(piece)
    job = jobs[0] if jobs and not jobs[0].ended else None
    failed = jobs[0] if jobs and jobs[0].state == "failed" else None
    doc = document_of(store, piece)
    view = result_view(doc, [picture_of(piece, p) for p in photos]) if doc is not None else None
    seen = {p.id for p in doc.photos} if doc is not None else set()
    said = answers_of(store, piece, doc).parts if doc is not None else {}
    known = {part: {"face": told.confirmed[0], "core": told.confirmed[1], "words": known_words(*told.confirmed)}
             for part, told in said.items() if any(told.confirmed)}  # fmt: skip
    fresh = [p for p in photos if photo_key(p) not in seen]
    return page(request, "result", piece=kept, here="result", view=view, job=job, failed=failed,
                known=known, notes=queue.notes_of(store, piece), photos=[picture_of(piece, p) for p in photos], unused=len(fresh))


@router.get("/p/{piece}/photo/{photo}.jpg", response_class=Response)
def photo(piece: Id, photo: Id, store: Kept) -> Response:
    """The kept copy, without place and camera, at the size of the page."""
    from service.store.photos import small_copy

    uploads.photo_of(store, piece, photo)
    return Response(small_copy(store.photos.data(photo), SHOWN), media_type="image/jpeg",
                    headers={"Cache-Control": "private, max-age=86400"})  # fmt: skip


@router.post("/p/{piece}/look")
def look(piece: Id, store: Kept, scale: Annotated[str, Form(pattern="^(none|auto|card|sheet)$")] = "none") -> Response:
    """Begins an assessment, from a plain form."""
    queue.ask(store, piece, scale=scale)
    return RedirectResponse(f"/p/{piece}", 303)


@router.post("/p/{piece}/photos/{photo}/remove")
def remove(piece: Id, photo: Id, store: Kept) -> Response:
    """Deletes one photo for good."""
    uploads.photo_of(store, piece, photo)
    store.photos.remove(photo)
    return RedirectResponse(f"/p/{piece}", 303)


@router.get("/p/{piece}/report", response_class=Response)
def report(piece: Id, store: Kept) -> Response:
    """One page to save or print; it can run nothing."""
    from service.web.guard import REPORT_CSP

    return Response(queue.report(store, piece), media_type="text/html", headers={"Content-Security-Policy": REPORT_CSP})


