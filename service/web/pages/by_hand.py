"""Beside the piece: one question a screen for one thumb, and what the answers come to. Works without scripts."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.gate.drawings import DRAWINGS
from service.store import Store
from service.web import told
from service.web.api.answers import routine_of
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.pages.drawn import page
from service.words import class_words, percent

router = APIRouter()
Goal = Annotated[str, Query(max_length=20)]
Minutes = Annotated[float, Query(gt=0, le=60, allow_inf_nan=False)]


def part_lines(parts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Every part of the routine with what is left of it, in ranges, and what moved it."""
    out = []
    for p in parts:
        rows = sorted(p["faces"].items(), key=lambda kv: -kv[1]["middle"])
        shown = [{"words": class_words(f), "low": percent(r["low"]), "high": percent(r["high"]), "middle": r["middle"]}
                 for f, r in rows if r["high"] >= 0.05][:4]
        moved = [{"check": m["check"].replace("_", " "), "answer": m["answer"].replace("_", " "),
                  "words": f"for {class_words(m['for'])}, against {class_words(m['against'])}", "why": m["why_not_whole"]}
                 for m in p["moved"] if m["decibans"] >= 0.5]
        left = [class_words(f) for f in p["faces_left"]]
        call = class_words(p["face"]) if p["face"] else "cannot tell: " + ", ".join(left)
        inside = f" on {class_words(p['core'])}" if p["face"] in ("veneer", "printed", "opaque") and p["core"] else ""
        out.append({"id": p["part"], "name": p["name"], "call": call + inside, "open": p["face"] is None, "rows": shown,
                    "moved": moved, "asked": bool(p["moved"])})  # fmt: skip
    return out


def _last(store: Store, piece: str) -> str | None:
    """Key of the answer given last, that can be taken back."""
    rows = [a for a in store.answers.latest(piece) if a.sort in (told.GATE, told.HAND)]
    newest = max(rows, key=lambda a: a.said, default=None)
    return None if newest is None else f"{newest.subject or newest.sort}/{newest.question}"


@router.get("/p/{piece}/aisle")
def aisle(request: Request, piece: Id, store: Kept, goal: Goal = "", minutes: Minutes = 3.0) -> HTMLResponse:
    """The next question, and where it stands."""
    kept = store.pieces.get(piece)
    found = routine_of(store, piece, goal=goal or None, minutes=minutes)
    question = found["next"]
    drawn = question["drawing"] if question is not None and question["drawing"] in DRAWINGS else ""
    gate = found["gate"]
    return page(request, "aisle", piece=kept, here="aisle", found=found, question=question, drawn=drawn, goal=goal,
                minutes=minutes, parts=part_lines(found["parts"]), gate=gate, last=_last(store, piece),
                goals=_goals(), spent=round(found["seconds"]))  # fmt: skip


@router.post("/p/{piece}/aisle")
def answered(
    piece: Id, store: Kept, key: Annotated[str, Form(max_length=240)], answer: Annotated[str, Form(max_length=300)] = "",
    goal: Annotated[str, Form(max_length=20)] = "", minutes: Annotated[float, Form(gt=0, le=60)] = 3.0,
) -> Response:
    """Keeps an answer, or takes the last one back where `answer` is empty."""
    store.pieces.get(piece)
    told.keep_answer(store, piece, told.document_of(store, piece), key, answer or None)
    return RedirectResponse(f"/p/{piece}/aisle?" + urlencode({"goal": goal, "minutes": minutes}), 303)


@router.get("/p/{piece}/finish")
def finish(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """Spot tests of the old finish, mildest first; the answers stand in the address."""
    from service.finish.spot import concluded, document, rules

    kept = store.pieces.get(piece)
    known = [t.key for t in rules().tests]
    answers = {k: v[:40] for k, v in request.query_params.items() if k in known}
    found = document(concluded(answers), answers)
    links = []
    if found["next"] is not None:
        for a in [*found["next"]["answers"], {"key": "cannot_say", "words": "cannot tell"}]:
            links.append({"words": a["words"], "url": "?" + urlencode({**answers, found["next"]["key"]: a["key"]})})
    return page(request, "finish", piece=kept, here="finish", found=found, links=links, begun=bool(answers))


def _goals() -> list[tuple[str, str]]:
    from service.plan.types import GOALS

    return list(GOALS.items())
