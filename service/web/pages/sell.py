"""Buying, carrying, selling, and the ledger: every figure is the user's."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.gate.burden import NoMoneyTalk
from service.store import Store
from service.store.errors import StoreDamaged
from service.web import money, told
from service.web.api.deps import Kept
from service.web.api.shapes import Id
from service.web.pages.drawn import page
from service.web.pages.sent import Coming, said_of
from service.web.views import sale as view
from service.words import class_words, part_names
from vision import registry
from vision.errors import UsageError

router = APIRouter()
Text = Annotated[str, Form(max_length=200)]
YES_NO = {"yes": True, "no": False}
#: Kind of line -> numbers that it may carry, where it is not an amount of money.
NUMBERS = {"planned": ("hours", "materials", "sale", "fees", "days"), "worked": ("hours",)}
LINE = ("text", "voids", "part", "face", "core", "how")


@router.get("/p/{piece}/sell")
def sell(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """The advert and the photos that it needs."""
    kept = store.pieces.get(piece)
    cause, found = "", None
    try:
        found = money.advert_of(store, piece)
    except UsageError as err:
        cause = f"{err.subject}: {err.cause} {err.remedy}"
    facts = told.kept(store, piece, told.SALE, "facts") or {}
    return page(request, "sell", piece=kept, here="sell", found=found, cause=cause, facts=facts)


@router.post("/p/{piece}/sell")
def facts(
    piece: Id, store: Kept, coming: Coming, name: Text = "", size: Text = "", price: Text = "",
    currency: Annotated[str, Form(max_length=12)] = "", done: Annotated[str, Form(max_length=4000)] = "",
    smoke_free: Text = "", pet_free: Text = "",
) -> Response:
    """Keeps what the seller says."""
    said = {"piece": name or "furniture", "size": size or None, "currency": currency,
            "price": view.number(price, "price") if price.strip() else None,
            "done": [line.strip()[:200] for line in done.splitlines() if line.strip()][:30],
            "smoke_free": YES_NO.get(smoke_free), "pet_free": YES_NO.get(pet_free)}  # fmt: skip
    money.keep_facts(store, piece, said, coming.client_key, said=coming.said)
    return RedirectResponse(f"/p/{piece}/sell#advert", 303)


async def _form(request: Request) -> dict[str, str]:
    form = await request.form(max_fields=80)
    return {k: str(v).strip()[:200] for k, v in form.items() if isinstance(v, str)}


@router.get("/p/{piece}/deal")
def deal(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """Buy or leave, of the figures kept."""
    kept = store.pieces.get(piece)
    asked = told.kept(store, piece, told.SALE, "deal")
    found, cause = None, ""
    if asked is not None:
        try:
            found = view.deal_view(money.deal_of(store, piece, asked))
        except (UsageError, NoMoneyTalk) as err:
            cause = f"{err.subject}: {err.cause} {err.remedy}"
    return page(request, "deal", piece=kept, here="deal", found=found, cause=cause, fields=view.deal_fields(asked),
                rows=[(k, view.ROW_WORDS[k]) for k, _ in view.ROWS], sums=view.SUMS, parts=_parts(store, piece))  # fmt: skip


@router.post("/p/{piece}/deal")
async def judge(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps the figures; a deal-breaker is said on the page and refuses no figures."""
    given = await _form(request)
    asked = view.deal_from(given)
    key, said = given.get("client_key") or None, said_of(given.get("said_at", ""))
    try:
        money.keep_deal(store, piece, asked, key, said=said)
    except NoMoneyTalk:
        store.answers.give(piece, told.SALE, "deal", asked, said=said, client_key=key)
    return RedirectResponse(f"/p/{piece}/deal", 303)


@router.get("/p/{piece}/haul")
def haul(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """What carrying it takes, of the sizes kept."""
    kept = store.pieces.get(piece)
    asked = told.kept(store, piece, told.SALE, "haul") or {}
    found, cause = None, ""
    if asked:
        try:
            found = view.haul_view(money.haul_of(store, piece, asked))
        except UsageError as err:
            cause = f"{err.subject}: {err.cause} {err.remedy}"
    return page(request, "haul", piece=kept, here="haul", found=found, cause=cause, asked=asked)


@router.post("/p/{piece}/haul")
async def carry(request: Request, piece: Id, store: Kept) -> Response:
    """Keeps the sizes."""
    given = await _form(request)
    asked: dict[str, Any] = {k: given.get(k) or None for k in ("mass", "extra", "vehicle", "door", "corner")}
    asked |= {"size": given.get("size", ""), "stairs": "stairs" in given, "case": "case" in given,
              "boards": [b.strip() for b in given.get("boards", "").split(";") if b.strip()]}  # fmt: skip
    money.keep_haul(store, piece, asked, given.get("client_key") or None, said=said_of(given.get("said_at", "")))
    return RedirectResponse(f"/p/{piece}/haul", 303)


@router.get("/p/{piece}/ledger")
def ledger(request: Request, piece: Id, store: Kept) -> HTMLResponse:
    """What was foreseen and what came of it."""
    from service.ledger.events import TRUST

    kept = store.pieces.get(piece)
    found = view.ledger_view(money.ledger_of(store, piece), money.ledger_of(store))
    return page(request, "ledger", piece=kept, here="ledger", found=found, parts=_parts(store, piece),
                faces=[(f, class_words(f)) for f in registry.FACES], cores=[(c, class_words(c)) for c in registry.CORES],
                ways=[(k, words) for k, (_, words) in TRUST.items()])  # fmt: skip


@router.post("/p/{piece}/ledger")
async def event(request: Request, piece: Id, store: Kept) -> Response:
    """Adds a line: money or hours, what was foreseen, what the work showed, or the taking back of a line."""
    given = await _form(request)
    kind = given.get("kind", "")
    names = NUMBERS.get(kind, ("amount",))
    numbers = {n: view.number(given[n], n) for n in names if given.get(n)}
    if given.get("number") and kind not in ("planned", "revealed", "void", "note"):
        numbers[names[0]] = view.number(given["number"], "number")
    if kind == "planned" and not numbers:
        raise UsageError("What you foresee", "No figure is given.", "Give hours, materials, sale or days.")
    said = said_of(given.get("said_at", ""))
    at = None if said is None else said.astimezone().replace(tzinfo=None).isoformat(timespec="seconds")
    made = {"kind": kind, "numbers": numbers, "at": at, **{k: given.get(k, "") for k in LINE}}
    money.add_event(store, piece, made, given.get("client_key") or None)
    return RedirectResponse(f"/p/{piece}/ledger", 303)


def _parts(store: Store, piece: str) -> list[tuple[str, str]]:
    """(id, name) of the parts known: of the assessment, else those answered by hand."""
    try:
        doc = told.document_of(store, piece)
    except StoreDamaged:
        doc = None
    if doc is not None:
        return list(part_names(doc).items())
    return [(k, k.replace("_", " ").capitalize()) for k in told.answers_of(store, piece).parts]
