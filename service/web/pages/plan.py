"""The plan of a piece: goals with what refuses them, steps to tick, what to buy, which day, the user's prices, the work sheet."""

from __future__ import annotations

import contextlib
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.store import Store
from service.web import money, told
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.guard import REPORT_CSP
from service.web.pages.drawn import page
from service.web.pages.sent import said_of
from service.web.views import plan as view
from vision.errors import UsageError

router = APIRouter()
#: Questions of the plan that hold lists: what was ticked.
TICKS = "ticks"
FIELDS = ("goal", "size", "count", "wood", "face_thickness", "old_finish")


def _request(store: Store, piece: str) -> dict[str, Any]:
    found = told.kept(store, piece, told.PLAN, "request")
    return dict(found) if isinstance(found, dict) else {}


@router.get("/p/{piece}/plan")
def plan(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """What each part allows, the steps of what was chosen, what to buy, which day; safety first."""
    kept = store.pieces.get(piece)
    try:
        found = money.plan_of(store, piece)
    except UsageError as err:
        return page(request, "plan", piece=kept, here="plan", view=None, cause=f"{err.cause} {err.remedy}")
    ticked = told.kept(store, piece, told.PLAN, TICKS)
    prices = told.user(store).get("prices") or {}
    shown = view.plan_view(found, _request(store, piece), set(ticked) if isinstance(ticked, list) else set(), prices)
    return page(request, "plan", piece=kept, here="plan", cause="", view=shown)


async def _form(request: Request) -> dict[str, str]:
    """Fields of a form whose names the page makes up."""
    form = await request.form(max_fields=600)
    return {k: str(v).strip()[:200] for k, v in form.items() if isinstance(v, str)}


@router.post("/p/{piece}/plan")
async def choose(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps goals and sizes from the form; what makes no sense is said and nothing is changed."""
    given = await _form(request)
    asked = _request(store, piece)
    parts: dict[str, dict[str, Any]] = {k: dict(v) for k, v in asked.get("parts", {}).items()}
    for key, value in given.items():
        part, _, what = key.partition("|")
        if what in FIELDS:
            row = parts.setdefault(part, {})
            row.pop(what, None)
            if value:
                row[what] = _number(value, "how many", whole=True) if what == "count" else value
    asked["parts"] = {k: v for k, v in parts.items() if v}
    for key in ("where", "topcoat", "units"):
        if given.get(key):
            asked[key] = given[key]
    for key in ("hours", "first_hour"):
        if given.get(key):
            asked[key] = _number(given[key], key.replace("_", " "))
    asked.pop("made_before_1978", None)
    if given.get("before_1978") in ("yes", "no"):
        asked["made_before_1978"] = given["before_1978"] == "yes"
    if given.get("start"):
        try:
            asked["start"] = date.fromisoformat(given["start"]).isoformat()
        except ValueError as err:
            raise UsageError("First day", f"{given['start']!r} is no day.", "Write it as in: 2026-03-02") from err
    money.keep_plan(store, piece, asked, given.get("client_key") or None, said=said_of(given.get("said_at", "")))
    return RedirectResponse(f"/p/{piece}/plan", 303)


def _number(text: str, what: str, *, whole: bool = False) -> float:
    with contextlib.suppress(ValueError):
        return int(text) if whole else float(text.replace(",", "."))
    raise UsageError(what, f"{text!r} is no {'whole ' if whole else ''}number.", "Write it in figures.")


@router.post("/p/{piece}/ticks")
async def tick(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps which steps and conditions are ticked: `tick|KEY` fields that came are, all others of the page are not."""
    given = await _form(request)
    store.pieces.get(piece)
    ticked = [k.partition("|")[2] for k in given if k.startswith("tick|")]
    store.answers.give(piece, told.PLAN, TICKS, ticked, said=said_of(given.get("said_at", "")),
                       client_key=given.get("client_key") or None)  # fmt: skip
    return RedirectResponse(f"/p/{piece}/plan#steps", 303)


@router.post("/p/{piece}/prices")
async def prices(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps what the user pays for products, for this piece and all others; an empty field takes a price back."""
    given = await _form(request)
    store.pieces.get(piece)
    settings = told.user(store)
    new = view.prices_from(given, settings.get("prices") or {})
    told.prices_of({"prices": new})
    store.settings.put(told.USER, {**settings, "prices": new})
    return RedirectResponse(f"/p/{piece}/plan#buy", 303)


@router.get("/p/{piece}/sheet", response_class=Response)
def sheet(piece: Id, store: Kept) -> Response:
    """The work sheet to print; it can run nothing."""
    from service.plan.worksheet import html

    title = store.pieces.get(piece).title
    return Response(html(money.plan_of(store, piece), title), media_type="text/html",
                    headers={"Content-Security-Policy": REPORT_CSP})  # fmt: skip
