"""The routine in words and as JSON types."""

from __future__ import annotations

from typing import Any

from service.aisle.routine import Now, Put, Routine
from service.gate.report import document as gate_document
from service.gate.report import lines_of as gate_lines
from service.hand.report import ESTIMATES, call_line, pull
from service.hand.report import document as part_document
from service.hand.state import Told, to_json
from service.hand.worth import next_checks
from service.words import class_words, odds

SCHEMA = "grainassay.aisle/1.0"
OVER = {
    "broken": "A deal-breaker: nothing more is asked.",
    "settled": "Every part is settled: nothing more is asked.",
    "nothing": "No check left would tell much: what is open stays open.",
    "time": "The time is over. --minutes gives more.",
    "": "",
}
MEASURE = ("Before you leave: measure length x width x thickness of what you would work on (grainassay check PART --size), "
           "and the whole piece for the car.")


def put_json(put: Put) -> dict[str, Any]:
    """A question as JSON types."""
    return {"key": put.key, "text": put.text, "how": put.how, "seconds": put.seconds, "drawing": put.place,
            "bits": None if put.bits is None else round(put.bits, 4),
            "answers": [{"key": a.key, "letter": a.letter, "words": a.words} for a in put.answers]}


def document(routine: Routine, now: Now) -> dict[str, Any]:
    """JSON types of the whole."""
    parts = []
    for part, fused in now.fused.items():
        told = now.answers.parts.get(part, Told(routine.parts[part]))
        following = () if told.confirmed[0] else next_checks(fused, told.role, routine.rules, answered=told.answers)
        parts.append({**part_document(part, told, fused, following, routine.rules), "name": routine.names[part]})
    return {
        "schema": SCHEMA, "goal": routine.goal, "gate": gate_document(now.standing, routine.gate.rules), "parts": parts,
        "deal_breaker": None if now.breaker is None else {"part": now.breaker.part, "words": now.breaker.words},
        "seconds": now.seconds, "next": None if now.following is None else put_json(now.following), "over": now.why_over,
        "measure": MEASURE, "answers": to_json(now.answers),
    }


def after_lines(routine: Routine, now: Now, key: str) -> list[str]:
    """What the last answer to a hand check did, said at once."""
    part, _, check = key.partition("/")
    fused = now.fused.get(part)
    if fused is None:
        return []
    weight = next((w for w in fused.weights if w.check == check), None)
    told = now.answers.parts.get(part, Told(routine.parts[part]))
    lines = []
    if weight is not None:
        up, down, decibans = pull(weight, fused)
        if decibans >= 0.5:
            less = " (in part: " + weight.why + ")" if weight.why else ""
            lines.append(f"    {odds(decibans)} for {class_words(up)} against {class_words(down)}{less}")
    return [*lines, f"    {routine.names[part]}: {call_line(told, fused)}"]


def lines_of(routine: Routine, now: Now) -> list[str]:
    """What is printed at the end."""
    lines = [*gate_lines(now.standing, routine.gate.rules, sources=False), ""]
    for part, fused in now.fused.items():
        told = now.answers.parts.get(part, Told(routine.parts[part]))
        lines.append(f"{routine.names[part]}: {call_line(told, fused)}")
    if now.breaker is not None:
        lines += ["", f"Deal-breaker. {now.breaker.words}"]
    elif now.why_over:
        lines += ["", OVER[now.why_over]]
    minutes = f"{now.seconds // 60:.0f} min {now.seconds % 60:.0f} s"
    lines.append(f"By what the questions take: {minutes} so far.")
    if now.breaker is None:
        lines.append(MEASURE)
    return [*lines, ESTIMATES]
