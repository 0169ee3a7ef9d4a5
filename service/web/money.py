"""Plan, sale, carrying, deal and ledger of a stored piece: what was said of it, through the code that the commands use."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from service.plan.make import Plan
from service.store import Store
from service.store.types import LedgerEvent
from service.web import told
from service.web.toml_text import toml_of
from vision.errors import UsageError


def plan_of(store: Store, piece: str, request: Mapping[str, Any] | None = None) -> Plan:
    """The plan of a piece, from the request given or kept. Raises NotThere, UsageError."""
    from service.plan.make import make

    store.pieces.get(piece)
    settings = told.user(store)
    given = request if request is not None else told.kept(store, piece, told.PLAN, "request")
    asked = told.request_of(given, settings)
    hours = asked.hours.values()
    if not all(math.isfinite(h) and 0 <= h <= 24 for h in (*hours, asked.first_hour)):
        raise UsageError("hours", "A day has 0 to 24 of them.", "Give hours of work by weekday.")
    if asked.start is not None and not 2000 <= asked.start.year <= 2200:
        raise UsageError("start", "The day is too far away.", "Give the day you begin.")
    doc = told.document_of(store, piece)
    return make(doc, told.answers_of(store, piece, doc), asked, told.prices_of(settings))


def keep_plan(
    store: Store, piece: str, request: dict[str, Any], client_key: str | None = None, *, said: datetime | None = None
) -> Plan:
    """Keeps a request once its plan could be made, and gives the plan. `said`: in UTC, where it waited for a signal. Raises
    NotThere, UsageError, Refused."""
    found = plan_of(store, piece, request)
    store.answers.give(piece, told.PLAN, "request", request, said=said, client_key=client_key)
    return found


def advert_of(store: Store, piece: str, facts: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """The advert as JSON types, from the facts given or kept. Raises NotThere, UsageError."""
    from service.plan.subjects import subjects
    from service.sell.advert import Facts, advert, document
    from service.sell.haul import space

    store.pieces.get(piece)
    settings = told.user(store)
    given = dict(facts if facts is not None else told.kept(store, piece, told.SALE, "facts") or {})
    size = given.get("size")
    whole = None if not size else space(size, 3, "size")
    doc = told.document_of(store, piece)
    request = told.request_of(told.kept(store, piece, told.PLAN, "request"), settings)
    parts = subjects(doc, told.answers_of(store, piece, doc), request)
    said = Facts(
        given.get("piece") or "furniture", None if whole is None else (whole[0], whole[1], whole[2]), given.get("price"),
        given.get("currency") or "", tuple(given.get("done") or ()), given.get("smoke_free"), given.get("pet_free"),
    )  # fmt: skip
    return {**document(advert(parts, said, us=settings.get("units") == "us")), "facts": given}


def keep_facts(
    store: Store, piece: str, facts: dict[str, Any], client_key: str | None = None, *, said: datetime | None = None
) -> dict[str, Any]:
    """Keeps what the seller says, and gives the advert."""
    found = advert_of(store, piece, facts)
    store.answers.give(piece, told.SALE, "facts", facts, said=said, client_key=client_key)
    return found


def haul_of(store: Store, piece: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """What carrying takes, as JSON types. Raises NotThere, UsageError."""
    from service.sell import haul

    store.pieces.get(piece)

    def spaces(name: str, n: int) -> Any:
        return haul.space(given[name], n, name) if given.get(name) else None

    size = haul.space(given["size"], 3, "size")
    doc = told.document_of(store, piece)
    asked = haul.Asked(
        (size[0], size[1], size[2]), haul.mass_of(given.get("mass") or None, "mass"),
        tuple(haul.board_of(b) for b in given.get("boards") or ()), spaces("vehicle", 3), spaces("door", 2), spaces("corner", 2),
        bool(given.get("stairs")), haul.mass_of(given.get("extra") or None, "extra") or 0.0, bool(given.get("case")),
        haul.cores_left(doc) if doc is not None else haul.CORES,
    )  # fmt: skip
    apart = haul.comes_apart(haul.joints_seen(doc) if doc is not None else ())
    return {**haul.document(haul.reckoned(asked), apart), "asked": dict(given)}


def keep_haul(
    store: Store, piece: str, given: dict[str, Any], client_key: str | None = None, *, said: datetime | None = None
) -> dict[str, Any]:
    """Keeps the question, and gives the answer."""
    found = haul_of(store, piece, given)
    store.answers.give(piece, told.SALE, "haul", given, said=said, client_key=client_key)
    return found


def deal_of(store: Store, piece: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Buy or leave, as JSON types: the user's figures with what photos, hands and the gate found. Raises NotThere, UsageError,
    NoMoneyTalk."""
    from service.check import fused_part, role_of
    from service.deal.evidence import hand_checks_worth, with_belief
    from service.deal.inputs import parse
    from service.deal.money import Worth, judged
    from service.deal.report import document
    from service.gate.burden import merged
    from service.gate.standing import gate
    from service.hand.checks import rules
    from service.hand.state import Told

    store.pieces.get(piece)
    deal = parse(toml_of(given["deal"], "the deal"), "the deal")
    doc = told.document_of(store, piece)
    known = told.answers_of(store, piece, doc)
    extra: dict[str, Any] = {}
    if known.gate:
        standing = gate().judged(known.gate)
        deal = merged(deal, standing, given.get("exchange"))
        extra["gate"] = standing.verdict
    part = given.get("part")
    worth: tuple[Worth, ...] = ()
    if part is not None:
        said = known.parts.get(part, Told(role_of(doc, part)))
        fused = fused_part(doc, part, said, rules())
        deal, left_out = with_belief(deal, fused)
        worth = hand_checks_worth(deal, fused, said.role, rules(), said.answers)
        extra |= {"part": part, "chances": {o.name: round(o.chance, 4) for o in deal.outcomes}, "left_out": round(left_out, 4)}
    found = judged(deal)
    found = replace(found, worth=tuple(sorted((*found.worth, *worth), key=lambda w: -w.value)))
    return {**document(deal, found), **extra}


def keep_deal(
    store: Store, piece: str, given: dict[str, Any], client_key: str | None = None, *, said: datetime | None = None
) -> dict[str, Any]:
    """Keeps the figures, and gives the answer."""
    found = deal_of(store, piece, given)
    store.answers.give(piece, told.SALE, "deal", given, said=said, client_key=client_key)
    return found


def add_event(store: Store, piece: str, given: Mapping[str, Any], client_key: str | None = None) -> LedgerEvent:
    """Adds a line to the ledger. Raises NotThere, UsageError."""
    from service.check import role_of
    from service.ledger.events import Event, to_json
    from service.ledger.labels import photos_of

    store.pieces.get(piece)
    at = given.get("at") or datetime.now().isoformat(timespec="seconds")
    more: dict[str, Any] = {}
    if given["kind"] == "revealed" and given.get("part"):
        doc = told.document_of(store, piece)
        part = str(given["part"])
        more = {"part": part, "role": role_of(doc, part), "face": given.get("face") or None, "core": given.get("core") or None,
                "how": given.get("how") or "stripped", "photos": photos_of(doc, part) if doc is not None else ()}  # fmt: skip
    event = Event(piece, str(given["kind"]), at, numbers=given.get("numbers") or {}, voids=given.get("voids") or "",
                  text=given.get("text") or "", **more)  # fmt: skip
    if event.kind == "void" and all(line.body.get("id") != event.voids for line in lines(store, piece)):
        raise UsageError("The line", "It is not in the ledger of this piece.", "Load the ledger again.")
    return store.ledger.add(piece, event.kind, to_json(event), client_key=client_key)


def lines(store: Store, piece: str | None = None) -> list[LedgerEvent]:
    """All lines, of one piece or of all."""
    out: list[LedgerEvent] = []
    while page := store.ledger.lines(piece, after=out[-1].number if out else 0):
        out += page
    return out


def ledger_of(store: Store, piece: str | None = None) -> dict[str, Any]:
    """What was foreseen and what came of it, with the lines that stand; names are ids of pieces."""
    from service.ledger.compare import document, pieces
    from service.ledger.events import Read, of_json, to_json

    rows = Read(tuple(of_json(line.body) for line in lines(store, piece)), ())
    return {**document(pieces(rows.standing)), "events": [to_json(e) for e in rows.standing]}


def labels_of(store: Store) -> dict[str, Any]:
    """What the work showed, as labels."""
    from service.ledger.events import Read, of_json
    from service.ledger.labels import document

    return document(Read(tuple(of_json(line.body) for line in lines(store)), ()).standing)
