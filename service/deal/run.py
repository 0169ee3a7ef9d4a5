"""`grainassay deal`: the user's file, and beside it what photos, hands and the gate found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from service.check import begun, fused_part, role_of
from service.deal.evidence import hand_checks_worth, with_belief
from service.deal.inputs import Deal
from service.deal.money import Worth, judged
from service.deal.report import document, lines_of
from service.gate.burden import merged
from service.gate.report import added_lines, open_lines
from service.gate.standing import gate
from service.hand.checks import rules
from service.hand.report import ESTIMATES
from service.hand.state import Told, read_document
from service.words import percent


def run(given: Deal, part: str | None, assessment: Path | None, answers: Path | None,
        exchange: float | None) -> tuple[dict[str, Any], list[str]]:
    """(JSON types, lines).

    Raises
    ------
    UsageError
        for files, parts or outcomes that do not fit together.
    NoMoneyTalk
        where the gate says walk away.
    """
    kept, left_out = begun(answers), 0.0
    before: list[str] = []
    extra: dict[str, Any] = {}
    if answers is not None and kept.gate:
        standing = gate().judged(kept.gate)
        given = merged(given, standing, exchange)
        before += [*added_lines(standing), *open_lines(standing)]
        extra["gate"] = standing.verdict
    worth: tuple[Worth, ...] = ()
    if part is not None:
        doc = read_document(assessment) if assessment is not None else None
        told = kept.parts.get(part, Told(role_of(doc, part)))
        fused = fused_part(doc, part, told, rules())
        given, left_out = with_belief(given, fused)
        worth = hand_checks_worth(given, fused, told.role, rules(), told.answers)
        shares = ", ".join(f"{o.name} {percent(o.chance)}" for o in given.outcomes)
        before.append(f"Chances from {part}: {shares} (started from {fused.start.words}; "
                      f"{percent(left_out)} is none of these and left out).")
        extra |= {"part": part, "chances": {o.name: round(o.chance, 4) for o in given.outcomes}, "left_out": round(left_out, 4)}
    found = judged(given)
    if part is not None:
        found = replace(found, worth=tuple(sorted((*found.worth, *worth), key=lambda w: -w.value)))
        before.append(ESTIMATES)
    lines = [*before, *([""] if before else []), *lines_of(given, found)]
    return {**document(given, found), **extra}, lines
