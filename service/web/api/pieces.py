"""Pieces and their photos."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from starlette.responses import Response

from service.web import uploads
from service.web.api.deps import Kept
from service.web.api.shapes import ChangedPiece, Id, NewPiece, PhotoList, PhotoOut, PieceList, PieceOut, Scale

router = APIRouter(tags=["pieces"])
JPEG: dict[int | str, dict[str, Any]] = {
    200: {"content": {"image/jpeg": {}}, "description": "A JPEG without place, date and camera."}}


@router.post("/pieces", status_code=201, summary="Begin a piece")
def create(new: NewPiece, store: Kept) -> PieceOut:
    """A new piece, without photos as yet."""
    return PieceOut.of(store.pieces.create(new.title, new.notes, client_key=new.client_key))


@router.get("/pieces", summary="List and search pieces")
def find(
    store: Kept, words: Annotated[str, Query(max_length=200, description="All must stand in title or notes.")] = "",
    limit: Annotated[int, Query(ge=0, le=200)] = 50, offset: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> PieceList:
    """Last changed first; case and accents do not matter."""
    found = store.pieces.find(words, limit=limit, offset=offset)
    return PieceList(pieces=[PieceOut.of(p) for p in found], count=store.pieces.count())


@router.get("/pieces/{piece}", summary="One piece")
def one(piece: Id, store: Kept) -> PieceOut:
    """Title, notes, counts."""
    return PieceOut.of(store.pieces.get(piece))


@router.patch("/pieces/{piece}", summary="Change title or notes")
def change(piece: Id, new: ChangedPiece, store: Kept) -> PieceOut:
    """What is left out stays."""
    return PieceOut.of(store.pieces.change(piece, title=new.title, notes=new.notes))


@router.delete("/pieces/{piece}", status_code=204, summary="Delete a piece for good")
def delete(piece: Id, store: Kept) -> Response:
    """With its photos, pictures, answers, documents and lines of the ledger. There is no way back."""
    store.pieces.delete(piece)
    return Response(status_code=204)


@router.post("/pieces/{piece}/photos", status_code=201, summary="Add a photo")
async def add_photo(
    request: Request, piece: Id, store: Kept,
    photo: Annotated[UploadFile, File(description="JPEG, HEIC, PNG, WebP or TIFF; told by its content.")],
    mm_per_px: Annotated[float | None, Form(gt=0, le=1e4, allow_inf_nan=False)] = None,
) -> PhotoOut:
    """One photo a request, as a form with parts. The same photo sent again gives the one kept already."""
    return PhotoOut.of(await uploads.keep(request, store, piece, photo, mm_per_px))


@router.get("/pieces/{piece}/photos", summary="Photos of a piece")
def photos(piece: Id, store: Kept) -> PhotoList:
    """In order of arrival."""
    return PhotoList(photos=[PhotoOut.of(p) for p in store.photos.of_piece(piece)])


@router.get("/pieces/{piece}/photos/{photo}", summary="One photo")
def photo_facts(piece: Id, photo: Id, store: Kept) -> PhotoOut:
    """Its facts; the picture lies at its `picture`."""
    return PhotoOut.of(uploads.photo_of(store, piece, photo))


@router.get("/pieces/{piece}/photos/{photo}/picture", summary="The kept copy of a photo", responses=JPEG, response_class=Response)
def picture(
    piece: Id, photo: Id, store: Kept,
    longest: Annotated[int | None, Query(ge=64, le=4096, description="A smaller copy, of at most so many pixels a side.")] = None,
) -> Response:
    """Upright, without anything but pixels."""
    data = uploads.picture(store, piece, photo, longest)
    return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})


@router.get("/pieces/{piece}/photos/{photo}/evidence", summary="A photo with the evidence drawn on it", responses=JPEG,
            response_class=Response)
def evidence(piece: Id, photo: Id, store: Kept) -> Response:
    """Of the newest assessment."""
    return Response(uploads.evidence(store, piece, photo), media_type="image/jpeg")


@router.put("/pieces/{piece}/photos/{photo}/scale", summary="Say how large a photo's pixels are")
def scale(piece: Id, photo: Id, given: Scale, store: Kept) -> PhotoOut:
    """Counts from the next assessment on."""
    uploads.photo_of(store, piece, photo)
    return PhotoOut.of(store.photos.set_scale(photo, given.mm_per_px))


@router.delete("/pieces/{piece}/photos/{photo}", status_code=204, summary="Delete a photo for good")
def remove(piece: Id, photo: Id, store: Kept) -> Response:
    """With the pictures made from it; documents that speak of it stay."""
    uploads.photo_of(store, piece, photo)
    store.photos.remove(photo)
    return Response(status_code=204)
