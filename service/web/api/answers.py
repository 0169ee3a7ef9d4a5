"""What the user says: corrections of outlines, answers at the gate and to hand checks, the routine beside the piece."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from service.store import Store
from service.web import queue, told
from service.web.api.deps import Kept
from service.web.api.shapes import (
    CorrectionList,
    CorrectionMade,
    CorrectionOut,
    GivenAnswers,
    Id,
    JobOut,
    NewCorrection,
)
from service.web.corrections import KIND, corrected, outlines_now, panels_of
from service.web.uploads import photo_of

router = APIRouter(tags=["answers"])


@router.post("/pieces/{piece}/corrections", status_code=201, summary="Correct an outline")
def correct(piece: Id, given: NewCorrection, store: Kept) -> CorrectionMade:
    """Moves, draws, splits, merges, names or takes away, and by default has the piece assessed again with it."""
    photo = photo_of(store, piece, given.photo)
    if given.client_key is not None:
        before = [c for c in store.corrections.of_piece(piece) if c.kind == KIND and c.body.get("client_key") == given.client_key]
        if before:  # sent again: what it changed is changed already
            newest = next(iter(store.jobs.of_piece(piece)), None)
            job = newest if given.assess else None
            return CorrectionMade(correction=CorrectionOut.of(before[0]), job=None if job is None else JobOut.of(job))
    outlines: list[dict[str, Any]] = []
    if given.do != "again":
        now = outlines_now(store, piece).get(photo.id) or panels_of(told.document_of(store, piece), photo)
        outlines = corrected(now, given.model_dump(), photo)
    body = {"did": given.do, "outlines": outlines, "client_key": given.client_key}
    made = store.corrections.add(piece, KIND, body, photo=photo.id, client_key=given.client_key)
    job = queue.again(store, piece) if given.assess else None
    return CorrectionMade(correction=CorrectionOut.of(made), job=None if job is None else JobOut.of(job))


@router.get("/pieces/{piece}/corrections", summary="Corrections of a piece")
def corrections(piece: Id, store: Kept) -> CorrectionList:
    """In the order they were made."""
    rows = [CorrectionOut.of(c) for c in store.corrections.of_piece(piece) if c.kind == KIND]
    return CorrectionList(corrections=rows, outlines=outlines_now(store, piece))


@router.delete("/pieces/{piece}/corrections/{correction}", status_code=204, summary="Take a correction back")
def take_back(piece: Id, correction: Id, store: Kept) -> Response:
    """The one before it counts again, from the next assessment on."""
    store.corrections.remove(piece, correction)
    return Response(status_code=204)


@router.put("/pieces/{piece}/answers", summary="Answer at the gate, by hand, or say what is known")
def give(piece: Id, given: GivenAnswers, store: Kept) -> dict[str, Any]:
    """All or none: an answer that makes no sense refuses the whole. Gives back what `GET` gives."""
    store.pieces.get(piece)
    doc = told.document_of(store, piece)
    for one in given.answers:
        told.read_answer(doc, one.key, one.answer)
    for one in given.answers:
        told.keep_answer(store, piece, doc, one.key, one.answer, said=one.said_utc, client_key=one.client_key)
    return answers(piece, store)


@router.get("/pieces/{piece}/answers", summary="Answers of a piece and what they come to")
def answers(piece: Id, store: Kept) -> dict[str, Any]:
    """`answers`: as their file; `gate`: where the piece stands; `checks`: every part with answers, photo and hand together."""
    from service.check import report
    from service.gate.report import document as gate_document
    from service.gate.standing import gate
    from service.hand.state import to_json

    store.pieces.get(piece)
    doc = told.document_of(store, piece)
    known = told.answers_of(store, piece, doc)
    at = gate()
    found, _ = report(doc, known)
    return {"answers": to_json(known), "gate": gate_document(at.judged(known.gate), at.rules), "checks": found["parts"],
            "said": [{"key": f"{a.subject or a.sort}/{a.question}", "said": a.said.isoformat()}
                     for a in store.answers.latest(piece) if a.sort in (told.GATE, told.HAND)]}  # fmt: skip


@router.get("/pieces/{piece}/aisle", summary="The routine beside the piece: what to ask next")
def aisle(
    piece: Id, store: Kept, goal: Annotated[str | None, Query(max_length=40)] = None,
    minutes: Annotated[float | None, Query(gt=0, le=60, allow_inf_nan=False)] = None,
    part: Annotated[list[str] | None, Query(max_length=12)] = None,
) -> dict[str, Any]:
    """Answer with PUT .../answers under the key of `next`."""
    return routine_of(store, piece, goal=goal, minutes=minutes, parts=part)


@router.get("/pieces/{piece}/checks/{part}", summary="What to look at next on one part")
def checks(piece: Id, part: Id, store: Kept) -> dict[str, Any]:
    """Photo and answers put together, and the checks that would tell most."""
    from service.check import fused_part, role_of
    from service.hand.checks import rules
    from service.hand.report import document
    from service.hand.state import Told
    from service.hand.worth import next_checks

    store.pieces.get(piece)
    doc = told.document_of(store, piece)
    role = role_of(doc, part)
    known = told.answers_of(store, piece, doc).parts.get(part, Told(role))
    fused = fused_part(doc, part, known, rules())
    following = () if known.confirmed[0] else next_checks(fused, role, rules(), answered=known.answers)
    return document(part, known, fused, following, rules())


def routine_of(
    store: Store, piece: str, *, goal: str | None = None, minutes: float | None = None, parts: list[str] | None = None,
) -> dict[str, Any]:
    """The document of the routine; goal and minutes are the user's where not given. Raises NotThere, UsageError."""
    from service.aisle.report import document
    from service.aisle.routine import MINUTES, Routine

    store.pieces.get(piece)
    doc, settings = told.document_of(store, piece), told.user(store)
    routine = Routine(doc, parts=parts, goal=goal or settings.get("goal"), minutes=minutes or settings.get("minutes") or MINUTES)
    return document(routine, routine.now(told.answers_of(store, piece, doc)))
