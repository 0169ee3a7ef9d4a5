"""The routine's tables as JSON types, so that a phone without a signal asks the same questions and reckons the same numbers.

`tables` is the same for all pieces: questions, odds, rules, words, and the draws by which estimates are doubted; `standing` is
what one piece brings: its parts, where each starts, what a scale said, the answers kept. service/static/byhand.js reads both.
"""

from __future__ import annotations

import base64
from functools import lru_cache
from typing import Any

import numpy as np

from service.aisle.routine import MUST, Routine
from service.gate.ask import OPEN
from service.gate.drawings import DRAWINGS, drawing
from service.gate.rules import VERDICTS
from service.gate.standing import gate
from service.hand.belief import CORE_OF, CORES, DRAWS, FACE_OF, FACES, SEED, WEIGHED, by_core
from service.hand.checks import SUBSTRATES, rules
from service.hand.state import Answers, Told, start_of
from service.hand.worth import LEAST_BITS, OVERHEAD
from service.plan.routes import SANDED, Routes, routes, why_not
from service.plan.types import GOALS, Subject
from service.risks import EXPOSURE
from service.web.views.by_hand import MEASURE
from service.words import class_words
from vision import registry

SCHEMA = "grainassay.routine/1.0"


def packed(numbers: np.ndarray[Any, np.dtype[np.float64]]) -> str:
    """Numbers as base64 of little-endian doubles: not a bit is lost on the way."""
    return base64.b64encode(np.ascontiguousarray(numbers, dtype="<f8").tobytes()).decode()


def _checks() -> list[dict[str, Any]]:
    return [{
        "key": c.key, "text": c.text, "how": c.how, "seconds": c.seconds, "group": c.group, "decisive": c.decisive,
        "roles": list(c.roles), "cues": list(c.photo_cues), "table": c.table.tolist(),
        "answers": [{"key": a.key, "words": a.words, "logs": c.column(a.key).tolist()} for a in c.answers],
        "drawing": c.key if c.key in DRAWINGS else "",
    } for c in rules().checks.values()]  # fmt: skip


def _questions() -> list[dict[str, Any]]:
    return [{
        "key": q.key, "name": q.name, "text": q.text, "how": q.how, "seconds": q.seconds, "drawing": q.place,
        "answers": [{"key": a.key, "words": a.words, "rank": a.rank, "reason": a.leads_to.reason if a.leads_to else "",
                     "do": a.leads_to.do if a.leads_to else ""} for a in q.answers],
    } for q in gate().rules.questions]  # fmt: skip


def _own_draws(key: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """(draws,) the doubt of one check, as service.hand.belief draws it."""
    return np.random.default_rng([SEED, *key.encode()]).standard_normal(DRAWS)


def _refusals() -> dict[str, Any]:
    """What refuses a goal on a part of which nothing but face and core is known, in the order in which it is asked."""
    blank = Subject("part", "Part", "top", ("veneer",), tuple(registry.CORES), "decided", face_kind="modern")
    rows = [{"goals": list(r.goals), "faces": list(r.faces), "cores": list(r.cores), "reason": r.text} for r in routes().refused
            if not r.damage and all(getattr(blank, name) is value for name, value in r.flags.items())]
    # Sanding a veneer of usual thickness: refused by how often it would go through, whatever lies under it.
    thin = {goal: why_not(blank, goal, "veneer", Routes((), ())) for goal in SANDED}
    return {"rows": rows, "thin_veneer": {goal: found.reason for goal, found in thin.items() if found is not None}}


@lru_cache(maxsize=1)
def tables() -> dict[str, Any]:
    """JSON types; see the head of this file."""
    r = rules()
    keys = [*r.checks, WEIGHED]
    return {
        "schema": SCHEMA, "substrates": list(SUBSTRATES), "faces": list(FACES), "cores": list(CORES),
        "face_of": [FACES.index(FACE_OF[s]) for s in SUBSTRATES],
        "core_of": [CORES.index(c) if (c := CORE_OF[s]) is not None else -1 for s in SUBSTRATES],
        "board": [[f, c] for f, c in registry.SUBSTRATE_OF if c is not None],
        "words": {k: class_words(k) for k in (*FACES, *CORES)}, "open": dict(OPEN), "checks": _checks(),
        "questions": _questions(),
        "verdicts": list(VERDICTS.values()), "verdict_keys": list(VERDICTS), "goals": dict(GOALS), "refused": _refusals(),
        "within_group": r.within_group, "seen_on_photo": r.seen_on_photo, "doubt_each": r.doubt_each, "doubt_all": r.doubt_all,
        "doubt_decisive": r.doubt_decisive, "named": r.named, "ruled_out": r.ruled_out, "against_photo": r.against_photo,
        "least_bits": LEAST_BITS, "overhead": OVERHEAD, "exposure": EXPOSURE, "must": list(MUST), "draws": DRAWS,
        "together": packed(np.random.default_rng(SEED).standard_normal(DRAWS)), "own": {k: packed(_own_draws(k)) for k in keys},
        "drawings": {k: drawing(k, "q") for k in DRAWINGS}, "measure": MEASURE,
    }  # fmt: skip


def standing(routine: Routine, answers: Answers, last: str | None = None) -> dict[str, Any]:
    """One piece, JSON types. `parts`: all that hands can check, `asked`: those the routine asks about, in order; `mass`:
    (substrates,) log likelihoods of what a scale said, or None; `last`: key of the answer given last."""
    from service.wood.weigh import weigh

    every = Routine(routine.doc, parts=part_ids(routine), goal=routine.goal, minutes=routine.seconds / 60)
    parts = []
    for part, role in every.parts.items():
        told, start = answers.parts.get(part, Told(role)), start_of(routine.doc, part)
        piece = told.part
        likely = None if piece is None else by_core({e.core: e.likelihood for e in weigh(piece)}, routine.rules.most)
        parts.append({
            "id": part, "name": every.names[part], "role": role, "start": start.vector.tolist(), "cues": list(start.cues),
            "faces": list(start.faces), "cores": list(start.cores), "confirmed": list(told.confirmed),
            "mass": None if likely is None else likely.tolist(),
        })  # fmt: skip
    said = {p: dict(answers.parts[p].answers) for p in every.parts if p in answers.parts}
    return {"schema": SCHEMA, "goal": routine.goal, "seconds": routine.seconds, "asked": list(routine.parts), "parts": parts,
            "gate": dict(answers.gate), "said": said, "last": last}  # fmt: skip


def part_ids(routine: Routine) -> list[str]:
    """Parts that checks by hand can be made on: those asked about first, then the others of the assessment."""
    others = [p.id for p in routine.doc.parts] if routine.doc is not None else []
    return list(dict.fromkeys([*routine.parts, *others]))
