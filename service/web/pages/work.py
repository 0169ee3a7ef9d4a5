"""The plan of a piece, its work sheet and calendar; the advert, carrying, and the ledger."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.store import Store
from service.web import money, told
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.guard import REPORT_CSP
from service.web.pages.drawn import page
from service.web.pages.sent import Coming, said_of
from vision.errors import UsageError

router = APIRouter()
Text = Annotated[str, Form(max_length=200)]


def _request(store: Store, piece: str) -> dict[str, Any]:
    found = told.kept(store, piece, told.PLAN, "request")
    return dict(found) if isinstance(found, dict) else {}


@router.get("/p/{piece}/plan")
def plan(request: Request, piece: Id, store: Kept, said: str = "") -> HTMLResponse:
    """What each part allows, the steps of what was chosen, what to buy, which day; safety first."""
    from service.plan.report import calendar_lines, day_notes, material_words, need_line, safety_of, size_words, step_head
    from service.plan.types import GOALS
    from service.safety.report import DEFER, origin

    kept = store.pieces.get(piece)
    try:
        found = money.plan_of(store, piece)
    except UsageError as err:
        return page(request, "plan", piece=kept, here="plan", found=None, cause=f"{err.cause} {err.remedy}", said=said[:200])
    us, asked = found.request.us, _request(store, piece)
    names = {p.subject.id: p.subject.name for p in found.parts}
    parts = [{
        "id": p.subject.id, "name": p.subject.name, "material": material_words(p), "size": size_words(p, us),
        "goal": p.goal or "",
        "open": [(g, GOALS[g]) for g in p.open_goals], "refused": [(GOALS[g], r.reason) for g, r in p.refusals.items()],
        "asked": asked.get("parts", {}).get(p.subject.id, {}), "conditions": p.route.conditions if p.route else (),
        "repairs": [f"{r.title}. {r.caution}" for r in p.route.repairs] if p.route else [],
        "steps": [{"head": step_head(s), "how": s.how, "test": s.test, "stop": "; or ".join(s.stop)} for s in p.route.steps]
        if p.route else [],
        "pitfalls": p.route.pitfalls if p.route else (),
    } for p in found.parts]
    return page(
        request, "plan", piece=kept, here="plan", found=found, parts=parts, said=said[:200], defer=DEFER, cause="",
        safety=[{"title": n.title, "text": n.text, "source": origin(n)} for n in safety_of(found)],
        needs=[need_line(n, us, found.currency) for n in found.needs], notes=day_notes(found),
        days=calendar_lines(found.days.bookings, names), where=found.request.where, us=us,
        before_1978=found.request.made_before_1978, start=str(asked.get("start") or ""),
    )


@router.post("/p/{piece}/plan")
async def choose(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps goals and sizes from the form; what makes no sense is said and nothing is changed."""
    form = await request.form(max_fields=400)
    given = {k: str(v).strip()[:80] for k, v in form.items() if isinstance(v, str)}
    asked = _request(store, piece)
    parts: dict[str, dict[str, Any]] = {k: dict(v) for k, v in asked.get("parts", {}).items()}
    for key, value in given.items():
        part, _, what = key.partition("|")
        if what in ("goal", "size", "count", "wood", "face_thickness"):
            row = parts.setdefault(part, {})
            row.pop(what, None)
            if value:
                row[what] = int(value) if what == "count" and value.isdigit() else value
    asked["parts"] = {k: v for k, v in parts.items() if v}
    if given.get("where"):
        asked["where"] = given["where"]
    old = given.get("before_1978", "")
    asked.pop("made_before_1978", None)
    if old in ("yes", "no"):
        asked["made_before_1978"] = old == "yes"
    if given.get("start"):
        from datetime import date

        try:
            asked["start"] = date.fromisoformat(given["start"]).isoformat()
        except ValueError:
            return RedirectResponse(f"/p/{piece}/plan?said=The+day+cannot+be+read", 303)
    money.keep_plan(store, piece, asked, given.get("client_key") or None, said=said_of(given.get("said_at", "")))
    return RedirectResponse(f"/p/{piece}/plan", 303)


@router.get("/p/{piece}/sheet", response_class=Response)
def sheet(piece: Id, store: Kept) -> Response:
    """The work sheet to print; it can run nothing."""
    from service.plan.worksheet import html

    title = store.pieces.get(piece).title
    return Response(html(money.plan_of(store, piece), title), media_type="text/html",
                    headers={"Content-Security-Policy": REPORT_CSP})  # fmt: skip


@router.get("/p/{piece}/sell")
def sell(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """The advert, its photos, and the ledger."""
    kept = store.pieces.get(piece)
    cause, found = "", None
    try:
        found = money.advert_of(store, piece)
    except UsageError as err:
        cause = f"{err.subject}: {err.cause} {err.remedy}"
    facts = told.kept(store, piece, told.SALE, "facts") or {}
    return page(request, "sell", piece=kept, here="sell", found=found, cause=cause, facts=facts,
                ledger=money.ledger_of(store, piece))  # fmt: skip


@router.post("/p/{piece}/sell")
def facts(
    piece: Id, store: Kept, coming: Coming, name: Text = "", size: Text = "", price: Text = "", currency: Text = "",
) -> Response:
    """Keeps what the seller says."""
    try:
        asked = float(price.replace(",", ".")) if price.strip() else None
    except ValueError as err:
        raise UsageError("price", f"{price!r} is no number.", "Write it as in: 120") from err
    said = {"piece": name or "furniture", "size": size or None, "price": asked, "currency": currency}
    money.keep_facts(store, piece, said, coming.client_key, said=coming.said)
    return RedirectResponse(f"/p/{piece}/sell", 303)


@router.post("/p/{piece}/ledger")
def event(piece: Id, store: Kept, coming: Coming, kind: Text, number: Text = "", text: Text = "") -> Response:
    """Adds a line to the ledger."""
    try:
        value = float(number.replace(",", ".")) if number.strip() else None
    except ValueError as err:
        raise UsageError("number", f"{number!r} is none.", "Write it as in: 40") from err
    numbers = {} if value is None else {"hours" if kind == "worked" else "amount": value}
    at = None if coming.said is None else coming.said.astimezone().replace(tzinfo=None).isoformat(timespec="seconds")
    money.add_event(store, piece, {"kind": kind, "numbers": numbers, "text": text, "at": at}, coming.client_key)
    return RedirectResponse(f"/p/{piece}/sell", 303)
