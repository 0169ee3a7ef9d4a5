"""What the store knows of a piece, in the types that hand checks, routine, plan and advert take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from service.contract import Document
from service.hand.state import Answers, Told
from service.plan.prices import Prices
from service.plan.request import Request
from service.store import Store
from service.store.errors import StoreDamaged
from vision.errors import UsageError

#: Questionnaires in the store: of the gate; of hand checks (subject: the part); of plan, sale and money (subject: '').
GATE, HAND, PLAN, SALE = "gate", "hand", "plan", "sale"
#: Things said of a part that are no checks, as questions of HAND: a scale's word, sizes, what is known for certain.
WEIGHED, SIZE, KNOWN = "weighed", "size", "known"
USER = "user"


def document_of(store: Store, piece: str) -> Document | None:
    """The newest assessment, or None. Raises NotThere; StoreDamaged where it can no longer be read."""
    from pydantic import ValidationError

    paper = store.papers.latest(piece, "assessment")
    if paper is None:
        return None
    try:
        return Document.model_validate_json(paper.text)
    except ValidationError as err:
        cause = f"It was written in another form ({paper.schema or 'unknown'}) and cannot be read."
        raise StoreDamaged("The assessment", cause, "Assess the photos again; the old document is kept as it is.") from err


def answers_of(store: Store, piece: str, doc: Document | None = None) -> Answers:
    """All answers of a piece. With a document, answers to parts that it does not have (any more) are left out, not lost."""
    roles = {p.id: str(p.role) for p in doc.parts} if doc is not None else {}
    out = Answers(gate={a.question: str(a.body) for a in store.answers.latest(piece, GATE)})
    for answer in store.answers.latest(piece, HAND):
        body: Mapping[str, Any] = answer.body if isinstance(answer.body, dict) else {}
        part = answer.subject
        if doc is not None and part not in roles:
            continue
        told = out.parts.get(part, Told(roles.get(part, str(body.get("role", "unknown")))))
        out = replace(out, parts={**out.parts, part: _with(told, answer.question, body.get("answer"))})
    return out


def _with(told: Told, question: str, value: Any) -> Told:
    if question == WEIGHED:
        return replace(told, weighed=value)
    if question == SIZE:
        return replace(told, size=(float(value[0]), float(value[1])))
    if question == KNOWN:
        return replace(told, confirmed=(value[0], value[1]))
    return replace(told, answers={**told.answers, question: str(value)})


def read_answer(doc: Document | None, key: str, answer: str | None) -> tuple[str, str, str, Any]:
    """(questionnaire, subject, question, body) to keep for 'gate/mould' -> 'none', 'top/hole' -> 'particles', 'top/weighed' ->
    '5.9kg, 1000x500x18mm, pine', 'top/size' -> '1200x500mm', 'top/known' -> 'veneer/particle_board'; None takes it back.

    Raises
    ------
    UsageError
        for what is no question, or no answer to it.
    """
    from service.check import fused_part, role_of, weighed_part
    from service.gate.standing import gate
    from service.hand.checks import rules
    from service.units import sizes

    part, slash, question = key.partition("/")
    if not slash:
        raise UsageError(key[:80] or "answer", "is no question.", "Write gate/QUESTION or PART/CHECK.")
    if part == GATE:
        gate().judged({question: answer if answer is not None else "not_looked"})
        return GATE, "", question, answer
    role = role_of(doc, part)
    if answer is None:
        return HAND, part, question, None
    value: Any = answer
    if question == WEIGHED:
        value = weighed_part(answer)
    elif question == SIZE:
        found = sizes(answer, "size")
        if len(found) != 2:
            raise UsageError("size", f"{answer!r} is no length and width.", "Write it as in: 1200x500mm")
        value = [max(found), min(found)]
    elif question == KNOWN:
        face, _, core = answer.partition("/")
        value = [face or None, core or None]
    fused_part(doc, part, _with(Told(role), question, value), rules())
    return HAND, part, question, {"answer": value, "role": role}


def keep_answer(
    store: Store, piece: str, doc: Document | None, key: str, answer: str | None, *, said: datetime | None = None,
    client_key: str | None = None,
) -> None:
    """Keeps one answer (see `read_answer`). Raises UsageError, NotThere, Refused."""
    sort, subject, question, body = read_answer(doc, key, answer)
    store.answers.give(piece, sort, question, body, subject=subject, said=said, client_key=client_key)


def kept(store: Store, piece: str, sort: str, question: str) -> Any:
    """The body of one answer for the whole piece, or None."""
    return next((a.body for a in store.answers.latest(piece, sort) if a.question == question and not a.subject), None)


def user(store: Store) -> dict[str, Any]:
    """The user's settings: `units`, `where`, `prices` ... ; empty where none was made."""
    found = store.settings.get(USER)
    return found if isinstance(found, dict) else {}


def request_of(values: Mapping[str, Any] | None, settings: Mapping[str, Any]) -> Request:
    """A plan's request from JSON in the form of its file; units and place are the user's where it names none. UsageError."""
    from service.plan import request as requests
    from service.web.toml_text import toml_of

    usual = {k: settings[k] for k in ("units", "where") if settings.get(k) is not None}
    return requests.parse(toml_of({**usual, **(values or {})}, "the plan"), "the plan")


def prices_of(settings: Mapping[str, Any]) -> Prices | None:
    """The user's price list, or None. UsageError."""
    from service.plan import prices
    from service.web.toml_text import toml_of

    found = settings.get("prices")
    return prices.parse(toml_of(found, "the prices"), "the prices") if isinstance(found, dict) and found else None
