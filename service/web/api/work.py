"""The work and the money: plan, sale, carrying, deal, ledger, the user's settings."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from service.store.errors import not_there
from service.web import money, told
from service.web.api.deps import Kept
from service.web.api.shapes import DealAsked, HaulAsked, Id, NewEvent, PlanAsked, SaleFacts, UserSettings

router = APIRouter(tags=["work and money"])
CALENDAR: dict[int | str, dict[str, Any]] = {200: {"content": {"text/calendar": {}}, "description": "An iCalendar file."}}


@router.get("/pieces/{piece}/plan", summary="The plan")
def plan(piece: Id, store: Kept) -> dict[str, Any]:
    """Of the request kept; without one, what each part allows. Also `request`, as kept."""
    from service.plan.document import document

    return {**document(money.plan_of(store, piece)), "request": told.kept(store, piece, told.PLAN, "request")}


@router.put("/pieces/{piece}/plan", summary="Say what is wanted, and plan it")
def put_plan(piece: Id, asked: PlanAsked, store: Kept) -> dict[str, Any]:
    """A request that makes no sense is refused and the one before stays."""
    from service.plan.document import document

    return {**document(money.keep_plan(store, piece, asked.request, asked.client_key)), "request": asked.request}


@router.get("/pieces/{piece}/plan/calendar", summary="The plan's days as a calendar", responses=CALENDAR, response_class=Response)
def calendar(piece: Id, store: Kept) -> Response:
    """Local times."""
    from service.plan.calendar_file import to_ical

    found = money.plan_of(store, piece)
    text = to_ical(found.days, {p.subject.id: p.subject.name for p in found.parts}, "Grainassay work")
    return Response(text, media_type="text/calendar", headers={"Content-Disposition": 'attachment; filename="work.ics"'})


@router.get("/pieces/{piece}/advert", summary="The advert")
def advert(piece: Id, store: Kept) -> dict[str, Any]:
    """Of each part what is known and no more."""
    return money.advert_of(store, piece)


@router.put("/pieces/{piece}/advert", summary="Say what the seller says, and write the advert")
def put_advert(piece: Id, facts: SaleFacts, store: Kept) -> dict[str, Any]:
    """Kept for the next time."""
    return money.keep_facts(store, piece, facts.model_dump(exclude={"client_key"}), facts.client_key)


@router.get("/pieces/{piece}/haul", summary="What carrying it takes")
def haul(piece: Id, store: Kept) -> dict[str, Any]:
    """Of the sizes kept."""
    given = told.kept(store, piece, told.SALE, "haul")
    if given is None:
        raise not_there("question about carrying")
    return money.haul_of(store, piece, given)


@router.put("/pieces/{piece}/haul", summary="Ask what carrying it takes")
def put_haul(piece: Id, asked: HaulAsked, store: Kept) -> dict[str, Any]:
    """Weight, car, door, corner, people."""
    return money.keep_haul(store, piece, asked.model_dump(exclude={"client_key"}), asked.client_key)


@router.get("/pieces/{piece}/deal", summary="Buy or leave")
def deal(piece: Id, store: Kept) -> dict[str, Any]:
    """Of the figures kept."""
    given = told.kept(store, piece, told.SALE, "deal")
    if given is None:
        raise not_there("deal")
    return {**money.deal_of(store, piece, given), "asked_with": given}


@router.put("/pieces/{piece}/deal", summary="Ask whether to buy")
def put_deal(piece: Id, asked: DealAsked, store: Kept) -> dict[str, Any]:
    """All figures are the user's; the program knows no prices."""
    return money.keep_deal(store, piece, asked.model_dump(exclude={"client_key"}), asked.client_key)


@router.get("/pieces/{piece}/ledger", summary="The ledger of a piece")
def ledger(piece: Id, store: Kept) -> dict[str, Any]:
    """Sums and the lines that stand."""
    store.pieces.get(piece)
    return money.ledger_of(store, piece)


@router.post("/pieces/{piece}/ledger", status_code=201, summary="Add a line to the ledger")
def add(piece: Id, event: NewEvent, store: Kept) -> dict[str, Any]:
    """Lines are only ever added; kind `void` takes one back. Gives the ledger of the piece."""
    money.add_event(store, piece, event.model_dump(exclude={"client_key"}), event.client_key)
    return money.ledger_of(store, piece)


@router.get("/ledger", summary="The ledger of all pieces")
def whole_ledger(store: Kept) -> dict[str, Any]:
    """How good the estimates were, over all pieces."""
    return money.ledger_of(store)


@router.get("/labels", summary="What the work showed, as labels")
def labels(store: Kept) -> dict[str, Any]:
    """For teaching the program from pieces that were taken apart."""
    return money.labels_of(store)


@router.get("/settings", summary="The user's settings")
def settings(store: Kept) -> UserSettings:
    """Those that were made."""
    return UserSettings(**told.user(store))


@router.put("/settings", summary="Change settings")
def put_settings(given: UserSettings, store: Kept) -> UserSettings:
    """What is left out stays; null takes back."""
    from service.plan.types import GOALS
    from vision.errors import UsageError

    new = {**told.user(store), **given.model_dump(exclude_unset=True)}
    if new.get("goal") is not None and new["goal"] not in GOALS:
        raise UsageError("goal", "It is not known.", "Use one of: " + ", ".join(GOALS) + ".")
    told.prices_of(new)
    store.settings.put(told.USER, {k: v for k, v in new.items() if v is not None})
    return UserSettings(**told.user(store))
