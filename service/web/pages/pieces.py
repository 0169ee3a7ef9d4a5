"""The list of pieces, a new piece, deleting one, two side by side, help."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.store import Store
from service.store.types import Piece
from service.summary import headline
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.pages.drawn import page, thumb
from service.web.told import document_of
from service.web.views.piece import UNNAMED, others_line, side_by_side, standing
from service.web.views.result import result_view
from vision import registry
from vision.errors import GrainassayError

router = APIRouter()
A_PAGE = 24


def _card(store: Store, piece: Piece) -> dict[str, str]:
    """One piece in the list: its first photo and where it stands, in a line."""
    photos = store.photos.of_piece(piece.id)
    jobs = store.jobs.of_piece(piece.id)
    try:
        doc = document_of(store, piece.id)
    except GrainassayError as err:
        return {"id": piece.id, "title": piece.title or UNNAMED, "photo": "", "line": err.cause}
    running = bool(jobs) and not jobs[0].ended
    line = standing(len(photos), running, headline(doc) if doc is not None else "")
    picture = thumb(piece.id, photos[0].id) if photos else ""
    return {"id": piece.id, "title": piece.title or UNNAMED, "photo": picture, "line": line}


@router.get("/")
def pieces(
    request: Request, store: Kept, words: Annotated[str, Query(max_length=200)] = "",
    first: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> HTMLResponse:
    """Pieces, last changed first."""
    found = store.pieces.find(words, limit=A_PAGE + 1, offset=first)
    cards = [_card(store, p) for p in found[:A_PAGE]]
    return page(request, "pieces", here="pieces", cards=cards, words=words, first=first, more=len(found) > A_PAGE,
                count=store.pieces.count(), a_page=A_PAGE)  # fmt: skip


@router.get("/pieces/new")
def new(request: Request) -> HTMLResponse:
    """A form for a new piece."""
    return page(request, "new", here="new")


@router.post("/pieces/new")
def create(
    store: Kept, title: Annotated[str, Form(max_length=200)] = "", notes: Annotated[str, Form(max_length=4000)] = "",
) -> Response:
    """Begins a piece and goes to where its photos are taken."""
    piece = store.pieces.create(title, notes)
    return RedirectResponse(f"/p/{piece.id}", 303)


@router.get("/p/{piece}/delete")
def ask_delete(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """Asks once more."""
    return page(request, "delete", piece=store.pieces.get(piece), here="delete")


@router.post("/p/{piece}/delete")
def delete(piece: Id, store: Kept) -> Response:
    """Deletes for good."""
    store.pieces.delete(piece)
    return RedirectResponse("/", 303)


@router.get("/compare")
def compare(
    request: Request, store: Kept, a: Annotated[str, Query(max_length=40)] = "", b: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Two pieces side by side."""
    choices = [{"id": p.id, "title": p.title or UNNAMED} for p in store.pieces.find("", limit=100)]
    sides: list[dict[str, Any]] = []
    for chosen in (a, b):
        if not chosen:
            continue
        piece = store.pieces.get(chosen)
        doc = document_of(store, chosen)
        view = result_view(doc, ()) if doc is not None else None
        sides.append({"id": piece.id, "title": piece.title or UNNAMED, "view": view, "card": _card(store, piece),
                      "others": others_line(view)})  # fmt: skip
    rows = side_by_side([s["view"] for s in sides])
    return page(request, "compare", here="compare", choices=choices, sides=sides, rows=rows, a=a, b=b)


@router.get("/help")
def helped(request: Request) -> HTMLResponse:
    """How to photograph, what the words mean, what it cannot tell, cautions."""
    faces = [(registry.FACE_WORDS[k], text) for k, text in registry.FACES.items()]
    cores = [(registry.CORE_WORDS[k], text) for k, text in registry.CORES.items()]
    return page(request, "help", here="help", faces=faces, cores=cores, reasons=list(registry.REASONS.values()),
                problems=list(registry.PROBLEMS.values()))  # fmt: skip
