"""Beside the piece: one question a screen for one thumb, checks of one part, spot tests of the old finish. Works without scripts;
with them it goes on without a signal."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from service.gate.drawings import DRAWINGS
from service.store import Store
from service.web import money, told
from service.web.api.answers import routine_of
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.pages.drawn import page
from service.web.pages.sent import Coming
from service.web.views import by_hand as view
from service.words import class_words
from vision.errors import UsageError

router = APIRouter()
Goal = Annotated[str, Query(max_length=20)]
Minutes = Annotated[float, Query(gt=0, le=60, allow_inf_nan=False)]
Key = Annotated[str, Form(max_length=240)]
Answer = Annotated[str, Form(max_length=300)]


def _last(store: Store, piece: str) -> str | None:
    """Key of the answer given last, that can be taken back."""
    rows = [a for a in store.answers.latest(piece) if a.sort in (told.GATE, told.HAND)]
    newest = max(rows, key=lambda a: a.said, default=None)
    return None if newest is None else f"{newest.subject or newest.sort}/{newest.question}"


@router.get("/aisle-tables.json", response_class=Response)
def tables() -> Response:
    """Questions, odds and rules, for a phone that goes on without a signal."""
    return Response(_tables(), media_type="application/json")


@lru_cache(maxsize=1)
def _tables() -> bytes:
    from service.web.views.routine import tables

    return json.dumps(tables(), separators=(",", ":")).encode()


@router.get("/p/{piece}/aisle.json")
def standing(piece: Id, store: Kept) -> JSONResponse:
    """What the piece brings to the routine: its parts, where they start, the answers kept."""
    from service.aisle.routine import Routine
    from service.web.views.routine import standing

    store.pieces.get(piece)
    doc = told.document_of(store, piece)
    routine = Routine(doc, goal=told.user(store).get("goal"))
    return JSONResponse(standing(routine, told.answers_of(store, piece, doc), _last(store, piece)))


@router.get("/p/{piece}/aisle")
def aisle(request: Request, piece: Id, store: Kept, goal: Goal = "", minutes: Minutes = 3.0, after: str = "") -> HTMLResponse:
    """The next question, what the last answer did, and where it stands."""
    from service.gate.standing import gate
    from service.hand.checks import rules
    from service.plan.types import GOALS

    kept = store.pieces.get(piece)
    found = routine_of(store, piece, goal=goal or None, minutes=minutes)
    question = found["next"]
    drawn = question["drawing"] if question is not None and question["drawing"] in DRAWINGS else ""
    parts = view.part_lines(found["parts"], rules())
    broken = found["deal_breaker"] is not None
    names = {q.key: q.name for q in gate().rules.questions}
    return page(request, "aisle", piece=kept, here="aisle", found=found, question=question, drawn=drawn, goal=goal,
                minutes=minutes, parts=parts, gate=found["gate"], last=_last(store, piece), goals=list(GOALS.items()),
                spent=round(found["seconds"]), told=[] if broken else view.after(found, parts, after[:240]),
                measure=view.MEASURE, unseen=[names[u["question"]] for u in found["gate"]["not_looked"]])  # fmt: skip


@router.post("/p/{piece}/aisle")
def answered(
    piece: Id, store: Kept, key: Key, coming: Coming, answer: Answer = "",
    goal: Annotated[str, Form(max_length=20)] = "", minutes: Annotated[float, Form(gt=0, le=60)] = 3.0,
) -> Response:
    """Keeps an answer, or takes one back where `answer` is empty."""
    _keep(store, piece, key, answer, coming)
    after = {"after": key} if answer else {}
    return RedirectResponse(f"/p/{piece}/aisle?" + urlencode({"goal": goal, "minutes": minutes, **after}), 303)


def _keep(store: Store, piece: str, key: str, answer: str, coming: Coming) -> None:
    store.pieces.get(piece)
    told.keep_answer(store, piece, told.document_of(store, piece), key, answer or None, said=coming.said,
                     client_key=coming.client_key)  # fmt: skip


@router.get("/p/{piece}/check/{part}")
def check(request: Request, piece: Id, part: Id, store: Kept) -> HTMLResponse:
    """Every check that can be made on one part, most telling first."""
    from service.check import fused_part, role_of
    from service.hand.checks import rules
    from service.hand.report import document
    from service.hand.state import Told
    from service.hand.worth import next_checks
    from service.words import part_names

    kept = store.pieces.get(piece)
    doc = told.document_of(store, piece)
    role = role_of(doc, part)
    said = told.answers_of(store, piece, doc).parts.get(part, Told(role))
    fused = fused_part(doc, part, said, rules())
    following = () if said.confirmed[0] else next_checks(fused, role, rules(), answered=said.answers)
    name = part_names(doc)[part] if doc is not None else part.replace("_", " ").capitalize()
    line = view.part_lines([{**document(part, said, fused, following, rules()), "name": name}], rules())[0]
    known = [class_words(k) for k in said.confirmed if k]
    return page(request, "check", piece=kept, here="check", part=part, part_name=name, line=line, known=known,
                rows=view.check_rows(said, following, rules(), line["moved"]))  # fmt: skip


@router.post("/p/{piece}/check/{part}")
def checked(piece: Id, part: Id, store: Kept, key: Key, coming: Coming, answer: Answer = "") -> Response:
    """Keeps an answer to a check of this part, or takes it back."""
    if not key.startswith(f"{part}/"):
        raise UsageError(key, "is no check of this part.", "Answer on the part's own page.")
    _keep(store, piece, key, answer, coming)
    return RedirectResponse(f"/p/{piece}/check/{part}#{key.partition('/')[2]}", 303)


@router.get("/finish-tables.json")
def finish_tables() -> JSONResponse:
    """Spot tests and what they mean, for a phone without a signal."""
    from service.web.views.finish import tables

    return JSONResponse(tables())


@router.get("/p/{piece}/finish")
def finish(request: Request, piece: Id, store: Kept, said: str = "") -> HTMLResponse:
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
    return page(request, "finish", piece=kept, here="finish", found=found, links=links, begun=bool(answers),
                parts=_parts(store, piece), said="Kept: the plan counts on it." if said else "")  # fmt: skip


@router.post("/p/{piece}/finish")
def finish_kept(
    piece: Id, store: Kept, finish: Annotated[str, Form(max_length=40)], coming: Coming,
    part: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    """Has the plan count on what the tests told, for one part or for all."""
    parts = [key for key, _ in _parts(store, piece)]
    if part and part not in parts:
        raise UsageError(part, "is no part of the plan.", "Choose one of the list.")
    if not parts:
        raise UsageError("The plan", "There is no part to plan yet.", "Look at the photos, or answer a check first.")
    asked: dict[str, Any] = dict(told.kept(store, piece, told.PLAN, "request") or {})
    rows = {k: dict(v) for k, v in asked.get("parts", {}).items()}
    for key in [part] if part else parts:
        rows[key] = {**rows.get(key, {}), "old_finish": finish}
    money.keep_plan(store, piece, {**asked, "parts": rows}, coming.client_key, said=coming.said)
    return RedirectResponse(f"/p/{piece}/finish?said=1", 303)


def _parts(store: Store, piece: str) -> list[tuple[str, str]]:
    """(id, name) of the parts of the plan; none where there is nothing to plan."""
    try:
        return [(p.subject.id, p.subject.name) for p in money.plan_of(store, piece).parts]
    except UsageError:
        return []
